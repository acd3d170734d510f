"""The layout of the house and the rules of its rooms, held by a test."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = sorted((ROOT / "reliability").rglob("*.py"))
AT_THE_TOP = {"README.md", "DEVELOPERS.md", "requirements.txt", "app.py", "reliability", "tests", "data"}
MOST_LINES_OF_A_MODULE = 400


def _tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    return listed.stdout.splitlines()


def test_nothing_else_stands_at_the_top_level():
    found = {path.split("/")[0] for path in _tracked()}
    assert {name for name in found if not name.startswith(".")} <= AT_THE_TOP


def test_imports_go_one_way_through_the_rooms():
    run = subprocess.run([str(Path(sys.executable).parent / "lint-imports"), "--no-cache"], cwd=ROOT,
                         capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


def test_ruff_finds_nothing():
    run = subprocess.run([sys.executable, "-m", "ruff", "check", "--no-cache", "."], cwd=ROOT,
                         capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


@pytest.mark.parametrize("path", PACKAGE, ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_are_short_and_say_what_they_are(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES_OF_A_MODULE
    if text.strip():
        assert ast.get_docstring(ast.parse(text)), "a module begins with a sentence on what it is"
