"""What if: a study with some of its assumptions changed, and the results that follow."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np

from reliability.business.cashflow import Business, business_summary
from reliability.business.options import Options
from reliability.faults.outcomes import build_outcomes
from reliability.faults.states import orders_of_shares
from reliability.indices.expected import usual_indices
from reliability.network.application import settle_scenarios
from reliability.network.conversions import conversions, named_heads
from reliability.network.devices import BACKS_UP, COUNTS
from reliability.network.model import Model
from reliability.pipeline import ProposedChoice, assemble, decide, expect, with_alternatives
from reliability.results import Results
from reliability.schema.assumption_types import Range
from reliability.schema.assumptions import ASSUMPTIONS, BY_KEY
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import FORCED_IN, FORCED_OUT, Conversion, proposed_position
from reliability.schema.values import Assumptions, as_assumptions
from reliability.study import Scenario, Study
from reliability.tasks import HERE, Workers

FAST_AS_STATED = -1      # fast operations that are left to each device, or to each scenario
PROBABILITIES: tuple[Literal["temporary_fraction", "sectionalizer_failure", "fuse_failure", "wrong_link_share",
                             "reclosing_off_share"], ...] = (
    "temporary_fraction", "sectionalizer_failure", "fuse_failure", "wrong_link_share", "reclosing_off_share")
# Assumptions that change frequencies, durations and prices, but not how protection responds.
RATES_AND_PRICES = {a.key for a in ASSUMPTIONS
                    if a.table in ("restoration", "costs", "finance", "simulation", "choice")} | {
    *PROBABILITIES, "line_fault_rate_per_km", "yearly_cv"}
SUMMED_ASSUMPTIONS = {"perspective", "interruption_costs"}  # … but what is summed up
_RATES = ("line_fault_rate_per_km", "equipment_fault_rate")


@dataclass(frozen=True)
class Asked:
    """What somebody asks beside what the files of a study state; nothing of it: the study as it stands.

    moves: see `moved_study`. limits: values of the table [choice] by key, `forced_in` and `forced_out` (section ids),
    and `applicable_only`, whether laterals that fail an application check stay out of a choice. perspective: of money.
    """

    moves: Mapping[str, float | int] = field(default_factory=dict)
    limits: Mapping[str, object] = field(default_factory=dict)
    perspective: str | None = None

    def __bool__(self) -> bool:
        return bool(self.moves or self.limits or self.perspective)

    @property
    def at_the_studys_inputs(self) -> bool:
        """Whether a choice under the limits is the one that is proposed: nothing else is moved."""
        return not self.moves and not self.perspective

    def mark(self, inputs_sha256: str) -> str:
        """Digest of a state: that of the study's inputs where nothing is asked beside them, else one of both."""
        if not self:
            return inputs_sha256
        text = json.dumps([inputs_sha256, dict(self.moves), dict(self.limits), self.perspective], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class ScenarioResults:
    """Expected results of one state of a study.

    digest: identifies the state. results: those of what is proposed and of the scenarios that need no capital included.
    decision: what is proposed: the choice at the study's own inputs, under the limits of the state. A moved state tries
    the same, and does not choose again.
    """

    digest: str
    results: Results
    decision: ProposedChoice

    @property
    def names(self) -> list[str]:
        """Names of the scenarios, "As built" first."""
        return [s.name for s in self.results.study.scenarios]

    @cached_property
    def indices(self) -> list[dict[str, Any]]:
        """Expected indices of every scenario, as in summary.json, but for those by number of interruptions."""
        return [usual_indices(e) for e in self.results.expected]

    @property
    def business(self) -> Business:
        """The business case of every scenario."""
        return self.results.business

    @cached_property
    def money(self) -> list[dict[str, Any]]:
        """Expected business figures of every scenario, see `business_summary`."""
        return business_summary(self.business)

    @cached_property
    def callouts(self) -> list[float]:
        """Expected call-outs a year of every scenario."""
        return [sum(i["callouts"].values()) for i in self.indices]


def compute(study: Study, digest: str, like: Sequence[ScenarioResults] = (),
            decision: ProposedChoice | None = None, workers: Workers = HERE) -> ScenarioResults:
    """Expected values and business case of a study, with what it proposes and the scenarios that need no capital.

    decision: what is proposed, where it is neither that of `like` nor to be decided now. like: results of other states
    of the same study. Their outcome table is used again where only rates, times and prices differ. Their application
    checks are used in any case and may not be those of this state: who shows checks has to compute them. workers: do
    parts of a choice.
    """
    decision = decision or (like[0].decision if like else decide(study, workers=workers))
    study = replace(study, scenarios=settle_scenarios(study.model, study.scenarios))
    study = _proposed_first(with_alternatives(study, decision))
    results = next((found for other in like if (found := _with_table_of(other.results, study)) is not None), None)
    if results is None:
        results = _with_checks_of(like[0].results, study) if like else expect(study)
    return ScenarioResults(digest, results, decision)


def _proposed_first(study: Study) -> Study:
    """The study with what is proposed right after "As built", as it is looked at first."""
    at = proposed_position(study.scenarios)
    if at is None:
        return study
    others = [s for i, s in enumerate(study.scenarios) if i not in (0, at)]
    return replace(study, scenarios=(study.scenarios[0], study.scenarios[at], *others))


def _with_table_of(other: Results, study: Study) -> Results | None:
    """Results of a study on the outcome table of another state, None where the table is another one."""
    before, now = other.study.values, study.values
    changed = _differing(before, now)
    if study.scenarios != other.study.scenarios or not changed <= RATES_AND_PRICES:
        return None
    if any(key in changed and not 0.0 < values[key] < 1.0 for key in PROBABILITIES for values in (before, now)):
        return None                 # a table has no rows for what cannot happen
    if before["line_fault_rate_per_km"] <= 0.0 or not _same_fast_operations(study, other.study):
        return None
    if "reclosing_off_share" in changed and orders_of_shares(other.table.protections):
        return None                 # the study's share may come before or after one that a device states
    table = other.table
    if study.network is not other.study.network:
        table = replace(table, network=study.network)
    alike = other.alike or other
    matrices = alike.matrices
    expected = None if matrices is None else matrices.expected(study.network, study.values)
    return replace(assemble(study, table, other.checks, expected), alike=alike)


def options_at(options: Options, before: Study, now: Study) -> Options | None:
    """Options of one state of a study, `before`, made for another.

    None where others may be offered there, or other sums are needed.
    """
    same = now.network is before.network and _differing(before.values,
                                                        now.values) <= RATES_AND_PRICES - SUMMED_ASSUMPTIONS
    return options.at(now.values) if same else None


def _same_fast_operations(study: Study, other: Study) -> bool:
    now, before = (s.network.column["fast_operations"] for s in (study, other))
    return study.network is other.network or np.array_equal(now, before, equal_nan=True)


def _differing(before: Assumptions, now: Assumptions) -> set[str]:
    """Keys of the assumptions that differ."""
    previous = dict(before)
    return {key for key, value in now.items() if value != previous[key]}


def _with_checks_of(other: Results, study: Study) -> Results:
    return assemble(study, build_outcomes(study.model, study.scenarios), other.checks)


def with_limits(study: Study, limits: Mapping[str, object]) -> Study:
    """The study with some limits of its table [choice] changed, see `Asked.limits`; others stay as it states them."""
    values = as_assumptions(dict(study.values) | {key: value for key, value in limits.items() if key in BY_KEY})
    forced = dict(study.extra.get("laterals", {}))
    for key, word in (("forced_in", FORCED_IN), ("forced_out", FORCED_OUT)):
        if isinstance(ids := limits.get(key), tuple):
            forced = {name: other for name, other in forced.items() if other != word and name not in ids}
            forced |= dict.fromkeys(ids, word)
    return replace(study, values=values, extra={**study.extra, "laterals": forced})


def moved_study(study: Study, moves: Mapping[str, float | int], base: ScenarioResults) -> Study:
    """The study with some values changed; the stated range of a value that is set is dropped, the default one holds.

    moves: values by key of an assumption, and of `fault_rate_factor` (times the stated fault rates),
    `existing_fast_operations` (of every breaker and recloser as built, and wherever a scenario sets none),
    `fast_tripping` (the same of the scenarios alone; FAST_AS_STATED for what each states), `counts` and
    `share_converted` (0–1 of each scenario's laterals). Which laterals an `applicable_only` scenario converts is
    decided again at the changed values; what is proposed stays. base: results of the study without changes, by which
    laterals are ranked for a share of them.
    """
    assumed = {key: value for key, value in moves.items() if key in BY_KEY}
    values = as_assumptions(dict(study.values) | assumed)
    ranges = {key: known for key, known in study.stated_ranges.items() if key not in assumed}
    moved = study
    factor = float(moves.get("fault_rate_factor", 1.0))
    if factor != 1.0:
        values["line_fault_rate_per_km"] *= factor
        if (rate := ranges.get("line_fault_rate_per_km")) is not None:
            ranges["line_fault_rate_per_km"] = Range(rate.low * factor, rate.likely * factor, rate.high * factor)
        moved = study.with_section_values({name: study.network.column[name] * factor for name in _RATES})
    fast = int(moves.get("existing_fast_operations", FAST_AS_STATED))
    if fast != FAST_AS_STATED:
        moved = moved.with_section_values({"fast_operations": existing_fast_operations(study, fast)})
    stated = study.scenarios
    if base.decision.scenario is not None and proposed_position(stated) is None:
        stated = (*stated, base.decision.scenario)
    scenarios = tuple(_moved_scenario(s, moves) if i else s for i, s in enumerate(stated))
    scenarios = settle_scenarios(Model(moved.network, values), scenarios)
    share = float(moves.get("share_converted", 1.0))
    if share < 1.0:
        place = {name: i for i, name in enumerate(base.names)}
        scenarios = tuple(s if s.device is None else replace(s, laterals=_share_of(base, s, place[s.name], share))
                          for s in scenarios)
    return replace(moved, values=values, stated_ranges=ranges, scenarios=scenarios)


def existing_fast_operations(study: Study, most: int) -> np.ndarray:
    """Fast operations that each section states if every breaker and recloser has so many, or one less than its
    operations to lockout where that is fewer: (n,) in the network's order."""
    network, column = study.network, study.network.column
    lockout = np.where(np.isnan(column["operations_to_lockout"]), float(study.values["operations_to_lockout"]),
                       column["operations_to_lockout"])
    return np.where(BACKS_UP[network.device], np.minimum(float(most), lockout - 1.0), column["fast_operations"])


def _moved_scenario(scenario: Scenario, moves: Mapping[str, float | int]) -> Scenario:
    fast, counts = int(moves.get("fast_tripping", FAST_AS_STATED)), int(moves.get("counts", 0))
    if fast != FAST_AS_STATED and scenario.fast_operations is None:
        scenario = replace(scenario, fast_operations=fast)
    if counts and isinstance(scenario.laterals, Mapping):
        return replace(scenario, laterals={head: _with_counts(c, counts) for head, c in scenario.laterals.items()})
    if counts and scenario.device == SECTIONALIZER:
        scenario = replace(scenario, counts=counts)
    return scenario


def _with_counts(conversion: Conversion, counts: int) -> Conversion:
    return replace(conversion, counts=counts) if conversion.device == SECTIONALIZER else conversion


def _share_of(base: ScenarioResults, scenario: Scenario, at: int,
              share: float) -> tuple[str, ...] | dict[str, Conversion]:
    """The share of a scenario's laterals with the largest gain in customer-minutes, in network order."""
    best = _best_laterals(base, scenario, at, share)
    if isinstance(scenario.laterals, Mapping):
        return {head: scenario.laterals[head] for head in best}
    return best


def _best_laterals(base: ScenarioResults, scenario: Scenario, at: int, share: float) -> tuple[str, ...]:
    """Ids of those laterals."""
    network = base.results.network
    heads = named_heads(network, scenario)
    gain = customer_hours_by_lateral(base, 0)[heads] - customer_hours_by_lateral(base, at)[heads]
    best = np.argsort(-gain, kind="stable")[: round(share * len(heads))]
    return tuple(str(i) for i in network.ids[heads[np.sort(best)]])


def customer_hours_by_lateral(base: ScenarioResults, at: int) -> np.ndarray:
    """Customer-hours a year that the faults of each lateral cause, (n,) at the laterals' heads."""
    return by_lateral(base, base.results.expected[at].fault_customer_hours)


def by_lateral(base: ScenarioResults, caused: np.ndarray) -> np.ndarray:
    """Sums of `caused` (n,), by section, over the sections of each lateral: (n,) at the laterals' heads, else 0."""
    network = base.results.network
    on_lateral = network.unit >= 0
    return np.bincount(network.unit[on_lateral], caused[on_lateral], len(network))


def lowered_counts(now: ScenarioResults, at: int) -> int:
    """Conversions of a scenario whose sectionalizer has fewer counts than asked: its backup admits no more."""
    results = now.results
    asked, made = conversions(results.network, results.study.scenarios[at]), results.table.protections[at]
    same = made.device[asked.head] == asked.device
    return int((COUNTS[asked.device] & same & (made.counts[asked.head] < asked.counts)).sum())
