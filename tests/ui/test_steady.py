"""What keeps the pages steady and quick: matrices shared between states, places that are drawn again, amounts typed."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import threading

import pytest
from streamlit.testing.v1 import AppTest

from reliability.report import palette
from reliability.study import open_study, workspace
from reliability.ui import background, frame, opened, records_read, tiles
from reliability.what_if import compute, moved_study
from tests.ui.conftest import app, go, make_small, parts_of_tiles, said, sound

OUTAGES = """event_id,section_id,started,restored,customers,cause,fault_kind,planned
E1,tap-01,2023-05-01T10:00,2023-05-01T12:00,64,tree,permanent,false
E2,tap-02,2024-06-01T10:00,2024-06-01T11:00,41,wind,temporary,false
"""


def test_states_of_one_table_share_its_matrices(small):
    study = open_study(workspace.root() / small)
    base = compute(study, "")
    first, second = (compute(moved_study(study, {"repair_hours": hours}, base), str(hours), [base])
                     for hours in (4.0, 5.0))
    assert first.results.alike is second.results.alike is base.results
    other = compute(moved_study(study, {"existing_fast_operations": 0}, base), "", [base])
    assert other.results.alike is None
    assert "matrices" in vars(base.results)


def test_of_one_kind_of_results_the_last_few_stay():
    for k in range(6):
        assert background.result(f"of-a-kind|{k} and more", lambda: 1, "one", keep=4) == 1
    assert [background.is_done(f"of-a-kind|{k} and more") for k in range(6)] == [False] * 2 + [True] * 4


def test_what_is_asked_for_does_not_queue_behind_what_is_prepared(monkeypatch):
    """What is prepared under the same key is taken where it has begun, and is computed only once."""
    monkeypatch.setattr(background, "IDLE_SECONDS", 0.0)
    begun, free, runs = threading.Event(), threading.Event(), []
    background.prepare("prepared|long", lambda: begun.set() or free.wait(60))
    assert begun.wait(60)           # behind whatever other tests have left
    background.prepare("prepared|next", lambda: runs.append("prepared"))
    try:
        assert background.ask("prepared|next", lambda: runs.append("asked") or "found").result(timeout=30) == "found"
        assert not background.is_done("prepared|long")
    finally:
        free.set()
    assert background.ask("prepared|long", lambda: runs.append("again")).result(timeout=30)
    assert runs == ["asked"]


def test_the_first_page_waits_for_the_defaults_that_decide(monkeypatch):
    # of a price that no other test has: results of the same inputs are shared
    pays = make_small("pays", lambda t: t.replace("# sectionalizer_cost = 2200.0", "sectionalizer_cost = 901.0"))
    asked, busy = [], threading.Event()
    monkeypatch.setattr(background, "is_done", lambda key: bool(asked.append(key)))
    background.ask("before the page", lambda: busy.wait(60))
    try:
        app("overview", pays)
    finally:
        busy.set()
    assert {key.partition("|")[0] for key in asked} >= {"gaps", "decisive"}


def test_a_tile_has_the_colour_of_its_bars():
    of_class = dict(re.findall(r"tile-(\d) \{ border-left-color: var\(--(\w+)\)", frame.LOOK.read_text()))
    colours = dict(re.findall(r"--(\w+): (#\w+);", palette.css()))
    drawn = re.findall(r'"tile tile-(\d)"', tiles.tiles_html([tiles.Tile("t", "", ())] * 13))
    assert [colours[of_class.get(k, "blue")] for k in drawn] == [palette.series(s)[0] for s in range(13)]


def test_no_more_is_loaded_than_the_first_page_needs():
    code = ("import sys, reliability.ui.overview_page; "
            "print([m for m in ('matplotlib', 'geopandas', 'xlsxwriter', 'docx', 'scipy.stats', 'scipy.optimize', "
            "'python_calamine') if m in sys.modules])")
    found = subprocess.run([sys.executable, "-W", "ignore", "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_an_amount_that_is_none_leaves_the_limit_as_it_was(small):
    test = app("choice", small)
    test.text_input("budget_small").set_value("12 000").run()
    assert test.query_params["limits"] in ("budget:12000.0", ["budget:12000.0"])
    test.text_input("budget_small").set_value("1,2").run()
    assert test.text_input("budget_small").value == "12\u202f000"
    assert "is no number" in said(sound(test))
    test.text_input("budget_small").set_value("10 000 000 000 000").run()
    assert test.text_input("budget_small").value == "12\u202f000"
    assert "must lie between" in said(sound(test))
    assert "the limit stays as it was" in said(test)
    test.text_input("budget_small").set_value("").run()
    assert "limits" not in test.query_params


def test_the_one_line_drawing_has_the_unit_that_is_asked_for(small):
    axes = [axis for lengths in ("km", "mi") for axis in [str(app("laterals", small, lengths=lengths)
            .get("plotly_chart")[0].proto.spec)]]
    assert "Distance from the source, km" in axes[0]
    assert "Distance from the source, mi" in axes[1]


def test_tiles_tell_that_probabilities_are_being_computed_and_then_tell_them(small):
    test = go(app("overview", small), "compare")
    odds = [text for text in parts_of_tiles(test, "odds") if text.startswith("Probability that NPV is above 0")]
    assert odds
    assert all("…" not in text for text in odds)


@pytest.mark.parametrize("large", ["", "1"])
def test_a_picture_that_is_drawn_anew_has_its_room_kept(small, large):
    looks = frame.LOOK.read_text() + (frame.LARGE_LOOK.read_text() if large else "")
    reserved = dict(re.findall(r"\.st-key-(bars|year)_place \{ min-height: (\d+)px; \}", looks))
    specs = [json.loads(drawn.proto.spec) for drawn in app("compare", small, large=large).get("plotly_chart")]
    bars, year = (next(spec for spec in specs if spec["data"][0]["type"] == kind) for kind in ("bar", "scatter"))
    assert {"bars": str(bars["layout"]["height"]), "year": str(year["layout"]["height"])} == reserved


def test_a_notice_stays_while_the_page_runs_again_by_itself_and_then_goes(small, monkeypatch):
    test = app("method", "nowhere")
    assert "not in the workspace" in said(test)
    assert "not in the workspace" in said(sound(test.run()))
    monkeypatch.setattr(frame, "READ_SECONDS", 0.0)
    assert "not in the workspace" not in said(sound(test.run()))


def _a_page_that_waits():
    import streamlit as st

    from reliability.ui import frame
    place = st.empty()
    wait = frame._Wait(place)
    wait.tell(0.1)
    wait.tell(0.5)
    if st.session_state.get("known"):
        place.markdown("known")


def test_a_page_that_waits_has_the_browser_load_what_draws_pictures_and_leaves_none():
    test = sound(AppTest.from_function(_a_page_that_waits).run())
    assert [bar.proto.value for bar in test.get("progress")] == [50]
    assert len(test.get("plotly_chart")) == 1
    test.session_state["known"] = True
    sound(test.run())
    assert not test.get("progress")
    assert not test.get("plotly_chart")


def test_what_a_page_cannot_do_without_tells_how_far_it_is(monkeypatch):
    """It queues behind no other result, and is computed again after it failed."""
    monkeypatch.setattr(background, "TELL_SECONDS", 0.01)
    monkeypatch.setattr(background, "TELL_FIRST_SECONDS", 0.01)
    enough, free, told = threading.Event(), threading.Event(), []

    def work():
        background.tell_share("waited|a", 1, 4)
        assert enough.wait(60)
        return "done"

    def tell(share):
        told.append(share)
        if share == 0.25:
            enough.set()

    background.ask("in the way", lambda: free.wait(60))
    try:
        assert background.waited_for("waited|a", work, tell, keep=2) == "done"
    finally:
        free.set()
    assert told[-1] == 0.25
    for _ in range(2):
        with pytest.raises(ZeroDivisionError):
            background.waited_for("waited|b", lambda: 1 / 0, tell, keep=2)


def test_rates_are_learned_once_for_all_pages(monkeypatch):
    name = make_small("learning", lambda t: t.replace('# rates = "assumed"', 'rates = "learned"'))
    (workspace.root() / name / "outages.csv").write_text(OUTAGES)
    shown = opened.named(name)
    history, _ = records_read.history_of(shown.stated, shown.fingerprint, shown.rated, shown.learned)
    assert history.learned is shown.learned is opened.named(name).learned
    assert shown.rated is opened.named(name).rated is not shown.stated
