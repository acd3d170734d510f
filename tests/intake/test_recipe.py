"""The recipe: written and read, run again with the same result, stopped by what is new; words, units, times."""

from __future__ import annotations

import io
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from reliability.__main__ import PROBLEMS_FOUND, main
from reliability.intake import Recipe, import_exports, import_study, prepare, read_exports, read_recipe
from reliability.intake.words import Meaning, phases_of, word_key
from reliability.schema.problems import StudyError
from tests.intake import small
from tests.intake.small import accepted, sections, take, write

SEGMENTS = """GLOBALID,FROMND,TOND,LEN_FT,PH,PROT,STATUS,KIND
M1,BUS,N1,3280.8398950131234,ABC,,IN SERVICE,OH
M2,N1,N2,6561.679790026247,ABC,,IN SERVICE,OH
T1,N1,N3,1640.4199475065617,A,FUSE-65K,IN SERVICE,OH
T2,N3,N4,984.2519685039370,A,,IN SERVICE,OH
OLD,N4,N9,5000,A,,ABANDONED,OH
T3,N4,N5,10,A,XFMR CUTOUT,IN SERVICE,OH
"""
OMS = """OUT_NO,DEV,DATE,TIME,BACK,CUST,TYPE
1,T1,05/01/2024,10:00 PM,05/01/2024 11:30 PM,5,UNPLANNED
2,T1,05/02/2024,9:00 AM,05/02/2024 9:30 AM,5,PLANNED
"""
RECIPE = """version = 1
[join]
tolerance_m = 0.5
[time]
order = "month_first"
clock = 12
zone = "America/Chicago"
[[files]]
file = "gis*.csv"
kind = "segments"
units = { length = "ft" }
COLUMNS = 1
leave_out = { STATUS = ["abandoned"] }
[[files]]
file = "oms.csv"
kind = "outages"
COLUMNS = 2
[values.segments.device]
"FUSE-65K" = { device = "fuse", fuse_link = "65K" }
"XFMR CUTOUT" = "leave_out"
[values.segments.construction]
"OH" = "overhead"
[values.outages.planned]
"PLANNED" = true
"UNPLANNED" = false
[network]
sources = { BUS = "F103" }
[study]
protection.fast_operations = 2
""".replace("COLUMNS = 1", 'columns = { segment_id = "GLOBALID", from_node = "FROMND", to_node = "TOND", '
            'length = "LEN_FT", phases = "PH", device = "PROT", construction = "KIND" }').replace(
    "COLUMNS = 2", 'columns = { event_id = "OUT_NO", segment_id = "DEV", started = ["DATE", "TIME"], '
    'restored = "BACK", '
    'customers = "CUST", planned = "TYPE" }')


def exports(folder: Path, segments: str = SEGMENTS, oms: str = OMS) -> Path:
    return write(folder, segments=None, devices=None, sources=None, outages=None, gis_1__csv=segments, oms__csv=oms,
                 customers="transformer_id,segment_id,customers\nX1,M2,10\nX2,T2,5\n")


def test_a_recipe_turns_foreign_exports_into_a_study(tmp_path):
    imported = import_exports(exports(tmp_path), read_recipe(RECIPE.encode()))
    found = sections(imported)
    assert found.loc["T1", ["device", "fuse_link", "parent_id"]].tolist() == ["fuse", "65K", "M1"]
    assert found["length_km"].sum() == pytest.approx(3.8 + 0.003048, abs=1e-9)
    outages = imported.tables["outages"]
    assert outages["started"].tolist() == ["2024-05-01T22:00:00", "2024-05-02T09:00:00"]
    assert outages["planned"].tolist() == ["false", "true"]
    assert "fast_operations = 2" in imported.settings
    assert "America/Chicago" in imported.settings


def test_a_recipe_is_written_as_it_was_read(tmp_path):
    recipe = read_recipe(RECIPE.encode())
    assert read_recipe(recipe.text.encode()) == recipe


def test_the_recipe_that_is_saved_gives_the_same_study_again(tmp_path):
    first = import_exports(exports(tmp_path), read_recipe(RECIPE.encode()))
    again = import_exports(tmp_path, read_recipe(first.recipe.text.encode()))
    assert again.files == first.files


