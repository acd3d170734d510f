"""Devices whose records do not fit, and a fast clearing time that does not, found in fleets with one fault each."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reliability.history.estimate import Estimate, estimate_rates
from reliability.history.evidence import prior_of
from reliability.history.operations import read_operations
from reliability.history.outages import read_records
from reliability.history.posterior import Length
from reliability.history.rate_notes import misfits
from reliability.history.rates import observations
from reliability.study.study import Study
from tests.history.recorded_fleets import COUNTERS, EVENTS, START, YEARS, fleet

FLEETS = int(os.environ.get("FLEETS", "3"))
LARGEST = "F3R"     # its mains and the laterals behind it


@pytest.fixture(autouse=True)
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither fit rests on the long chain that goes on from it."""
    monkeypatch.setattr("reliability.history.estimate.FULL_LENGTH", Length(750, 500, 125))


def estimate(study: Study) -> Estimate:
    records = read_records(study)
    return estimate_rates(study, observations(study, records, read_operations(study, records)))


def lengthened(rng: np.random.Generator, rows: list[dict]) -> None:
    """The recloser in question has enough behind it for a fault of its records to be seen at all."""
    for row in rows:
        if row["section_id"] == LARGEST or row["parent_id"] == LARGEST:
            row["length_km"] *= 2.0


def unmonitored(study: Study) -> Study:
    """None of the device's momentary events are in the records, which claim to hold all."""
    return replace(study, outages=study.outages[~_momentary(study.outages)])


def stops_half_way(study: Study) -> Study:
    half = str(START + np.timedelta64(int(YEARS * 365.25 * 43_200), "s"))
    late = (study.outages["started"] > half).to_numpy()
    return replace(study, outages=study.outages[~(_momentary(study.outages) & late)])


def doubled(study: Study) -> Study:
    table = study.operations
    twice = np.where((table["section_id"] == LARGEST).to_numpy(), 2.0, 1.0)
    return replace(study, operations=table.assign(operations=table["operations"] * twice))


def _momentary(outages: pd.DataFrame) -> np.ndarray:
    return ((outages["section_id"] == LARGEST) & outages["event_id"].str.startswith("m")).to_numpy()


@pytest.mark.slow
@pytest.mark.parametrize(("seen", "spoilt", "reason"), [
    (EVENTS, unmonitored, "may not be recorded at all"), (EVENTS, stops_half_way, "its log may stop or have gaps"),
    (COUNTERS, doubled, "may count twice")])
def test_what_does_not_fit_is_named_and_others_are_not(seen: str, spoilt: Callable[[Study], Study], reason: str):
    """In nine fleets of ten, rounded down; of the healthy devices at most one in ten."""
    named, accused, healthy = 0, 0, 0
    for seed in range(FLEETS):
        study = spoilt(fleet(400 + seed, seen=seen, edit=lengthened).study)
        found = misfits(estimate(study).fit, study.network)
        named += any(name == LARGEST and reason in text for name, text in found)
        accused += sum(name != LARGEST for name, _ in found)
        healthy += 15
    assert named >= int(0.9 * FLEETS)
    assert accused <= 0.1 * healthy


@pytest.mark.slow
def test_momentary_events_without_a_section_are_spread_like_the_others():
    """Half of them without: the fraction stays what it is with all of them, and no device stands out."""
    made = fleet(420)
    blinks = made.study.outages["event_id"].str.startswith("m").to_numpy()
    without = blinks & (np.random.default_rng(1).random(len(blinks)) < 0.5)
    outages = made.study.outages.assign(section_id=made.study.outages["section_id"].mask(without, ""))
    spoilt = estimate(replace(made.study, outages=outages))
    whole, fraction = (found.posterior.mean_temporary.sum() / (
        found.posterior.mean_temporary + found.posterior.mean_permanent).sum() for found in (
        estimate(made.study), spoilt))
    assert fraction == pytest.approx(whole, abs=0.02)
    assert not misfits(spoilt.fit, made.study.network)


@pytest.mark.slow
@pytest.mark.parametrize("seen", [EVENTS, COUNTERS])
def test_a_clearing_time_half_or_double_is_seen_and_the_right_one_is_not_accused(seen):
    """In seven fleets of ten, rounded down; of those with the right one, one at most is accused."""
    best: dict[float, list[float]] = {}
    for factor in (0.5, 1.0, 2.0):
        for seed in range(FLEETS):
            study = fleet(500 + seed, seen=seen).study
            values = study.values | {"fast_clearing_time_s": study.values["fast_clearing_time_s"] / factor}
            found = estimate(replace(study, values=values)).clearing
            assert found is not None
            best.setdefault(factor, []).append(found.best)
    assert sum(b < 1.0 for b in best[0.5]) >= int(0.7 * FLEETS)
    assert sum(b > 1.0 for b in best[2.0]) >= int(0.7 * FLEETS)
    assert sum(b == 1.0 for b in best[1.0]) >= FLEETS - 1


def test_without_fast_tripping_the_clearing_time_says_nothing():
    made = fleet(1, fast="off", feeders=2, laterals=5)
    found = estimate(made.study)
    assert found.clearing is None
    assert dict(found.spans) == {}
    assert prior_of(made.study, observations(made.study, made.records, made.operations).units).start > 0.5


@pytest.mark.slow
def test_where_nothing_shows_momentary_events_the_span_of_the_fraction_is_told():
    """A shorter clearing time saves more fuses, so that more faults leave no record: the fraction rises."""
    found = estimate(fleet(1, seen="neither", feeders=4).study)
    assert found.spans[0.5] > found.spans[1.0] > found.spans[1.5]
