"""What is learned of fleets drawn from known rates: errors, and how often intervals hold the truth.

A mean over few fleets is known to its standard error only: bounds are those of the model's promise, and four standard
errors as forty fleets of each kind spread (`SPREAD`, one fleet).
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from tests.history.fleet_errors import errors
from tests.history.fleet_variants import VARIANTS
from tests.history.recorded_fleets import COUNTERS, EVENTS, NEITHER, fleet

FLEETS = int(os.environ.get("FLEETS", "1"))     # of each kind; the bounds widen as there are fewer
SPREAD = {"fraction": 0.03, "rate": 0.05, "saifi": 0.10, "maifi_e": 0.07, "saifi_0": 0.10, "maifi_e_0": 0.16,
          "saifi_2": 0.10, "maifi_e_2": 0.05, "covered": 0.04}
PROMISED = {"fraction": 0.01, "rate": 0.03, "saifi": 0.03, "maifi_e": 0.05, "saifi_0": 0.05, "maifi_e_0": 0.05,
            "saifi_2": 0.05, "maifi_e_2": 0.05, "covered": 0.03}
# where nothing shows what protection rides through
BLIND = {"fraction": 0.03, "maifi_e": 0.10, "maifi_e_0": 0.20, "maifi_e_2": 0.10}
BLIND_SPREAD = {"fraction": 0.04, "rate": 0.08, "maifi_e": 0.25, "maifi_e_0": 0.40, "maifi_e_2": 0.08}


def check(found: list[dict[str, float]], promised: dict[str, float], spread: dict[str, float]) -> None:
    for name, bound in promised.items():
        truth = {"fraction": 0.0, "covered": 0.9}.get(name, 1.0)
        mean = float(np.mean([f[name] for f in found]))
        assert mean == pytest.approx(truth, abs=bound + 4 * spread[name] / len(found) ** 0.5), name


@pytest.mark.slow
@pytest.mark.parametrize("seen", [EVENTS, COUNTERS, NEITHER])
@pytest.mark.parametrize("fast", ["on", "off", "mixed"])
def test_fleets(fast, seen):
    found = [errors(fleet(600 + seed, fast, seen)) for seed in range(FLEETS)]
    if seen == NEITHER:
        check(found, PROMISED | BLIND, SPREAD | BLIND_SPREAD)
    else:
        check(found, PROMISED | ({"fraction": 0.03, "maifi_e": 0.10} if fast == "off" else {}), SPREAD)
    assert np.mean([f["fractions_covered"] for f in found]) >= 0.5
    worst, every = (float(np.mean([f[name] for f in found])) for name in ("worst_covered", "covered"))
    assert 0.5 < worst < every          # as LEARNED_INTERVALS says where intervals are shown


# one fleet's spread is wider where years vary together, and in a small fleet
WIDER = {"years that vary": 2.5, "three feeders": 1.8, "twenty feeders": 1.0}


@pytest.mark.slow
@pytest.mark.parametrize("name", VARIANTS)
def test_other_fleets(name):
    found = [errors(fleet(700 + seed, **VARIANTS[name])) for seed in range(FLEETS)]
    check(found, PROMISED, {key: WIDER.get(name, 1.2) * spread for key, spread in SPREAD.items()})
