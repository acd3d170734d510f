"""Broken studies through the command line: what must be said is said, and nothing is written."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from reliability.__main__ import main

BROKEN = Path(__file__).parent / "data" / "broken"
CASES = sorted(p for p in BROKEN.iterdir() if p.is_dir() and (p / "says.txt").exists())


def findings(folder: Path) -> dict[str, int]:
    """Count of each finding in the records, by code, as `history` writes them."""
    history = json.loads((folder / "history.json").read_text(encoding="utf-8"))
    return {finding["code"]: finding["count"] for finding in history["findings"]}


def test_the_corpus_is_there():
    assert len(CASES) >= 60


@pytest.mark.parametrize("folder", CASES, ids=lambda p: p.name)
def test_a_broken_study_is_told_in_full(folder, tmp_path, capsys):
    status, *says = (folder / "says.txt").read_text(encoding="utf-8").splitlines()
    source = tmp_path / "study"
    shutil.copytree(folder, source, ignore=shutil.ignore_patterns("says.txt"))
    worst = 0
    commands = [["check", str(source)], ["run", str(source), "--out", str(tmp_path / "out"), "--trials", "2"]]
    if list(source.glob("outages.*")):
        commands.append(["history", str(source), "--out", str(tmp_path / "history")])
    for command in commands:
        worst = max(worst, main(command))
    told = capsys.readouterr().err
    assert worst == int(status), told
    assert "Traceback" not in told
    for wanted in says:
        if wanted.startswith("finding: "):
            code, count = wanted.removeprefix("finding: ").split()
            assert findings(tmp_path / "history")[code] == int(count)
        else:
            words = wanted.split(" | ")
            assert any(all(word in line for word in words) for line in told.splitlines()), f"{wanted}\n{told}"
    if worst:
        assert not (tmp_path / "out").exists()
        assert not (tmp_path / "history").exists()
