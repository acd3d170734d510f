"""What somebody put beside a study by hand is told on its page, and a change during opening never shows a mixture."""

from __future__ import annotations

from reliability.report import runs
from reliability.study import open_study, workspace
from reliability.study.pins import add_pin
from reliability.study.save import ARCHIVE, save
from reliability.ui import opened
from tests.ui.conftest import app, said, sound


def test_what_is_none_of_ours_in_the_archive_is_told_where_it_would_stand(small):
    archive = workspace.root() / small / ARCHIVE
    add_pin(archive.parent, {}, {}, "abc")
    (archive / "pins.json").write_text('{"by": "hand"}')
    for name in ("versions/before the storm", "runs/best"):
        (archive / name).mkdir(parents=True)
    assert "pins.json in .kept of the study's folder holds what cannot be read" in said(app("compare", small))
    assert "Among the runs on record lies what cannot be read as one: best." in said(app("report", small))
    test = app("study", small)
    test.session_state["study_tab"] = "Earlier versions"
    assert "Among the earlier versions lies what no change has stored: before the storm." in said(sound(test.run()))


def test_a_change_that_was_interrupted_and_cannot_be_completed_is_told(small):
    pending = workspace.root() / small / ARCHIVE / "pending"
    (pending / "study.toml").mkdir(parents=True)
    test = app("study", small)
    assert test.dataframe[0].value["rule"].tolist() == ["'study.toml' is of no change that this program made"]
    (pending / "study.toml").rmdir()
    assert "A study to start from" in said(sound(test.run()))


def test_a_study_changed_while_it_is_opened_is_never_shown_under_its_old_mark(small, monkeypatch):
    """Once changed back, its figures are again those of before: nothing of the change is stored under that mark."""
    folder = workspace.root() / small
    before = (folder / "study.toml").read_bytes()
    changes = [before + b"\n# changed\n"]

    def opening(path):
        if changes:
            save(folder, {"study.toml": changes.pop().replace(b"A study to start from", b"Another")})
        return open_study(path)

    monkeypatch.setattr(opened, "open_study", opening)
    assert "Another" in said(app("study", small))
    save(folder, {"study.toml": before})
    assert "Another" not in said(app("study", small))


def test_a_run_of_a_study_that_changes_meanwhile_is_not_recorded(small, monkeypatch):
    folder = workspace.root() / small
    test = app("report", small)
    recorded = runs.record

    def changed_first(*given):
        save(folder, {"study.toml": (folder / "study.toml").read_bytes() + b"\n# changed\n"})
        return recorded(*given)

    monkeypatch.setattr(runs, "record", changed_first)
    next(b for b in test.button if b.key == "run").click().run()
    assert "Nothing was recorded: the study was just changed" in said(sound(test))
    assert runs.runs(folder) == []
