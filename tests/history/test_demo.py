"""What is learned from the demo's records, against the rates that they were drawn from (data/demo/truth.csv)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.faults.outcomes import PERMANENT, build_outcomes, row_rates
from reliability.history import learn_rates, learned_study
from reliability.history.level import LEVEL
from reliability.history.outages import read_records
from reliability.history.rates import MAIN
from reliability.indices.expected import expected_values, system_indices
from reliability.study import open_study
from reliability.study.study import Study

FOLDER = Path(__file__).parents[2] / "data" / "demo"
# A year's faults of the demo vary together, cv 0.2, over six years: 0.08 beside the chance of the counts.
COMMON_CV = 0.2 / 6 ** 0.5
# Share of records with a blank kind, by whether the fault was permanent, as data/generate_demo.py draws them.
BLANK = {True: 0.15, False: 0.35}


@dataclass
class Demo:
    """study: at the true rates. units: as learned, with the truth beside: visible (faults a year that leave a
    record at the unit), permanent (of these), km."""

    study: Study
    learned: Study
    units: pd.DataFrame


@pytest.fixture(scope="module")
def demo() -> Demo:
    """A permanent fault is recorded at its section, a temporary one where a device stayed open, as
    data/generate_demo.py says; who merely blinked is recorded at the reclosing device."""
    assumed = open_study(FOLDER)
    truth = pd.read_csv(FOLDER / "truth.csv").set_index("section_id").loc[assumed.sections["section_id"]]
    true = assumed.with_sections(assumed.sections.assign(
        line_fault_rate_per_km=truth["line_fault_rate_per_km"].to_numpy(),
        temporary_fraction=truth["temporary_fraction"].to_numpy()))
    found = learn_rates(assumed, read_records(assumed))
    table = build_outcomes(true.model, true.scenarios[:1])
    rate, permanent = row_rates(table, true.values), table.kinds == PERMANENT
    recorded = table.opened[0] >= 0
    unit = found.unit_of[np.where(permanent, table.section, table.opened[0])]

    def by_unit(chosen: np.ndarray) -> np.ndarray:
        return np.bincount(unit[chosen], rate[chosen], len(found.units))

    km = np.bincount(found.unit_of, table.network.column["length_km"], len(found.units))
    return Demo(true, learned_study(assumed, read_records(assumed)), found.units.assign(
        visible=by_unit(recorded), permanent=by_unit(permanent & recorded), km=km))


def parts(demo: Demo) -> tuple[pd.DataFrame, pd.DataFrame]:
    main = (demo.units["group"] == MAIN).to_numpy()
    return demo.units[~main], demo.units[main]


def covered(units: pd.DataFrame) -> float:
    rate = units["visible"] / units["km"]
    return float(((units["rate_low"] <= rate) & (rate <= units["rate_high"])).mean())


def test_intervals_hold_the_true_visible_rates_as_often_as_they_claim(demo):
    """Theory: four standard errors of a share of LEVEL in 600 laterals are 5 points, in 12 mains 35."""
    for units in parts(demo):
        assert covered(units) == pytest.approx(LEVEL, abs=4 * (LEVEL * (1 - LEVEL) / len(units)) ** 0.5)


def test_as_many_faults_are_seen_as_the_true_rates_let_expect(demo):
    """Within three standard errors: of a Poisson count, and of the years that all sections share."""
    for units in parts(demo):
        expected = 6 * units["visible"].sum()
        assert units["faults"].sum() == pytest.approx(expected, rel=3 * np.hypot(expected ** -0.5, COMMON_CV))


def test_permanent_faults_are_learned_as_often_as_kinds_that_are_known_let_expect(demo):
    """The learned rate times one minus the learned fraction, km by km, within three standard errors.

    The kind is blank in more of the temporary faults' records than of the permanent ones' (data/generate_demo.py), so
    that the permanent share among known kinds is above the true one.
    """
    for units in parts(demo):
        learned = (units["rate_per_km"] * (1 - units["temporary_fraction"]) * units["km"]).sum()
        true, visible = units["permanent"].sum(), units["visible"].sum()
        permanent, temporary = (1 - BLANK[True]) * true, (1 - BLANK[False]) * (visible - true)
        expected = visible * permanent / (permanent + temporary)
        assert learned == pytest.approx(expected, rel=3 * np.hypot((6 * true) ** -0.5, COMMON_CV))


def test_learned_rates_are_nearer_the_truth_than_raw_ones(demo):
    laterals, _ = parts(demo)
    rate = laterals["visible"] / laterals["km"]
    error = {name: float(((laterals[name] - rate) ** 2).mean()) for name in ("rate_per_km", "observed_rate_per_km")}
    assert error["rate_per_km"] < 0.5 * error["observed_rate_per_km"]


def test_indices_at_learned_rates_are_near_those_at_the_true_ones(demo):
    """The mains' 80 faults of six years and the years themselves let SAIFI vary by some 14 %; twice that."""
    def saifi(study: Study) -> float:
        table = build_outcomes(study.model, study.scenarios[:1])
        return system_indices(expected_values(table, study.values)[0], study.values["yearly_cv"])["saifi"]

    assert saifi(demo.learned) == pytest.approx(saifi(demo.study), rel=0.28)