@pytest.mark.parametrize(("segments", "oms", "said"), [
    (SEGMENTS.replace("FUSE-65K", "FUSE-100K"), OMS, "'FUSE-100K': what this word means is open"),
    (SEGMENTS, OMS.replace("UNPLANNED", "STORM"), "'STORM': what this word means is open"),
    (SEGMENTS.replace("PROT", "PROTECTION"), OMS, "'PROT': the recipe maps this header to device"),
    (SEGMENTS.replace("LEN_FT", "LEN_M"), OMS, "'LEN_FT': the recipe maps this header to length"),
])
def test_new_words_and_headers_end_with_status_2_and_a_list(tmp_path, capsys, segments, oms, said):
    folder = exports(tmp_path / "exports", segments, oms)
    (tmp_path / "import.toml").write_text(RECIPE, encoding="utf-8")
    status = main(["import", str(folder), "--recipe", str(tmp_path / "import.toml"), "--out", str(tmp_path / "study")])
    assert status == PROBLEMS_FOUND
    assert said in capsys.readouterr().err
    assert not (tmp_path / "study").exists()


def test_a_new_column_is_listed_where_the_recipe_knows_all_others(tmp_path):
    saved = import_exports(exports(tmp_path / "a"), read_recipe(RECIPE.encode())).recipe
    lines = SEGMENTS.splitlines()
    wider = "\n".join([lines[0] + ",AMPACITY", *(line + ",200" for line in lines[1:])]) + "\n"
    with pytest.raises(StudyError, match="'AMPACITY': a column that the recipe does not know"):
        import_exports(exports(tmp_path / "b", wider), saved)


def test_a_pattern_that_matches_nothing_is_an_error(tmp_path):
    recipe = RECIPE.replace("oms.csv", "oms_2025*.csv")
    with pytest.raises(StudyError, match="no file of the exports matches this pattern"):
        import_exports(exports(tmp_path), read_recipe(recipe.encode()))


def test_keys_that_are_not_known_are_listed_together():
    text = RECIPE.replace("tolerance_m", "tolerence_m").replace('kind = "outages"', 'kind = "outage"').replace(
        'length = "ft"', 'length = "A"')
    with pytest.raises(StudyError) as error:
        read_recipe(text.encode())
    said = str(error.value)
    assert "tolerence_m" in said
    assert "'outage': not a kind of table" in said
    assert "not a unit of this column" in said


@pytest.mark.parametrize(("stated", "meant", "said"), [
    ('"UNPLANNED" = false', '"UNPLANNED" = "no"', "'no': not a value of planned; write one of true, false"),
    ('device = "fuse"', 'device = "fuze"', "'fuze': not a value of device; did you mean 'fuse'?"),
])
def test_words_mean_only_what_a_column_can_hold(stated, meant, said):
    with pytest.raises(StudyError) as error:
        read_recipe(RECIPE.replace(stated, meant).encode())
    assert said in str(error.value)


@pytest.mark.parametrize(("number", "sound"), [("'lots'", False), ("-1", False), ("0.65", True), ("''", True)])
def test_words_for_numbers_mean_numbers(number, sound):
    text = RECIPE + f"[values.segments.line_fault_rate_per_mi]\nHEAVY = {number}\n"
    if sound:
        read_recipe(text.encode())
        return
    with pytest.raises(StudyError, match=r"row 3[0-9].*not a number that this column may have"):
        read_recipe(text.encode())


def test_planned_takes_words_only_as_translated(tmp_path):
    recipe = RECIPE.replace('[values.outages.planned]\n"PLANNED" = true\n"UNPLANNED" = false\n', "")
    with pytest.raises(StudyError) as error:
        import_exports(exports(tmp_path), read_recipe(recipe.encode()))
    assert ("'UNPLANNED': what this word means is open (1 row); probably [values.outages.planned] \"UNPLANNED\" = false"
            in str(error.value))


def test_foreign_headers_without_a_recipe_are_guessed_and_open(tmp_path):
    oms = OMS.replace("OUT_NO,DEV,DATE,TIME,BACK", "OUTAGENO,DEVICEID,OFFTIME,TIME,TIMEON")
    prepared = prepare(read_exports(exports(tmp_path, oms=oms)))
    kinds = {r.table.file: (r.kind, r.guess) for r in prepared.recognised}
    assert kinds["gis_1.csv"] == ("segments", True)
    assert kinds["oms.csv"] == ("outages", True)
    assert kinds["customers.csv"] == ("customers", False)
    gis = next(r for r in prepared.recognised if r.table.file == "gis_1.csv")
    assert {"from_node", "to_node", "length", "phases", "device"} <= {m.name for m in gis.matches}
    assert all(m.guess for m in gis.matches if m.name != "status")
    with pytest.raises(StudyError, match="the kind of this table is open"):
        import_exports(tmp_path)


