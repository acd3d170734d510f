"""Saving: all files of a change or none, previous versions archived, nobody's change overwritten."""

from __future__ import annotations

import errno
import os
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from reliability.study import StudyError, open_study, write_template
from reliability.study.archive import changing, consistent
from reliability.study.save import (
    ARCHIVE,
    ChangedElsewhere,
    create,
    fingerprint,
    finish,
    read_inputs,
    save,
    strange_versions,
    try_change,
    versions,
    write_archived,
)


@pytest.fixture
def folder(tmp_path) -> Path:
    write_template(tmp_path / "study")
    return tmp_path / "study"


def test_a_change_is_written_and_the_version_before_archived(folder):
    before = (folder / "study.toml").read_bytes()
    mark = save(folder, {"study.toml": b'name = "New"\n'}, seen=fingerprint(folder))
    assert (folder / "study.toml").read_bytes() == b'name = "New"\n'
    assert mark == fingerprint(folder)
    assert versions(folder)[0].files["study.toml"] == before


def test_somebody_else_s_change_is_not_overwritten(folder):
    seen = fingerprint(folder)
    save(folder, {"study.toml": b'name = "Theirs"\n'})
    with pytest.raises(ChangedElsewhere):
        save(folder, {"study.toml": b'name = "Mine"\n'}, seen=seen)
    assert b"Theirs" in (folder / "study.toml").read_bytes()


@pytest.mark.parametrize("full", ["shutil.copy2", "reliability.study.archive.write"])
def test_a_disk_that_fills_leaves_the_study_and_its_versions_as_they_were(folder, monkeypatch, full):
    """While the version before is copied, or what the program itself needs beside the files is written."""
    save(folder, {"study.toml": b'name = "First"\n'})
    before, kept = read_inputs(folder), [v.files for v in versions(folder)]

    def half(source: Path, target: Path | bytes, **_: object) -> None:
        (source if isinstance(target, bytes) else target).write_bytes(b"")
        raise OSError(errno.ENOSPC, "No space left on device")
    with monkeypatch.context() as disk:
        disk.setattr(full, half)
        with pytest.raises(OSError, match="No space left"):
            save(folder, {"study.toml": b'name = "Second"\n'})
    assert read_inputs(folder) == before
    assert [v.files for v in versions(folder)] == kept
    save(folder, {"study.toml": b'name = "Third"\n'})
    assert [v.files for v in versions(folder)] == [{"study.toml": b'name = "First"\n'}, *kept]
    assert sorted(f.name for f in (folder / ARCHIVE).iterdir()) == [".generation", ".lock", "versions"]


def test_a_change_of_several_files_takes_some_away(folder):
    save(folder, {"feeders.csv": b"feeder_id\n", "laterals.csv": b"lateral_id\n"}, remove=["sections.csv",
                                                                                           "outages.csv"])
    assert not (folder / "sections.csv").exists()
    assert (folder / "feeders.csv").exists()
    assert list(versions(folder)[0].files) == ["sections.csv"]


def test_a_change_that_was_interrupted_is_finished(folder):
    pending = folder / ARCHIVE / "pending"
    pending.mkdir(parents=True)
    (pending / "study.toml").write_bytes(b'name = "Half moved"\n')
    (pending / "sections.csv.remove").write_bytes(b"")
    finish(folder)
    assert b"Half moved" in (folder / "study.toml").read_bytes()
    assert not (folder / "sections.csv").exists()
    assert not pending.exists()


def test_what_was_staged_and_not_committed_changes_nothing(folder):
    before = fingerprint(folder)
    staged = folder / ARCHIVE / "staged-x"
    staged.mkdir(parents=True)
    (staged / "study.toml").write_bytes(b"half")
    assert fingerprint(folder) == before


def test_trying_a_change_writes_nothing(folder):
    before = fingerprint(folder)
    with pytest.raises(StudyError):
        try_change(folder, {"sections.csv": b"nonsense\n1\n"})
    assert try_change(folder, {"study.toml": b'name = "Other"\n'}).name == "Other"
    assert fingerprint(folder) == before
    assert not (folder / ARCHIVE).exists()


@pytest.mark.parametrize("name", ["../out.csv", "a/b.csv", ".hidden", "", "a\\b.csv", ".."])
def test_only_plain_names_are_written(folder, name):
    before = fingerprint(folder)
    with pytest.raises(ValueError, match="plain file name"):
        save(folder, {name: b"x"})
    with pytest.raises(ValueError, match="plain file name"):
        write_archived(folder, name, b"x")
    assert fingerprint(folder) == before
    assert not any(f.name.startswith("staged") for f in (folder / ARCHIVE).iterdir())


def test_a_new_study_is_whole_or_not_there(tmp_path):
    create(tmp_path / "new", {"study.toml": b'name = "x"\n'})
    with pytest.raises(FileExistsError):
        create(tmp_path / "new", {"study.toml": b'name = "y"\n'})
    with pytest.raises(ValueError, match="plain file name"):
        create(tmp_path / "other", {"a": b"", "../b": b""})
    assert sorted(f.name for f in tmp_path.iterdir()) == ["new"]