def test_counters_step_as_often_as_the_true_rates_let_expect(demo):
    """Steps of all counters over the years read, within four standard errors: of openings, three at most an event, and
    of the years that all sections share. Lateral reclosers count what their laterals do."""
    rows = pd.read_csv(FOLDER / "operations.csv")
    counters = rows[rows["kind"] == "counter"]
    table = build_outcomes(demo.study.model, demo.study.scenarios[:1])
    rate, network = row_rates(table, demo.study.values), table.network
    recloser = network.ids[table.recloser[0][table.section]].astype(str)
    a_year = pd.Series(rate * table.openings[0]).groupby(recloser).sum()
    span = pd.to_datetime(counters["to"]) - pd.to_datetime(counters["from"])
    years = (span.dt.days / 365.25).groupby(counters["section_id"]).sum()
    expected = float((years * a_year[years.index]).sum())
    assert len(years) >= 10
    assert counters["operations"].sum() == pytest.approx(expected, rel=4 * np.hypot((3 / expected) ** 0.5, COMMON_CV))


def test_events_counters_and_silence(demo):
    """Some devices report each momentary event, others have a counter, some neither; one span is to be ignored."""
    study, rows = demo.study, pd.read_csv(FOLDER / "operations.csv")
    outages = pd.read_csv(FOLDER / "outages.csv", dtype=str, keep_default_na=False)
    reclose = study.sections[study.sections["device"].isin(["breaker", "recloser", "lateral_recloser"])]["section_id"]
    minutes = (pd.to_datetime(outages["restored"]) - pd.to_datetime(outages["started"])).dt.total_seconds() / 60
    reported = set(outages["section_id"][minutes == 1]) & set(reclose)
    by_kind = {kind: set(part["section_id"]) for kind, part in rows.groupby("kind")}
    assert reported.isdisjoint(by_kind["event"] | by_kind["counter"])
    assert by_kind["event"].isdisjoint(by_kind["counter"])
    assert (len(reported) >= 8, len(by_kind["event"]), len(by_kind["ignore"])) == (True, 2, 1)
    assert len(set(reclose) - reported - by_kind["event"] - by_kind["counter"]) >= 3


def test_converted_laterals_blew_fuses_before_and_ride_through_after(demo):
    """Records of temporary faults there, by the protection of the day: a sectionalizer fails to count in 1 %."""
    days = demo.study.extra["conversions"]
    outages = pd.read_csv(FOLDER / "outages.csv", dtype=str, keep_default_na=False)
    here = outages[outages["section_id"].isin(list(days)) & (outages["fault_kind"] == "temporary")]
    day = here["section_id"].map({name: str(said["day"]) for name, said in days.items()})
    before = here["started"].str[:10] < day
    assert len(days) == 15
    assert before.sum() >= 5
    assert (~before).sum() <= 1
