"""What a command is given: numbers, names, processes to work with, and streams that are closed."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys

import pytest

from reliability.__main__ import PROBLEMS_FOUND, main
from tests.test_command_line import ROOT, study


@pytest.mark.parametrize("given", [["--trials", "10000001"], ["--trials", "0"], ["--seed", "9" * 19],
                                   ["--seed", "9" * 5000]], ids=lambda given: given[1][:10])
def test_numbers_on_the_command_line_have_the_bounds_of_the_study(given, tmp_path, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["run", str(ROOT / "data/demo"), "--out", str(tmp_path / "out"), *given])
    assert ended.value.code == PROBLEMS_FOUND
    assert given[0] in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("command", [
    ["run", "data/demo", "--out", ""], ["run", "data/demo", "--out", " "], ["history", "data/demo", "--out", ""],
    ["import", "data/exports", "--out", ""], ["import", "data/exports", "--out", "x", "--recipe", ""], ["new", ""],
    ["check", ""], ["run", "", "--out", "x"], ["import", "", "--out", "x"]], ids=" ".join)
def test_a_blank_names_no_file_and_not_the_folder_one_is_in(command, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        main(command)
    assert ended.value.code == PROBLEMS_FOUND
    assert "a blank names nothing; the folder you are in is '.'" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("asked", "work"), [("1", 1), ("3", 3), ("4", 3), ("100000", 3)])
def test_no_more_processes_work_than_there_are_processors(asked, work, tmp_path, capsys, monkeypatch):
    """The others are told of, and not started."""
    started = []

    def analysed(*_, workers, **__):
        started.append(workers)
        raise MemoryError
    monkeypatch.setattr("os.sched_getaffinity", lambda _: {0, 1, 2})
    monkeypatch.setattr("reliability.pipeline.analyse", analysed)
    main(["run", str(study(tmp_path / "s", "only,,breaker,1,7")), "--out", str(tmp_path / "o"), "--workers", asked])
    assert started == [work]
    told = f"note: --workers {asked}: 3 processors to work on, so 3 at once."
    assert (told in capsys.readouterr().err) == (int(asked) > 3)


@pytest.mark.parametrize(("command", "streams"), [
    (["check", "data/demo"], "stdout"), (["--help"], "stdout"), (["check", "no-such-study"], "both")])
def test_a_reader_who_has_enough_is_no_error(command, streams):
    """The other end of the pipe is closed before anything is printed."""
    end, ours = os.pipe()
    os.close(end)
    gone = {name: ours for name in ("stdout", "stderr") if streams in (name, "both")}
    done = subprocess.run([sys.executable, "-m", "reliability", *command], cwd=ROOT, text=True, check=False,
                          **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **gone})
    os.close(ours)
    assert done.returncode == (PROBLEMS_FOUND if "no-such-study" in command else 0)
    assert not [word for word in ("Broken pipe", "Traceback", "Exception ignored") if word in (done.stderr or "")]


@pytest.mark.parametrize("closed", [">&-", ">&- 2>&-"])
def test_closed_streams_are_no_error_and_stop_nothing(closed, tmp_path):
    """As under a scheduler that gives a command no streams at all; a study is made all the same."""
    command = f"{shlex.quote(sys.executable)} -m reliability new {shlex.quote(str(tmp_path / 'new'))} {closed}"
    done = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "new" / "study.toml").is_file()


def test_a_reader_of_notes_who_has_gone_does_not_stop_a_run(tmp_path):
    """Notes go to a closed pipe; the results are written all the same, and stand on standard output."""
    toml = 'name = "s"\n[choice]\nsaidi_reduction_minutes = 500_000\n'
    source = study(tmp_path / "s", "main,,breaker,1,5", "tap,main,fuse,1,5", toml=toml)
    end, ours = os.pipe()
    os.close(end)
    done = subprocess.run([sys.executable, "-m", "reliability", "run", str(source), "--trials", "2",
                           "--only", "summary", "--out", str(tmp_path / "out")],
                          cwd=ROOT, stdout=subprocess.PIPE, stderr=ours, text=True, check=False)
    os.close(ours)
    assert done.returncode == 0
    assert "As built" in done.stdout
    assert (tmp_path / "out" / "summary.json").is_file()
