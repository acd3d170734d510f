"""What each file of a run is, and the list that goes with a run in one file."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile

from reliability.pipeline import analyse
from reliability.report import runs
from reliability.report.columns_listed import COLUMNS_FILE, RESULT_COLUMNS, columns_listed
from reliability.report.output import RUN_FILES, TABLES, WORK_PACK, write_results
from reliability.report.result_files import FILES, INPUT_FILE_WORDS, LIST, about
from reliability.study import open_study, write_template


def test_every_file_that_a_run_may_write_is_said_to_be_something():
    assert set(FILES) == set(RUN_FILES)
    assert len(set(FILES.values())) == len(FILES)
    assert about("notes.txt") == ""


def test_the_list_in_the_zip_has_every_file_with_its_checksum(tmp_path):
    folder = tmp_path / "20270331-101500-abc"
    files = {"inputs/study.toml": b'name = "x"\n', "inputs/sections.csv": b"section_id\n",
             "results/report.html": b"<p>", "results/summary.json": json.dumps({"scenarios": []}).encode()}
    for path, content in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)
    with zipfile.ZipFile(io.BytesIO(runs.zipped(runs.Run(folder, {})))) as archive:
        assert set(archive.namelist()) == {f"{folder.name}/{path}" for path in (*files, COLUMNS_FILE, LIST)}
        listed = archive.read(f"{folder.name}/{LIST}").decode()
        files[COLUMNS_FILE] = archive.read(f"{folder.name}/{COLUMNS_FILE}")
    rows = {row["file"]: row for row in csv.DictReader(io.StringIO(listed))}
    assert set(rows) == set(files)
    for path, content in files.items():
        assert rows[path]["sha256"] == hashlib.sha256(content).hexdigest()
        assert int(rows[path]["bytes"]) == len(content)
    assert rows["results/report.html"]["what"] == about("report.html")
    assert rows["inputs/study.toml"]["what"] == INPUT_FILE_WORDS


def test_every_column_of_a_run_is_told_in_words(tmp_path):
    write_template(tmp_path / "study")
    study = open_study(tmp_path / "study").with_assumptions(objective="saidi")
    write_results(analyse(study, trials=5), tmp_path / "out", only=(TABLES, WORK_PACK))
    files = {f"{part}/{file.name}": file.read_bytes() for part, folder in (("inputs", "study"), ("results", "out"))
             for file in (tmp_path / folder).iterdir()}
    rows = list(csv.DictReader(io.StringIO(columns_listed(files, "inputs").decode())))
    tables = {row["file"] for row in rows}
    assert tables == {path for path in files if path.endswith(".csv")}
    assert {"inputs/sections.csv", "results/laterals.csv"} < tables
    for row in rows:
        if row["file"].startswith("results/") and not row["file"].endswith("work_pack.csv"):
            assert (row["what"], row["unit"]) == RESULT_COLUMNS[row["column"]], row
    said = {(row["file"], row["column"]): (row["what"], row["unit"]) for row in rows}
    assert said["inputs/sections.csv", "length_km"][1] == "km"
    assert said["results/work_pack.csv", "found_minimum_trip_a"][1] == "A"
    assert said["results/work_pack.csv", "found_minimum_trip_a"][0].endswith("(as found)")
    assert all(row["what"] for row in rows)
