"""Decisions put into a recipe: suggestions at once, one after another, and what still stands in the way."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.intake import NO_RECIPE, import_study, prepare, read_exports, read_recipe
from reliability.intake.deciding import (
    column_rows,
    field_named,
    kind_open,
    meanings_of,
    measured,
    not_ready,
    said,
    suggested,
    with_columns,
    with_kind,
    with_unit,
    with_words,
    word_groups,
)
from reliability.intake.own_totals import beside_own
from reliability.intake.words import Meaning
from tests.intake.small import accepted

DEMO = Path(__file__).parents[2] / "data" / "exports"
SEGMENTS = "SEG,FROM_BUS,TO_BUS,LEN,CODE,STATE\nS1,A,B,400,CB,N.C.\nS2,B,C,300,FUSE-65K,N.O.\n"
OUTAGES = ("JOB,SEG,DATE_OFF,TIME_OFF,DATE_ON,TIME_ON,WHY\n"
           "1,S1,01/02/2024,10:00 AM,01/02/2024,11:30 AM,TEMP\n2,S2,02/28/2024,1:00 PM,02/28/2024,2:00 PM,PERM\n")


def exports(folder, **texts):
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in {"spans": SEGMENTS, "oms": OUTAGES, **texts}.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return read_exports(folder)


def table(prepared, name):
    return next(one for one in prepared.recognised if one.table.file == f"{name}.csv")


def meant(prepared, name):
    return {r.header: r.name for r in column_rows(table(prepared, name))}


def test_cells_tell_what_headers_do_not(tmp_path):
    """CODE holds devices, STATE holds open and closed, WHY kinds of fault; a date and a time of day are one time."""
    prepared = prepare(exports(tmp_path))
    assert meant(prepared, "spans") == {"SEG": "segment_id", "FROM_BUS": "from_node", "TO_BUS": "to_node",
                                        "LEN": "length", "CODE": "device", "STATE": "normal_state"}
    found = table(prepared, "oms")
    assert meant(prepared, "oms")["WHY"] == "fault_kind"
    assert found.match("started").headers == ("DATE_OFF", "TIME_OFF")
    assert found.match("restored").headers == ("DATE_ON", "TIME_ON")
    assert all(r.guess for r in column_rows(found))


def test_cells_that_contradict_a_header_drop_the_guess(tmp_path):
    """A parent that is no segment, a class that is a number: nothing is guessed."""
    prepared = prepare(exports(tmp_path, spans=SEGMENTS.replace("CODE", "UPSTREAM"), service=(
        "XFMR_ID,SEG,CLASS\nX1,S1,7\nX2,S2,8\n")))
    assert meant(prepared, "spans")["UPSTREAM"] == "device"
    assert meant(prepared, "service")["CLASS"] == ""


def test_every_suggestion_of_the_demo_at_once_leaves_nothing_open():
    files = [f for f in DEMO.iterdir() if f.suffix != ".toml"]
    given = read_exports(files)
    assert len(suggested(prepare(given))) > 50
    recipe = read_recipe(accepted(given, NO_RECIPE).text.encode())
    prepared = prepare(given, recipe)
    assert not_ready(prepared) == []
    imported = import_study(prepared)
    by_recipe = import_study(prepare(given, read_recipe((DEMO / "import.toml").read_bytes())))
    pd.testing.assert_frame_equal(imported.report.matched, by_recipe.report.matched)
    for column in ("customers", "fuse", "sectionalizer", "laterals", "outages_per_year"):
        assert imported.report.totals[column].tolist() == by_recipe.report.totals[column].tolist()
    assert imported.report.totals["km"].to_numpy() == pytest.approx(by_recipe.report.totals["km"].to_numpy())


def test_the_written_recipe_runs_again_with_the_same_result():
    """A pattern that names two files is one entry, not one for each of them."""
    given = read_exports([f for f in DEMO.iterdir() if f.suffix != ".toml"])
    first = import_study(prepare(given, read_recipe((DEMO / "import.toml").read_bytes())))
    again = import_study(prepare(given, read_recipe(first.recipe.text.encode())))
    assert sum(r.file == "oms_*.csv" for r in first.recipe.files) == 1
    for name, frame in first.tables.items():
        pd.testing.assert_frame_equal(again.tables[name], frame)


def test_one_column_is_decided_and_the_others_stay_guesses(tmp_path):
    given = exports(tmp_path)
    before = table(prepare(given), "oms")
    recipe = with_columns(NO_RECIPE, before, {"WHY": "cause"})
    prepared = prepare(given, recipe)
    rows = {r.header: r for r in column_rows(table(prepared, "oms"))}
    assert (rows["WHY"].name, rows["WHY"].guess) == ("cause", False)
    assert (rows["JOB"].name, rows["JOB"].guess) == ("event_id", True)
    assert table(prepared, "oms").match("started").headers == ("DATE_OFF", "TIME_OFF")
    prepared = prepare(given, with_columns(recipe, table(prepared, "oms"), {"WHY": ""}))
    assert {r.header: r.name for r in column_rows(table(prepared, "oms"))}["WHY"] == ""


def test_a_header_chosen_for_a_column_takes_it_from_another(tmp_path):
    given = exports(tmp_path, spans=SEGMENTS.replace("CODE", "segment_id"))
    one = table(prepare(given), "spans")
    assert meant(prepare(given), "spans")["segment_id"] == "segment_id"
    recipe = with_columns(NO_RECIPE, one, {"SEG": "segment_id"})
    assert meant(prepare(given, recipe), "spans")["SEG"] == "segment_id"
    assert recipe.files[0].columns["segment_id"] == ("SEG",)


def test_a_kind_is_changed_or_the_table_left_out_for_good(tmp_path):
    given = exports(tmp_path, notes="alpha,beta\n1,2\n")
    assert kind_open(prepare(given)) == ["notes.csv"]
    assert any("the kind of notes.csv is open" in reason for reason in not_ready(prepare(given)))
    recipe = with_kind(NO_RECIPE, table(prepare(given), "notes"), "ignore")
    recipe = read_recipe(recipe.text.encode())
    prepared = prepare(given, recipe)
    assert kind_open(prepared) == []
    assert prepare(given, prepared.complete_recipe).recipe.files[-1].kind == "ignore" or any(
        r.kind == "ignore" for r in prepared.complete_recipe.files)
    recipe = with_kind(recipe, table(prepared, "spans"), "customers")
    assert table(prepare(given, recipe), "spans").kind == "customers"


def test_units_are_open_until_stated_and_doubted_until_confirmed(tmp_path):
    given = exports(tmp_path, spans=SEGMENTS.replace("LEN", "LENGTH"))
    recipe = accepted(given, NO_RECIPE)
    (row,) = measured(prepare(given, recipe))
    assert row.open
    assert not_ready(prepare(given, recipe)) == ["1 decision on units open"]
    recipe = with_unit(recipe, row.one, "length", "mi")
    (row,) = measured(prepare(given, recipe))
    assert row.open
    assert not row.plausibility.plausible
    assert measured(prepare(given, recipe), [row.key])[0].open is False
    recipe = with_unit(recipe, row.one, "length", "ft")
    (row,) = measured(prepare(given, recipe))
    assert not row.open
    assert prepare(given, recipe).typed.frames["segments"]["length"].tolist() == pytest.approx([0.12192, 0.09144])


def test_words_are_listed_open_first_the_most_frequent_first(tmp_path):
    rows = "".join(f"S{k},N{k},N{k + 1},9,{w},\n" for k, w in enumerate(
        ["GIZMO", "FUSE", "WIDGET", "WIDGET", "FUSE"], 3))
    given = exports(tmp_path, spans=SEGMENTS + rows)
    one = table(prepare(given), "spans")
    recipe = with_columns(NO_RECIPE, one, {"CODE": "device"})
    group = word_groups(prepare(given, recipe))["segments", "device"]
    assert [w.word for w in group][:2] == ["WIDGET", "CB"]
    assert [w.rows for w in group if w.meaning is None] == [2, 1, 1, 1]
    of = field_named("segments", "device")
    assert said(of, Meaning({"device": "fuse", "fuse_link": "65K"})) == "fuse, fuse_link 65K"
    choices = meanings_of(of, group)
    assert {"fuse", "breaker", "nothing", "leave out", "fuse, fuse_link 65K"} <= set(choices)
    recipe = with_words(recipe, "segments", "device", {"WIDGET": choices["switch"]})
    assert "WIDGET" not in [w.word for w in prepare(given, recipe).typed.words if w.meaning is None]


def test_own_totals_stand_beside_the_imported_ones():
    totals = pd.DataFrame({"feeder_id": ["F1", "F2", "All"], "customers": [100.0, 50.0, 150.0], "km": [9.0, 4.0, 13.0]})
    table_ = beside_own(totals, {"F1": {"customers": 104.0, "km": 10.0}, "F2": {"customers": 100.0},
                                 "F3": {"customers": 5.0}, "All": {"km": np.nan}})
    assert table_["state"].tolist() == ["green", "amber", "red", "red"]
    assert table_["difference"].tolist() == pytest.approx([-4 / 104, -0.1, -0.5, -1.0])
