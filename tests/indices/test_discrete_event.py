"""The package's closed form against a discrete-event simulation of the same model, batch by batch of years."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.pipeline import expect
from tests.discrete_event import discrete_event_years
from tests.networks import random_study

BATCHES, YEARS = 40, 10.0
MEASURES = {"ci": "fault_ci", "customer_hours": "fault_customer_hours", "momentary_events": "fault_momentary_events",
            "momentary_interruptions": "fault_momentary_interruptions"}


def errors_apart(means: np.ndarray, wanted: float) -> float:
    """Standard errors between the mean of batches, (BATCHES,), and what is wanted; 0 where both are alike."""
    apart = abs(means.mean() - wanted)
    error = means.std(ddof=1) / np.sqrt(len(means))
    return 0.0 if apart <= 1e-9 * (1.0 + wanted) else apart / max(error, 1e-300)


@pytest.mark.slow
@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("number", range(4))
def test_discrete_events_agree_with_the_closed_form(number, full):
    """Interruptions, hours, momentary events and call-outs a year: within four standard errors of 40 batches."""
    study = random_study(np.random.default_rng(200 + number), 15, full, yearly_cv=0.0, cv=0.5)
    results, rng = expect(study), np.random.default_rng(number)
    for scenario, expected in list(zip(study.scenarios, results.expected, strict=True))[::3]:
        tallies = [discrete_event_years(study, scenario, YEARS, rng) for _ in range(BATCHES)]
        wanted = {name: getattr(expected, attribute).sum() for name, attribute in MEASURES.items()}
        found = {name: np.array([getattr(t, name) for t in tallies]) / YEARS for name in MEASURES}
        callouts = expected.fault_callouts.sum(axis=0)
        wanted |= {"repair": callouts[3], "other": callouts[:3].sum()}
        found |= {kind: np.array([t.callouts[kind] for t in tallies]) / YEARS for kind in ("repair", "other")}
        apart = {name: errors_apart(found[name], wanted[name]) for name in wanted}
        assert {name: round(a, 1) for name, a in apart.items() if a > 4.0} == {}, scenario.name
