"""What is installed is what is pinned, and what is pinned is what the loose requirements bring: no more, no less."""

from __future__ import annotations

import re
from importlib.metadata import distribution, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
LOOSE = {"": ROOT / ".requirements.in", "tests": ROOT / "tests" / "requirements.in"}
PINNED = {"": ROOT / "requirements.txt", "tests": ROOT / "tests" / "requirements.txt"}
FILES = pytest.mark.parametrize("which", sorted(PINNED))


def requirements_of(path: Path) -> list[tuple[Requirement, list[str]]]:
    """Every requirement of a file with its hashes."""
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.lstrip().startswith("#")]
    entries = [entry.split() for entry in "\n".join(lines).replace("\\\n", " ").splitlines() if entry.strip()]
    found = []
    for words in entries:
        hashes = [word for word in words if word.startswith("--hash=")]
        found.append((Requirement(" ".join(word for word in words if word not in hashes)), hashes))
    return found


def pins(path: Path) -> dict[str, str]:
    """Version of every package that a file pins for this machine, by name."""
    return {canonicalize_name(one.name): str(one.specifier).removeprefix("==")
            for one, _ in requirements_of(path) if applies(one)}


def applies(requirement: Requirement, extras: frozenset[str] = frozenset({""})) -> bool:
    """Whether it is wanted on this machine, by any of the extras asked for."""
    return requirement.marker is None or any(requirement.marker.evaluate({"extra": extra}) for extra in extras)


def brought_by(path: Path) -> set[str]:
    """Every package that a file of loose requirements brings, by what the installed ones say they need."""
    waiting = [one for one, _ in requirements_of(path)]
    seen: set[tuple[str, frozenset[str]]] = set()
    while waiting:
        one = waiting.pop()
        asked = (canonicalize_name(one.name), frozenset(one.extras) | {""})
        if asked not in seen:
            seen.add(asked)
            needs = map(Requirement, distribution(one.name).requires or [])
            waiting += [need for need in needs if applies(need, asked[1])]
    return {name for name, _ in seen}


@FILES
def test_every_package_is_pinned_to_one_version_with_hashes(which):
    found = requirements_of(PINNED[which])
    assert len({canonicalize_name(one.name) for one, _ in found}) == len(found) > 40
    for one, hashes in found:
        assert re.fullmatch(r"==[^,]+", str(one.specifier)), one
        assert re.fullmatch(r"(--hash=sha256:[0-9a-f]{64} ?)+", " ".join(hashes)), one


@FILES
def test_what_is_installed_is_what_is_pinned(which):
    pinned = pins(PINNED[which])
    assert {name: version(name) for name in pinned} == pinned


@FILES
def test_loose_requirements_have_their_pins(which):
    pinned = pins(PINNED[which])
    for one, _ in requirements_of(LOOSE[which]):
        assert one.specifier.contains(pinned[canonicalize_name(one.name)]), f"{one}: run .ci/pin"


@FILES
def test_pinned_is_what_the_loose_ones_bring_and_no_more(which):
    assert brought_by(LOOSE[which]) == set(pins(PINNED[which])), "run .ci/pin"


def test_both_files_pin_a_package_alike():
    tool, tests = ({one.name: (str(one), hashes) for one, hashes in requirements_of(PINNED[which])}
                   for which in ("", "tests"))
    common = tool.keys() & tests.keys()
    assert len(common) > 5
    assert {name: tool[name] for name in common} == {name: tests[name] for name in common}

