"""What is asked in a tab: limits, perspective and scenario are the same on every page, and nothing of it is lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.business.constraints import limits_of
from reliability.business.selection import choose
from reliability.formats import money
from reliability.pipeline import decide, options_of
from reliability.schema.scenarios import proposed_position
from reliability.study import open_study, workspace
from reliability.ui import limits, sliders
from reliability.ui.text import plain
from reliability.what_if import Asked, compute, moved_study, with_limits
from tests.states import random_asked, results_of
from tests.ui.conftest import app, go, make_small, metrics, said, sound, tile_bodies

PAGES = ("compare", "choice", "business", "laterals", "report")


def stated(name: str):
    return open_study(workspace.root() / name)


def settings_of(name: str) -> str:
    return (workspace.root() / name / "study.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("seed", range(40))
def test_the_address_holds_every_state(small, seed):
    study = stated(small)
    asked = random_asked(np.random.default_rng(seed), list(study.network.ids[study.network.candidates].astype(str)))
    assert sliders.from_link(sliders.to_link(asked.moves), study) == asked.moves
    assert limits.from_link(limits.to_link(asked.limits), study) == asked.limits


def test_what_an_address_holds_that_is_no_limit_is_left_out(small):
    text = ("budget:-5,objective:best,saidi_reduction_minutes:nan,forced_in:nobody|tap-01,yearly_budget:inf,"
            "programme_years:0,seed:4,applicable_only:maybe,backup_settings:,budget,:,added_maifi_e:1e9")
    assert limits.from_link(text, stated(small)) == {"forced_in": ("tap-01",)}


@pytest.mark.parametrize(("text", "left"), [
    ("forced_in:tap-01|tap-02,forced_out:tap-02", {"forced_in": ("tap-01",)}),
    ("forced_in:tap-01,forced_out:tap-01", {}),
    ("forced_in:tap-01,forced_out:tap-02", {"forced_in": ("tap-01",), "forced_out": ("tap-02",)}),
])
def test_no_lateral_is_always_and_never_converted(small, text, left):
    assert limits.from_link(text, stated(small)) == left


def test_what_is_moved_goes_before_what_the_study_states():
    name = make_small("states-never")
    path = workspace.root() / name / "study.toml"
    path.write_text(path.read_text() + '\n[choice.laterals]\ntap-01 = "out"\ntap-02 = "out"\n')
    assert limits.from_link("forced_in:tap-01", stated(name)) == {"forced_in": ("tap-01",), "forced_out": ("tap-02",)}


def test_ids_of_any_signs_stand_in_the_address():
    name = make_small("signs")
    path = workspace.root() / name / "sections.csv"
    path.write_text(path.read_text().replace("tap-01", "\"a,b|c:d%2C e\""))
    asked = {"forced_out": ("a,b|c:d%2C e",)}
    assert limits.from_link(limits.to_link(asked), stated(name)) == asked


def test_a_limit_moves_the_proposal_of_every_page(small):
    """The choice at the study's own inputs under the limits is what is proposed, wherever it is shown."""
    study = stated(small)
    under = with_limits(study, {"budget": 6000.0, "objective": "saidi"})
    now = compute(under, "")
    at = proposed_position(now.results.study.scenarios)
    assert at != proposed_position(compute(study, "").results.study.scenarios)
    capital = money(now.money[at]["capex"], study.currency)
    test = app("choice", small)
    test.radio("objective_small").set_value("saidi").run()
    test.text_input("budget_small").set_value("6 000").run()
    assert plain(now.decision.choice.message, 400) in said(sound(test))
    assert dict(m[:2] for m in metrics(test))["Capital"] == capital
    go(test, "business")
    assert test.selectbox("case_scenario").value == at
    assert dict(m[:2] for m in metrics(test))["Capital"] == capital
    go(test, "compare")
    assert "Proposed" in tile_bodies(test)[at]
    assert capital in tile_bodies(test)[at]
    assert "Moved" in said(test)
    test.button("reset_all").click().run()
    assert "As the study states" in said(sound(test))
    assert test.query_params.get("limits") is None


def test_with_sliders_moved_the_proposal_stays_and_the_selection_stands_beside_it(small):
    study = stated(small)
    asked = Asked({"crew_rate_per_hour": 240.0}, {"objective": "saidi", "budget": 6000.0})
    now = results_of(study, asked)
    test = app("choice", small, sliders=sliders.to_link(asked.moves), limits=limits.to_link(asked.limits))
    text = said(test)
    assert f"decided at the study's own inputs: {plain(now.decision.choice.message, 400)}" in text
    beside = choose(options_of(now.results.study), limits=limits_of(now.results.study), objective="saidi")
    assert f"Selection at the moved inputs: {plain(beside.message, 400)}" in text
    assert dict(m[:2] for m in metrics(test))["Net present value"] == money(beside.totals["npv"], study.currency)
    table = next(d.value for d in test.dataframe if "in_the_proposal" in d.value)
    proposed = set(now.decision.choice.selection["section_id"])
    assert [(i in proposed) for i in table["section_id"]] == (table["in_the_proposal"] == "yes").tolist()


