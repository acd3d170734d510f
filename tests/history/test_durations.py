"""Lognormal times to restore with the cut at five minutes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from reliability.history.durations import CUT_HOURS, event_hours, fit_times, restoration_times
from reliability.history.level import LEVEL
from reliability.history.outages import read_records
from tests.history.records import outage, study


def sample(rng: np.random.Generator, n: int, mean: float, cv: float) -> np.ndarray:
    sigma = np.sqrt(np.log1p(cv**2))
    hours = rng.lognormal(np.log(mean) - sigma**2 / 2, sigma, n)
    return hours[hours > CUT_HOURS]


@pytest.mark.parametrize(("mean", "cv"), [(1.5, 0.8), (0.3, 1.2)])
def test_mean_and_cv_are_found_though_the_short_ones_are_missing(mean, cv):
    fit = fit_times(sample(np.random.default_rng(1), 60_000, mean, cv))
    assert fit.mean[0] == pytest.approx(mean, rel=0.02)
    assert fit.cv[0] == pytest.approx(cv, rel=0.03)


def test_ignoring_the_cut_would_be_wrong_here():
    """The second case above loses a sixth of its durations; their plain mean is well above the truth."""
    kept = sample(np.random.default_rng(1), 60_000, 0.3, 1.2)
    assert kept.mean() > 0.3 * 1.1


@pytest.mark.slow
def test_intervals_cover_the_truth_as_often_as_they_claim():
    """Theory: 200 intervals at 90 %, four standard errors are 8.5 points."""
    inside = np.zeros(2)
    for seed in range(200):
        fit = fit_times(sample(np.random.default_rng(seed), 120, 1.5, 0.8))
        inside += [fit.mean[1] <= 1.5 <= fit.mean[2], fit.cv[1] <= 0.8 <= fit.cv[2]]
    assert inside / 200 == pytest.approx([0.9, 0.9], abs=0.085)


def test_too_few_or_all_alike_give_nothing():
    assert fit_times(np.linspace(1, 2, 9)) is None
    assert fit_times(np.full(50, 1.5)) is None
    assert fit_times(np.linspace(1, 2, 10)) is not None


def test_kinds_of_call_out():
    """Temporary on a fused lateral: refuse; permanent anywhere: repair; temporary on a main: patrol."""
    rows, hours = [], np.linspace(0.5, 4, 12)
    for kind, section, label in (("temporary", "A1x", "f"), ("permanent", "A", "r"), ("temporary", "B", "p"),
                                 ("", "A2", "u")):
        for i, h in enumerate(hours):
            start = np.datetime64(f"2023-{i + 1:02d}-05T01:00:00")
            rows += [outage(f"{label}{i}", str(start), str(start + int(1800 * h)), 3, section, fault_kind=kind),
                     outage(f"{label}{i}", str(start), str(start + int(3600 * h)), 3, section, fault_kind=kind)]
    records = read_records(study(rows))
    table = restoration_times(records, np.ones(len(records.steps), bool))
    assert table["events"].to_dict() == {"repair": 12, "refuse": 12, "patrol": 12, "all": 48}
    expected = fit_times(hours)
    assert table.loc["repair", "mean_hours"] == pytest.approx(expected.mean[0], rel=1e-3)
    assert np.ptp(table["mean_hours"]) < 0.02 * expected.mean[0]


def test_intervals_are_symmetric_in_logarithms_and_as_wide_as_the_level_says():
    """Of nearly no cut the mean of logarithms has the error σ/√n, and log σ 1/√(2n); both are in log(mean)."""
    hours = np.exp(np.random.default_rng(3).normal(1.0, 0.5, 4000))
    fit, sigma = fit_times(hours), np.log(hours).std()
    reach = special.ndtri((1 + LEVEL) / 2) * np.sqrt((sigma ** 2 + sigma ** 4 / 2) / len(hours))
    assert np.log(fit.mean[2] / fit.mean[0]) == pytest.approx(reach, rel=0.03)
    assert np.log(fit.mean[0] / fit.mean[1]) == pytest.approx(reach, rel=0.03)


def test_an_event_of_several_kinds_is_of_the_gravest_whatever_the_order_of_its_steps():
    rows = [outage("e", "2023-01-05T01:00", f"2023-01-05T0{2 + k}:00", 3, "A1", fault_kind=kind)
            for k, kind in enumerate(("temporary", "permanent"))]
    records = read_records(study(rows))
    found = event_hours(records, np.ones(len(records.steps), bool))
    assert (found.kinds["repair"].tolist(), found.kinds["refuse"].tolist()) == ([True], [False])
