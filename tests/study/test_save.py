"""Saving: all files of a change or none, previous versions archived, nobody's change overwritten."""

from __future__ import annotations

from pathlib import Path

import pytest

from reliability.study import StudyError, write_template
from reliability.study.save import (
    ARCHIVE,
    ChangedElsewhere,
    create,
    fingerprint,
    finish,
    save,
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
