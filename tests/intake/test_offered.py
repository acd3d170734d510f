"""A recipe to be filled in, and refusals that name the key which answers them."""

from __future__ import annotations

import os
import tempfile
import tomllib
from pathlib import Path

import pytest

from reliability.__main__ import PROBLEMS_FOUND, main
from reliability.intake import prepare, read_exports, read_recipe
from reliability.intake.offered import offered_recipe
from reliability.schema.problems import StudyError
from tests.intake.small import write

SPANS = """SPAN NO,FROM NODE NO,TO NODE NO,LENGTH,PHASING,PROT
M1,BUS,N1,1000,ABC,CB
M2,N1,N2,2000,ABC,
T1,N1,N3,500,A,FUSE-40K
T2,N3,N4,300,A,GIZMO 7
"""
OMS = "JOB,SPAN NO,DATE OFF,DATE ON,CUST OUT\nE1,T1,03/04/2024 10:00,03/04/2024 12:00,5\n"


def exports(tmp_path, **more: str):
    return write(tmp_path / "in", **{"segments": None, "devices": None, "outages": None, "spans__csv": SPANS, **more})


def offered(folder):
    return offered_recipe(prepare(read_exports(folder)))


def test_what_is_guessed_is_taken_and_listed_and_what_is_open_is_marked(tmp_path):
    found = offered(exports(tmp_path))
    data = tomllib.loads(found.text)
    assert data["files"][-1]["columns"]["from_node"] == "FROM NODE NO"
    assert data["values"]["segments"]["device"] == {
        "CB": "breaker", "FUSE-40K": {"device": "fuse", "fuse_link": "40K"}, "GIZMO 7": "?"}
    assert data["files"][-1]["units"]["length"] == "?"
    assert '"FROM NODE NO" for from_node' in found.text
    assert '#   spans.csv: segments.device: "CB" for "breaker"' in found.text
    assert any('"GIZMO 7"' in line and "breaker, recloser" in line for line in found.questions)


def test_a_recipe_with_open_answers_is_refused_with_each_of_them(tmp_path):
    with pytest.raises(StudyError) as error:
        read_recipe(offered(exports(tmp_path)).text.encode())
    said = str(error.value)
    assert "'?': left open; write what this word means: breaker, recloser" in said
    assert "'?': not a unit of this column; write one of ft, m" in said
    assert error.value.count == 2


def test_filled_in_it_imports_and_is_asked_nothing_more(tmp_path, capsys):
    folder, recipe = exports(tmp_path), tmp_path / "import.toml"
    assert main(["import", str(folder), "--recipe-out", str(recipe)]) == 0
    assert "2 answers to fill in" in capsys.readouterr().out
    text = recipe.read_text(encoding="utf-8").replace('"GIZMO 7" = "?"', '"GIZMO 7" = "switch"')
    recipe.write_text(text.replace('length = "?"', 'length = "m"'), encoding="utf-8")
    assert main(["import", str(folder), "--recipe", str(recipe), "--out", str(tmp_path / "s")]) == 0
    assert (tmp_path / "s" / "sections.csv").exists()


def test_what_shows_only_once_the_network_is_traced_is_marked_as_well(tmp_path):
    text = offered(exports(tmp_path, spans__csv=SPANS.replace("GIZMO 7", "").replace("LENGTH", "length_m"),
                           oms__csv=OMS)).text
    assert tomllib.loads(text)["time"]["order"] == "?"
    with pytest.raises(StudyError, match=r"column time\.order: '\?': not an order of dates; write \"day_first\""):
        read_recipe(text.encode())


def test_a_table_of_no_kind_and_a_missing_column_are_marked(tmp_path):
    text = offered(exports(tmp_path, other__csv="Weather,Mood\nfair,good\n",
                           spans__csv="".join(line.partition(",")[2] for line in SPANS.splitlines(True)))).text
    with pytest.raises(StudyError) as error:
        read_recipe(text.encode())
    said = str(error.value)
    assert "'?': not a kind of table; write one of segments" in said
    assert "columns.segment_id: '?': left open; write the header that has the segment_id" in said


def test_exports_that_no_recipe_mends_are_told(tmp_path):
    folder = exports(tmp_path, spans__csv=SPANS.replace("2000", "two"))
    assert any("'two': not a number" in line for line in offered(folder).problems)


def test_nothing_that_is_there_is_overwritten_and_one_of_both_is_asked_for(tmp_path, capsys):
    folder = exports(tmp_path)
    recipe = tmp_path / "import.toml"
    recipe.write_text("mine", encoding="utf-8")
    assert main(["import", str(folder), "--recipe-out", str(recipe)]) == PROBLEMS_FOUND
    assert recipe.read_text(encoding="utf-8") == "mine"
    assert main(["import", str(folder)]) == PROBLEMS_FOUND
    assert main(["import", str(folder), "--recipe-out", "a", "--out", "b"]) == PROBLEMS_FOUND
    assert "name one of --out STUDY and --recipe-out FILE" in capsys.readouterr().err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_recipe_for_which_there_is_no_room_leaves_nothing(tmp_path, capsys, monkeypatch):
    """Half of one would look whole, and stand in the way of the next."""
    folder, place = exports(tmp_path), tmp_path / "recipes"
    place.mkdir()
    made = tempfile.mkstemp

    def full(**where: str) -> tuple[int, str]:
        handle, name = made(**where)
        os.dup2(os.open("/dev/full", os.O_WRONLY), handle)
        return handle, name
    monkeypatch.setattr("tempfile.mkstemp", full)
    assert main(["import", str(folder), "--recipe-out", str(place / "r.toml")]) == PROBLEMS_FOUND
    assert "No space left on device" in capsys.readouterr().err
    assert list(place.iterdir()) == []


def test_refusals_name_the_key_that_answers_them_and_what_is_not_used(tmp_path, capsys):
    folder = exports(tmp_path, notes__pdf="x")
    assert main(["import", str(folder), "--out", str(tmp_path / "s")]) == PROBLEMS_FOUND
    said = capsys.readouterr().err
    for part in ('probably [[files]] file = "spans.csv", kind = "segments"',
                 'under [[files]] for spans.csv: columns = { from_node = "FROM NODE NO" }, or ignore = ["FROM',
                 '[values.segments.device] "FUSE-40K" = { device = "fuse", fuse_link = "40K" }',
                 '[values.segments.device] "GIZMO 7" = …', 'units = { length = "…" } (km or m or ft or mi)',
                 "note: notes.pdf: not read.", "--recipe-out FILE writes a recipe"):
        assert part in said
