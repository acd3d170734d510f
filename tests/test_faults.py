"""What happens when a run is killed, a disk is full, or an input is made to hurt.

FAULT_REPEATS=100 in the environment kills a run, a history and a save that many times instead of a few.
"""

from __future__ import annotations

import errno
import gc
import io
import os
import resource
import shutil
import subprocess
import sys
import time
import warnings
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.__main__ import PROBLEMS_FOUND, main
from reliability.study import open_study, write_template
from reliability.study.save import finish

ROOT = Path(__file__).parents[1]
REPEATS = int(os.environ.get("FAULT_REPEATS", "4"))
MEMORY_BYTES = 4 * 2**30
RUN_FILES = {"summary.json", "sections.csv", "laterals.csv", "cashflow.csv", "application.csv", "selection.csv",
             "programme.csv", "frontier.csv", "drivers.csv", "report.html", "workbook.xlsx", "work_pack.csv",
             "work_pack.html"}
HISTORY_FILES = {"history.json", "rates.csv", "report.html"}
UNPICKLERS = ("import pickle", "import shelve", "import marshal", "read_pickle", "allow_pickle=True", "eval(", "exec(")
TOML = 'name = "hostile"\n'


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("small") / "study"
    write_template(folder)
    return folder


@pytest.fixture(scope="module")
def recorded(small) -> Path:
    """The small study with an outage record, so that its history has something to tell."""
    section = open_study(small).sections["section_id"].iloc[-1]
    folder = small.with_name("recorded")
    shutil.copytree(small, folder)
    (folder / "outages.csv").write_text("event_id,section_id,started,restored,customers\n"
                                        f"e1,{section},2024-03-01T10:00,2024-03-01T12:00,1\n", encoding="utf-8")
    return folder


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "reliability", *arguments]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "seal", "files"), [
    ("run", "summary.json", RUN_FILES), ("history", "history.json", HISTORY_FILES)])
def test_a_killed_command_leaves_a_whole_folder_or_none_that_looks_whole(name, seal, files, recorded, tmp_path):
    """kill -9 at any moment, a report's writing included; the second time over results that are there."""
    more = ["--trials", "3"] if name == "run" else []
    begun = time.monotonic()
    done = subprocess.run(command(name, str(recorded), "--out", str(tmp_path / "whole"), *more), cwd=ROOT,
                          capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    took = time.monotonic() - begun
    assert {p.name for p in (tmp_path / "whole").iterdir()} >= files
    # most of the moments in the second half, where files are written
    for number, moment in enumerate(np.random.default_rng(0).beta(4, 1.5, REPEATS) * 1.1 * took):
        out = tmp_path / f"out{number // 2}"
        run = subprocess.Popen(command(name, str(recorded), "--out", str(out), *more), cwd=ROOT,
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(moment)
        run.kill()
        run.wait()
        if (out / seal).exists():
            assert {p.name for p in out.iterdir()} >= files


SAVING = """
import sys
from pathlib import Path
from reliability.study.save import save
folder, number = Path(sys.argv[1]), int(sys.argv[2])
toml = (folder / "study.toml").read_bytes().partition(b"# change ")[0]
sections = (folder / "sections.csv").read_bytes().splitlines()
print("ready", flush=True)
while True:
    number += 1
    end = b"end,main,,%d,1" % number
    save(folder, {"study.toml": toml + b"# change %d\\n" % number,
                  "sections.csv": b"\\n".join([*sections[:-1], end]) + b"\\n"})
"""


@pytest.mark.slow
def test_a_process_killed_while_it_saves_leaves_the_old_study_or_the_new_one(tmp_path):
    """kill -9 at any moment: the two files of a change always belong together and open without a problem."""
    folder = _study(tmp_path / "s", HEADER + b"main,,breaker,1,5\nend,main,,0,1\n")
    last = 0
    for moment in np.random.default_rng(1).uniform(0.0, 0.1, REPEATS):
        writer = subprocess.Popen([sys.executable, "-c", SAVING, str(folder), str(last)], cwd=ROOT,
                                  stdout=subprocess.PIPE)
        assert writer.stdout.readline() == b"ready\n"
        time.sleep(moment)
        writer.kill()
        writer.wait()
        writer.stdout.close()
        finish(folder)
        told = int((folder / "study.toml").read_bytes().rpartition(b"# change ")[2].strip() or b"0")
        assert told >= last
        assert open_study(folder).sections["length_km"].iloc[-1] == told
        last = told
    assert last > 0


def test_a_full_disk_is_said_and_the_old_results_stay(small, tmp_path, capsys, monkeypatch):
    out = tmp_path / "out"
    assert main(["run", str(small), "--out", str(out), "--trials", "2"]) == 0
    before = {p.name: p.read_bytes() for p in out.iterdir()}

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device", "work_pack.csv")

    monkeypatch.setattr("reliability.report.output.write_work_pack", full)
    assert main(["run", str(small), "--out", str(out), "--trials", "2", "--seed", "5"]) == PROBLEMS_FOUND
    assert "No space left on device" in capsys.readouterr().err
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("moment", ["write", "close", "_write_single_row"])
@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_disk_that_fills_during_the_workbook_is_said_and_nothing_is_left(moment, workers, small, tmp_path, capsys,
                                                                           monkeypatch):
    """While its sheets are written, while they are packed, and at the last of it."""
    tries = []

    def full(*_, **__):
        if not tries:               # the library closes again what could not be closed
            tries.append(1)
            raise OSError(errno.ENOSPC, "No space left on device")

    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    if moment == "_write_single_row":
        monkeypatch.setattr("xlsxwriter.worksheet.Worksheet._write_single_row", full)
    else:                           # of the library's archives alone
        monkeypatch.setattr("xlsxwriter.workbook.ZipFile", type("Full", (zipfile.ZipFile,), {moment: full}))
    with warnings.catch_warnings(action="ignore"):      # of files that the library leaves open
        assert main(["run", str(small), "--out", str(tmp_path / "out"), "--trials", "2", "--workers",
                     workers]) == PROBLEMS_FOUND
        gc.collect()
    told = capsys.readouterr().err.splitlines()[-1]
    assert told == "the output folder: No space left on device; make room there, or choose another folder"
    assert [f.relative_to(tmp_path).name for f in tmp_path.rglob("*")] == ["temporary"]


def test_a_folder_that_may_not_be_written_is_said(small, tmp_path, capsys, monkeypatch):
    def denied(*_, **__):
        raise PermissionError(errno.EACCES, "Permission denied", str(tmp_path))

    monkeypatch.setattr("tempfile.mkdtemp", denied)
    assert main(["run", str(small), "--out", str(tmp_path / "out"), "--trials", "2"]) == PROBLEMS_FOUND
    assert "Permission denied" in capsys.readouterr().err


def _limited() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))


