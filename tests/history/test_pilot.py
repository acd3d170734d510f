"""Plans of a pilot: the closed form against simulated verdicts, and what moves it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import special

from reliability.history.lateral_years import DRIFT
from reliability.history.level import LEVEL
from reliability.history.outages import read_records
from reliability.history.pilot import Fleet, fleet_of, pilot_of, plan_pilot, power
from reliability.history.ratio_tests import FEWER
from tests.history.fleets import FleetLaw, verdicts
from tests.history.records import outage, study

FLEET = Fleet(laterals=100, rate=1.0, between=0.49, spread=0.0, years_before=3.0)


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.0, 0.5])
@pytest.mark.parametrize("ratio", [0.5, 0.7])
def test_power_is_that_of_simulated_verdicts(ratio, spread):
    """The allowance for drift makes the verdicts cautious, and the plan with them; 400 fleets, errors of 0.025."""
    law = FleetLaw("earlier_records", laterals=100, converted=25, years=3, ratio=ratio, lateral_years=spread, cv=0.01)
    seen = np.mean([v == FEWER for v in verdicts(law, 400)])
    fleet = replace(FLEET, between=0.0, spread=spread)
    assert seen == pytest.approx(float(power(fleet, ratio, 25, np.array([3.0]))[0]), abs=0.08)


def test_the_years_of_the_plan_give_the_power():
    plan = plan_pilot(FLEET, 0.5)
    for row in plan.designs[plan.designs["years_after"].notna()].to_dict("records"):
        assert power(FLEET, 0.5, row["converted"], np.array([row["years_after"]]))[0] == pytest.approx(0.8, abs=1e-6)
        assert row["years_total"] == row["years_after"] + row["steps"] - 1
        assert row["converted"] + row["others"] == 100


def test_more_laterals_more_events_and_a_larger_effect_need_fewer_years():
    def years(fleet: Fleet, ratio: float, converted: int) -> float:
        designs = plan_pilot(fleet, ratio).designs
        return designs[(designs["converted"] == converted) & (designs["steps"] == 1)]["years_after"].iloc[0]

    base = years(FLEET, 0.5, 20)
    assert years(FLEET, 0.5, 30) < base
    assert years(replace(FLEET, rate=2.0), 0.5, 20) < base
    assert years(FLEET, 0.3, 20) < base
    assert years(replace(FLEET, spread=0.5), 0.5, 20) > base
    assert np.isnan(years(FLEET, 0.95, 20))


def test_the_fleet_is_found_again_in_its_records():
    rng = np.random.default_rng(2)
    rate = rng.gamma(2.0, 0.5, 4000)[:, None]
    found = fleet_of(rng.poisson(rate * rng.gamma(2.0, 0.5, (4000, 5))), 5.0)
    assert found.rate == pytest.approx(1.0, rel=0.05)
    assert found.between == pytest.approx(0.5, rel=0.1)
    assert found.spread == pytest.approx(0.5, rel=0.1)


def test_no_plan_without_events_laterals_or_an_effect():
    assert plan_pilot(replace(FLEET, rate=0.0), 0.5) is None
    assert plan_pilot(replace(FLEET, laterals=1), 0.5) is None
    assert plan_pilot(FLEET, 1.0) is None
    assert plan_pilot(FLEET, 0.0) is None


def test_a_plan_is_made_of_laterals_that_are_not_converted():
    day = [f"20{18 + i % 6}-05-0{1 + i % 9}T" for i in range(24)]
    rows = [outage(f"e{i}", f"{day[i]}{i % 12:02d}:00", f"{day[i]}{i % 12 + 2:02d}:00", 5, ("A1", "A2")[i % 2])
            for i in range(24)]
    days = {"records_from": "2018-01-01", "records_to": "2023-12-31"}
    found = pilot_of(read_records(study(rows, **days)), 0.5)
    assert (found.fleet.laterals, found.fleet.years_before) == (2, pytest.approx(6.0, abs=0.01))
    assert found.fleet.rate == pytest.approx(2.0, rel=0.01)
    assert pilot_of(read_records(study(rows, extra={"conversions": {"A1": "2021-01-01"}}, **days)), 0.5) is None


def test_power_by_hand():
    """25 of 100 laterals: four counts, lateral-years that differ (more where rates do), drift of the converted."""
    fleet, ratio, years = replace(FLEET, spread=0.3), 0.6, 4.0
    same, changed = 1 + 0.3 * 1.49, 1 / 0.6 + 0.3 * 1.49
    variance = (same / 3 + DRIFT * 1.49) / 25 + same / 3 / 75 + (changed / 25 + same / 75) / years
    wanted = special.ndtr(-np.log(ratio) / np.sqrt(variance) - special.ndtri((1 + LEVEL) / 2))
    assert power(fleet, ratio, 25, np.array([years]))[0] == pytest.approx(wanted)
