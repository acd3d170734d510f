"""Major event days: α, β and T_MED, the years they come from, and the days above."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest

from reliability.history.history import read_history
from reliability.history.major_events import log_moments, threshold
from tests.history.records import outage, study

CUSTOMERS = 2000


def day(text: str, saidi: float, **cells) -> dict:
    """One outage that gives the day a SAIDI of `saidi` minutes (of 2000 customers)."""
    return outage(text, f"{text}T06:00:00", f"{text}T06:10:00" if saidi == 0 else f"{text}T16:00:00",
                  round(saidi * CUSTOMERS / 600), "B", **cells)


def year(number: int, values: list[float]) -> list[dict]:
    return [day(f"{number}-{1 + i // 28:02d}-{1 + i % 28:02d}", v) for i, v in enumerate(values)]


A = [0.3, 0.6, 1.2, 2.4, 0.9]
B = [0.3, 0.3, 3.0, 6.0]


def by_hand(values: list[float]) -> tuple[float, float, float]:
    logs = [math.log(v) for v in values]
    alpha, beta = statistics.mean(logs), statistics.stdev(logs)
    return alpha, beta, math.exp(alpha + 2.5 * beta)


def test_log_moments_have_divisor_n_minus_one_and_leave_zeros_out():
    """By hand: ln 1, ln e, ln e² have mean 1 and standard deviation 1 with divisor n − 1."""
    alpha, beta = log_moments(np.array([1.0, math.e, 0.0, math.e**2]))
    assert (alpha, beta) == (pytest.approx(1), pytest.approx(1))
    assert threshold(np.array([1.0, math.e, 0.0, math.e**2])) == pytest.approx(math.exp(3.5))


def test_lognormal_days_exceed_the_threshold_2_27_times_a_year():
    """Theory: 365 (1 − Φ(2.5)) = 2.27 days a year."""
    rng = np.random.default_rng(5)
    days = rng.lognormal(-1.0, 1.3, 400_000)
    assert 365 * (days > threshold(days)).mean() == pytest.approx(2.27, abs=0.12)


def test_a_year_takes_the_years_before_it():
    history = read_history(study([*year(2020, A), *year(2021, B), *year(2022, [0.3])]))
    rows = history.major_events.thresholds
    assert rows.loc[2020, ["t_med", "alpha", "beta"]].isna().all()
    assert rows.loc[2020, "days_used"] == 0
    assert tuple(rows.loc[2021, ["alpha", "beta", "t_med"]]) == pytest.approx(by_hand(A))
    assert tuple(rows.loc[2022, ["alpha", "beta", "t_med"]]) == pytest.approx(by_hand(A + B))
    assert rows["years_used"].tolist() == [0, 1, 2]
    assert "no earlier year" in rows.loc[2020, "note"]
    assert "2 of the five years" in rows.loc[2022, "note"]


def test_no_more_than_five_years_back():
    rows = [r for i, y in enumerate(range(2016, 2023)) for r in year(y, [0.3 * (i + 1), 0.6 * (i + 1)])]
    found = read_history(study(rows)).major_events.thresholds
    last_five = [v for i in range(1, 6) for v in (0.3 * (i + 1), 0.6 * (i + 1))]
    assert found.loc[2022, "t_med"] == pytest.approx(by_hand(last_five)[2], rel=1e-3)
    assert found.loc[2022, "note"] == ""


def test_days_above_are_set_apart_with_all_their_minutes():
    """A storm that began on the last evening counts on that day, minutes of the next days included."""
    limit = by_hand(A)[2]
    storm = [outage("storm", "2021-07-01T23:00", "2021-07-03T23:00", 1000, "B"),
             outage("storm", "2021-07-02T01:00", "2021-07-02T02:00", 300, "A")]
    below = math.floor(0.999 * limit * CUSTOMERS / 600) * 600 / CUSTOMERS
    history = read_history(study([*year(2020, A), *storm, day("2021-08-01", below)]))
    days = history.major_events.days
    assert [str(d)[:10] for d in days.index] == ["2021-07-01"]
    assert days["customer_minutes"].tolist() == [1000 * 2880 + 300 * 60]
    assert days["interruptions"].tolist() == [1300]
    assert history.without_major_events.years.loc[2021, "saidi_min"] == pytest.approx(below)
    assert history.every_event.years.loc[2021, "saifi"] > history.without_major_events.years.loc[2021, "saifi"]


def test_momentary_events_of_a_major_event_day_go_with_it():
    rows = [*year(2020, A), outage("s", "2021-07-01T05:00", "2021-07-03T05:00", 1000, "B"),
            outage("m", "2021-07-01T09:00", "2021-07-01T09:01", 600, "A"),
            outage("n", "2021-07-02T09:00", "2021-07-02T09:01", 400, "A")]
    history = read_history(study(rows))
    assert history.every_event.years.loc[2021, "maifi_e"] == 0.5
    assert history.without_major_events.years.loc[2021, "maifi_e"] == 0.2


def test_momentary_days_do_not_enter_the_threshold():
    rows = [*year(2020, A), outage("m", "2020-11-01T09:00", "2020-11-01T09:01", 600, "A"), *year(2021, [1.0])]
    assert read_history(study(rows)).major_events.thresholds.loc[2021, "days_used"] == len(A)


def test_days_alike_give_no_threshold_and_say_so():
    history = read_history(study([*year(2020, [0.6, 0.6]), *year(2021, [60.0])]))
    assert np.isnan(history.major_events.thresholds.loc[2021, "t_med"])
    assert "Fewer than two" in history.major_events.thresholds.loc[2021, "note"]
    assert not len(history.major_events.days)
    assert any("no threshold of major event days for 2020, 2021: in those years" in c for c in history.cautions)


def test_a_fixed_list_stands_in_for_the_threshold():
    history = read_history(study([*year(2020, A), *year(2021, A)], major_event_method="fixed",
                                 major_event_days="2020-01-04, 2021-01-01,2021-06-01"))
    assert [str(d)[:10] for d in history.major_events.days.index] == ["2020-01-04", "2021-01-01"]
    assert history.without_major_events.years["saidi_min"].tolist() == pytest.approx([3.0, 5.1])
    assert any("history.major_event_days" in c for c in history.cautions)
    assert "No interruption is recorded on 2021-06-01, listed there." in history.cautions


def test_days_that_are_listed_and_not_used_are_told():
    rows = [outage("a", "2021-01-04T10:00", "2021-01-04T11:00", 10)]
    said = read_history(study(rows, major_event_days="2021-01-04, 2021-03-01")).cautions
    assert 'history.major_event_days lists 2 days, not used: history.major_event_method does not say "fixed".' in said
    fixed = read_history(study(rows, major_event_method="fixed", major_event_days="2021-01-04")).cautions
    assert not any("not used" in caution for caution in fixed)


def test_an_earlier_year_covered_in_part_is_named():
    weeks = np.arange(np.datetime64("2020-05-10"), np.datetime64("2021-12-31"), 7).astype(str)
    rows = [day(d, 0.3 + 0.3 * (i % 4)) for i, d in enumerate(weeks)]
    assert "2020 is covered from 2020-05-10 only" in read_history(study(rows)).major_events.thresholds.loc[2021, "note"]