def _check_within_bounds(folder: Path) -> str:
    """Standard error of `check`, run with bounded memory and time."""
    done = subprocess.run(command("check", str(folder)), cwd=ROOT, capture_output=True, text=True, timeout=60,
                          preexec_fn=_limited, check=False)
    assert done.returncode in (0, PROBLEMS_FOUND), done.stderr[-2000:]
    assert "Traceback" not in done.stderr
    return done.stderr


def _study(folder: Path, content: bytes, name: str = "sections.csv") -> Path:
    folder.mkdir()
    (folder / "study.toml").write_text(TOML, encoding="utf-8")
    (folder / name).write_bytes(content)
    return folder


HEADER = b"section_id,parent_id,device,length_km,customers\n"


@pytest.mark.slow
def test_a_line_of_a_hundred_megabytes(tmp_path):
    assert _check_within_bounds(_study(tmp_path / "s", HEADER + b"main,,breaker,1," + b"9" * 100_000_000 + b"\n"))


def test_a_million_columns(tmp_path):
    head = HEADER.strip() + b"," + b",".join(b"c%d" % i for i in range(1_000_000)) + b"\n"
    assert _check_within_bounds(_study(tmp_path / "s", head + b"main,,breaker,1,1\n"))


def test_a_cycle_of_a_hundred_thousand_sections(tmp_path):
    rows = b"".join(b"s%d,s%d,,1,1\n" % (i, (i + 1) % 100_000) for i in range(100_000))
    assert "→" in _check_within_bounds(_study(tmp_path / "s", HEADER + b"main,,breaker,1,1\n" + rows))


@pytest.mark.slow
def test_a_workbook_that_unpacks_to_gigabytes(tmp_path):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet:
            for _ in range(2_000):
                sheet.write(b"0" * 1_000_000)
    assert _check_within_bounds(_study(tmp_path / "s", packed.getvalue(), "sections.xlsx"))


MAIN = HEADER + b"main,,breaker,1,1\n"
FUZZED = {  # the reader's file, with what the rest of the study needs, and a line that leads deep into the reader
    "sections.csv": ({}, HEADER),
    "sections.xlsx": ({}, b"PK\x03\x04"),
    "outages.csv": ({"sections.csv": MAIN},
                    b"event_id,section_id,started,restored,customers,cause,fault_kind,planned\n"),
    "outages.xlsx": ({"sections.csv": MAIN}, b"PK\x03\x04"),
    "feeders.csv": ({"laterals.csv": b"lateral_id,feeder_id,customers,length_km\n"},
                    b"feeder_id,customers,main_length_km\n"),
    "laterals.csv": ({"feeders.csv": b"feeder_id,customers,main_length_km\nf,9,1\n"},
                     b"lateral_id,feeder_id,customers,length_km\nl,f,"),
    "costs.csv": ({"sections.csv": MAIN, "study.toml": TOML.encode() + b'[costs]\ninterruption_costs = "costs.csv"\n'},
                  b"customer_class,momentary,min_30,h_1,h_4,h_8,h_16\nresidential,"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", FUZZED)
@given(content=st.binary(max_size=400) | st.text(",;\n\"'.-+0123456789eEinfalstrue:TZ", max_size=200).map(str.encode),
       deep=st.booleans())
def test_any_bytes_end_in_a_study_or_in_problems(tmp_path_factory, name, content, deep):
    """Bytes of any kind, and figures and punctuation, from the file's first byte or after its header."""
    others, head = FUZZED[name]
    folder = tmp_path_factory.mktemp("fuzz") / "s"
    folder.mkdir()
    files = {"study.toml": TOML.encode(), **others, name: head * deep + content}
    for file, data in files.items():
        (folder / file).write_bytes(data)
    assert main(["check", str(folder)]) in (0, PROBLEMS_FOUND)


@given(st.text(max_size=200))
def test_any_settings_end_in_a_study_or_in_problems(tmp_path_factory, text):
    folder = tmp_path_factory.mktemp("fuzz") / "s"
    folder.mkdir()
    (folder / "study.toml").write_text(TOML + text, encoding="utf-8", errors="surrogatepass")
    (folder / "sections.csv").write_bytes(HEADER + b"main,,breaker,1,1\n")
    assert main(["check", str(folder)]) in (0, PROBLEMS_FOUND)


def test_nothing_of_a_user_is_unpickled():
    """No module of the package names pickle, shelve or marshal, or reads arrays that may hold objects.

    But the one that takes results from copies of its own process.
    """
    for path in (ROOT / "reliability").rglob("*.py"):
        if path.name == "forked.py":
            continue
        text = path.read_text(encoding="utf-8")
        for word in UNPICKLERS:
            assert word not in text, f"{path.name}: {word}"
