"""What a study leaves unknown, by how far it moves the worth of the proposal; what would have to differ for one.

The size of a gap is how far the proposal's net present value goes over what is left open: over the range that the
study states or that holds by default, over ±20 % of a default that nobody stated, over the draws of rates
learned from records, or as much as is expected of chosen laterals whose application checks lack an input. Sizes are
compared, not added.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from reliability.business.drivers import RATE_ENDS, ranges_tried
from reliability.business.expected_npv import ExpectedNpv
from reliability.business.options import AS_IT_IS
from reliability.business.rate_drivers import rate_deviations, total_factors
from reliability.business.turning_points import OneWay, one_way, value_of
from reliability.formats import count, money, number
from reliability.network.application import check_laterals
from reliability.network.application_catalogue import UNKNOWN
from reliability.schema.assumption_types import Range
from reliability.schema.assumptions import BY_KEY, RATES_FROM_RECORDS, label_of
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import Conversion, Scenario, proposed_position
from reliability.schema.units import spoken_unit
from reliability.study import Study
from reliability.tasks import HERE, Workers
from reliability.what_if import ScenarioResults

# where a gap is filled
IN_ASSUMPTIONS, IN_TABLES, IMPORT, IN_HISTORY, IN_LATERALS = "assumptions", "tables", "import", "history", "laterals"
MOST_GAPS = 3
FARTHEST_BREAK_EVEN = 10.0      # times the value of today; beyond it there is no way to a proposal (our choice)
_HARDLY = 1e-3      # of the largest gap; a smaller one is not worth a line
_RATE, _FRACTION = "line_fault_rate_per_km", "temporary_fraction"


@dataclass(frozen=True)
class Gap:
    """Something unknown. key: of an assumption, else a word of its own. name, open: what it is, and what is open of it.

    low, high: the net present value of the proposal at the two ends of what is open. filled_by: what would close it.
    place: where that is brought or stated.
    """

    key: str
    name: str
    open: str
    low: float
    high: float
    filled_by: str
    place: str

    @property
    def swing(self) -> float:
        """How far the net present value goes."""
        return abs(self.high - self.low)


@dataclass(frozen=True)
class Needed:
    """An assumption that would have to be another for the best single conversion to pay.

    value: now. turn: where it begins to pay. unit: "" for none.
    """

    key: str
    name: str
    value: float
    turn: float
    unit: str


def data_gaps(now: ScenarioResults, most: int = MOST_GAPS, moved: Collection[str] = ()) -> list[Gap]:
    """The gaps that move the net present value of what is proposed most, the largest first; none without a proposal.

    now: results of the state. moved: keys of assumptions that it has otherwise than the study.
    """
    at = proposed_position(now.results.study.scenarios)
    if at is None:
        return []
    found = [*_of_assumptions(now, at, moved), *_of_learned_rates(now, at), *_of_checks(now, at)]
    found.sort(key=lambda gap: -gap.swing)
    return [gap for gap in found[:most] if gap.swing > _HARDLY * found[0].swing]


def _of_assumptions(now: ScenarioResults, at: int, moved: Collection[str]) -> list[Gap]:
    """Assumptions known as a range only, the study's or a default one, or not stated at all."""
    study, currency = now.results.study, now.business.currency
    ranges = {key: tried for key, tried in ranges_tried(study).items()
              if key in study.uncertain or not stated(study, key)}
    found = _one_way(now, study.scenarios[at], ranges)
    gaps = []
    for key, tried in ranges.items():
        low, high = float(found.low[key][1]), float(found.high[key][1])
        unit = spoken_unit(key, currency)
        found_open = _open(study, key, tried, unit, key in moved)
        gaps.append(Gap(key, label_of(key), found_open, low, high, *_closed_by(study, key)))
    return gaps


def _open(study: Study, key: str, tried: Range, unit: str, moved: bool) -> str:
    """What is open of an assumption, in words."""
    value, ends = f"{number(value_of(study.values, key))}{unit}", f"{number(tried.low)} to {number(tried.high)}{unit}"
    if key in study.stated_ranges:
        return f"stated as {ends}"
    if moved:
        return f"moved to {value}; {ends} {'drawn' if key in study.uncertain else 'tried'}"
    if stated(study, key):
        return f"stated as {value}, without a range; {ends} is taken by default"
    return f"not stated; the default of {value} is taken, and {ends} {'drawn' if key in study.uncertain else 'tried'}"


def _closed_by(study: Study, key: str) -> tuple[str, str]:
    """What would close the gap of an assumption, and where that is brought."""
    recorded = study.outages is not None and len(study.outages) > 0
    if key == _RATE:
        return ("Learn it from the outage records", IN_HISTORY) if recorded else ("Import outage records", IMPORT)
    if key == _FRACTION and not (recorded and study.operations is not None):
        return "Import momentary events or counter readings", IMPORT
    if key in study.stated_ranges:
        return "Narrow its range", IN_ASSUMPTIONS
    return ("State its range" if stated(study, key) else "State it"), IN_ASSUMPTIONS


