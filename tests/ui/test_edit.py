"""Editing in tables: saved at once where sound, kept as a draft where not, never over somebody else's change."""

from __future__ import annotations

import csv

import pandas as pd
import pytest

from reliability.study import open_study, workspace
from reliability.study.changes import drafts
from reliability.study.save import ARCHIVE, fingerprint, versions
from reliability.study.text_tables import frame_bytes
from reliability.ui.long_cells import short
from tests.ui.conftest import app, put, said, sound


def editor(test, what: str) -> str:
    """Key of the one editor on the page."""
    keys = [k for k in test.session_state["editors"] if k[1] == what]
    return test.session_state["editors"][keys[0]]["key"]


def edit(test, what: str, rows: dict) -> None:
    test.session_state[editor(test, what)] = {"edited_rows": rows, "added_rows": [], "deleted_rows": []}
    test.run()


def open_tab(study: str, tab: str):
    test = app("study", study)
    test.session_state["study_tab"] = tab
    return sound(test.run())


def test_a_cell_is_saved_at_once_and_the_version_before_is_kept(small):
    folder = workspace.root() / small
    before = (folder / "sections.csv").read_bytes()
    test = open_tab(small, "Tables")
    edit(test, "sections.csv", {0: {"customers": "36"}})
    assert open_study(folder).sections["customers"][0] == 36
    assert "Saved at" in said(sound(test))
    assert versions(folder)[0].files["sections.csv"] == before
    edit(test, "sections.csv", {0: {"customers": "37"}, 3: {"phases": "3"}})
    assert open_study(folder).sections["customers"][0] == 37
    assert open_study(folder).sections["phases"][3] == 3
    assert "changed in another tab" not in said(sound(test))