def test_a_scenario_of_the_selection_is_whole_and_keeps_the_limits():
    """A mixed choice with settings of single devices, each lateral with its own counts."""
    name = make_small("mixed", lambda t: t.replace("# backup_settings_cost = …", "backup_settings_cost = 1.0"))
    asked = {"backup_settings": "may_change", "objective": "saidi", "budget": 40_000.0}
    test = app("choice", name, limits=limits.to_link(asked))
    found = decide(with_limits(stated(name), asked))
    test.button("make_scenario").click().run()
    assert "is now a scenario of the study" in said(sound(test))
    made = stated(name).scenarios[-1]
    assert made.name == "Selection 1"
    assert set(made.laterals) == set(found.scenario.laterals)
    assert made.fast_operations == found.scenario.fast_operations
    assert test.query_params["limits"] in (limits.to_link(asked), [limits.to_link(asked)])
    assert test.text_input(f"budget_{name}").value == "40\u202f000"
    now = compute(with_limits(stated(name), asked), "")
    ours, theirs = (now.money[now.names.index(n)] for n in ("Selection 1", "Proposed"))
    assert ours["npv"] == pytest.approx(theirs["npv"])


def test_one_scenario_and_one_perspective_are_looked_at_on_all_pages(small):
    test = app("business", small)
    last = len(compute(stated(small), "").names) - 1
    test.selectbox("case_scenario").set_value(last).run()
    test.button_group("view").set_value("society").run()
    npv = dict(m[:2] for m in metrics(sound(test)))["Net present value"]
    go(test, "laterals")
    assert test.selectbox("laterals_scenario").value == last
    go(test, "compare")
    assert test.selectbox("gains_of").value == last
    assert npv in tile_bodies(test)[last]
    assert "societal perspective" in said(test)
    go(test, "business")
    assert test.selectbox("case_scenario").value == last
    assert test.button_group("view").value == "society"


def test_the_proposal_is_looked_at_first():
    test = app("business")
    now = compute(open_study(workspace.folder_of("demo")), "")
    assert test.selectbox("case_scenario").value == proposed_position(now.results.study.scenarios) == 1


@pytest.mark.parametrize("page", PAGES)
def test_every_page_tells_what_is_moved_under_another_mark(small, page):
    own = stated(small).inputs_sha256[:8]
    as_stated = said(app(page, small))
    assert f"inputs `{own}`" in as_stated
    assert "As the study states" in as_stated
    for query in ({"sliders": "repair_hours:5.0"}, {"limits": "budget:5000.0"}, {"perspective": "society"}):
        text = said(app(page, small, **query))
        assert own not in text
        assert "moved inputs" in text
        assert "**Moved:**" in text


def test_another_study_has_nothing_moved(small):
    other = make_small("other")
    test = app("overview", small, sliders="repair_hours:5.0", limits="budget:5000.0", scenario="Proposed",
               lateral="tap-03")
    test.selectbox("study_choice").set_value(other).run()
    assert "As the study states" in said(go(test, "compare"))
    assert {k: v for k, v in test.query_params.items() if k != "study"} == {}


def test_a_write_is_offered_for_what_can_be_written(small):
    test = app("compare", small, sliders="share_converted:0.5,counts:2")
    assert test.button("write_sliders").disabled
    test = app("compare", small, sliders="share_converted:0.5,fault_rate_factor:2.0,existing_fast_operations:0")
    before = metrics(test)
    test.button("write_sliders").click().run()
    assert "2 values written" in said(sound(test))
    study = stated(small)
    assert study.values["line_fault_rate_per_km"] == pytest.approx(0.4)
    devices = study.sections["device"].isin(["breaker", "recloser"])
    assert study.sections.loc[devices, "fast_operations"].tolist() == [0.0] * int(devices.sum())
    assert metrics(test)[:4] == before[:4]          # as built; what is proposed is decided at the new values
    assert "share of laterals converted" in said(test)


def test_existing_devices_with_other_fast_operations_are_those_of_a_study_that_states_them(small):
    study = stated(small)
    base = compute(study, "base")
    for fast in (0, 1, 3):
        sections = study.sections.copy()
        sections.loc[sections["device"].isin(["breaker", "recloser"]), "fast_operations"] = float(fast)
        wanted = compute(replace(study.with_sections(sections)), "stated", (), base.decision)
        short = compute(moved_study(study, {"existing_fast_operations": fast}, base), "moved", [base])
        assert short.names == wanted.names
        for a, b in zip(short.indices, wanted.indices, strict=True):
            assert a["saifi"] == pytest.approx(b["saifi"], rel=1e-12)
        assert [m["npv"] for m in short.money] == pytest.approx([m["npv"] for m in wanted.money])


def test_a_slider_that_moves_nothing_is_off(small):
    """Where every section has its own temporary fraction; what a link says of it is left out."""
    path = workspace.root() / small / "sections.csv"
    header, *rows = path.read_text().splitlines()
    path.write_text("\n".join([f"{header},temporary_fraction", *(f"{row},0.5" for row in rows)]) + "\n")
    test = app("compare", small, sliders="temporary_fraction:0.3")
    assert test.slider("slider_small_temporary_fraction").disabled
    assert not test.slider("slider_small_repair_hours").disabled
    assert "As the study states" in said(test)


def test_sliders_start_at_the_study_s_exact_value():
    study = open_study(workspace.folder_of("demo"))
    for key, slider in sliders.sliders(study).items():
        if key in study.values:
            assert slider.start == study.values[key]
            assert float(slider.format % slider.start) == pytest.approx(slider.start, rel=sliders.DECIMALS_UNTIL)
