"""A change of an open study is saved, stored as a draft, or refused; and pinned states beside it."""

from __future__ import annotations

import pytest

from reliability.study.changes import MOST_DRAFTS, apply_change
from reliability.study.pins import MAX_PINS, add_pin, read_pins, remove_pin, unreadable
from reliability.study.save import ARCHIVE, fingerprint, versions


def test_a_sound_change_is_saved_and_the_previous_version_stored(folder):
    path = folder()
    before = (path / "study.toml").read_bytes()
    outcome = apply_change(path, {"study.toml": b'name = "new"\n'}, [], fingerprint(path), sound=True)
    assert outcome.fingerprint == fingerprint(path)
    assert versions(path)[0].files == {"study.toml": before}


def test_a_change_that_breaks_a_sound_study_is_a_draft(folder):
    path = folder()
    seen = fingerprint(path)
    outcome = apply_change(path, {"sections.csv": b"section_id\n"}, [], seen, sound=True)
    assert outcome.fingerprint is None
    assert outcome.problems.count
    assert fingerprint(path) == seen
    assert [f.read_bytes() for f in (path / ARCHIVE).glob("draft-*-sections.csv")] == [b"section_id\n"]


def test_a_study_with_problems_may_keep_some(folder):
    path = folder(sections__csv="section_id\n")
    outcome = apply_change(path, {"sections.csv": b"section_id,parent_id\n"}, [], fingerprint(path), sound=False)
    assert outcome.fingerprint == fingerprint(path)


def test_somebody_else_s_change_is_not_overwritten(folder):
    path = folder()
    seen = fingerprint(path)
    (path / "study.toml").write_text('name = "theirs"\n')
    outcome = apply_change(path, {"study.toml": b'name = "ours"\n'}, [], seen, sound=True)
    assert outcome.elsewhere
    assert "theirs" in (path / "study.toml").read_text()
    assert [f.read_bytes() for f in (path / ARCHIVE).glob("draft-*-study.toml")] == [b'name = "ours"\n']


def test_the_drafts_of_two_tabs_are_both_stored_and_the_oldest_of_many_go(folder):
    path = folder()
    seen = fingerprint(path)
    drafts = [b"section_id\n%d\n" % k for k in range(MOST_DRAFTS + 2)]
    for draft in drafts:
        apply_change(path, {"sections.csv": draft}, [], seen, sound=True)
    assert [f.read_bytes() for f in sorted((path / ARCHIVE).glob("draft-*"))] == drafts[2:]


def test_a_draft_that_cannot_be_stored_is_told(folder):
    path = folder()
    (path / ARCHIVE).write_text("by hand")
    outcome = apply_change(path, {"sections.csv": b"section_id\n"}, [], fingerprint(path), sound=True)
    assert ".kept is a file" in outcome.disk.strerror
    outcome = apply_change(path, {"study.toml": b"name = 'x'"}, [], fingerprint(path), sound=True)
    assert ".kept is a file" in outcome.disk.strerror


def test_pins_are_read_back_dropped_and_limited(folder):
    path = folder()
    for k in range(MAX_PINS + 2):
        add_pin(path, {"counts": k}, {"As built": {"saifi": 1.0}}, "abc")
    pins = read_pins(path)
    assert [p["moves"]["counts"] for p in pins] == list(range(2, MAX_PINS + 2))
    remove_pin(path, pins[0]["when"])
    assert pins[0] not in read_pins(path)


@pytest.mark.parametrize("content", [
    "{broken", "[1]", '"text"', "null", "5", "[" * 100_000, "[{}]",
    '[{"when": 3, "moves": {}, "figures": {}, "inputs_sha256": ""}]',
    '[{"when": "2024-01-01", "moves": [], "figures": {}, "inputs_sha256": ""}]',
    '[{"when": "2024-01-01", "moves": {}, "figures": {"a": 1}, "inputs_sha256": ""}]',
    '[{"when": "2024-01-01", "moves": {"a": "b"}, "figures": {}, "inputs_sha256": ""}]'])
def test_pins_written_by_hand_that_are_none_are_told_and_put_aside(folder, content):
    path = folder()
    add_pin(path, {"counts": 1}, {}, "abc")
    assert not unreadable(path)
    (path / ARCHIVE / "pins.json").write_text(content)
    assert read_pins(path) == []
    assert unreadable(path)
    add_pin(path, {"counts": 2}, {}, "abc")
    assert [p["moves"]["counts"] for p in read_pins(path)] == [2]
    assert not unreadable(path)
    assert [f.read_text() for f in (path / ARCHIVE).glob("unreadable-*")] == [content]
