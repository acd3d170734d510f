"""The meeting's page: figures are the core's, sliders move them, states can be pinned and linked."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from reliability.formats import UNDER, number, percent
from reliability.indices.definitions import saidi_minutes
from reliability.indices.expected import system_indices
from reliability.indices.simulation import simulate
from reliability.pipeline import expect, simulation_input
from reliability.report.summary import summary
from reliability.study import open_study, workspace
from reliability.study.save import ARCHIVE
from reliability.what_if import compute
from tests.ui.conftest import app, figures, go, make_small, metrics, parts_of_tiles, said, sound


def core(name: str, **values):
    """Expected indices of a study's scenarios as the app shows them, computed without it."""
    study = compute(open_study(workspace.root() / name), "").results.study
    study = replace(study, values={**study.values, **values})
    return [system_indices(e, study.values["yearly_cv"]) for e in expect(study).expected]


def tile(test, scenario: int) -> dict[str, str]:
    """Figures of one tile by label."""
    return {name.split(",")[0]: value for name, value, _ in metrics(test)[4 * scenario: 4 * scenario + 4]}


def assert_tiles(test, indices) -> None:
    for s, of in enumerate(indices):
        assert tile(test, s) == {"SAIFI": number(of["saifi"]), "SAIDI": number(of["saidi_min"]),
                                 "MAIFI_E": number(of["maifi_e"]), "Call-outs": number(sum(of["callouts"].values()))}


def test_tiles_show_the_core_s_figures_of_the_demo():
    test = app("compare")
    assert_tiles(test, core("demo"))


def test_the_demo_s_tiles_agree_with_summary_json():
    study = open_study(workspace.folder_of("demo"))
    test = app("compare")
    for s, of in enumerate(summary(compute(study, "").results)["scenarios"]):
        assert tile(test, s)["SAIDI"] == number(of["expected"]["saidi_min"])


def test_each_scenario_says_where_its_gain_turns():
    test, found = app("compare"), compute(open_study(workspace.folder_of("demo")), "").results.break_even
    turns = parts_of_tiles(test, "turn")
    share = number(100.0 * found.reclosing_off_share[1])
    assert f"is a gain in SAIDI only where less than {share}\u00a0% of faults happen" in turns[0]
    assert len(turns) == len(found.reclosing_off_share) - 1


def test_a_moved_slider_gives_the_core_s_figures(small):
    test = app("compare", small)
    test.slider("slider_small_temporary_fraction").set_value(0.5).run()
    assert_tiles(sound(test), core(small, temporary_fraction=0.5))
    assert "temporary fraction 0\\.5" in said(test)


def test_changes_are_told_against_as_built(small):
    test, indices = app("compare", small), core(small)
    name, _, change = metrics(test)[4]
    assert name == "SAIFI, 1/yr"
    expected = indices[1]["saifi"] - indices[0]["saifi"]
    assert change[0] == ("↓" if expected < 0 else "↑")
    assert float(change[2:].replace("−", "-")) == pytest.approx(expected, rel=5e-3)


def test_the_link_reopens_exactly_the_state(small):
    test = app("compare", small)
    test.slider("slider_small_repair_hours").set_value(5.0).run()
    test.slider("slider_small_share_converted").set_value(0.5).run()
    link = {key: value[0] if isinstance(value, list) else value for key, value in test.query_params.items()}
    assert link["study"] == small
    again = app("compare", **link)
    assert metrics(again) == metrics(test)
    assert again.slider("slider_small_repair_hours").value == 5.0


def test_a_link_with_nonsense_is_the_study_as_it_is(small):
    test = app("compare", small, sliders="temporary_fraction:7,unknown:1,repair_hours:x,:")
    assert metrics(test) == metrics(app("compare", small))


def test_a_slider_is_put_back(small):
    test = app("compare", small)
    before = metrics(test)
    test.slider("slider_small_temporary_fraction").set_value(0.3).run()
    assert metrics(test) != before
    test.button("back_temporary_fraction").click().run()
    assert metrics(sound(test)) == before
    test.slider("slider_small_temporary_fraction").set_value(0.3).run()
    test.button("sliders_reset_all").click().run()
    assert metrics(sound(test)) == before


def test_nothing_converted_is_as_built(small):
    test = app("compare", small, sliders="share_converted:0.0")
    indices = core(small)
    assert tile(test, 1)["SAIFI"] == number(indices[0]["saifi"])
    assert metrics(test)[4][2] == "no change"


def test_a_moved_state_of_another_study_lends_it_no_table(small):
    """Two studies of the same scenarios and assumptions, one after the other in a tab, moved alike."""
    other = make_small("other")
    folder = workspace.root() / other
    text = (folder / "sections.csv").read_text()
    (folder / "sections.csv").write_text(text.replace("tap-02-north,tap-02,", "tap-02-north,main-2,"))
    test = app("compare", small, sliders="counts:1")
    test.session_state["asked"] = {"study": other, "sliders": "counts:1"}
    test.run()
    assert metrics(sound(test)) == metrics(app("compare", other, sliders="counts:1"))


