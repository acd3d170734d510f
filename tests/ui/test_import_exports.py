"""Exports of other systems become a study on the Import page, step by step; nothing that was decided is lost."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

from reliability.intake import read_recipe
from reliability.intake.deciding import with_columns, with_kind
from reliability.study import open_study, uploads, workspace
from reliability.study.save import fingerprint
from reliability.ui.import_draft import Draft, prepared_of, same
from tests.ui.conftest import app, go, make_small, said, sound
from tests.ui.test_import import upload

DEMO = Path(__file__).parents[2] / "data" / "exports"
SEGMENTS = """FACILITYID,FROMNODE,TONODE,LEN,PHASEDESIGNATION,CONSTR,PROT
S1,N0,N1,1200,ABC,OH,CIRCUIT BREAKER
S2,N1,N2,800,ABC,OH,
S3,N1,N3,600,A,OH,FUSE-65K
S4,N2,N4,500,B,UG,FUSE-40K
"""
CUSTOMERS = "XFMR_ID,FACILITYID,CUST\nT1,S2,40\nT2,S3,\nT3,S3,12\nT4,S4,9\n"
OUTAGES = """OUT_NO,FACILITYID,START_TIME,END_TIME,CUST,CAUSE,TYPE
1,S3,2024-05-01 10:00,2024-05-01 12:30,12,TREE,UNPLANNED
2,S4,2024-06-02 08:00,2024-06-02 09:00,9,WORK,PLANNED
"""
STEP = "import_step"


def exports(**texts: str) -> tuple[tuple[str, bytes], ...]:
    files = {"line_segments.csv": SEGMENTS, "transformers.csv": CUSTOMERS, "oms.csv": OUTAGES, **{
        f"{name}.csv": text for name, text in texts.items()}}
    return tuple((name, text.encode()) for name, text in files.items())


def page(**query: str):
    """The page, beside a small study."""
    if not (workspace.root() / "small").exists():
        make_small("small")
    return app("import", "small", **query)


def step(test, name: str):
    test.session_state[STEP] = name
    return sound(test.run())


def until(test, text: str):
    """Run again until what is computed beside the page is there."""
    for _ in range(200):
        if text in said(test):
            return test
        time.sleep(0.05)
        sound(test.run())
    raise AssertionError(said(test))


def draft_of(test) -> str:
    """Token of the draft that a page shows."""
    found = test.query_params["draft"]
    return found if isinstance(found, str) else found[0]


def unit(test, header: str, of: str):
    next(s for s in test.selectbox if s.label == f"Unit of {header}").set_value(of)
    return sound(test.run())


def taken(test):
    """Everything that is suggested accepted, and the one unit that nobody has stated."""
    test.button("accept_all").click()
    sound(test.run())
    return unit(step(test, "units"), "LEN", "ft")


def token_of(test) -> str:
    found = test.query_params["draft"]
    return found if isinstance(found, str) else found[0]


def draft_files(test) -> dict[str, bytes]:
    return uploads.get(token_of(test)) or {}


def test_files_are_taken_once_whatever_their_names():
    """Names that are stored otherwise, two files of one name, and a file that comes later."""
    test = upload(page(), ("tx (1).csv", CUSTOMERS.encode()), ("line & segments.csv", SEGMENTS.encode()),
                  ("oms.csv", OUTAGES.encode()), ("oms.csv", OUTAGES.replace("2024", "2023").encode()))
    there = draft_files(test)
    assert sorted(there) == ["line _ segments.csv", "oms 2.csv", "oms.csv", "tx _1_.csv"]
    upload(test, ("more.csv", b"a,b\n1,2\n"))
    assert draft_files(test) == there | {"more.csv": b"a,b\n1,2\n"}


def test_what_is_removed_goes_with_what_was_decided_of_it_and_does_not_come_back():
    test = taken(upload(page(), *exports(devices="DEVICE,FACILITYID,TYPE\nD1,S2,SWITCH\n")))
    names = sorted(draft_files(test))
    assert "devices.csv" in names
    decided = read_recipe(uploads.get_plan(token_of(test))["recipe"].encode())
    assert any(r.file == "devices.csv" for r in decided.files)
    keep = next(m for m in test.multiselect if m.label == "Files of this import")
    keep.set_value([n for n in names if n != "devices.csv"])
    sound(test.run())
    left = read_recipe(uploads.get_plan(token_of(test))["recipe"].encode())
    assert [r.file for r in left.files] == [r.file for r in decided.files if r.file != "devices.csv"]
    assert left.meanings("segments", "device") == decided.meanings("segments", "device")
    upload(test, ("more.csv", b"a,b\n1,2\n"))
    assert sorted(draft_files(test)) == sorted({*names, "more.csv"} - {"devices.csv"})


def test_kinds_and_columns_are_shown_as_guesses_beside_their_first_values():
    test = upload(page(), *exports())
    kinds = {s.label: s.value for s in test.selectbox if s.label.startswith("Kind of")}
    assert kinds == {"Kind of line_segments.csv": "segments", "Kind of oms.csv": "outages",
                     "Kind of transformers.csv": "customers"}
    assert said(test).count("orange-badge[guess]") == 3
    editor = test.get("arrow_data_frame")[-1] if not test.dataframe else test.dataframe[-1]
    rows = editor.value.set_index("header")
    assert rows.loc["FACILITYID", "stands for"] == "segment_id"
    assert rows.loc["PROT", ["stands for", "state"]].tolist() == ["device", "guess"]
    assert rows.loc["LEN", "first values"] == "1200, 800, 600"


def test_exports_become_a_new_study_and_no_other_is_touched():
    test = taken(upload(page(), *exports()))
    before = fingerprint(workspace.root() / "small")
    until(step(test, "report"), "What matched")
    assert "Totals by feeder" in said(test)
    step(test, "save")
    until(test, "into the new folder")
    test.text_input("new_name").set_value("Clear Creek").run()
    test.button("save_import").click().run()
    sound(test)
    folder = workspace.root() / "clear-creek"
    study = open_study(folder)
    assert study.name == "Clear Creek"
    assert study.sections["customers"].sum() == 61
    assert study.sections["length_km"].sum() == pytest.approx(3100 * 0.3048e-3)
    assert study.outages["planned"].tolist() == ["false", "true"]
    assert {"import.toml", "import_report.html", "import_report.csv", "segment_sections.csv"} <= {
        f.name for f in folder.iterdir()}
    assert fingerprint(workspace.root() / "small") == before
    assert uploads.get(test.query_params.get("draft", [""])[0] or "none") is None


def test_the_recipe_to_download_is_the_one_that_is_saved(monkeypatch):
    """With the answers to the questions, those by default among them."""
    offered: dict[str, object] = {}
    monkeypatch.setattr("streamlit.download_button",
                        lambda label, data, file_name, **_: offered.update({file_name: data}))
    test = taken(upload(page(), *exports()))
    until(step(test, "report"), "What matched")
    step(test, "save")
    until(test, "into the new folder")
    test.button("save_import").click().run()
    saved = (workspace.root() / "my-study" / "import.toml").read_text(encoding="utf-8")
    assert offered["import.toml"] == saved
    assert "fast_operations = 2" in saved


def test_what_is_open_keeps_save_off_and_is_named():
    test = upload(page(), *exports(), ("notes.csv", b"alpha,beta\n1,2\n"))
    step(test, "save")
    assert test.button("save_import").disabled
    assert "the kind of notes" in said(test)
    assert "decisions on kinds and columns open" in said(test)
    test.button("accept_all").click()
    sound(test.run())
    assert "the kind of notes" in said(test)
    assert "1 decision on units open" in said(test)
    step(test, "files")
    next(s for s in test.selectbox if s.label == "Kind of notes.csv").set_value("ignore").run()
    assert "the kind of notes" not in said(step(test, "save"))


def test_outages_that_match_nothing_keep_save_off():
    test = taken(upload(page(), *exports(oms=OUTAGES.replace(",S3,", ",X3,").replace(",S4,", ",X4,"))))
    step(test, "save")
    until(test, "1 problem in the exports")
    assert any("none of 2 outages matches the network" in d.value.to_string() for d in test.dataframe)
    assert test.button("save_import").disabled


def test_words_are_translated_the_open_ones_first():
    test = upload(page(), *exports(line_segments=SEGMENTS.replace("FUSE-40K", "GIZMO")))
    test.button("accept_all").click()
    sound(test.run())
    step(test, "words")
    first = test.dataframe[0].value
    assert first["word"].tolist()[0] == "GIZMO"
    assert first["state"].tolist() == ["open", *["decided"] * (len(first) - 1)]
    editor = next(k for k in test.session_state._state.filtered_state if k.startswith("words_") and "_device_" in k)
    test.session_state[editor] = {"edited_rows": {0: {"stands for": "switch"}}, "added_rows": [], "deleted_rows": []}
    sound(test.run())


def test_an_implausible_unit_is_asked_about():
    test = upload(page(), *exports(line_segments=SEGMENTS.replace("LEN,", "LENGTH_MI,")))
    test.button("accept_all").click()
    sound(test.run())
    step(test, "units")
    assert "red-badge[implausible]" in said(test)
    step(test, "save")
    assert "1 decision on units open" in said(test)
    unit(step(test, "units"), "LENGTH_MI", "ft")
    assert "red-badge[implausible]" not in said(test)
    until(step(test, "save"), "into the new folder")


def test_a_unit_may_be_implausible_and_right():
    test = upload(page(), *exports(line_segments=SEGMENTS.replace("LEN,", "LENGTH_MI,")))
    test.button("accept_all").click()
    sound(test.run())
    step(test, "units")
    next(b for b in test.button if b.label == "It is right").click()
    sound(test.run())
    assert "units open" not in said(step(test, "save"))


def test_numbers_with_two_readings_ask_for_the_decimal_sign_of_their_table():
    test = upload(page(), *exports(line_segments=SEGMENTS.replace("1200", '"1,200"')))
    taken(test)
    assert "1 decision on units open" in said(step(test, "save"))
    step(test, "units")
    assert "1,200: a comma or point may separate thousands" in said(test)
    next(s for s in test.selectbox if s.label == "Decimal sign of line_segments.csv").set_value(".")
    sound(test.run())
    until(step(test, "save"), "into the new folder")
    assert "LEN 1,200 as 1200" in said(step(test, "files"))


def test_a_year_of_two_digits_is_read_once_its_century_is_chosen():
    text = OUTAGES.replace("2024-05-01 10:00", "1-May-24 10:00").replace("2024-05-01 12:30", "1-May-24 12:30")
    test = taken(upload(page(), *exports(oms=text)))
    until(step(test, "save"), "its year has two digits")
    next(s for s in test.selectbox if s.label == "Dates that end with two digits").set_value(2000)
    sound(test.run())
    until(step(test, "save"), "into the new folder")


def test_a_reload_keeps_every_decision_and_the_step():
    test = taken(upload(page(), *exports()))
    step(test, "questions")
    draft = test.query_params["draft"]
    again = page(draft=draft[0] if isinstance(draft, list) else draft)
    assert again.session_state[STEP] == "questions"
    until(again, "What nobody exports")


def test_another_page_and_back_loses_nothing():
    test = taken(upload(page(), *exports()))
    go(test, "study")
    go(test, "import")
    assert [s.value for s in test.selectbox if s.label == "Unit of LEN"] == ["ft"]


def test_answers_are_written_into_the_study_and_its_recipe():
    test = taken(upload(page(), *exports()))
    step(test, "questions")
    until(test, "Do breakers and reclosers trip fast first")
    radio = next(r for r in test.radio if r.key.endswith("fast_first"))
    assert radio.value == "saving"
    radio.set_value("blowing").run()
    until(step(test, "save"), "into the new folder")
    test.button("save_import").click().run()
    study = open_study(workspace.root() / "my-study")
    assert study.values["fast_operations"] == 0
    recipe = read_recipe((workspace.root() / "my-study" / "import.toml").read_bytes())
    assert recipe.study["protection"]["fast_operations"] == 0


def test_a_recipe_beside_the_files_leaves_nothing_open():
    files = [(f.name, f.read_bytes()) for f in sorted(DEMO.iterdir())]
    test = upload(page(), *files)
    assert not [b for b in test.button if b.key == "accept_all"]
    until(step(test, "report"), "What matched")


def test_sources_that_are_not_found_are_asked_for():
    test = taken(upload(page(), *exports(line_segments=SEGMENTS.replace("CIRCUIT BREAKER", ""))))
    until(step(test, "report"), "Where feeders begin")
    assert "no source" in said(test)
    assert test.button


def test_files_are_added_and_taken_away():
    test = upload(page(), *exports()[:1])
    test = upload(test, *exports()[1:])
    assert len([s for s in test.selectbox if s.label.startswith("Kind of")]) == 3
    next(m for m in test.multiselect if m.label == "Files of this import").set_value(
        ["line_segments.csv", "transformers.csv"]).run()
    sound(test)
    assert [s.label for s in test.selectbox if s.label.startswith("Kind of")] == [
        "Kind of line_segments.csv", "Kind of transformers.csv"]


def test_a_question_takes_a_number_of_ones_own():
    """The share of faults while reclosing is off, in tenths of a per cent, with how far the results move with it."""
    test = until(step(taken(upload(page(), *exports())), "questions"), "NPV")
    next(r for r in test.radio if r.key.endswith("reclosing_off")).set_value("own").run()
    number, = [n for n in test.number_input if "reclosing_off" in n.key]
    assert (number.label, number.value) == ("For another share of faults, delayed trip, %", 0.0)
    number.set_value(0.8).run()
    for _ in range(200):
        radio = next(r for r in test.radio if r.key.endswith("reclosing_off"))
        if "+" in radio.proto.captions[-1] or "−" in radio.proto.captions[-1]:
            break
        time.sleep(0.05)
        sound(test.run())
    assert "SAIFI" in radio.proto.captions[-1]
    assert uploads.get_plan(draft_of(test))["answers"] == {"reclosing_off": "own 0.8"}
    until(step(test, "save"), "into the new folder")
    test.button("save_import").click().run()
    assert open_study(workspace.root() / "my-study").values["reclosing_off_share"] == 0.008


def test_decisions_of_a_page_that_does_not_show_the_one_before_are_all_noted(tmp_path, monkeypatch):
    """A quick hand: each is made on the state of now, not on that of the page."""
    monkeypatch.chdir(tmp_path)
    files = dict(exports())
    token = uploads.put(files)
    draft = Draft(token, tuple(files), uploads.get_plan(token))
    one = next(t for t in prepared_of(draft).recognised if t.table.file == "oms.csv")
    draft.change_recipe(lambda now: with_kind(now.recipe, same(now, one), "outages"))
    draft.change_recipe(lambda now: with_columns(now.recipe, same(now, one), {"CAUSE": ""}))
    draft.change_recipe(lambda now: with_columns(now.recipe, same(now, one), {"CUST": "customers"}))
    draft.change_recipe(lambda now: replace(now.recipe, time_zone="America/Chicago"))
    draft.decide_one("answers", "momentary", "all")
    draft.decide_one("answers", "ties", "half")
    found = read_recipe(draft.now.recipe_text.encode(), "import.toml")
    rule, = found.files
    assert (rule.kind, found.time_zone) == ("outages", "America/Chicago")
    assert rule.columns["customers"] == ("CUST",)
    assert "CAUSE" in (rule.ignore or ())
    assert draft.now.plan["answers"] == {"momentary": "all", "ties": "half"}


def test_a_corrected_file_takes_the_place_of_the_one_before():
    test = upload(page(), *exports())
    token = draft_of(test)
    corrected = OUTAGES.replace("12:30,12", "11:30,12")
    upload(test, *exports(), ("oms.csv", corrected.encode()))
    assert "oms\\.csv was brought again" in said(test)
    now = draft_of(test)
    assert now != token
    assert sorted(uploads.names(now)) == ["line_segments.csv", "oms.csv", "transformers.csv"]
    assert uploads.get(now)["oms.csv"] == corrected.encode()
    sound(test.run())
    assert sorted(uploads.names(draft_of(test))) == ["line_segments.csv", "oms.csv", "transformers.csv"]
    upload(test, *exports(), ("oms.csv", corrected.encode()), ("oms.csv", OUTAGES.encode()))    # and back again
    assert sorted(uploads.names(draft_of(test))) == ["line_segments.csv", "oms.csv", "transformers.csv"]
    assert uploads.get(draft_of(test))["oms.csv"] == OUTAGES.encode()


def test_a_corrected_recipe_holds_in_place_of_what_the_first_one_decided():
    recipe = "version = 1\n[time]\nzone = \"America/{}\"\n"
    test = upload(page(), *exports(), ("import.toml", recipe.format("Chicago").encode()))
    Draft(draft_of(test), ()).change_recipe(lambda now: replace(now.recipe, clock=12))
    upload(test, *exports(), *(("import.toml", recipe.format(city).encode()) for city in ("Chicago", "Denver")))
    token = draft_of(test)
    found = read_recipe(Draft(token, tuple(uploads.names(token)), uploads.get_plan(token)).recipe_text.encode(), "")
    assert (found.time_zone, found.clock) == ("America/Denver", None)


def test_files_of_other_types_are_told():
    test = upload(page(), *exports(), ("outages.xls", b"x"))
    assert "Not read, as no export is of such a type: outages\\.xls" in said(test)
    assert sorted(uploads.names(draft_of(test))) == ["line_segments.csv", "oms.csv", "transformers.csv"]


def test_two_files_of_one_name_brought_together_are_two():
    test = upload(page(), *exports(), ("oms.csv", OUTAGES.replace("1,S3", "7,S3").encode()))
    assert "oms 2.csv" in uploads.names(draft_of(test))
