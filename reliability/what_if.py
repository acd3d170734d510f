"""What if: a study with some of its assumptions moved, and the results that follow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from reliability.business.cashflow import Business, business_summary
from reliability.faults.outcomes import build_outcomes
from reliability.faults.states import orders_of_shares
from reliability.indices.expected import system_indices
from reliability.network.application import settle_scenarios
from reliability.network.conversions import named_heads
from reliability.network.protection import counts_too_many
from reliability.pipeline import Results, assemble, expect, with_rivals
from reliability.schema.assumptions import ASSUMPTIONS, BY_KEY, Range
from reliability.schema.devices import SECTIONALIZER
from reliability.study import Scenario, Study

AS_STATED = -1      # fast_tripping that leaves the fast operations to each scenario
PROBABILITIES = {"temporary_fraction", "sectionalizer_failure", "fuse_failure", "wrong_link_share",
                 "reclosing_off_share"}
# Assumptions that change how often, how long and for how much, but nothing that protection does.
RATES_AND_PRICES = {a.key for a in ASSUMPTIONS if a.table in ("restoration", "costs", "finance", "simulation")} | {
    *PROBABILITIES, "line_fault_rate_per_km", "yearly_cv"}
_RATES = ("line_fault_rate_per_km", "equipment_fault_rate")


@dataclass(frozen=True)
class ScenarioResults:
    """Expected results of one state of a study.

    digest: names the state. results: with the rivals that need no capital among the scenarios.
    indices: of each scenario, as in summary.json. money: see `business_summary`.
    """

    digest: str
    results: Results

    @property
    def names(self) -> list[str]:
        """Names of the scenarios, "As built" first."""
        return [s.name for s in self.results.study.scenarios]

    @cached_property
    def indices(self) -> list[dict]:
        """Expected indices of every scenario."""
        return [system_indices(e, self.results.study.values["yearly_cv"]) for e in self.results.expected]

    @property
    def business(self) -> Business:
        """What the money is taken from."""
        return self.results.business

    @cached_property
    def money(self) -> list[dict]:
        """Expected business figures of every scenario."""
        return business_summary(self.business)

    @cached_property
    def callouts(self) -> list[float]:
        """Expected call-outs a year of every scenario."""
        return [sum(i["callouts"].values()) for i in self.indices]


def compute(study: Study, digest: str, like: Sequence[ScenarioResults] = ()) -> ScenarioResults:
    """Expected figures and business case of a study, rivals beside its scenarios.

    like: results of other states of the same study. Their outcome table serves again where only
    rates, times and prices differ, their application checks always: whoever shows those of a moved
    state makes them.
    """
    study = with_rivals(study)
    results = next((again for a in like if (again := _with_table_of(a.results, study)) is not None), None)
    if results is None:
        results = _with_checks_of(like[0].results, study) if like else expect(study)
    return ScenarioResults(digest, results)


def _with_table_of(other: Results, study: Study) -> Results | None:
    """Results of a study on the outcome table of another state, None where that one does not fit."""
    before, values = other.study, study.values
    apart = {k for k in values if values[k] != before.values[k]}
    if study.scenarios != before.scenarios or not apart <= RATES_AND_PRICES:
        return None
    if any(not 0.0 < v[k] < 1.0 for k in PROBABILITIES & apart for v in (before.values, values)):
        return None                 # a table has no rows for what cannot happen
    if before.values["line_fault_rate_per_km"] <= 0.0:
        return None
    if "reclosing_off_share" in apart and orders_of_shares(other.table.protections):
        return None                 # the study's share may come before or after one that a device states
    table = other.table
    if study.network is not before.network:
        table = replace(table, network=study.network)
    return assemble(study, table, other.checks)


def _with_checks_of(other: Results, study: Study) -> Results:
    return assemble(study, build_outcomes(study.network, study.values, study.scenarios), other.checks)


def moved_study(study: Study, moves: Mapping[str, float | int], base: ScenarioResults) -> Study:
    """The study with the moved values in place; what is moved is known, so its range is dropped.

    Which laterals an `applicable_only` scenario converts is settled again at the moved values.
    base: figures of the study as it stands, by which laterals are ranked for a share of them.
    """
    values, uncertain = dict(study.values), dict(study.uncertain)
    for key in moves.keys() & BY_KEY.keys():
        values[key] = moves[key]
        uncertain.pop(key, None)
    moved = study
    factor = float(moves.get("fault_rate_factor", 1.0))
    if factor != 1.0:
        values["line_fault_rate_per_km"] *= factor
        if (law := uncertain.get("line_fault_rate_per_km")) is not None:
            uncertain["line_fault_rate_per_km"] = Range(law.low * factor, law.likely * factor, law.high * factor)
        moved = study.with_section_values({name: study.network.column[name] * factor for name in _RATES})
    scenarios = tuple(_moved_scenario(s, moves) if i else s for i, s in enumerate(study.scenarios))
    scenarios = settle_scenarios(base.results.network, values, scenarios)
    share = float(moves.get("share_converted", 1.0))
    if share < 1.0:
        scenarios = tuple(s if s.device is None else replace(s, laterals=_best_laterals(base, s, i, share))
                          for i, s in enumerate(scenarios))
    return replace(moved, values=values, uncertain=uncertain, scenarios=scenarios)


def _moved_scenario(scenario: Scenario, moves: Mapping[str, float | int]) -> Scenario:
    fast, counts = int(moves.get("fast_tripping", AS_STATED)), int(moves.get("counts", 0))
    if fast != AS_STATED and scenario.fast_operations is None:
        scenario = replace(scenario, fast_operations=fast)
    if counts and scenario.device == SECTIONALIZER:
        scenario = replace(scenario, counts=counts)
    return scenario


def _best_laterals(base: ScenarioResults, scenario: Scenario, at: int, share: float) -> tuple[str, ...]:
    """Ids of the share of a scenario's laterals with the largest gain in customer-minutes, in network order."""
    network = base.results.network
    heads = named_heads(network, scenario)
    gain = customer_hours_by_lateral(base, 0)[heads] - customer_hours_by_lateral(base, at)[heads]
    best = np.argsort(-gain, kind="stable")[: round(share * len(heads))]
    return tuple(str(i) for i in network.ids[heads[np.sort(best)]])


def customer_hours_by_lateral(base: ScenarioResults, at: int) -> np.ndarray:
    """Customer-hours a year that the faults of each lateral cause, (n,) at the laterals' heads."""
    return by_lateral(base, base.results.expected[at].fault_customer_hours)


def by_lateral(base: ScenarioResults, caused: np.ndarray) -> np.ndarray:
    """Sums over the sections of each lateral, (n,), at the laterals' heads."""
    network = base.results.network
    on = network.unit >= 0
    return np.bincount(network.unit[on], caused[on], len(network))


def too_many_counts(now: ScenarioResults, at: int) -> int:
    """Laterals of a scenario whose counts reach the backup's operations to lockout."""
    broken = counts_too_many(now.results.table.protections[at])
    return int(np.isin(broken, now.results.network.candidates).sum())
