"""What is learned from the demo's records, against the rates that they were drawn from (data/demo/truth.csv)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.faults.outcomes import build_outcomes, row_rates
from reliability.history import learned_study
from reliability.history.level import LEVEL
from reliability.history.outages import records_of
from reliability.history.rates import LearnedRates
from reliability.history.units import MAIN
from reliability.indices.expected import expected_values, system_indices
from reliability.network.rates import fault_rates
from reliability.pipeline import learned_rates
from reliability.study import open_study
from reliability.study.study import Study

FOLDER = Path(__file__).parents[2] / "data" / "demo"
COMMON_CV = 0.2 / 6 ** 0.5     # a year's faults of the demo vary together, cv 0.2, over six years


@dataclass
class Demo:
    """true: the study at the rates of truth.csv. rate, temporary: faults a year of each unit, all and temporary."""

    true: Study
    learned: Study
    found: LearnedRates
    rate: np.ndarray
    temporary: np.ndarray


@pytest.fixture(scope="module")
def demo() -> Demo:
    assumed = open_study(FOLDER)
    truth = pd.read_csv(FOLDER / "truth.csv").set_index("section_id").loc[assumed.network.ids]
    true = assumed.with_section_values({name: truth[name].to_numpy() for name in truth})
    found = learned_rates(assumed, records_of(assumed))
    rates, units = fault_rates(true.model), len(found.units)
    temporary = rates * true.network.column["temporary_fraction"]
    return Demo(true, learned_study(assumed, found), found, np.bincount(found.unit_of, rates, units),
                np.bincount(found.unit_of, temporary, units))


def true_rates(demo: Demo) -> np.ndarray:
    """Of each unit, at the years of the records: how much these were above others is common to all, and no record can
    tell it. See the test of the sum."""
    return demo.rate * fault_rates(demo.learned.model).sum() / demo.rate.sum()


def test_intervals_hold_the_true_rates_as_often_as_they_claim(demo):
    """Theory: of 12 mains four standard errors of a share of LEVEL are 35 points. What laterals share, their mean and
    the shape of their rates, lets the share covered vary by 4 points from fleet to fleet (test_learned_fleets), which
    is more than the chance of 600 laterals: three times that."""
    units = demo.found.units
    rate = true_rates(demo) / np.bincount(demo.found.unit_of, demo.true.network.column["length_km"], len(units))
    inside = ((units["rate_low"] <= rate) & (rate <= units["rate_high"])).to_numpy()
    main = units["group"].str.startswith(MAIN).to_numpy()
    for chosen in (main, ~main):
        assert inside[chosen].mean() > LEVEL - max(4 * (LEVEL * (1 - LEVEL) / chosen.sum()) ** 0.5, 0.12)


def test_temporary_fractions_of_groups_lie_in_their_intervals(demo):
    """Those widened by half: of a few groups at 90 % one may well lie outside."""
    groups = pd.DataFrame({"group": demo.found.units["group"], "rate": demo.rate, "temporary": demo.temporary})
    sums = groups.groupby("group").sum()
    priors = demo.found.priors
    true = (sums["temporary"] / sums["rate"]).reindex(priors.index)
    half = (priors["fraction_high"] - priors["fraction_low"]) / 4
    assert (priors["fraction_low"] - half < true).all()
    assert (true < priors["fraction_high"] + half).all()


def test_all_faults_are_as_many_as_there_are(demo):
    """Within three standard deviations: of the posterior, as its draws have it, which holds the shared years too."""
    draws, mean = demo.found.draws, fault_rates(demo.learned.model)
    fraction = demo.learned.network.column["temporary_fraction"]
    of_unit = [np.bincount(demo.found.unit_of, mean * share, len(demo.rate)) for share in (fraction, 1 - fraction)]
    spread = (draws.temporary @ of_unit[0] + draws.permanent @ of_unit[1]).std()
    assert mean.sum() == pytest.approx(demo.rate.sum(), abs=3 * np.hypot(spread, COMMON_CV * demo.rate.sum()))


def test_learned_rates_are_nearer_the_truth_than_one_for_all(demo):
    """Theory: of the spread between laterals a / (a + n) is left, with a shape a near 3 of their rates and 2 records
    of each: three fifths; more, as records lack the temporary faults that were ridden through."""
    laterals = ~demo.found.units["group"].str.startswith(MAIN).to_numpy()
    learned = np.bincount(demo.found.unit_of, fault_rates(demo.learned.model), len(demo.rate))[laterals]
    true = true_rates(demo)[laterals]
    km = np.bincount(demo.found.unit_of, demo.true.network.column["length_km"], len(demo.rate))[laterals]
    flat = km * true.sum() / km.sum()
    assert ((learned - true) ** 2).mean() < 0.8 * ((flat - true) ** 2).mean()


def test_indices_at_learned_rates_are_near_those_at_the_true_ones(demo):
    """The mains' 80 faults of six years and the years themselves let SAIFI vary by some 14 %; twice that. What blinks
    rests on the temporary fraction as well."""
    def indices(study: Study) -> dict[str, object]:
        table = build_outcomes(study.model, study.scenarios[:1])
        return system_indices(expected_values(table, study.values)[0], study.values["yearly_cv"])

    learned, true = indices(demo.learned), indices(demo.true)
    assert learned["saifi"] == pytest.approx(true["saifi"], rel=0.28)
    assert learned["maifi_e"] == pytest.approx(true["maifi_e"], rel=0.35)


def test_counters_step_as_often_as_the_true_rates_let_expect(demo):
    """Steps of all counters over the years read, within four standard errors: of openings, three at most an event, and
    of the years that all sections share. Lateral reclosers count what their laterals do."""
    rows = pd.read_csv(FOLDER / "operations.csv")
    counters = rows[rows["kind"] == "counter"]
    table = build_outcomes(demo.true.model, demo.true.scenarios[:1])
    rate, network = row_rates(table, demo.true.values), table.network
    recloser = network.ids[table.recloser[0][table.section]].astype(str)
    a_year = pd.Series(rate * table.openings[0]).groupby(recloser).sum()
    span = pd.to_datetime(counters["to"]) - pd.to_datetime(counters["from"])
    years = (span.dt.days / 365.25).groupby(counters["section_id"]).sum()
    expected = float((years * a_year[years.index]).sum())
    assert len(years) >= 10
    assert counters["operations"].sum() == pytest.approx(expected, rel=4 * np.hypot((3 / expected) ** 0.5, COMMON_CV))


def test_events_counters_and_silence(demo):
    """Some devices report each momentary event, others have a counter, some neither; one span is to be ignored."""
    study, rows = demo.true, pd.read_csv(FOLDER / "operations.csv")
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
    days = demo.true.extra["conversions"]
    outages = pd.read_csv(FOLDER / "outages.csv", dtype=str, keep_default_na=False)
    here = outages[outages["section_id"].isin(list(days)) & (outages["fault_kind"] == "temporary")]
    day = here["section_id"].map({name: str(said["day"]) for name, said in days.items()})
    before = here["started"].str[:10] < day
    assert len(days) == 15
    assert before.sum() >= 5
    assert (~before).sum() <= 1