def test_state_survives_a_page_switch(small):
    test = app("compare", small)
    test.slider("slider_small_temporary_fraction").set_value(0.3).run()
    before = metrics(test)
    go(test, "method")
    assert metrics(go(test, "compare")) == before


def test_pinned_states_are_kept_on_the_disk_and_taken_up(small):
    test = app("compare", small)
    test.slider("slider_small_temporary_fraction").set_value(0.3).run()
    pinned = metrics(test)
    test.button("pin").click().run()
    pins = json.loads((workspace.root() / small / ARCHIVE / "pins.json").read_text())
    assert pins[0]["moves"] == {"temporary_fraction": 0.3}
    assert pins[0]["figures"]["As built"]["saifi"] == core(small, temporary_fraction=0.3)[0]["saifi"]
    test.button("sliders_reset_all").click().run()
    assert metrics(test) != pinned
    fresh = app("compare", small)
    fresh.button("pin_take").click().run()
    assert metrics(sound(fresh)) == pinned
    fresh.button("pin_remove").click().run()
    assert "None yet" in said(sound(fresh))


def test_values_are_written_into_the_study(small):
    test = app("compare", small)
    test.slider("slider_small_temporary_fraction").set_value(0.3).run()
    pinned = metrics(test)
    test.button("write_sliders").click().run()
    assert open_study(workspace.root() / small).values["temporary_fraction"] == 0.3
    assert "1 value written" in said(sound(test))
    assert metrics(test) == pinned
    assert "The study was changed in another tab" not in said(test)


def test_a_slider_whose_ends_change_shows_what_was_written(small):
    test = app("compare", small)
    test.slider("slider_small_fuse_failure").set_value(0.2).run()
    before = test.slider("slider_small_fuse_failure").max
    test.button("write_sliders").click().run()
    slider = test.slider("slider_small_fuse_failure")
    assert (before, slider.max, slider.value) == (0.2, 0.5, 0.2)
    assert "Moved" not in said(sound(test.run()))


def test_bars_carry_intervals_and_the_expected_values(small):
    test = app("compare", small)
    bars = figures(test)[0]["data"]
    saidi = [b for b in bars if b.get("yaxis") == "y2"]
    assert [b["y"][0] for b in saidi] == pytest.approx([i["saidi_min"] for i in core(small)])
    assert all(b["error_y"]["array"][0] > 0 for b in saidi)


def test_the_chance_of_a_worse_year_is_that_of_the_trials(small):
    test = app("compare", small)
    test.number_input("worse_than").set_value(100.0).run()
    base = compute(open_study(workspace.root() / small), "").results
    simulated = simulate(simulation_input(base), seed=base.study.values["seed"], trials=30)
    yearly = saidi_minutes(simulated.totals["customer_hours"], base.network.customers.sum())
    share = [percent((yearly[s] > 100.0).mean()) for s in (0, 1)]
    assert f"more than 100 minutes: As built **{share[0]}**, Sectionalizers **{share[1]}**" in said(sound(test))
    test.number_input("worse_than").set_value(1e6).run()
    assert f"As built **{UNDER}**" in said(sound(test))


def test_large_type_is_in_the_link(small):
    test = app("compare", small)
    test.toggle("presenter_toggle").set_value(True).run()
    assert "large" in test.query_params
    assert figures(sound(test))[0]["layout"]["font"]["size"] > 14


def test_counts_that_are_lowered_are_told():
    name = make_small("counts", lambda t: t.replace('laterals = "all"\ndevice = "sectionalizer"\ncounts = 2',
                                                    'laterals = "all"\ndevice = "sectionalizer"\ncounts = 1'))
    folder = workspace.root() / name
    text = (folder / "sections.csv").read_text().replace(",4,2,", ",3,1,")
    (folder / "sections.csv").write_text(text)
    test = app("compare", name, sliders="counts:3")
    assert "sectionalizers are lowered to one less than" in said(test), [w.value for w in test.warning]
    assert "are lowered" not in said(app("compare", name, sliders="counts:2"))


def test_an_assumption_that_is_moved_loses_its_stated_range():
    name = make_small("uncertain", lambda t: t.replace("# temporary_fraction = 0.75",
                                                       "temporary_fraction = { low = 0.1, likely = 0.5, high = 0.9 }"))
    from reliability.ui.scenario_results import stated_results
    from reliability.what_if import moved_study
    study = open_study(workspace.root() / name)
    base = stated_results(study, "x")
    moved = moved_study(study, {"temporary_fraction": 0.4, "fault_rate_factor": 2.0}, base)
    assert moved.stated_ranges == {}
    assert moved.uncertain["temporary_fraction"].likely == 0.4
    assert replace(moved, values={**moved.values, "default_ranges": False}).uncertain == {}
    assert moved.values["temporary_fraction"] == 0.4
    twice, once = expect(moved).expected[0], expect(replace(moved.with_sections(study.sections), values={
        **moved.values, "line_fault_rate_per_km": study.values["line_fault_rate_per_km"]})).expected[0]
    np.testing.assert_allclose(twice.fault_ci, 2 * once.fault_ci)
