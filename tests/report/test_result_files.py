"""What each file of a run is, and the list that goes with a run in one file."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile

from reliability.report import runs
from reliability.report.output import OWNED
from reliability.report.result_files import FILES, INPUT, LIST, about


def test_every_file_that_a_run_may_write_is_said_to_be_something():
    assert set(FILES) == set(OWNED)
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
        assert set(archive.namelist()) == {f"{folder.name}/{path}" for path in (*files, LIST)}
        listed = archive.read(f"{folder.name}/{LIST}").decode()
    rows = {row["file"]: row for row in csv.DictReader(io.StringIO(listed))}
    assert set(rows) == set(files)
    for path, content in files.items():
        assert rows[path]["sha256"] == hashlib.sha256(content).hexdigest()
        assert int(rows[path]["bytes"]) == len(content)
    assert rows["results/report.html"]["what"] == about("report.html")
    assert rows["inputs/study.toml"]["what"] == INPUT