def test_opening_completes_a_change_that_was_interrupted(folder):
    pending = folder / ARCHIVE / "pending"
    pending.mkdir(parents=True)
    (pending / "study.toml").write_bytes(b'name = "Half moved"\n')
    assert open_study(folder).name == "Half moved"
    assert not pending.exists()


def test_opening_refuses_a_change_that_cannot_be_completed(folder, monkeypatch):
    pending = folder / ARCHIVE / "pending"
    pending.mkdir(parents=True)
    (pending / "study.toml").write_bytes(b'name = "Half moved"\n')

    def read_only(*_):
        raise PermissionError(errno.EACCES, "Permission denied")
    monkeypatch.setattr(os, "replace", read_only)
    with pytest.raises(StudyError, match=r"interrupted, and cannot be completed \(Permission denied\)"):
        open_study(folder)


def test_reading_begins_again_where_a_change_comes_in_between(folder):
    both = [{"study.toml": b"%d" % k, "sections.csv": b"%d" % k} for k in (1, 2)]
    save(folder, both[0])
    tries = []

    def read() -> tuple[bytes, bytes]:
        first = (folder / "study.toml").read_bytes()
        if not tries:
            save(folder, both[1])
        tries.append(first)
        return first, (folder / "sections.csv").read_bytes()

    assert consistent(folder, read) == (b"2", b"2")
    assert tries == [b"1", b"2"]


def test_one_thread_at_a_time_holds_a_study(folder):
    inside, most = [], []

    def hold(_: int) -> None:
        with changing(folder), changing(folder):
            inside.append(1)
            most.append(len(inside))
            threading.Event().wait(0.01)
            inside.pop()

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(hold, range(12)))
    assert set(most) == {1}


def test_what_killed_changes_left_is_cleared_by_the_next(folder, tmp_path):
    archive = folder / ARCHIVE
    (archive / "staged-dead").mkdir(parents=True)
    (archive / ".draft-dead").write_bytes(b"")
    old, young = tmp_path / ".new-dead", tmp_path / ".new-young"
    for draft in (old, young):
        draft.mkdir()
    os.utime(old, (0, 0))
    save(folder, {"study.toml": b'name = "x"\n'})
    create(tmp_path / "other", {"study.toml": b'name = "x"\n'})
    assert not [f.name for f in archive.iterdir() if f.name.startswith(("staged", ".draft"))]
    assert young.exists()
    assert not old.exists()


def test_of_two_who_make_the_same_study_one_is_told(tmp_path, monkeypatch):
    """The other one's appears after it was looked whether there is one."""
    real = Path.exists
    monkeypatch.setattr(Path, "exists", lambda path, **_: path.name != "new" and real(path))
    create(tmp_path / "new", {"study.toml": b'name = "x"\n'})
    with pytest.raises(FileExistsError):
        create(tmp_path / "new", {"study.toml": b'name = "y"\n'})
    assert (tmp_path / "new" / "study.toml").read_bytes() == b'name = "x"\n'


def _by_hand(archive: Path, what: str) -> None:
    """Something under `.kept` that no change wrote."""
    archive.mkdir()
    if what == "a file for pending":
        (archive / "pending").write_bytes(b"")
    elif what == "a folder in pending":
        (archive / "pending" / "study.toml").mkdir(parents=True)
    elif what == "a link in pending":
        (archive / "pending").mkdir()
        (archive / "pending" / "study.toml").symlink_to("/etc/hostname")
    elif what == "a link for pending":
        (archive / "pending").symlink_to("/etc")
    elif what == "a hidden file in pending":
        (archive / "pending").mkdir()
        (archive / "pending" / ".bashrc").write_bytes(b"")


@pytest.mark.parametrize("what", ["a file for pending", "a folder in pending", "a link in pending",
                                  "a link for pending", "a hidden file in pending"])
def test_what_is_pending_and_of_no_change_is_told_and_left(folder, what):
    before = (folder / "study.toml").read_bytes()
    _by_hand(folder / ARCHIVE, what)
    for attempt in (open_study, fingerprint, finish, lambda f: save(f, {"study.toml": b""})):
        with pytest.raises(StudyError, match=r"of no change that this program made; move it out of \.kept"):
            attempt(folder)
    assert (folder / "study.toml").read_bytes() == before
    assert not (folder / ".bashrc").exists()


def test_a_file_in_the_place_of_the_archive_stops_no_reading(folder):
    (folder / ARCHIVE).write_bytes(b"by hand")
    assert open_study(folder)
    assert versions(folder) == []
    with pytest.raises(NotADirectoryError, match=r"\.kept is a file"):
        save(folder, {"study.toml": b""})


def test_versions_made_by_hand_are_told_and_not_listed(folder):
    save(folder, {"study.toml": b'name = "x"\n'})
    home = folder / ARCHIVE / "versions"
    (home / "before the storm").mkdir()
    (home / "note.txt").write_bytes(b"")
    (home / "20240101T000000.000000Z").write_bytes(b"a file")
    assert len(versions(folder)) == 1
    assert sorted(strange_versions(folder)) == ["20240101T000000.000000Z", "before the storm", "note.txt"]
