"""What mutation testing leaves alone: every entry still stands for something, wherever it is moved."""

from __future__ import annotations

import ast
from collections import Counter

import pytest

from tests import mutation
from tests.accepted_mutants import ACCEPTED, ANY, SIZES
from tests.mutation import ROOMS, ROOT, candidates

SOURCES = {file: file.read_text(encoding="utf-8") for room in ROOMS for file in sorted((ROOT / room).glob("*.py"))}


def test_every_accepted_mutant_is_still_to_be_found(monkeypatch):
    """Entry by entry and change by change, so that one does not hide behind another."""
    single = [(function, code, (change,) if change else ANY, f"{function}: {code}: {change or 'any'}")
              for function, code, changes, _ in ACCEPTED for change in (changes or ("",))]
    assert [reason for reason, count in Counter(s[3] for s in single).items() if count > 1] == []
    monkeypatch.setattr(mutation, "ACCEPTED", single)
    found = {mutant.reason for source in SOURCES.values() for mutant in candidates(source)}
    assert [s[3] for s in single if s[3] not in found] == []


def test_every_size_is_still_a_constant():
    constants = {target.id for source in SOURCES.values() for node in ast.parse(source).body
                 if isinstance(node, ast.Assign) for target in node.targets if isinstance(target, ast.Name)}
    assert set() == SIZES - constants


SOUND = """
def f(a, b):
    def g(x):
        return x < 1
    return g(a) + b[0]
"""
ENTRIES = [("f", "g(a) + b[0]", ("+ → -",), "sum"), ("f.g", "x < 1", ANY, "inner")]


@pytest.mark.parametrize("source", [
    SOUND, "import os\n\nc = 1\n" + SOUND, SOUND.replace("g(a) + b[0]", "(  # ø\n        g(a)\n        + (b[0]))"),
    SOUND.replace("return x", "y = 3 * x\n        return x")], ids=["as it is", "moved", "broken up", "more above"])
def test_a_mutant_is_known_wherever_its_lines_stand(source, monkeypatch):
    monkeypatch.setattr(mutation, "ACCEPTED", ENTRIES)
    reasons = {(m.old, m.reason) for m in candidates(source) if m.old not in ("*", "3") and "c =" not in m.text}
    assert reasons == {("+", "sum"), ("0", None), ("<", "inner"), ("1", "inner")}


@pytest.mark.parametrize("source", [SOUND.replace("g(x", "h(x"), SOUND.replace("< 1", "< 2")],
                         ids=["renamed", "changed"])
def test_a_mutant_of_another_function_or_expression_is_not_known(source, monkeypatch):
    monkeypatch.setattr(mutation, "ACCEPTED", ENTRIES)
    assert {m.reason for m in candidates(source) if m.old == "<"} == {None}
