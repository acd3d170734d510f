"""Descriptions of the charts of outage records: their figures are the history's, their axes name units."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from reliability.history.history import History, read_history
from reliability.report import charts_history as charts
from reliability.report import conversions_shown
from reliability.report.chart import DATE, LOG_AXIS, BarChart, Line, Points
from tests.history.records import model_days, outage, study
from tests.report.test_history_output import NASTY, rows


@pytest.fixture(scope="module")
def history() -> History:
    modelled = model_days({"A": 0.5, "B": 0.5}, {"A": 60.0, "B": 60.0})
    return read_history(study(rows(), extra={"conversions": {"A1": "2022-06-01"}}), modelled)


def every(history: History) -> list:
    return [*(charts.years(history, index) for index in charts.YEAR_INDICES), charts.daily(history),
            charts.causes(history),
            charts.worst_laterals(history), charts.learned_rates(history), charts.restoration_times(history),
            charts.against_model(history.calibration), conversions_shown.conversions(history.conversions),
            conversions_shown.pilots(read_history(study(rows(), expected_rate_ratio=0.5)).pilot)]


def test_every_chart_has_a_key_of_its_own_a_description_and_measured_axes_with_titles(history):
    made = every(history)
    assert len({c.key for c in made}) == len(made)
    for chart in made:
        assert chart.description.strip(" ;.")
        assert all(a.title for a in ((chart.value,) if isinstance(chart, BarChart) else (chart.x, chart.y)))


def test_the_years_are_those_of_the_records_and_one_without_a_threshold_is_marked_and_has_equal_bars(history):
    chart = charts.years(history, "saifi")
    first, second = chart.bars
    np.testing.assert_array_equal(first.values, history.every_event.years["saifi"])
    assert second.values[0] == first.values[0]
    np.testing.assert_array_equal(second.values, history.without_major_events.years["saifi"])
    assert [i for i, name in enumerate(chart.categories) if name.endswith(charts.NO_THRESHOLD)] == [0]
    assert charts.NO_THRESHOLD in chart.category
    assert f"2021{charts.NO_THRESHOLD}: " in chart.description
    assert "no day set apart" in chart.description


def test_the_daily_chart_is_logarithmic_and_marks_the_major_event_day(history):
    chart = charts.daily(history)
    assert (chart.x.scale, chart.y.scale) == (DATE, LOG_AXIS)
    others, major, limit = chart.series
    assert major.x.astype(str).tolist() == ["2023-02-11"]
    assert len(others.x) + 1 == int((history.daily["saidi_min"] > 0).sum())
    assert isinstance(limit, Line)
    assert set(limit.y[np.isfinite(limit.y)]) == set(history.major_events.thresholds["t_med"].dropna())


def test_of_very_many_days_one_in_so_many_is_drawn_but_every_major_event_day(history):
    days = pd.date_range("2001-01-01", periods=5 * charts.MOST_HISTORY_MARKS)
    daily = pd.DataFrame({"saidi_min": np.linspace(0.1, 2.0, len(days))}, index=days)
    events = replace(history.major_events, days=pd.DataFrame({"year": days[-3:].year}, index=days[-3:]))
    others, major, _ = charts.daily(replace(history, daily=daily, major_events=events)).series
    assert len(others.x) == charts.MOST_HISTORY_MARKS
    assert "one in 5" in others.name
    assert len(major.x) == 3


def test_causes_add_up_and_the_bar_of_the_rest_never_hides_a_single_one():
    for n in (charts.MOST_CAUSES, charts.MOST_CAUSES + 1):
        chart = charts.causes(read_history(study([
            outage(f"e{i}", f"2023-05-{1 + i:02}T10:00", f"2023-05-{1 + i:02}T12:00", 10 + i, cause=f"cause {i}")
            for i in range(n)])))
        values = chart.bars[0].values
        assert values.sum() == 120.0 * sum(10 + i for i in range(n))
        assert len(values) == charts.MOST_CAUSES
        assert chart.categories[0] == f"cause {n - 1}"
        assert ("other causes" in chart.categories[-1]) == (n > charts.MOST_CAUSES)
    assert chart.categories[-1] == "2 other causes"


def test_names_stand_as_they_are(history):
    assert NASTY in charts.causes(history).categories


def test_modelled_against_recorded_has_the_line_at_45_degrees(history):
    chart = charts.against_model(history.calibration)
    points, line = chart.series
    assert chart.equal
    assert list(line.x) == list(line.y)
    assert isinstance(points, Points)
    rows_ = history.calibration.feeders.loc[points.labels]
    assert list(points.x) == rows_["modelled_saidi_min"].tolist() == [60.0, 60.0]
    assert list(points.y) == rows_["observed_saidi_min"].tolist()
    assert max(line.x) >= max(*points.x, *points.y)


def test_raw_and_predictive_stand_below_each_other_with_the_figures_of_the_comparison(history):
    chart = conversions_shown.conversions(history.conversions)
    raw, predictive = chart.bars
    assert chart.categories[:2] == ["Sustained, raw", "Sustained, predictive"]
    row = history.conversions.measures.loc["sustained_interruptions"]
    assert (raw.values[0], predictive.values[1]) == (row["rate_ratio"], row["corrected_ratio"])
    assert (raw.low[0], predictive.high[1]) == (row["low"], row["corrected_high"])
    assert np.isnan(raw.values[1])
    assert np.isnan(predictive.values[0])


def test_a_pilot_s_curves_reach_the_power_in_the_years_of_its_table():
    found = read_history(study(rows(), expected_rate_ratio=0.2)).pilot
    chart = conversions_shown.pilots(found)
    for row in found.designs.to_dict("records"):
        line = next(s for s in chart.series if ("steps" in s.name) == (row["steps"] > 1) and "Power" not in s.name)
        assert np.interp(row["years_total"], line.x, line.y) == pytest.approx(0.8, abs=0.02)


def test_means_of_rates_that_would_hide_one_another_are_one_line(history):
    units = pd.DataFrame({"unit": ["A1", "A2"], "group": ["laterals", "laterals, underground"], "rate_per_km": 0.5,
                          "exposure_km_years": 1.0, "observed_rate_per_km": [0.2, 1.0], "rate_low": 0.1,
                          "rate_high": 0.9})

    def lines(other: float) -> dict[str, float]:
        priors = pd.DataFrame({"mean_per_km": {"laterals": 0.561, "laterals, underground": other}})
        learned = SimpleNamespace(units=units, priors=priors)
        return {s.name: s.y[0] for s in charts.learned_rates(SimpleNamespace(learned=learned, records=history.records))
                .series if isinstance(s, Line) and s.name != charts.ONE_TO_ONE}

    assert lines(0.556) == {"Mean of laterals, underground and of laterals": 0.556}
    assert lines(0.3) == {"Mean of laterals, underground": 0.3, "Mean of laterals": 0.561}