def _of_learned_rates(now: ScenarioResults, at: int) -> list[Gap]:
    """What the records leave unknown of the fault rates: the ends of 90 % of its draws."""
    study = now.results.study
    if study.rate_draws is None:
        return []
    pair = (study.scenarios[0], study.scenarios[at])
    apart = rate_deviations(study.model, pair, now.results.costs, study.rate_draws)[:, 1]
    low, high = (float(e) for e in float(now.money[at]["npv"]) + np.quantile(apart, RATE_ENDS))
    ends = " to ".join(number(e) for e in np.quantile(total_factors(study.model, study.rate_draws), RATE_ENDS))
    return [Gap(RATES_FROM_RECORDS.key, RATES_FROM_RECORDS.label, f"known from the records to {ends} times their mean",
                low, high, "Bring more years, momentary events or counter readings", IMPORT)]


def _of_checks(now: ScenarioResults, at: int) -> list[Gap]:
    """Chosen laterals whose checks lack an input: what is expected of them."""
    chosen = now.decision.choice.selection
    chosen = chosen[(chosen["what"] == "lateral") & (chosen["device"] == SECTIONALIZER)]
    if chosen.empty or now.decision.named:
        return []
    checks = check_laterals(now.results.study.model, now.results.study.scenarios[at])
    verdict = dict(zip(checks.lateral_ids, checks.verdict, strict=True))
    unknown = np.array([verdict.get(str(i)) == UNKNOWN for i in chosen["section_id"]])
    if not unknown.any():
        return []
    npv, of_laterals = float(now.money[at]["npv"]), now.results.laterals
    brought = of_laterals["lateral_id"].isin(chosen.loc[unknown, "section_id"].astype(str))
    without = npv - float(of_laterals["npv"].to_numpy(dtype=float)[
        brought & (of_laterals["scenario"] == now.names[at])].sum())
    lacking = [c.kind.missing for c in checks.checks if c.kind.decides and bool(
        ((c.verdict == UNKNOWN) & np.isin(checks.lateral_ids, chosen.loc[unknown, "section_id"].astype(str))).any())]
    first = f": {lacking[0]}" if lacking else ""
    return [Gap("application", "Application checks", f"unknown at {int(unknown.sum())} "
                f"of the {count(len(chosen), 'lateral')} chosen{first}", without, npv,
                "See the checks of each lateral", IN_LATERALS)]


Nearest = tuple[str, float, list[Needed]]


def needed_for_a_proposal(now: ScenarioResults, most: int = MOST_GAPS, workers: Workers = HERE) -> Nearest:
    """Without a proposal: the conversion that comes nearest to paying, its net present value, and what would have to be
    different for it to pay, each alone, the smallest change first. "" where no conversion is open to any lateral.

    workers: sum parts of the network.
    """
    options = now.decision.options
    rows = options.rows
    alone = rows[(rows["device"] != "") & (rows["setting"] == AS_IT_IS) & (rows["lateral"] >= 0)]
    if alone.empty:
        return "", np.nan, []
    alone = alone[alone["capex"] > 0.0] if (alone["capex"] > 0.0).any() else alone
    best = alone.iloc[int(np.argmax((alone["npv"] / alone["capex"].clip(lower=1.0)).to_numpy()))]
    network, study = now.results.network, now.results.study
    head = int(options.heads[int(best["lateral"])])
    counts = None if np.isnan(best["counts"]) else int(best["counts"])
    one = Scenario("Nearest", {str(network.ids[head]): Conversion(str(best["device"]), counts)}, str(best["device"]),
                   None, None)
    found = _one_way(now, one, ranges_tried(study), workers)
    turns = []
    for key, nil in found.break_even.items():
        value, turn = value_of(study.values, key), float(nil[1])
        if (np.isfinite(turn) and value > 0.0 and turn > 0.0
                and 1.0 / FARTHEST_BREAK_EVEN <= turn / value <= FARTHEST_BREAK_EVEN):
            turns.append(Needed(key, label_of(key), value, turn, spoken_unit(key, now.business.currency)))
    turns.sort(key=lambda n: abs(np.log(n.turn / n.value)))
    return str(network.names[head]), float(best["npv"]), turns[:most]


def _one_way(now: ScenarioResults, scenario: Scenario, ranges: dict[str, Range], workers: Workers = HERE) -> OneWay:
    study = now.results.study
    npv = ExpectedNpv(study.model, (study.scenarios[0], scenario), now.results.costs)
    npv.prepare(study.values, workers)
    return one_way(study.values, npv, ranges)


def stated(study: Study, key: str) -> bool:
    """Whether a study states an assumption, or an element of it ("clearing_shares.0"): in its file, as a range, or as
    another value than the default."""
    known = BY_KEY[key.partition(".")[0]]
    return (key in study.stated_ranges or dict(study.values)[known.key] != known.default
            or f"{known.table}.{known.key}" in study.lines)


def in_words(gap: Gap, currency: str) -> str:
    """A gap as a sentence behind its name."""
    return (f"{gap.open}. Over that the net present value goes from {money(gap.low)} to {money(gap.high, currency)}.")
