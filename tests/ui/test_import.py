"""Tables of a study's own: headers matched, problems corrected in place, nothing changed by a failed import."""

from __future__ import annotations

import io

import pandas as pd
import pytest

from reliability.study import open_study, workspace
from reliability.study.save import create, fingerprint
from reliability.ui.import_blank import just_made
from tests.ui.conftest import app, go, said, sound

NETWORK = """Tap No,Upline Element,Device Type,Circuit,Line Miles,Cust,Phasing,Remarks
001,,Breaker,F1,2.0,10,3,main
002,001,Fuse,F1,0.8,25,1,"tap, north"
003,001,FUSE,F1,1.1,seven,1,
004,003,fuze,F1,0.3,4,1,
"""
OUTAGES = """Incident No,Tap No,Time Off,Time On,Customers Affected,Cause Code
1,002,2024-05-01 10:00,2024-05-01 12:30,25,tree
2,003,2024-06-02 08:00,2024-06-02 09:00,7,wind
"""


def upload(test, *files: tuple[str, bytes]):
    for name, content in files:
        test.file_uploader[0].upload(name, content)
    return sound(test.run())


def correct(test, problem_rows: dict[int, dict[str, str]]):
    editor = next(k for k in test.session_state._state.filtered_state if k.startswith("rows_sections"))
    test.session_state[editor] = {"edited_rows": problem_rows, "added_rows": [], "deleted_rows": []}
    next(b for b in test.button if "Apply the corrections" in b.label).click()
    return sound(test.run())


def test_a_dirty_export_becomes_a_study():
    test = upload(app("import"), ("Network Export.csv", NETWORK.encode()), ("oms.csv", OUTAGES.encode()))
    assert test.selectbox("is_Network Export.csv").value == "sections"
    assert test.selectbox("is_oms.csv").value == "outages"
    problems = test.dataframe[0].value
    assert {(r.file, r.row, r.column, r.value) for r in problems.itertuples()} == {
        ("Network Export.csv", 4, "Cust", "seven"), ("Network Export.csv", 5, "Device Type", "fuze")}
    correct(test, {0: {"Cust": "7"}, 1: {"Device Type": "fuse"}})
    assert "No problem found" in said(test)
    test.text_input("new_name").set_value("Clear Creek & Sons").run()
    test.button("save_import").click().run()
    sound(test)
    study = open_study(workspace.root() / "clear-creek-sons")
    assert study.name == "Clear Creek & Sons"
    assert study.sections["section_id"].tolist() == ["001", "002", "003", "004"]
    assert study.sections["customers"].tolist() == [10, 25, 7, 4]
    assert study.sections["length_km"][0] == pytest.approx(2 * 1.609344)
    assert len(study.outages) == 2
    assert "Clear Creek" in said(go(test, "history"))


def test_what_was_brought_survives_a_reload():
    test = upload(app("import"), ("net.csv", NETWORK.encode()))
    draft = test.query_params["draft"]
    again = app("import", draft=draft[0] if isinstance(draft, list) else draft)
    assert "2 problems before this can be saved" in said(again)


def test_a_failed_import_changes_nothing(small):
    folder = workspace.root() / small
    before = fingerprint(folder)
    test = upload(app("import", small), ("sections.csv", b"section_id,parent_id,length_km,customers\na,b,1,1\n"))
    target = next(s for s in test.selectbox if s.key and s.key.startswith("target_"))
    target.set_value(small).run()
    assert "Nothing has been changed" in said(sound(test))
    assert fingerprint(folder) == before


def test_records_are_added_to_the_open_study(small):
    test = upload(app("import", small), ("outages.csv", OUTAGES.replace("002", "tap-01").replace("003",
                                                                                                "tap-02").encode()))
    assert "choose it under Save into" in said(test)           # never an existing study by default
    assert test.button("save_import").disabled
    test.selectbox(next(w.key for w in test.selectbox if str(w.key).startswith("target_"))).set_value(small).run()
    assert "2 outage records" in said(test)
    test.button("save_import").click().run()
    sound(test)
    study = open_study(workspace.root() / small)
    assert study.outages["section_id"].tolist() == ["tap-01", "tap-02"]
    assert "By year, with and without major event days" in said(go(test, "history"))


def test_a_workbook_is_read():
    content = io.BytesIO()
    pd.DataFrame({"section_id": ["007", "8"], "parent_id": ["", "007"], "device": ["breaker", "fuse"],
                  "length_km": [1.0, 2.0], "customers": [3, 4]}).to_excel(content, index=False, engine="xlsxwriter")
    test = upload(app("import"), ("net.xlsx", content.getvalue()))
    assert "No problem found: 2 sections, 7 customers" in said(test)
    test.button("save_import").click().run()
    assert open_study(workspace.root() / "my-study").sections["section_id"].tolist() == ["007", "8"]


