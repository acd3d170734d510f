"""What an import does not use, does not count, or would lose: said, each with its name."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.__main__ import PROBLEMS_FOUND, main
from reliability.intake import Recipe, import_exports, import_study, prepare, read_exports, read_recipe
from reliability.intake.decisions import Undecided
from reliability.intake.notes import notes
from reliability.intake.titles import header_row
from reliability.schema.problems import StudyError
from reliability.ui.import_network import chosen_sources
from tests.intake.small import CUSTOMERS, DEVICES, OUTAGES, SEGMENTS, take, write
from tests.workbooks import Sheet, raw_workbook, rows

HEAD = "event_id,device_id,started,restored,customers\n"


def ids(imported, key: str) -> tuple[str, ...]:
    return imported.report.findings.ids(key)


def titles(imported, state: str) -> str:
    return "\n".join(n.title for n in imported.report.findings.noted if n.state == state)


def test_an_import_without_customers_is_red_and_says_what_to_bring(tmp_path):
    imported = take(tmp_path / "none", customers=None, outages=None)
    assert imported.report.state == "red"
    assert "bring a table of transformers or meters" in titles(imported, "red")
    assert take(tmp_path / "some", outages=None).report.state == "green"


def test_a_feeder_without_customers_is_listed(tmp_path):
    imported = take(tmp_path, segments=SEGMENTS + "K1,BUS2,C1,400,ABC,,F2\n", sources="+BUS2,F2\n",
                    devices="+B2,K1,,breaker,,,\n")
    assert ids(imported, "feeder_without_customers") == ("F2",)
    assert ids(imported, "no_customers") == ()


def test_customer_minutes_are_those_that_the_study_counts(tmp_path):
    """A row that repeats another counts once, one that ends before it begins not at all; both are listed."""
    right = "E1,FU1,2024-05-01T10:00,2024-05-01T12:00,5\n"
    imported = take(tmp_path, outages=HEAD + right + right + "E2,FU1,2024-06-01T12:00,2024-06-01T11:00,5\n")
    totals = imported.report.totals.set_index("feeder_id")
    years = imported.report.facts["years"]
    assert np.isclose(totals["customer_minutes_per_year"]["F1"] * years, 600.0)
    matched = imported.report.matched.set_index("key").loc["customer_minutes"]
    assert (matched["matched"], matched["of"]) == (600.0, 600.0)
    assert ids(imported, "outage_repeated") == ("E1",)
    assert ids(imported, "end_before_start") == ("E2",)
    assert {n.key: n.minutes for n in imported.report.findings.noted if n.minutes == n.minutes} == {
        "outage_repeated": 600.0, "end_before_start": -300.0}
    assert len(imported.tables["outages"]) == 3


def test_a_number_among_headers_may_be_a_row_of_headers_that_is_missing(tmp_path):
    said = notes(prepare(read_exports(write(tmp_path, segments=SEGMENTS.partition("\n")[2])), Recipe()))
    assert "segments.csv: a number among the headers (1000), as where the row of headers is missing." in said
    assert not any("among the headers" in line for line in notes(prepare(read_exports(write(tmp_path)), Recipe())))


def test_a_device_without_an_id_is_listed_by_its_row(tmp_path):
    imported = take(tmp_path, devices="+,T2,,switch,,,\n")
    assert ids(imported, "device_without_id") == ("devices.csv, row 4",)
    assert imported.report.state == "amber"


def test_a_duration_of_more_than_a_century_gives_no_end(tmp_path):
    rows = "event_id,device_id,started,duration_min,customers\nE1,FU1,2024-05-01T10:00,1e12,5\n"
    imported = take(tmp_path, outages=rows + "E2,FU1,2024-06-01T10:00,90,5\n")
    assert ids(imported, "endless_duration") == ids(imported, "no_end_time") == ("E1",)
    assert imported.tables["outages"]["restored"].tolist() == ["", "2024-06-01T11:30:00"]


def test_a_file_of_no_features_is_a_problem_and_no_question(tmp_path):
    nothing = '{"type": "FeatureCollection", "features": []}'
    with pytest.raises(StudyError, match=r"segments\.geojson: no feature is in the file"):
        take(tmp_path, segments=None, segments__geojson=nothing)


def test_rows_without_an_event_id_in_two_files_are_not_one_event(tmp_path):
    rows = "device_id,started,restored,customers\nFU1,2024-05-01T10:00,2024-05-01T12:00,5\n"
    imported = take(tmp_path, outages=None, outages_a__csv=rows, outages_b__csv=rows.replace("FU1", "B1"))
    assert sorted(imported.tables["outages"]["event_id"]) == ["outages_a.csv, row 2", "outages_b.csv, row 2"]


@pytest.mark.parametrize(("table", "text", "row"), [
    ("segments", SEGMENTS + "Total,,,3800,,,\n", "row 6 (Total, 3800)"),
    ("segments", SEGMENTS.replace("T1,", ",,,3000,,,Subtotal F1\nT1,"), "row 4 (3000, Subtotal F1)"),
    ("devices", DEVICES + "TOTAL: 2,,,,,,\n", "row 4 (TOTAL: 2)"),
    ("customers", CUSTOMERS + "Grand total,,,,15,28,75\n", "row 4 (Grand total, 15, 28, 75)"),
    ("outages", OUTAGES + "Sum,,,,,,,16,,\n", "row 5 (Sum, 16)"),
    ("outages", OUTAGES + ",,,,,Total (3),,16,,\n", "row 5 (Total (3), 16)")])
def test_a_row_of_totals_is_told_and_never_counted(tmp_path, table, text, row):
    plain, imported = take(tmp_path / "plain"), take(tmp_path / "totals", **{table: text})
    assert ids(imported, "read_as") == (row,)
    assert f"{table}.csv: rows of totals, not counted" in titles(imported, "green")
    for name, frame in plain.tables.items():
        assert frame.equals(imported.tables[name])
    assert plain.report.totals.equals(imported.report.totals)
    assert f"{table}.csv: rows of totals, not counted: {row}." in notes(prepare(read_exports(tmp_path / "totals")))


def test_a_record_that_is_called_total_stays(tmp_path):
    imported = take(tmp_path, customers=CUSTOMERS + "Total,M2,,,7,,\n")
    assert ids(imported, "read_as") == ()
    assert imported.report.totals["customers"].iloc[-1] == 22


def test_headers_files_and_folders_that_are_not_used_are_named(tmp_path):
    folder = write(tmp_path, customers=CUSTOMERS.replace("load_kw", "Paint colour"), notes__docx="x", lines__dbf="x",
                   other__csv="Weather,Mood\nfair,good\n")
    (folder / "older").mkdir()
    said = notes(prepare(read_exports(folder)))
    for line in ("customers.csv: headers that stand for nothing, so not used: Paint colour.", "notes.docx: not read.",
                 "lines.dbf: not read.", "other.csv: of no kind, so not used (headers: Weather, Mood)."):
        assert line in said
    assert any(line.startswith("older/ (a folder") for line in said)
    imported = import_exports(folder)
    assert set(ids(imported, "file_unused")) >= {"notes.docx", "lines.dbf"}
    again = prepare(read_exports(folder), read_recipe(imported.recipe.text.encode()))
    assert not any("Paint" in line for line in notes(again))       # the recipe says that it is ignored


def test_every_feeder_that_is_named_for_a_node_stays(tmp_path):
    chosen = chosen_sources(["BUS", "BUS", "N9", "BUS", "N9"], ["F1", "F2", "", " F1", "F3"])
    assert chosen == {"BUS": ("F1", "F2"), "N9": ("F3",)}
    recipe = Recipe(sources={"BUS": ("F1", "F2")}, stated=False)
    assert read_recipe(recipe.text.encode()).sources == recipe.sources
    segments = SEGMENTS.replace(",F1\n", ",\n") + "K1,BUS,C1,400,ABC,,\n"
    imported = take(tmp_path, recipe, sources=None, segments=segments, devices="+B2,K1,,breaker,,,\n", outages=None)
    assert sorted(imported.report.totals["feeder_id"]) == ["All", "F1", "F2"]


@pytest.mark.parametrize("text", ['[network]\nsources = ["BUS"]\n', '[network]\nplace = "R1"\n',
                                  '[network]\nties = { A = "likely" }\n', "[network]\nties = 1\n",
                                  '[[files]]\nfile = "a.csv"\nkind = "segments"\ncolumns = "all"\n',
                                  '[[files]]\nfile = "a.csv"\nkind = "segments"\nleave_out = ["A"]\n'])
def test_a_recipe_of_another_form_is_a_problem_with_its_key(text):
    with pytest.raises(StudyError, match=r"import\.toml: row \d"):
        read_recipe(text.encode())


TITLE = "Quillhaven Light and Water,,,,,,\n\"Spans, run 25 November\",,,,,,\n\n"
GROUPS = "Line,,,Electrical,,,Where\n"


@pytest.mark.parametrize(("above", "said"), [
    (TITLE, "above the headers, not used: Quillhaven Light and Water; "), (GROUPS, "Electrical"),
    ("Spans of November\n" + GROUPS, "not used: Spans of November; Line"), ("\n\n", ""),
    ("Spans\u2028of\u0085November,,,,,,\n", "November")])      # signs that end no line of a table
def test_titles_and_headings_above_the_headers_are_told_and_not_read(tmp_path, above, said):
    imported = take(tmp_path / "a", segments=above + SEGMENTS)
    assert imported.tables["sections"].equals(take(tmp_path / "b").tables["sections"])
    lines = notes(prepare(read_exports(tmp_path / "a")))
    assert any(said in line and line.startswith("segments.csv: above") for line in lines) if said else not lines


def test_rows_below_a_title_have_the_numbers_of_the_file(tmp_path):
    with pytest.raises(StudyError, match=r"row 7, column length_m: 'two': not a number"):
        take(tmp_path, segments=TITLE + SEGMENTS.replace("300", "300").replace("500", "two"))


def test_headings_of_groups_in_a_workbook_are_told_and_not_read(tmp_path):
    folder = write(tmp_path, segments=None)
    table = rows(*(line.split(",") for line in (GROUPS + SEGMENTS).splitlines()))
    (folder / "segments.xlsx").write_bytes(raw_workbook(Sheet(table)))
    prepared = prepare(read_exports(folder))
    assert "segments.xlsx: above the headers, not used: Line Electrical Where." in notes(prepared)
    assert import_study(prepared).report.totals["km"].iloc[-1] == 3.8


@pytest.mark.parametrize(("table", "at"), [
    ([["a", "b", "", ""], ["x", "1", "2", "3"], ["y", "1", "2", "3"]], 0),     # columns without a header
    ([["a", "b", "c"], ["x", "", ""], ["y", "z", "w"]], 0), ([["only"], ["1"], ["2"]], 0), ([[""], ["a", "b"]], 1),
    ([["t"], ["a", "b"], ["1", "2"]], 1), ([["g", "", "h", "", "", ""], ["a", "b", "c", "d", "e", "f"]], 1), ([], 0)])
def test_the_headers_are_found(table, at):
    assert header_row(table) == at


def test_cells_that_say_that_nothing_is_known_are_blank_and_told(tmp_path):
    text = CUSTOMERS.replace(",5,8,25", ",N/A,-,25")
    imported = take(tmp_path, customers=text)
    assert imported.report.totals["customers"].iloc[-1] == 10
    assert ids(imported, "customers_not_stated") == ("X2",)
    assert ids(imported, "read_as") == ("row 3, customers N/A", "row 3, load_kw -")
    assert "row 3, customers N/A" in "\n".join(notes(prepare(read_exports(tmp_path))))


def test_breakers_side_by_side_at_one_node_are_asked_for_each_with_a_row(tmp_path):
    segments = SEGMENTS + "K1,BUS,C1,400,ABC,,F2\nK2,C1,C2,400,ABC,,F2\n"
    texts = {"sources": None, "segments": segments, "devices": "+B2,K1,,breaker,,,\n"}
    with pytest.raises(Undecided) as error:
        take(tmp_path, **texts)
    assert [(d.column, d.value) for d in error.value.decisions] == [("node", "BUS")] * 2
    assert 'state it in import.toml, [network] sources = { "BUS" = ["…", "…"] }' in str(error.value)
    recipe = Recipe(sources=chosen_sources(["BUS", "BUS"], ["F1", "F2"]), stated=False)
    totals = take(tmp_path, recipe, **texts).report.totals
    assert totals["feeder_id"].tolist() == ["F1", "F2", "All"]


@pytest.mark.parametrize("word", ["N/A", "na", "-", "Unknown"])
def test_phases_that_are_not_known_are_asked_for_not_read_as_letters(tmp_path, word):
    with pytest.raises(StudyError, match=rf'probably \[values.segments.phases\] "{word}" = ""'):
        take(tmp_path, segments=SEGMENTS.replace("2000,ABC", f"2000,{word}"))


@pytest.mark.parametrize(("changed", "key", "which"), [
    ({"devices": DEVICES + "FU9,T2,,,,,A\n"}, "device_without_kind", ("FU9",)),
    ({"customers": CUSTOMERS + "X1,T2,,,10,20,50\n"}, "customers_at_several_places", ("X1",)),
    ({"outages": HEAD + "E1,FU1,2024-05-01T10:00,2024-05-01T12:00,16\n"}, "outage_above_served", ("E1",)),
    ({"outages": HEAD.replace("restored", "duration_min") + "E1,FU1,2024-05-01T10:00,-30,5\n"}, "end_before_start",
     ("E1",))])
def test_what_is_odd_is_listed(tmp_path, changed, key, which):
    assert ids(take(tmp_path / "plain"), key) == ()
    assert ids(take(tmp_path / "odd", **changed), key) == which


def test_times_of_operations_are_read_by_the_recipe_as_those_of_outages(tmp_path):
    text = "device_id,from,to,operations,kind\nB1,03/04/2024,05/06/24,12,counter\nB1,2024-07-01,,,event\n"
    with pytest.raises(Undecided, match=r"\[time\] order"):
        take(tmp_path / "a", operations__csv=text)
    with pytest.raises(Undecided, match=r"\[time\] century"):
        take(tmp_path / "b", Recipe(date_order="day_first", stated=False), operations__csv=text)
    imported = take(tmp_path / "c", Recipe(date_order="day_first", century=2000, stated=False), operations__csv=text)
    table = imported.tables["operations"]
    assert table[["from", "to"]].to_numpy().tolist() == [["2024-04-03", "2024-06-05"], ["2024-07-01", ""]]


def test_a_network_without_length_is_red(tmp_path):
    text = SEGMENTS.replace("1000", "0").replace("2000", "").replace("500", "0").replace("300", "0")
    assert ids(take(tmp_path, segments=text), "network_without_length") == ("All",)
    assert ids(take(tmp_path / "plain"), "network_without_length") == ()


def test_a_meter_at_two_places_is_listed(tmp_path):
    imported = take(tmp_path, outages=None, customers="customer_id,transformer_id,segment_id\nC1,X1,M2\nC1,X2,T2\n"
                                                      "C2,X2,T2\nC2,X2,T2\n")
    assert ids(imported, "meter_twice") == ("C1",)


def test_problems_of_the_study_to_be_made_say_so(tmp_path, capsys):
    folder = write(tmp_path / "in", customers="transformer_id,segment_id,customers_residential,customers\nX1,M2,8,12\n"
                                              "X2,T2,5,5\n")
    assert main(["import", str(folder), "--out", str(tmp_path / "s")]) == PROBLEMS_FOUND
    said = capsys.readouterr().err
    assert "rows are those of its tables, which are not written" in said
    assert "section M2, that begins with the segment of this name" in said
    assert not (tmp_path / "s").exists()


def test_kva_that_nobody_brought_are_no_figure(tmp_path):
    head = "transformer_id,segment_id,customers"
    brought = take(tmp_path / "a", customers=f"{head},connected_kva\nX1,M2,3,50\nX2,T2,5,\n")
    assert brought.report.totals["connected_kva"].tolist() == [50.0, 50.0]
    none = take(tmp_path / "b", customers=f"{head}\nX1,M2,3\nX2,T2,5\n")
    assert none.report.totals["connected_kva"].isna().all()
    assert none.report.totals["customers"].tolist() == [8.0, 8.0]


def test_rows_of_outages_balance_with_those_left_out(tmp_path):
    head = "event_id,device_id,started,restored,customers,STATUS\n"
    rows = "".join(f"{k},FU1,2024-0{k}-01T10:00,2024-0{k}-01T11:00,5,{word}\n" for k, word in enumerate(
        ("CLOSED", "CANCELLED", "CANCELLED"), 1))
    recipe = ('version = 1\n[[files]]\nfile = "outages.csv"\nkind = "outages"\nignore = []\n'
              'leave_out = { STATUS = ["CANCELLED"] }\n')
    balance = take(tmp_path, read_recipe(recipe.encode()), outages=head + rows).report.balance.set_index("quantity")
    assert balance.loc["outage rows"].tolist() == [3.0, 1.0, 2.0]


def test_what_does_not_hang_on_one_another_is_told_together(tmp_path):
    """An undecided word, an unreadable cell, an id twice, a source nowhere and times that are none: one list."""
    with pytest.raises(StudyError) as found:
        take(tmp_path, sources="node_id,feeder_id\nNOWHERE,F1\n",
             segments=SEGMENTS.replace("T2,N3,N4,300", "T1,N3,N4,three hundred"),
             devices=DEVICES.replace("fuse,", "thing,"),
             outages=OUTAGES.replace("T10:00:00", "T10:00:00 or so"))
    listed = {(p.file, p.column, p.value) for p in found.value.problems}
    assert ("sources.csv", "node_id", "NOWHERE") in listed
    assert ("segments.csv", "segment_id", "T1") in listed
    assert {value for _, _, value in listed} >= {"thing", "three hundred", "2024-05-01T10:00:00 or so"}
    assert len(found.value.problems) == found.value.count


def test_counters_and_settings_of_devices_that_do_not_reclose_are_left_out_and_listed(tmp_path):
    counters = "device_id,from,to,operations\nB1,2024-01-01,2024-12-31,12\nFU1,2024-01-01,2024-12-31,3\n"
    settings = ("device_id,element,operation,pickup_a,curve,time_dial\nB1,phase,delayed,400,definite,0.5\n"
                "FU1,phase,delayed,100,definite,0.5\n")
    imported = take(tmp_path, operations__csv=counters, settings__csv=settings)
    assert imported.tables["operations"]["section_id"].tolist() == ["M1"]
    assert imported.tables["settings"]["section_id"].tolist() == ["M1"]
    assert ids(imported, "operations_not_reclosing") == ids(imported, "settings_not_reclosing") == ("FU1",)
    assert imported.report.state == "amber"
    imported.study()


def test_conductors_that_are_unlike_are_listed(tmp_path):
    """Rows of other phases between the same two nodes are one span; 500 and 900 m are hardly one line."""
    rows = "+L-A,N2,N9,500,A,,F1\nL-B,N2,N9,{},B,,F1\n"
    assert ids(take(tmp_path / "alike", segments=rows.format(502)), "conductors_unlike") == ()
    unlike = take(tmp_path / "unlike", segments=rows.format(900))
    assert ids(unlike, "conductors_unlike") == ("L-B",)
    assert unlike.report.state == "amber"
