"""Verdicts on drawn fleets: false alarms without an effect, and effects that are seen."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.ratio_tests import FEWER, NO_DIFFERENCE
from reliability.history.selection_basis import PREDICTIVE, RAW
from tests.history.fleets import FleetLaw, verdicts

CHOSEN = ("random", "records", "earlier_records", "covariate")


def false_alarms(law: FleetLaw, decides: str = "") -> float:
    return float(np.mean([v != NO_DIFFERENCE for v in verdicts(law, 300, decides)]))


@pytest.mark.slow
@pytest.mark.parametrize("yearly_cv", [0.0, 0.4])
@pytest.mark.parametrize("lateral_years", [0.0, 0.5])
@pytest.mark.parametrize("chosen", CHOSEN)
def test_without_an_effect_at_most_twelve_percent_are_false_alarms(chosen, lateral_years, yearly_cv):
    assert false_alarms(FleetLaw(chosen, lateral_years=lateral_years, yearly_cv=yearly_cv)) <= 0.12


@pytest.mark.slow
@pytest.mark.parametrize("decides", [RAW, PREDICTIVE])
@pytest.mark.parametrize("feeder_years", [0.0, 0.25])
def test_nor_where_whole_feeders_are_converted_that_have_years_of_their_own(feeder_years, decides):
    """Without an allowance for them about a quarter would be false; half the events are still seen without them."""
    assert false_alarms(FleetLaw("feeders", feeder_years=feeder_years), decides) <= 0.14
    law = FleetLaw("feeders", feeder_years=feeder_years, ratio=0.4)
    assert np.mean([v == FEWER for v in verdicts(law, 60, decides)]) >= 0.8


@pytest.mark.slow
def test_the_other_comparison_would_be_wrong():
    """Raw is fooled by a choice by recorded counts, predictive by what it does not know."""
    assert false_alarms(FleetLaw("records"), RAW) > 0.9
    assert false_alarms(FleetLaw("earlier_records"), PREDICTIVE) > 0.5
    assert false_alarms(FleetLaw("covariate"), PREDICTIVE) > 0.5


@pytest.mark.slow
@pytest.mark.parametrize("years", [3, 5])
@pytest.mark.parametrize("chosen", ["records", "earlier_records"])
def test_half_the_events_among_25_of_100_laterals_are_seen(chosen, years):
    law = FleetLaw(chosen, laterals=100, converted=25, years=years, ratio=0.5)
    assert np.mean([v == FEWER for v in verdicts(law, 100)]) >= 0.7


@pytest.mark.slow
def test_half_the_events_are_seen_by_each_comparison_after_a_choice_at_random():
    law = FleetLaw("random", laterals=100, converted=25, ratio=0.5)
    for decides in (RAW, PREDICTIVE):
        assert np.mean([v == FEWER for v in verdicts(law, 100, decides)]) >= 0.7


def test_a_large_effect_is_seen_whatever_decides():
    assert all(v == FEWER for c in CHOSEN for v in verdicts(FleetLaw(c, ratio=0.2), 3))