def test_long_numbers_are_shown_with_three_digits_and_kept_with_all(small):
    folder = workspace.root() / small
    text = (folder / "sections.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    rows[0]["length_km"], rows[1]["length_km"], rows[2]["length_km"] = "0.6250692096000001", "12.300000000000001", "0.5"
    put(small, {"sections.csv": frame_bytes(pd.DataFrame(rows))})
    test = open_tab(small, "Tables")
    base = test.session_state["editors"][small, "sections.csv"]["base"]
    assert base["length_km"].tolist()[:3] == ["0.625", "12.3", "0.5"]
    edit(test, "sections.csv", {1: {"length_km": "12.4"}, 2: {"customers": "36"}})
    kept = list(csv.DictReader((folder / "sections.csv").read_text(encoding="utf-8").splitlines()))
    assert [r["length_km"] for r in kept[:3]] == ["0.6250692096000001", "12.4", "0.5"]
    assert kept[2]["customers"] == "36"


@pytest.mark.parametrize(("cell", "said"), [("7100.000000000001", "7100"), ("5021.000418704446", "5021"),
                                            ("-0.310685596118667", "-0.311"), ("0.0000123456789", "1.23e-05"),
                                            ("4624.25", "4624.25"), ("1234567890", "1234567890"), ("", ""),
                                            ("F1.2345678901", "F1.2345678901"), ("12.000000000", "12.000000000")])
def test_only_numbers_with_more_digits_than_are_read_are_shortened(cell, said):
    assert short(cell) == said


def test_an_edit_that_breaks_the_study_is_a_draft_with_its_problems(small):
    folder = workspace.root() / small
    before = (folder / "sections.csv").read_bytes()
    test = open_tab(small, "Tables")
    edit(test, "sections.csv", {0: {"customers": "many"}})
    assert (folder / "sections.csv").read_bytes() == before
    draft, = (folder / ARCHIVE).glob("draft-*-sections.csv")
    assert b"many" in draft.read_bytes()
    assert "Not saved" in said(sound(test))
    assert test.dataframe[-1].value["value"].tolist() == ["many"]
    edit(test, "sections.csv", {0: {"customers": "12"}})
    assert open_study(folder).sections["customers"][0] == 12


def test_another_tab_s_change_is_told_and_not_overwritten(small):
    folder = workspace.root() / small
    test = open_tab(small, "Tables")
    put(small, {"sections.csv": (folder / "sections.csv").read_bytes().replace(b"2.4,35", b"2.4,99")})
    edit(test, "sections.csv", {1: {"customers": "50"}})
    assert "Not saved: the study was changed in another tab" in said(sound(test))
    draft, = (folder / ARCHIVE).glob("draft-*-sections.csv")
    assert b"3.1,50" in draft.read_bytes()
    assert open_study(folder).sections["customers"].tolist()[:2] == [99, 48]
    assert test.session_state["editors"][small, "sections.csv"]["base"]["customers"].tolist()[:2] == ["99", "48"]
    edit(test, "sections.csv", {1: {"customers": "50"}})
    assert open_study(folder).sections["customers"].tolist()[:2] == [99, 50]
    assert "Not saved" not in said(sound(test))


def test_a_state_that_somebody_brought_back_is_no_foreign_one(small):
    """Saved, taken back elsewhere, and saved again: the change is made of what stands on the disk."""
    folder = workspace.root() / small
    before = (folder / "sections.csv").read_bytes()
    test = open_tab(small, "Tables")
    edit(test, "sections.csv", {0: {"customers": "36"}})
    put(small, {"sections.csv": before})
    sound(test.run())
    edit(test, "sections.csv", {0: {"customers": "37"}})
    assert open_study(folder).sections["customers"][0] == 37
    assert "Not saved" not in said(sound(test))


def test_a_draft_is_taken_up_or_thrown_away(small):
    folder = workspace.root() / small
    test = open_tab(small, "Tables")
    for customers in ("many", "77"):
        put(small, {"study.toml": (folder / "study.toml").read_bytes() + b"\n# seen elsewhere\n"})
        edit(test, "sections.csv", {0: {"customers": customers}})
    good, bad = drafts(folder)
    assert [d.file for d in (good, bad)] == ["sections.csv", "sections.csv"]
    test = open_tab(small, "Earlier versions")
    assert "Not saved so far" in said(test)
    test.button(f"take_{bad.path.name}").click()
    assert "Not saved: the change would leave 1 problem" in said(sound(test.run()))
    assert len(drafts(folder)) == 2
    test.button(f"take_{good.path.name}").click()
    assert "Saved at" in said(sound(test.run()))
    assert open_study(folder).sections["customers"].tolist()[:2] == [77, 48]
    for left in drafts(folder):
        assert b"many" in left.path.read_bytes()
        test.button(f"drop_{left.path.name}").click()
        sound(test.run())
    assert not drafts(folder)
    assert "Not saved so far" not in said(test)


def test_what_somebody_else_did_is_no_draft_where_nothing_was_typed(small):
    folder = workspace.root() / small
    test = open_tab(small, "Tables")
    edit(test, "sections.csv", {0: {"customers": "many"}})
    put(small, {"sections.csv": (folder / "sections.csv").read_bytes().replace(b"2.4,35", b"2.4,99")})
    assert "Not saved" not in said(sound(test.run()))
    assert len(list((folder / ARCHIVE).glob("draft-*"))) == 1
    assert test.session_state["editors"][small, "sections.csv"]["base"]["customers"].tolist()[0] == "99"


def test_a_change_made_of_a_state_that_this_tab_has_changed_since_builds_on_it(small):
    """As where a cell is typed while the one before is still being checked: its page knows the state before both."""
    folder = workspace.root() / small
    test = open_tab(small, "Tables")
    before = fingerprint(folder)
    edit(test, "sections.csv", {0: {"customers": "36"}})
    after = fingerprint(folder)
    assert test.session_state["own_marks"] == {(before, "sections.csv"): after}
    edit(test, "sections.csv", {0: {"customers": "36"}, 1: {"customers": "50"}})
    marks = test.session_state["own_marks"]
    assert marks[marks[before, "sections.csv"], "sections.csv"] == fingerprint(folder)
    edit(test, "sections.csv", {})
    assert fingerprint(folder) == before
    assert (before, "sections.csv") not in test.session_state["own_marks"]


def test_assumptions_are_saved_with_their_comments(small):
    folder = workspace.root() / small
    comments = (folder / "study.toml").read_text().count("#")
    test = open_tab(small, "Assumptions")
    place = test.session_state["editors"][small, "study.toml"]["base"].index.tolist().index
    edit(test, "study.toml", {place("temporary_fraction"): {"low": "0.5", "value": "0.6", "high": "0.8"},
                              place("repair_hours"): {"value": "4.5"}})
    study = open_study(folder)
    assert study.uncertain["temporary_fraction"].likely == 0.6
    assert study.values["repair_hours"] == 4.5
    assert (folder / "study.toml").read_text().count("#") == comments
    assert "Saved at" in said(sound(test))


def test_default_ranges_stand_beside_the_values_and_one_row_takes_them_away(small):
    test = open_tab(small, "Assumptions")
    base = test.session_state["editors"][small, "study.toml"]["base"]
    assert base.loc["switching_hours", "default range"] == "0.7 to 1.3"
    assert base.loc["discount_rate", "default range"] == ""
    assert open_study(workspace.root() / small).default_ranges
    edit(test, "study.toml", {base.index.tolist().index("default_ranges"): {"value": "false"}})
    assert "Saved at" in said(sound(test))
    assert open_study(workspace.root() / small).uncertain == {}
    assert (open_tab(small, "Assumptions").session_state["editors"][small, "study.toml"]["base"]["default range"]
            == "").all()


def test_a_scenario_is_added(small):
    folder = workspace.root() / small
    test = open_tab(small, "Scenarios")
    test.session_state[editor(test, "study.toml scenarios")] = {
        "edited_rows": {}, "deleted_rows": [],
        "added_rows": [{"name": "Two taps", "laterals": "tap-01; tap-02", "device": "sectionalizer", "counts": "3"}]}
    test.run()
    assert open_study(folder).scenarios[-1].laterals == ("tap-01", "tap-02")


def test_an_earlier_version_is_brought_back(small):
    folder = workspace.root() / small
    before = (folder / "sections.csv").read_bytes()
    test = open_tab(small, "Tables")
    edit(test, "sections.csv", {0: {"customers": "36"}})
    test = open_tab(small, "Earlier versions")
    next(b for b in test.button if b.key.startswith("restore_")).click().run()
    assert (folder / "sections.csv").read_bytes() == before
    assert len(versions(folder)) == 2


@pytest.mark.parametrize("broken", [b"name = ", b""])
def test_a_broken_study_toml_is_corrected_on_the_page(small, broken):
    put(small, {"study.toml": broken})
    test = app("study", small)
    test.button_group("draft_file").set_value("study.toml").run()
    test.text_area[0].set_value('name = "Well again"\n')
    next(b for b in test.button if "Save and check" in b.label).click().run()
    assert open_study(workspace.root() / small).name == "Well again"
    assert "Well again" in said(sound(test))


@pytest.mark.parametrize(("table", "column", "wrong", "right"), [("settings", "pickup_a", "much", "410"),
                                                                 ("curves", "time_s", "soon", "0.36")])
def test_settings_and_curves_are_edited_like_the_other_tables(table, column, wrong, right):
    folder, file = workspace.folder_of("demo"), f"{table}.csv"
    before = (folder / file).read_bytes()
    test = app("study")
    test.session_state["study_tab"], test.session_state["edit_table"] = "Tables", table
    sound(test.run())
    edit(test, file, {0: {column: wrong}})
    assert (folder / file).read_bytes() == before
    assert "Not saved" in said(sound(test))
    assert test.dataframe[-1].value["value"].tolist() == [wrong]
    edit(test, file, {0: {column: right}})
    assert "Saved at" in said(sound(test))
    assert str(pd.read_csv(folder / file)[column][0]) == right
    assert open_study(folder).inputs_sha256


def test_a_scenario_beside_a_mixed_choice_is_edited():
    folder = workspace.folder_of("demo")
    before = open_study(folder).scenarios
    test = open_tab("demo", "Scenarios")
    edit(test, "study.toml scenarios", {0: {"counts": "2"}})
    assert "Saved at" in said(sound(test))
    after = open_study(folder).scenarios
    assert after[1].counts == 2
    assert after[2:] == before[2:]


def test_what_became_of_a_change_stands_above_the_table(small):
    """In sight of whoever types, where "checked and saved at once" stood before; the problems are listed below it."""
    test = open_tab(small, "Tables")
    order = [e.type for e in test.main]
    assert order.index("info") < order.index("dataframe")
    edit(test, "sections.csv", {0: {"customers": "many"}})
    order = [e.type for e in sound(test).main]
    assert "info" not in order
    assert order.index("error") < order.index("dataframe")
    assert order.count("dataframe") == 2
