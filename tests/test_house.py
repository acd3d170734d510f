"""The layout of the house and the rules of its rooms, held by a test."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from reliability.report.palette import css

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


def test_every_colour_is_in_the_one_palette():
    """Documents, pages and their style sheets name colours of report/palette.py; the framework's file repeats them."""
    colour = re.compile(r"#[0-9a-fA-F]{3,8}\b(?!;)|\brgba?\(")
    palette = ROOT / "reliability" / "report" / "palette.py"
    files = [f for room in ("report", "ui", "history") for f in (ROOT / "reliability" / room).rglob("*")
             if f.suffix in (".py", ".css", ".j2") and f != palette]
    assert len(files) > 50
    found = {str(f.relative_to(ROOT)): hits for f in files if (hits := colour.findall(f.read_text(encoding="utf-8")))}
    assert found == {}
    known = set(re.findall(r"#[0-9a-f]{6}", palette.read_text(encoding="utf-8")))
    assert set(re.findall(r"#[0-9a-f]{6}", (ROOT / ".streamlit/config.toml").read_text(encoding="utf-8"))) <= known


def test_style_sheets_use_colours_that_the_palette_gives():
    given = set(re.findall(r"(--[a-z-]+):", css()))
    files = [f for f in (ROOT / "reliability").rglob("*") if f.suffix in (".css", ".j2")]
    used = {name for f in files for name in re.findall(r"var\((--[a-z-]+)\)", f.read_text(encoding="utf-8"))}
    assert used
    assert used <= given
