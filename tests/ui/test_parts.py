"""Shared parts of the app: text, sliders, the one-line diagram, moved states."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from reliability import what_if
from reliability.formats import count, money, number, percent, signed_number
from reliability.network.application import settle_scenarios
from reliability.network.model import Model
from reliability.network.tree import build_network
from reliability.schema.assumptions import BY_KEY
from reliability.schema.scenarios import Scenario
from reliability.study import open_study, workspace
from reliability.ui import scenario_results, sliders
from reliability.ui.figure import csv_bytes
from reliability.ui.one_line import lay_out
from reliability.ui.text import label, plain
from tests.networks import random_study
from tests.ui.conftest import figures, make_small, sound, values_of

HOSTILE = ('=HYPERLINK("http://x.example")', "<script>alert(1)</script>", "+1-1", "**bold** $x$ :red[x] `c`",
           "x" * 10_000,
           "🔥 شبكة", "a\nb\r\tc", "![i](http://x.example/y.png)")


@pytest.mark.parametrize("text", HOSTILE)
def test_text_of_files_is_inert(text):
    shown = plain(text)
    assert "\n" not in shown
    assert len(shown) < 400
    for mark in ("<", "[", "$", "`", "*", ":"):
        assert all(shown[i - 1] == "\\" for i, c in enumerate(shown) if c == mark)
    assert "<" not in label(text)
    assert len(label(text)) < 300
    frame = pd.read_csv(pd.io.common.BytesIO(csv_bytes(pd.DataFrame({text: [text]}))), keep_default_na=False)
    assert not str(frame.iloc[0, 0]).startswith(("=", "+", "-", "@", "\t"))


@pytest.mark.parametrize(("value", "shown"), [(None, "–"), (float("nan"), "–"), (0, "0"), (1234.5, "1\u202f230"),
                                              (0.05361, "0.0536"),
                                              (-5.6, "−5.60"), (99.95, "100"), (120.4, "120")])
def test_numbers_have_three_digits_that_mean_something(value, shown):
    assert number(value) == shown


def test_money_percent_and_counts():
    assert money(-1_624_079.9, "USD") == "−1.62 M USD"
    assert money(10_500, "USD") == "10\u202f500 USD"
    assert money(None, "USD") == "–"
    assert (percent(0.256), signed_number(2.0), signed_number(-2.0)) == ("25.6 %", "+2.00", "−2.00")
    assert (count(1, "lateral"), count(2, "lateral")) == ("1 lateral", "2 laterals")


def test_sliders_come_from_the_table_of_assumptions():
    study = open_study(workspace.folder_of("demo"))
    for key, slider in sliders.sliders(study).items():
        if key in BY_KEY:
            a = BY_KEY[key]
            assert slider.title.startswith(a.label)
            assert a.low <= slider.low <= slider.start <= slider.high <= a.high
            assert abs(slider.start - study.values[key]) <= slider.step / 2 + 1e-9


def test_a_slider_reaches_as_far_as_the_study_s_value_asks_for():
    study = open_study(workspace.root() / make_small("reach")).with_assumptions(horizon_years=45, discount_rate=-0.02)
    found = sliders.sliders(study)
    assert (found["horizon_years"].low, found["horizon_years"].high) == (1, 90)
    assert (found["discount_rate"].low, found["discount_rate"].high) == (-0.02, 0.25)


def test_the_link_holds_what_is_moved():
    study = open_study(workspace.root() / make_small("link"))
    moves = {"counts": 2, "repair_hours": 4.25, "temporary_fraction": 0.615}
    assert sliders.from_link(sliders.to_link(moves), study) == moves


@pytest.mark.parametrize("seed", range(12))
def test_the_diagram_places_every_section_once_without_overlap(seed):
    network = build_network(random_study(np.random.default_rng(seed)).sections)
    for feeder in range(len(network.feeder_ids)):
        places = lay_out(network, feeder)
        assert sorted(places.sections) == sorted(np.flatnonzero(network.feeder == feeder))
        assert (places.x1 > places.x0).all()
        at = {int(s): k for k, s in enumerate(places.sections)}
        for k, s in enumerate(places.sections):
            parent = int(network.parent[s])
            if parent in at:
                assert places.x0[k] == pytest.approx(places.x1[at[parent]])
                assert places.from_row[k] == places.row[at[parent]]
        for row in np.unique(places.row):
            on = np.flatnonzero(places.row == row)
            order = on[np.argsort(places.x0[on])]
            assert (places.x1[order][:-1] <= places.x0[order][1:] + 1e-9).all()


@pytest.mark.parametrize("seed", range(12))
def test_no_connection_of_the_diagram_crosses_a_line(seed):
    network = build_network(random_study(np.random.default_rng(seed)).sections)
    for feeder in range(len(network.feeder_ids)):
        places = lay_out(network, feeder)
        for k in np.flatnonzero(places.row != places.from_row):
            low, high = sorted((places.row[k], places.from_row[k]))
            between = (places.row > low) & (places.row < high)
            crossed = between & (places.x0 < places.x0[k] - 1e-9) & (places.x1 > places.x0[k] + 1e-9)
            assert not crossed.any()


@pytest.mark.parametrize("stated", [np.nan, 0.02])
def test_a_moved_share_with_reclosing_off_passes_one_that_a_device_states(stated):
    """From below it to above; where none is stated the same table serves."""
    demo = open_study(workspace.folder_of("demo"))
    share = np.where(demo.network.parent < 0, stated, np.nan)
    study = replace(demo.with_section_values({"reclosing_off_share": share}),
                    values={**demo.values, "reclosing_off_share": 0.01})
    base = what_if.compute(study, "base")
    moved = what_if.moved_study(study, {"reclosing_off_share": 0.03}, base)
    short, long = what_if.compute(moved, "short", [base]), what_if.compute(moved, "long")
    assert (short.results.table is base.results.table) == np.isnan(stated)
    for a, b in zip(short.results.expected, long.results.expected, strict=True):
        np.testing.assert_allclose(a.fault_customer_hours, b.fault_customer_hours, rtol=1e-9)


@pytest.mark.parametrize("moves", [
    {"temporary_fraction": 0.31}, {"fault_rate_factor": 1.7}, {"repair_hours": 6.0, "crew_rate_per_hour": 99.0},
    {"sectionalizer_failure": 0.2}, {"reclosing_off_share": 0.01}, {"wrong_link_share": 0.05},
    {"fault_current_factor": 1.4}, {"momentary_cost_factor": 0.5}, {"temporary_fraction": 1.0}, {"counts": 1},
    {"share_converted": 0.4, "temporary_fraction": 0.5}, {"fast_tripping": 0}])
def test_a_table_that_serves_again_gives_the_same_figures(moves):
    """The short way of a moved slider equals the long one."""
    study = open_study(workspace.folder_of("demo"))
    base = scenario_results.stated_results(study, study.inputs_sha256)
    moved = what_if.moved_study(study, moves, base)
    short, long = what_if.compute(moved, "short", [base]), what_if.compute(moved, "long")
    for a, b in zip(short.results.expected, long.results.expected, strict=True):
        np.testing.assert_allclose(a.fault_ci, b.fault_ci, rtol=1e-12)
        np.testing.assert_allclose(a.outage_hours, b.outage_hours, rtol=1e-12)
    assert [c["npv"] for c in short.money] == pytest.approx([c["npv"] for c in long.money], rel=1e-9)


def test_a_moved_state_settles_anew_which_laterals_are_applicable():
    """More counts than a backup admits, or a share of those that are converted."""
    demo = open_study(workspace.folder_of("demo"))
    asked = Scenario("Applicable", None, "sectionalizer", applicable_only=True)
    study = replace(demo, scenarios=(*demo.scenarios[:1], asked))
    base = what_if.compute(study, "base")
    network, at = base.results.network, base.names.index("Applicable")
    stated = base.results.study.scenarios[at].laterals
    for moves in ({"counts": 3}, {"counts": 3, "share_converted": 0.5}, {"share_converted": 0.5}):
        moved = what_if.moved_study(study, moves, base)
        wanted = replace(asked, counts=moves.get("counts"))
        whole = settle_scenarios(Model(network, study.values), [wanted])[0].laterals
        found = moved.scenarios[1].laterals
        assert set(found) <= set(whole)
        assert len(found) == round(moves.get("share_converted", 1.0) * len(whole))
        assert what_if.compute(moved, "moved", [base]).results.study.scenarios[at].laterals == found
    assert 0 < len(stated) < len(network.candidates)


def _a_picture_drawn_five_times() -> None:
    import plotly.graph_objects as go

    from reliability.ui.slots import Slot
    one, other = (go.Figure([{"type": "scatter", "y": [k, k]}]) for k in (1, 2))
    places = [Slot("first_place"), Slot("second_place")]
    for place, key in zip(places, ("first", "second"), strict=True):
        for picture in (one, one, other, one, one):
            place.chart(picture, "alike", "Picture", key)


def test_a_picture_may_be_drawn_again_as_it_was():
    """As where nothing varies from one stage of the simulation to the next, or comes back to what it was."""
    test = sound(AppTest.from_function(_a_picture_drawn_five_times).run())
    assert [values_of(f["data"][0]["y"]).tolist() for f in figures(test)] == [[1, 1], [1, 1]]
