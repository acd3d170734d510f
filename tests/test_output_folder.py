"""Output folders: complete, of one run, and without what killed runs left behind."""

from __future__ import annotations

import os
import time

import pytest

from reliability.output_folder import (
    COMPLETION_MARKERS,
    STALE_SECONDS,
    UNFINISHED,
    complete_folder,
    foreign_files,
    refusal,
    results_of,
)


def write(target, **files: str) -> None:
    with complete_folder(target, "marker", owned=("a", "b", "marker")) as folder:
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")


def test_files_of_an_earlier_run_go_and_a_user_s_own_stay(tmp_path):
    target = tmp_path / "out"
    write(target, a="1", b="1", marker="1")
    (target / "mine").write_text("kept", encoding="utf-8")
    write(target, a="2", marker="2")
    found = {f.name: f.read_text(encoding="utf-8") for f in target.iterdir()}
    assert found == {"a": "2", "marker": "2", "mine": "kept"}


def test_a_body_that_raises_leaves_everything_as_it_was(tmp_path):
    target = tmp_path / "out"
    write(target, a="1", marker="1")
    with pytest.raises(TypeError):
        write(target, a="2", marker=None)
    assert {f.name: f.read_text(encoding="utf-8") for f in target.iterdir()} == {"a": "1", "marker": "1"}
    assert [f.name for f in tmp_path.iterdir()] == ["out"]


def test_drafts_of_killed_runs_are_swept_up_once_they_are_old(tmp_path):
    old, young, other = (tmp_path / name for name in (".out-abcd1234", ".out-wxyz_678", ".out-of-somebody-else"))
    for folder in (old, young, other):
        folder.mkdir()
        (folder / "a").write_text("1", encoding="utf-8")
    then = time.time() - STALE_SECONDS - 60
    for folder in (old, other):
        os.utime(folder, (then, then))
    write(tmp_path / "out", a="1", marker="1")
    assert sorted(f.name for f in tmp_path.iterdir()) == [".out-of-somebody-else", ".out-wxyz_678", "out"]


def test_a_folder_that_cannot_be_written_is_reported_by_its_own_name(tmp_path):
    with pytest.raises(OSError, match="too long") as caught:
        write(tmp_path / ("x" * 250), a="1", marker="1")
    assert caught.value.filename == str(tmp_path / ("x" * 250))


@pytest.mark.parametrize("command", COMPLETION_MARKERS)
def test_a_folder_tells_whose_results_it_holds(command, tmp_path):
    """A complete one, one whose command was killed, one of a version that left no name, and somebody else's file."""
    marker, other = COMPLETION_MARKERS[command], next(c for c in COMPLETION_MARKERS if c != command)
    (tmp_path / "report.html").write_text("1", encoding="utf-8")
    (tmp_path / marker).write_text('{"mine": true}', encoding="utf-8")
    assert results_of(tmp_path) == []
    assert foreign_files(tmp_path, ("report.html",), command) == ["report.html"]
    (tmp_path / marker).write_text('{"inputs_sha256": "", "major_events": {}}', encoding="utf-8")
    assert results_of(tmp_path) == [command]
    assert foreign_files(tmp_path, ("report.html",), command) == []
    assert foreign_files(tmp_path, ("report.html",), other) == ["report.html"]
    (tmp_path / marker).unlink()
    (tmp_path / UNFINISHED).write_text(marker, encoding="utf-8")
    assert results_of(tmp_path) == [command]
    (tmp_path / UNFINISHED).write_text("", encoding="utf-8")
    assert results_of(tmp_path) == []
    assert foreign_files(tmp_path, ("report.html",), command) == []


def test_a_folder_that_is_being_filled_names_what_fills_it(tmp_path, monkeypatch):
    def killed(*paths):
        raise KeyboardInterrupt
    monkeypatch.setattr(os, "replace", killed)
    with pytest.raises(KeyboardInterrupt), complete_folder(tmp_path, "history.json") as folder:
        (folder / "history.json").write_text("{}", encoding="utf-8")
    assert results_of(tmp_path) == ["history"]


@pytest.mark.parametrize("command", COMPLETION_MARKERS)
def test_a_script_does_not_replace_results_of_another_command_either(command, tmp_path):
    marker = COMPLETION_MARKERS[command]
    (tmp_path / marker).write_text('{"inputs_sha256": "", "major_events": {}}', encoding="utf-8")
    other = next(m for m in COMPLETION_MARKERS.values() if m != marker)
    with pytest.raises(FileExistsError, match=f"holds the results of {command}"), complete_folder(tmp_path, other):
        pass
    assert [f.name for f in tmp_path.iterdir()] == [marker]


def test_what_stands_against_a_folder_is_seen_before_the_work(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("", encoding="utf-8")
    (tmp_path / "there").mkdir()
    assert refusal(tmp_path / "file") == "this is a file, not a folder"
    assert refusal(tmp_path / "file" / "below") == f"{tmp_path / 'file'} is a file, not a folder"
    assert refusal(tmp_path / "there") == refusal(tmp_path / "new" / "below") == ""
    for closed, asked in ((tmp_path / "there", "there"), (tmp_path, "there"), (tmp_path, "new/below")):
        monkeypatch.setattr(os, "access", lambda folder, _, closed=closed: folder != closed)
        assert refusal(tmp_path / asked) == f"{closed} may not be written into"
