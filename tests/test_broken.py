"""Broken studies through the command line: what must be said is said, and nothing is written."""

from __future__ import annotations

import json
from itertools import cycle
from pathlib import Path

import pytest

from reliability.__main__ import main
from tests.broken_tables import STUDIES, write
from tests.chains import short_chains

# documents and processes of a run, in turn: each takes its time
RUNS = (("summary,tables", "1"), ("report", "2"), ("workbook,work_pack", "1"))


def findings(folder: Path) -> dict[str, int]:
    """Count of each finding in the records, by code, as `history` writes them."""
    history = json.loads((folder / "history.json").read_text(encoding="utf-8"))
    return {finding["code"]: finding["count"] for finding in history["findings"]}


@pytest.fixture(scope="session")
def broken_studies(tmp_path_factory):
    """The folder that holds each of STUDIES under its name; tests leave it as it is."""
    folder = tmp_path_factory.mktemp("broken")
    write(folder)
    return folder


@pytest.mark.parametrize(("name", "documents", "workers"), [
    (name, *how) for name, how in zip(sorted(STUDIES), cycle(RUNS), strict=False)])
def test_a_broken_study_is_told_in_full(name, documents, workers, broken_studies, tmp_path, capsys):
    source, study = broken_studies / name, STUDIES[name]
    worst = 0
    commands = [["check", str(source)], ["run", str(source), "--out", str(tmp_path / "out"), "--trials", "2",
                                         "--only", documents, "--workers", workers]]
    if list(source.glob("outages.*")):
        commands.append(["history", str(source), "--out", str(tmp_path / "history")])
    with short_chains():
        for command in commands:
            worst = max(worst, main(command))
    told = capsys.readouterr().err
    assert worst == study.status, told
    assert "Traceback" not in told
    for wanted in study.says:
        if wanted.startswith("finding: "):
            code, count = wanted.removeprefix("finding: ").split()
            assert findings(tmp_path / "history")[code] == int(count)
        else:
            words = wanted.split(" | ")
            assert any(all(word in line for word in words) for line in told.splitlines()), f"{wanted}\n{told}"
    if worst:
        assert not (tmp_path / "out").exists()
        assert not (tmp_path / "history").exists()
