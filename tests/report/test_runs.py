"""Runs on record: several of one second, one that is killed, a study changed meanwhile, a folder filled by hand."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from reliability.indices.definitions import INDICES
from reliability.report import runs
from reliability.study import open_study, write_template
from reliability.study.save import ARCHIVE, ChangedElsewhere, save

ROOT = Path(__file__).parents[2]
EXPECTED = {index.key: 1.0 for index in INDICES if index.simulated} | {"callouts": {"fuse": 1.0}}
SUMMARY = {"scenarios": [{"name": "As built", "expected": EXPECTED}], "trials": 3}
KILLED = """
import sys, time
from reliability.report import runs
from reliability.study import open_study
runs.analyse = lambda *_, **__: (print("ready", flush=True), time.sleep(60))
runs.record(open_study(sys.argv[1]))
"""


@pytest.fixture
def folder(tmp_path) -> Path:
    write_template(tmp_path / "study")
    return tmp_path / "study"


@pytest.fixture
def quick(monkeypatch):
    """Runs that compute nothing: the moment in which results would be computed calls what a test puts here."""
    moments: list = []

    def write(_results, target, docx):
        target.mkdir()
        (target / "summary.json").write_text(json.dumps(SUMMARY))
        return "<p>Paid back.</p>"
    monkeypatch.setattr(runs, "analyse", lambda *_, **__: [moment() for moment in moments])
    monkeypatch.setattr(runs, "write_results", write)
    return moments


def left(folder: Path) -> list[str]:
    return [f.name for f in (folder / ARCHIVE / "runs").iterdir() if f.name.startswith(".")]


def test_recordings_of_the_same_second_are_all_on_record(folder, quick):
    """None is in the way of another, and none clears away what another is making."""
    study, together = open_study(folder), threading.Barrier(4)
    quick.append(lambda: together.wait(30))
    with ThreadPoolExecutor(4) as pool:
        made = list(pool.map(lambda _: runs.record(study), range(4)))
    assert len({run.name for run in made}) == 4
    assert sorted(run.name for run in runs.runs(folder)) == sorted(run.name for run in made)
    assert all(run.inputs.keys() == {"study.toml", "sections.csv"} for run in runs.runs(folder))
    assert {run.paragraphs for run in runs.runs(folder)} == {"<p>Paid back.</p>"}
    assert left(folder) == []


def test_what_a_killed_recording_leaves_is_cleared_by_the_next(folder, quick):
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(folder)], cwd=ROOT, stdout=subprocess.PIPE)
    assert process.stdout.readline() == b"ready\n"
    running = left(folder)
    assert running
    runs.record(open_study(folder))
    assert left(folder) == running                      # as long as it is made it stays
    process.kill()
    process.wait()
    process.stdout.close()
    runs.record(open_study(folder))
    assert left(folder) == []
    assert len(runs.runs(folder)) == 2


def test_a_study_that_was_changed_meanwhile_is_not_recorded_under_its_old_inputs(folder, quick):
    study = open_study(folder)
    save(folder, {"study.toml": (folder / "study.toml").read_bytes() + b"\n# another\n"})
    with pytest.raises(ChangedElsewhere):
        runs.record(study)
    assert runs.runs(folder) == []
    assert left(folder) == []


@pytest.mark.parametrize("summary", ["", "[]", "{}", '{"scenarios": 5}', '{"scenarios": []}', '{"scenarios": [3]}',
                                     '{"scenarios": [{"name": "x", "expected": {}}]}', "[" * 100_000, "\xff",
                                     json.dumps({**SUMMARY, "trials": "many"})])
def test_what_somebody_put_among_the_runs_by_hand_is_told_and_not_shown(folder, quick, summary):
    own = runs.record(open_study(folder))
    home = folder / ARCHIVE / "runs"
    for name in ("20260101-120000-abcd", "by hand"):
        (home / name / "results").mkdir(parents=True)
        (home / name / "inputs").mkdir()
        (home / name / "inputs" / "study.toml").write_text("")
        (home / name / "results" / "summary.json").write_text(summary if name != "by hand" else json.dumps(SUMMARY),
                                                              encoding="latin-1")
    (home / "note.txt").write_text("hello")
    assert [run.name for run in runs.runs(folder)] == [own.name]
    assert sorted(runs.unreadable(folder)) == ["20260101-120000-abcd", "by hand", "note.txt"]
