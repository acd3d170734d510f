"""Clauses of the standard: one table, and the developers' glossary repeats it."""

from __future__ import annotations

import re
from pathlib import Path

from reliability.report.definitions import CLAUSES
from reliability.report.formulas import FORMULAS

ROOT = Path(__file__).parents[2]


def test_the_glossary_repeats_the_clauses_of_the_report():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `[^|]*\| ([^|]+) \|.*\| 1366, ([^|]+) \|$", guide, re.MULTILINE)
    told = {"CELID-t" if s == "CELID" else "Major event day" if s.startswith("T_MED") else s: c for s, c in rows}
    shared = {term: clause for term, clause in CLAUSES.items() if term in told}
    assert len(shared) >= 9
    assert {term: told[term] for term in shared} == shared


def test_formulas_name_the_same_clauses():
    sources = {what: source for what, _, source in FORMULAS}
    for term in ("SAIFI", "SAIDI", "CAIDI", "ASAI", "CEMI-n"):
        assert sources[term] == f"IEEE Std 1366-2012, {CLAUSES[term]}; clause numbers from memory"
    assert "3.4.1, 3.4.2" in sources["MAIFI, MAIFI_E"]