def test_letters_of_phases_are_counted():
    text = ("Tap No,Upline Element,Device Type,Line Miles,Cust,Phasing\n"
            "1,,Breaker,2,10,ABCN\n\n2,1,Fuse,1,5,b\n3,1,Fuse,1,5,\n4,1,,1,5,A-C\n")
    test = upload(app("import"), ("network.csv", text.encode()))
    assert "the letters are counted" in said(test)
    next(b for b in test.button if "Save and open" in b.label).click().run()
    study = open_study(workspace.root() / "my-study")
    assert study.sections["phases"].tolist() == [3, 1, 1, 2]


@pytest.mark.parametrize("phases", ["X", "4", "N", "A1"])
def test_what_names_no_phases_stays_a_problem(phases):
    text = f"Tap No,Upline Element,Device Type,Line Miles,Cust,Phasing\n1,,Breaker,2,10,ABC\n2,1,Fuse,1,5,{phases}\n"
    test = upload(app("import"), ("network.csv", text.encode()))
    assert phases in test.dataframe[0].value["value"].tolist()


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04broken", b"\xff\xfe\x00\x00", b"just one line\n"])
def test_files_that_are_no_tables_are_told(content):
    test = upload(app("import"), ("net.csv", content))
    assert test.error or "its kind has to be chosen" in said(test)
    assert not [b for b in test.button if b.key == "save_import" and not b.disabled]
    assert workspace.studies() == list(workspace.DEMOS)


@pytest.mark.parametrize(("kind", "file"), [("sections", "sections.csv"), ("flat", "laterals.csv")])
def test_a_blank_study_to_write_over(kind, file):
    test = app("import")
    test.session_state["import_tab"] = "Start from a blank study"
    test.run()
    test.text_input("blank_name").set_value("North Fork").run()
    test.radio("blank_kind").set_value(kind).run()
    test.button("blank_make").click().run()
    sound(test)
    assert (workspace.root() / "north-fork" / file).exists()
    assert open_study(workspace.root() / "north-fork").name == "North Fork"


def test_two_quick_clicks_make_one_study():
    files = {"sections.csv": b"x", "study.toml": b'name = "y"\n'}
    folder = workspace.root() / "twice"
    create(folder, files)
    assert just_made(folder, files)
    assert not just_made(folder, files | {"sections.csv": b"z"})
    assert not just_made(folder.with_name("other"), files)


def test_routes_segments_and_recipe_are_taken_along():
    """Into a new study, and into one that has them already and gets other tables."""
    rows = "section_id,parent_id,device,length_km,customers\nm,,breaker,1,1\nt,m,fuse,1,2\n"
    routes = (b'{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"section_id": "t"}, '
              b'"geometry": {"type": "LineString", "coordinates": [[1, 2], [3, 4]]}}]}')
    segments = b"segment_id,section_id,order,reversed\nS1,t,1,false\n"
    test = upload(app("import"), ("sections.csv", rows.encode()), ("routes.geojson", routes),
                  ("segment_sections.csv", segments), ("import.toml", b"version = 1\n"), ("poles.geojson", b"{}"))
    assert "Taken along as they are: routes.geojson, segment_sections.csv, import.toml" in said(test)
    assert "poles" in said(test)
    test.text_input("new_name").set_value("Routed").run()
    test.button("save_import").click().run()
    sound(test)
    study = open_study(workspace.root() / "routed")
    assert study.routes.lines_of(1) == [[[1, 2], [3, 4]]]
    assert study.segments["segment_id"].tolist() == ["S1"]
    assert (workspace.root() / "routed" / "import.toml").read_bytes() == b"version = 1\n"
    test = upload(app("import", "routed"), ("sections.csv", rows.replace("1,2", "1,3").encode()))
    test.selectbox(next(w.key for w in test.selectbox if str(w.key).startswith("target_"))).set_value("routed").run()
    test.button("save_import").click().run()
    sound(test)
    study = open_study(workspace.root() / "routed")
    assert study.sections["customers"].tolist() == [1, 3]
    assert study.routes.lines_of(1) == [[[1, 2], [3, 4]]]
    assert (workspace.root() / "routed" / "import.toml").is_file()


def test_two_files_for_one_table_keep_save_off_and_no_success_is_told():
    rows = b"section_id,parent_id,device,length_km,customers\nm,,breaker,1,1\n"
    test = upload(app("import"), ("sections.csv", rows), ("sections again.csv", rows))
    assert "are both taken for sections" in said(test)
    assert "No problem found" not in said(test)
    assert test.button("save_import").disabled


def test_records_that_name_no_section_keep_save_off():
    rows = b"section_id,parent_id,device,length_km,customers\nm,,breaker,1,1\n"
    records = OUTAGES.replace("Tap No", "section_id").encode()
    test = upload(app("import"), ("sections.csv", rows), ("outages.csv", records))
    assert "none of 2 outage records names a section" in said(test)
    assert "No problem found" not in said(test)
    assert test.button("save_import").disabled
