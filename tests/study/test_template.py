"""The study to start from."""

from __future__ import annotations

import re

import pytest

from reliability.schema.assumptions import ASSUMPTION_TABLES, ASSUMPTIONS, defaults
from reliability.study import StudyError, open_study, write_template
from reliability.study.settings import read_settings
from reliability.study.template import settings_text
from reliability.study.toml import read_toml


def test_it_opens_and_asks_for_nothing(tmp_path):
    write_template(tmp_path / "new")
    study = open_study(tmp_path / "new")
    assert study.notes == ()
    assert study.values == defaults()
    assert [s.name for s in study.scenarios] == ["As built", "Sectionalizers"]
    assert 6 <= len(study.sections) <= 10
    assert sorted(p.name for p in tmp_path.iterdir()) == ["new"]


def test_every_key_is_there_with_its_default():
    text = settings_text()
    assert all(f"\n[{table}]\n" in text for table in ASSUMPTION_TABLES)
    given = re.sub(r"^# (?=(" + "|".join(a.key for a in ASSUMPTIONS) + r") = [^…\n]+$)", "", text, flags=re.M)
    toml = read_toml("study.toml", given.encode())
    assert read_settings(toml).values == defaults()
    assert toml.problems.listed == []
    stated = {key for table in ASSUMPTION_TABLES for key in toml.data[table]}
    assert stated == {a.key for a in ASSUMPTIONS if a.default is not None}


def test_an_empty_folder_is_filled_and_parents_are_made(tmp_path):
    (tmp_path / "empty").mkdir()
    write_template(tmp_path / "empty")
    write_template(str(tmp_path / "a" / "b"))
    assert (tmp_path / "empty" / "study.toml").exists()
    assert (tmp_path / "a" / "b" / "sections.csv").exists()


def test_what_is_there_is_never_overwritten(tmp_path):
    (tmp_path / "kept.txt").write_text("mine")
    for target in (tmp_path, tmp_path / "kept.txt"):
        with pytest.raises(StudyError, match="1 problem"):
            write_template(target)
    assert [p.name for p in tmp_path.iterdir()] == ["kept.txt"]


def test_a_name_that_no_folder_can_have(tmp_path):
    (tmp_path / "file").write_text("x")
    for target in (tmp_path / "file" / "new", "a\0b", tmp_path / ("n" * 300)):
        with pytest.raises(StudyError) as caught:
            write_template(target)
        assert "cannot be written" in caught.value.lines()[0]


def test_a_failure_leaves_nothing_behind(tmp_path, monkeypatch):
    def broken(*_):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr("os.replace", broken)
    with pytest.raises(StudyError) as caught:
        write_template(tmp_path / "new")
    assert "No space left on device" in caught.value.lines()[0]
    assert list(tmp_path.iterdir()) == []
