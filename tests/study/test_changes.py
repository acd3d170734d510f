"""A change of an open study is saved, stored as a draft, or refused; and pinned states beside it."""

from __future__ import annotations

from reliability.study.changes import apply_change
from reliability.study.pins import MAX_PINS, add_pin, read_pins, remove_pin
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
    assert (path / ARCHIVE / "draft-sections.csv").read_bytes() == b"section_id\n"


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
    assert (path / ARCHIVE / "draft-study.toml").read_bytes() == b'name = "ours"\n'


def test_pins_are_read_back_dropped_and_limited(folder):
    path = folder()
    for k in range(MAX_PINS + 2):
        add_pin(path, {"counts": k}, {"As built": {"saifi": 1.0}}, "abc")
    pins = read_pins(path)
    assert [p["moves"]["counts"] for p in pins] == list(range(2, MAX_PINS + 2))
    remove_pin(path, pins[0]["when"])
    assert pins[0] not in read_pins(path)
    (path / ARCHIVE / "pins.json").write_text("{broken")
    assert read_pins(path) == []