@pytest.mark.parametrize(("a", "b", "one"), [
    ("FUSE-65K", "fuse 65k", True), ("6.5K", "65K", False), ("IN SERVICE", "in_service", True), ("1/0", "10", False),
    ("N.O.", "NO", True), ("+5", "-5", False), ("Circuit  Breaker", "CIRCUIT BREAKER", True), ("10-25", "1025", False),
])
def test_words_are_one_but_for_signs_beside_digits(a, b, one):
    assert (word_key(a) == word_key(b)) is one


@pytest.mark.parametrize(("word", "phases"), [("ABC", (3, 7)), ("A", (1, 1)), ("b-c", (2, 6)), ("2", (2, 0)),
                                              ("ACN", (2, 5)), ("4", None), ("R", None), ("AA", None), ("", None)])
def test_phases_are_read(word, phases):
    assert phases_of(word) == phases


def test_a_blank_word_may_have_a_meaning(tmp_path):
    blank = Recipe(values={"devices": {"device": {"": Meaning({"device": "switch"})}}})
    devices = "device_id,segment_id,device\nB1,M1,breaker\nFU1,T1,\n"
    assert sections(take(tmp_path, blank, devices=devices)).loc["T1", "device"] == "switch"


def test_cumulative_steps_become_the_customers_of_each_step(tmp_path):
    outages = ("event_id,device_id,started,restored,customers\nE1,FU1,2024-05-01T10:00:00,2024-05-01T11:00:00,2\n"
               "E1,FU1,2024-05-01T10:00:00,2024-05-01T12:00:00,5\n")
    assert take(tmp_path, outages=outages).tables["outages"]["customers"].tolist() == [2, 5]
    steps = take(tmp_path / "b", replace(Recipe(stated=False), cumulative_steps=True), outages=outages)
    assert steps.tables["outages"]["customers"].tolist() == [2, 3]


def test_a_date_of_two_readings_is_asked_for(tmp_path):
    outages = "event_id,device_id,started,restored,customers\nE1,FU1,03/04/2024 10:00,03/04/2024 11:00,2\n"
    with pytest.raises(StudyError, match="day first or month first"):
        take(tmp_path, outages=outages)
    again = take(tmp_path, Recipe(date_order="day_first"), outages=outages)
    assert again.tables["outages"]["started"].tolist() == ["2024-04-03T10:00:00"]


def test_a_duration_stands_for_the_end(tmp_path):
    outages = "event_id,device_id,started,duration_min,customers\nE1,FU1,2024-05-01T10:00:00,90,2\n"
    assert take(tmp_path, outages=outages).tables["outages"]["restored"].tolist() == ["2024-05-01T11:30:00"]


def test_suggestions_taken_over_make_a_study(tmp_path):
    recipe = RECIPE[:RECIPE.index("[values.segments.device]")] + '[network]\nsources = { BUS = "F103" }\n'
    prepared = prepare(read_exports(exports(tmp_path)), read_recipe(recipe.encode()))
    assert {d.step for d in prepared.decisions} == {"word"}
    again = prepare(prepared.exports, accepted(prepared.exports, prepared.recipe))
    assert again.decisions == ()
    assert sections(import_study(again)).loc["T1", ["device", "fuse_link"]].tolist() == ["fuse", "65K"]


def test_sheets_of_a_workbook_are_tables_and_dates_in_cells_are_read(tmp_path):
    folder = write(tmp_path, outages=None, segments=None)
    with pd.ExcelWriter(folder / "gis.xlsx") as book:
        pd.read_csv(io.StringIO(small.SEGMENTS)).to_excel(book, sheet_name="segments", index=False, startrow=2)
        pd.DataFrame({"Notes": ["nothing here"], "By": ["somebody"]}).to_excel(book, sheet_name="About", index=False)
    with pd.ExcelWriter(folder / "outages.xlsx") as book:
        pd.DataFrame({"event_id": ["E1"], "device_id": ["FU1"], "customers": [5],
                      "started": [pd.Timestamp("2024-05-01 10:00")], "restored": [pd.Timestamp("2024-05-01 12:00")]}
                     ).to_excel(book, index=False)
    imported = import_exports(folder)
    assert len(sections(imported)) == 3
    assert imported.tables["outages"]["started"].tolist() == ["2024-05-01T10:00:00"]
    assert imported.report.findings.ids("table_unused") == ("gis.xlsx, About",)


