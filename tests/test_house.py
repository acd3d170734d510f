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
MOST_LINES_OF_A_FUNCTION = 60
MOST_EQUAL_LINES = 10


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


def _type_errors(*files: str) -> list[str]:
    """Errors of mypy under the settings of .mypy.ini: of the whole package, or of `files`."""
    run = subprocess.run([sys.executable, "-m", "mypy", *files], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode in (0, 1), run.stdout + run.stderr
    return [line for line in run.stdout.splitlines() if ": error: " in line]


def test_types_check():
    assert _type_errors() == []


def test_mistakes_in_types_are_found(tmp_path):
    """A wrong argument, one that does not exist, an unknown key, a None not thought of, a blanket ignore."""
    mistakes = ["Names(['a']).nearest(3)", "Device(FUSE, 'Fuse', melt=True)", "defaults()['repair_hour']",
                "fit_times([1.0, 2.0])", "fit_times(np.ones(20)).mean", "fit_times('')  # type: ignore"]
    imports = ["import numpy as np", "from reliability.history.durations import fit_times",
               "from reliability.schema.assumptions import defaults",
               "from reliability.schema.devices import FUSE, Device", "from reliability.schema.nearest import Names"]
    path = tmp_path / "mistakes.py"
    path.write_text("\n".join([*imports, *mistakes]), encoding="utf-8")
    lines = {int(error.split(":")[1]) for error in _type_errors(str(path)) if "mistakes.py:" in error}
    assert lines == {len(imports) + k for k in range(1, len(mistakes) + 1)}


@pytest.mark.parametrize("path", PACKAGE, ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_are_short_and_say_what_they_are(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES_OF_A_MODULE
    if text.strip():
        assert ast.get_docstring(ast.parse(text)), "a module begins with a sentence on what it is"


def test_functions_are_short():
    functions = [(path, node) for path in PACKAGE for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                 if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    assert len(functions) > 500
    assert [f"{path.relative_to(ROOT)}:{node.lineno} {node.name}" for path, node in functions
            if node.end_lineno - node.lineno >= MOST_LINES_OF_A_FUNCTION] == []


def test_one_name_stands_for_one_class():
    places: dict[str, list[str]] = {}
    for path in PACKAGE:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.setdefault(node.name, []).append(str(path.relative_to(ROOT)))
    assert len(places) > 200
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def _constants(path: Path) -> list[tuple[str, str]]:
    """Name and content of every constant that a module states at its top level, in capitals and not private."""
    found = []
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
            for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                pairs = zip(target.elts, node.value.elts, strict=True) if (
                    isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple)) else (
                    [(one, node) for one in target.elts] if isinstance(target, ast.Tuple) else [(target, node.value)])
                found += [(one.id, ast.unparse(value)) for one, value in pairs if isinstance(one, ast.Name)]
    return [(name, value) for name, value in found if name.isupper() and not name.startswith("_")]


def test_one_name_stands_for_one_constant():
    contents: dict[str, dict[str, list[str]]] = {}
    for path in PACKAGE:
        for name, value in _constants(path):
            contents.setdefault(name, {}).setdefault(value, []).append(str(path.relative_to(ROOT)))
    assert len(contents) > 1_000
    assert {name: places for name, places in contents.items() if len(places) > 1} == {}


def test_constants_that_the_guide_names_stand_where_it_says():
    """`module.NAME`, or a name alone, which some module of the package or of the tests states, private ones too."""
    texts: dict[str, list[str]] = {}
    for path in (*PACKAGE, *sorted((ROOT / "tests").rglob("*.py"))):
        texts.setdefault(path.stem, []).append(path.read_text(encoding="utf-8"))
    named = re.findall(r"`(?:(\w+)\.)?(_?[A-Z][A-Z_]{2,})`", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert len(named) > 10
    every = [text for several in texts.values() for text in several]
    assert [f"{module}.{name}" for module, name in named
            if not any(re.search(rf"\b{name}\b", text) for text in texts.get(module, every))] == []


def test_no_private_name_is_imported():
    files = [*PACKAGE, *sorted((ROOT / "tests").rglob("*.py"))]
    assert [f"{path.relative_to(ROOT)}:{node.lineno} {alias.name}" for path in files
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.ImportFrom)
            for alias in node.names if alias.name.startswith("_") and not alias.name.startswith("__")] == []


def _code_lines(text: str) -> list[tuple[int, str]]:
    """Number and content of every line that is neither blank nor part of an import."""
    imports = {number for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Import | ast.ImportFrom)
               for number in range(node.lineno, node.end_lineno + 1)}
    return [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1)
            if line.strip() and number not in imports]


def _repeated(texts: dict[str, str], run: int) -> list[str]:
    """Places where `run` code lines stand that stand elsewhere before."""
    first: dict[tuple[str, ...], tuple[str, int]] = {}
    found = []
    for name, text in texts.items():
        lines = _code_lines(text)
        for start in range(len(lines) - run + 1):
            here = (name, start)
            before = first.setdefault(tuple(line for _, line in lines[start:start + run]), here)
            # runs of one line over and over overlap themselves; they are no second place
            if before[0] != name or start - before[1] >= run:
                found.append(f"{name}:{lines[start][0]}")
    return found


def test_no_run_of_lines_stands_twice():
    texts = {str(path.relative_to(ROOT)): path.read_text(encoding="utf-8") for path in PACKAGE}
    assert _repeated(texts, MOST_EQUAL_LINES + 1) == []


def test_a_run_of_lines_that_stands_twice_is_found():
    """Within a module and across modules, whatever the indent and the blank lines, not where one line differs."""
    run = [f"x{k} = {k}" for k in range(5)]
    once, inner = "\n".join(run), "\n\n".join(f"    {line}" for line in run)
    assert _repeated({"a": once, "b": f"import os\nif os:\n{inner}"}, 5) == ["b:3"]
    assert _repeated({"a": f"{once}\ny = 1\n{once}"}, 5) == ["a:7"]
    assert _repeated({"a": once, "b": once.replace("x3", "z3")}, 5) == []
    assert _repeated({"a": "\n".join(["from x import y"] * 12)}, 5) == []


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
