"""Pictures of the pages: differences, pinned states, names that cover nothing, drawings that fit the screen."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.network.tree import build_network
from reliability.report.chart import Axis, PlotChart, Points
from reliability.report.map_classes import Benefit, by_benefit
from reliability.ui import described, tiles
from reliability.ui.difference_charts import AVERAGE, ONE_YEAR, changes_of, difference_chart, difference_words
from reliability.ui.feeder_chart import TALLEST_DRAWING, feeder_chart
from reliability.ui.pin_charts import pins_alt, pins_chart
from reliability.ui.plotting import named_lines, picture
from reliability.ui.trials import SimulatedSpread, odds_of_gain
from tests.networks import random_study


def spread_of(saidi: np.ndarray) -> SimulatedSpread:
    """A spread with given yearly SAIDI, (S, trials, years)."""
    scenarios, trials, years = saidi.shape
    return SimulatedSpread("x", tuple("AB"[:scenarios]), trials, years, 1, [], [], saidi.reshape(scenarios, -1),
                           saidi.mean(axis=2), *np.zeros((2, scenarios, trials)), True)


def test_the_difference_is_that_of_the_same_years_and_of_the_same_trials():
    base = np.random.default_rng(1).gamma(2.0, 50.0, (1, 40, 10))
    less = np.tile([-3.0, 1.0], 5)
    spread = spread_of(np.concatenate([base, base + less]))
    of = changes_of(spread, 0, 1)
    np.testing.assert_allclose(np.unique(of[ONE_YEAR].round(6)), [-3.0, 1.0])
    np.testing.assert_allclose(of[AVERAGE], -1.0)
    words = difference_words(spread, 0, 1)
    assert "less SAIDI than A in 50.0 % of years and in over 99 % of averages over 10 years" in words
    single, average = difference_chart(spread, 0, 1).data
    assert sorted(single.y)[-2:] == pytest.approx([0.5, 0.5], abs=0.02)      # the tails lie beyond
    assert max(average.y) == pytest.approx(1.0, abs=0.05)


def test_equal_scenarios_have_a_picture_too():
    same = np.full((2, 5, 4), 7.0)
    assert len(difference_chart(spread_of(same), 0, 1).data) == 2


def test_what_neither_costs_nor_saves_has_no_probability_to_pay():
    assert odds_of_gain(np.zeros(9)) is None
    assert odds_of_gain(np.array([-1.0, 0.0, 2.0, 3.0])) == 0.5


def test_cost_of_what_is_avoided_stands_in_one_line():
    case = {"cost_per_ci_avoided": 22.05, "cost_per_cmi_avoided": 0.2107}
    assert tiles.per_avoided(case, "USD") == "22.1 and 0.211 USD"
    assert tiles.per_avoided(dict.fromkeys(case), "USD") == "–"


def test_a_picture_of_other_numbers_has_another_revision():
    """plotly draws no list again that comes under the same revision."""
    def revision(last: float, tick: str = "a") -> int:
        trace = {"type": "scatter", "x": np.arange(5_000.0), "y": [0.0] * 4_999 + [last]}
        return picture([trace], {"xaxis": {"ticktext": [tick]}}).layout.datarevision

    assert revision(1.0) == revision(1.0)
    assert len({revision(1.0), revision(2.0), revision(1.0, "b")}) == 3


def test_names_of_lines_that_stand_close_are_on_lines_of_their_own():
    _, notes = named_lines({"P10": 1.0, "P50": 1.2, "P90": 9.0}, 10.0)
    assert [n["yshift"] for n in notes] == [0, 18, 0]
    _, notes = named_lines({"P10": 1.0, "P50": 1.0, "P90": 1.0}, 0.0)
    assert len({n["yshift"] for n in notes}) in (1, 3)


def test_a_pinned_state_has_two_bars_a_scenario_with_the_change_behind():
    table = pd.DataFrame({"scenario": ["A", "B"] * 2, "measure": ["SAIDI"] * 2 + ["NPV"] * 2,
                          "pinned": [10.0, 8.0, 0.0, np.nan], "now": [12.0, 8.0, 0.0, -5000.0],
                          "change": [2.0, 0.0, 0.0, np.nan]})
    drawn = pins_chart(table, {"SAIDI": "SAIDI, min", "NPV": "NPV, USD"})
    assert [t.name for t in drawn.data] == ["Pinned, with its value", "Now, with now less pinned"] * 2
    assert list(drawn.data[0].text) == ["10.0", "8.00"]
    assert list(drawn.data[1].text) == ["+2.00", "±0"]
    assert list(drawn.data[3].text) == ["±0", ""]
    assert drawn.layout.xaxis2.range[0] < -5000.0
    assert "A SAIDI 10.0 to 12.0" in pins_alt(table)


def test_names_beside_points_close_together_stand_on_different_sides():
    points = Points("Feeder", np.array([100.0, 101.0, 40.0]), np.array([50.0, 50.5, 50.0]), labels=["a", "b", "c"])
    drawn = described.figure(PlotChart("k", "t", "d", Axis("x"), Axis("y"), (points,), equal=True))
    first, second, alone = drawn.data[0].textposition
    assert first != second
    assert alone == "middle right"


@pytest.mark.parametrize("seed", range(3))
def test_a_one_line_drawing_fits_the_screen(seed):
    study = random_study(np.random.default_rng(seed))
    network = build_network(study.sections)
    device = np.zeros(len(network), dtype=int)
    classed = by_benefit(network, Benefit("Minutes", "a year", np.zeros(len(network))))
    for feeder in range(len(network.feeder_ids)):
        assert feeder_chart(network, feeder, device, classed).layout.height <= TALLEST_DRAWING