def test_what_is_left_out_by_the_recipe_is_counted(tmp_path):
    imported = import_exports(exports(tmp_path), read_recipe(RECIPE.encode()))
    assert imported.report.findings.ids("left_out") == ("OLD",)


def test_a_device_is_placed_where_the_recipe_says(tmp_path):
    imported = take(tmp_path, replace(Recipe(stated=False), place={"FU1": "T2"}))
    assert sections(imported).loc["T2", "device"] == "fuse"


def test_devices_need_no_column_for_their_place_where_the_recipe_states_it(tmp_path):
    recipe = replace(Recipe(stated=False), place={"B1": "M1", "FU1": "T2"})
    imported = take(tmp_path, recipe, devices="device_id,device\nB1,breaker\nFU1,fuse\nFU2,fuse\n", outages=None)
    assert sections(imported).loc["T2", "device"] == "fuse"
    assert imported.report.findings.ids("device_on_nothing") == ("FU2",)


def test_the_command_writes_a_study_that_can_be_checked(tmp_path, capsys):
    folder = exports(tmp_path / "exports")
    (tmp_path / "import.toml").write_text(RECIPE, encoding="utf-8")
    target = tmp_path / "study"
    arguments = ["import", str(folder), "--recipe", str(tmp_path / "import.toml"), "--out", str(target)]
    assert main(arguments) == 0
    out, err = capsys.readouterr()
    assert "4 sections, 3.8 km, 15 customers, 1 feeder, 1 lateral" in out
    assert "reading" in err
    assert "Import report" in (target / "import_report.html").read_text(encoding="utf-8")
    assert "left_out" in (target / "import_report.csv").read_text(encoding="utf-8")
    assert main(["check", str(target)]) == 0
    assert main(arguments) == PROBLEMS_FOUND       # a study is never written over


def test_brackets_in_the_name_of_a_file_are_no_pattern(tmp_path):
    folder = write(tmp_path / "x", segments=None, **{"segments [2024]__csv": small.SEGMENTS})
    seen = prepare(read_exports(folder))
    recipe = accepted(read_exports(folder), seen.complete_recipe)
    assert import_study(prepare(read_exports(folder), recipe)).tables["sections"]["section_id"].tolist()
    (folder / "segments 2.csv").write_text(small.SEGMENTS, encoding="utf-8")
    by_rule = {one.table.file: one.rule is not None for one in prepare(read_exports(folder), recipe).recognised}
    assert by_rule["segments [2024].csv"]
    assert not by_rule["segments 2.csv"]


def test_libraries_for_geometry_are_loaded_only_where_geometry_comes(tmp_path):
    code = ("import sys; from reliability.intake import import_exports; import_exports(sys.argv[1]); "
            "print(sorted({'geopandas', 'pyogrio', 'shapely', 'pyproj'} & set(sys.modules)))")
    run = subprocess.run([sys.executable, "-c", code, str(write(tmp_path))], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_what_a_recipe_neither_maps_nor_ignores_is_told_in_one_list_with_what_it_looks_like(tmp_path, capsys):
    lines = SEGMENTS.splitlines()
    wider = "\n".join([lines[0] + ",MEAS_LENGTH,TRENCH", *(line + ",12.5,7" for line in lines[1:])]) + "\n"
    folder = exports(tmp_path / "exports", wider, OMS.replace("TYPE", "TYPE,CREW").replace("PLANNED\n", "PLANNED,7\n"))
    (tmp_path / "import.toml").write_text(RECIPE, encoding="utf-8")
    target = tmp_path / "study"
    assert main(["import", str(folder), "--recipe", str(tmp_path / "import.toml"), "--out", str(target)]) == 0
    out = capsys.readouterr().out
    assert ("  gis_1.csv: MEAS_LENGTH (looks like length, for which LEN_FT stands), TRENCH\n  oms.csv: CREW\n"
            in out.partition("neither maps nor ignores them")[2])
    saved = tmp_path / "study" / "import.toml"
    assert main(["import", str(folder), "--recipe", str(saved), "--out", str(tmp_path / "again")]) == 0
    assert "neither maps nor ignores" not in capsys.readouterr().out


def test_a_recipe_that_knows_every_column_has_no_such_list(tmp_path):
    imported = import_exports(exports(tmp_path), read_recipe(RECIPE.encode()))
    assert imported.report.findings.ids("column_unlisted") == ()
