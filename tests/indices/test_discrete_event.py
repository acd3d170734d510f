"""The package's simulation and closed form against a discrete-event simulation of the same model."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.indices.simulation import simulate
from reliability.pipeline import expect, question
from tests.discrete_event import discrete_event_years
from tests.networks import random_study

YEARS = 400.0


@pytest.mark.slow
@pytest.mark.parametrize("number", range(4))
def test_discrete_events_agree_with_the_closed_form(number):
    """Faults and interruptions over 400 years: within 4.5 standard deviations of compound Poisson sums."""
    study = random_study(np.random.default_rng(200 + number), sections=20)
    results = expect(study)
    customers = float(study.sections["customers"].sum())
    for scenario, expected in zip(study.scenarios, results.expected, strict=True):
        tally = discrete_event_years(study, scenario, YEARS, np.random.default_rng(number))
        mean_ci = expected.fault_ci.sum() * YEARS
        # an event interrupts at most all customers, so the sum's variance is at most mean × customers
        assert abs(tally.ci - mean_ci) <= 4.5 * np.sqrt(mean_ci * customers) + 1e-9
        mean_events = expected.fault_momentary_events.sum() * YEARS
        assert abs(tally.momentary_events - mean_events) <= 4.5 * np.sqrt(mean_events * customers) + 1e-9
        repairs = expected.fault_callouts[:, 3].sum() * YEARS
        assert abs(tally.callouts["repair"] - repairs) <= 4.5 * np.sqrt(repairs)
        mean_hours = expected.fault_customer_hours.sum() * YEARS
        assert tally.customer_hours == pytest.approx(mean_hours, rel=0.2)
