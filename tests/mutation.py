"""Break the package in small ways and see whether the tests notice.

    python -m tests.mutation                        # a sample of 80 from the rooms below
    python -m tests.mutation --mutants 20 --seed 3 reliability/faults/chains.py
    python -m tests.mutation --all --jobs 2 reliability/business/finance.py
    python -m tests.mutation --mutants 1000 --minutes 20   # as many of a shuffled list as there is time for

A mutant is one token of the code replaced: < by <=, + by -, min by max, a number by the next.
First the tests run once over the sound code, to learn which of them reach which line and how long each takes.
A mutant is then tried in a copy of the tree, under the tests that reach its line, the quickest first, until one fails;
one that ACCEPTED explains meets only the first seconds of them.
What survives is printed; exit status 1 where a mutant survives that ACCEPTED does not explain.
"""

from __future__ import annotations

import argparse
import ast
import bisect
import io
import itertools
import json
import math
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tokenize
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from typing import NoReturn

# loaded here so that every child has them
import hypothesis  # noqa: F401
import numpy as np  # noqa: F401
import pandas as pd  # noqa: F401
import pytest
import scipy.optimize
import scipy.stats  # noqa: F401
from coverage import CoverageData

from tests.accepted_mutants import ACCEPTED, ANY, SIZES

ROOT = Path(__file__).parents[1]
ROOMS = ("reliability/faults", "reliability/indices", "reliability/business")
TESTS = ("tests/published", "tests/faults", "tests/indices", "tests/business", "tests/test_pipeline.py")
QUICK_SECONDS = 10.0  # tests of a mutant beyond this much in all run only where they decide something
OWN = ("tests", "reliability")
PATIENCE = 60  # seconds above five times what its tests need; a mutant that takes longer is noticed by whoever waits
MEMORY = 10 * 2**30  # bytes a mutant may take
SWAPS = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==", "+": "-", "-": "+", "*": "/", "/": "*",
    "**": "*", "&": "|", "|": "&", "+=": "-=", "&=": "|=", "~": "", "and": "or", "or": "and", "not": "",
    "True": "False", "False": "True", "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum",
    "any": "all", "all": "any", "sum": "max", "mean": "max", "cumsum": "cumprod", "log1p": "log", "expm1": "exp",
    "is": "is not",
}
# Put at the end of the copy's conftest: few examples, a failing one need not be made small; seconds of each test.
CONFTEST = """
import json
from hypothesis import Phase
settings.register_profile("quick", settings.get_profile("fixed"), phases=[Phase.explicit, Phase.generate],
                          max_examples=10)
settings.load_profile("quick")
_SECONDS = {}


def pytest_runtest_logreport(report):
    _SECONDS[report.nodeid] = _SECONDS.get(report.nodeid, 0.0) + report.duration


def pytest_sessionfinish():
    Path(".seconds.json").write_text(json.dumps(_SECONDS), encoding="utf-8")
"""


@dataclass(frozen=True)
class Mutant:
    """One token of a module replaced; line and column count from 1 and 0. reason: why it may survive, if it may."""

    module: str
    line: int
    column: int
    old: str
    new: str
    text: str
    reason: str | None = None

    def __str__(self) -> str:
        return f"{self.module}:{self.line}:{self.column}: {self.old} → {self.new or 'nothing'}: {self.text.strip()}"

    def applied(self, source: str) -> str:
        """The module's text with the token replaced."""
        lines = source.splitlines(keepends=True)
        line = lines[self.line - 1]
        lines[self.line - 1] = line[:self.column] + self.new + line[self.column + len(self.old):]
        return "".join(lines)


def mutants_of(module: str) -> Iterator[Mutant]:
    """Every mutant of a module whose text still compiles; imports, signatures and annotations are left alone."""
    source = (ROOT / module).read_text(encoding="utf-8")
    for mutant in candidates(source, module):
        try:
            compile(mutant.applied(source), module, "exec")
        except SyntaxError:
            continue
        yield mutant


def candidates(source: str, module: str = "") -> Iterator[Mutant]:
    """Every mutant of a module's text, those among them that do not compile."""
    lines = source.splitlines()
    accepted = list(_accepted(ast.parse(source)))
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        new = _instead(token)
        if new is None:
            continue
        row, column = token.start
        line = lines[row - 1]
        if _idle(line.strip()) or line[:column].endswith("strict="):
            continue
        change, place = f"{token.string} → {new or 'nothing'}", (row, len(line[:column].encode()))
        reason = next((reason for start, stop, changes, reason in accepted
                       if start <= place < stop and (changes == ANY or change in changes)), None)
        yield Mutant(module, row, column, token.string, new, line, reason)


Place = tuple[int, int]  # line from 1 and byte from 0, as in ast


def _accepted(tree: ast.Module) -> Iterator[tuple[Place, Place, tuple[str, ...], str]]:
    """(start, end, changes, reason) of every place in a module that ACCEPTED stands for."""
    wanted: dict[str, dict[str, list[tuple[tuple[str, ...], str]]]] = {}
    for function, code, changes, reason in ACCEPTED:
        wanted.setdefault(function, {}).setdefault(_plain(code), []).append((changes, reason))
    for function, node in _nodes(tree):
        if function in wanted:
            for changes, reason in wanted[function].get(ast.unparse(node), ()):
                yield ((node.lineno, node.col_offset), (node.end_lineno or 0, node.end_col_offset or 0),
                       changes, reason)


def _plain(code: str) -> str:
    """An expression or a statement with the quotes, brackets and blanks of `ast.unparse`."""
    statement, = ast.parse(code).body
    return ast.unparse(statement.value if isinstance(statement, ast.Expr) else statement)


def _nodes(inside: ast.AST, function: str = "") -> Iterator[tuple[str, ast.expr | ast.stmt]]:
    """Every expression and simple statement, with the names of the classes and functions around it."""
    for node in ast.iter_child_nodes(inside):
        named = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
        name = f"{function}.{node.name}".removeprefix(".") if named else function
        if isinstance(node, ast.expr | ast.stmt) and not isinstance(getattr(node, "body", None), list):
            yield name, node
        yield from _nodes(node, name)


def _instead(token: tokenize.TokenInfo) -> str | None:
    if token.type == tokenize.NUMBER:
        value = ast.literal_eval(token.string)
        return str(value + 1)
    return SWAPS.get(token.string) if token.type in (tokenize.OP, tokenize.NAME) else None


def _idle(line: str) -> bool:
    """Lines on which a token is no rule: imports, signatures, fields with a type, sizes."""
    field = line.split("=")[0]
    return field.strip() in SIZES or line.startswith(("import ", "from ", "def ", "@", "class ")) or "->" in line or (
        ": " in field and field.split(":")[0].isidentifier() and not line.startswith(("if", "for", "else", "while")))


class Reach:
    """Which tests reach which line of the sound code, and how many seconds each takes."""

    def __init__(self, tree: Path) -> None:
        """Run all TESTS once in a copy of the tree; RuntimeError where one fails there."""
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "--cov-context=test", "--cov-report=",
             *(f"--cov={room}" for room in ROOMS), *TESTS], cwd=tree, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise RuntimeError(f"tests fail without any mutant\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
        self.seconds: dict[str, float] = json.loads((tree / ".seconds.json").read_text(encoding="utf-8"))
        data = CoverageData(str(tree / ".coverage"))
        data.read()
        self._tests: dict[str, dict[int, set[str]]] = {
            str(Path(file).relative_to(tree)): {
                line: {context.split("|")[0] for context in contexts if context}
                for line, contexts in data.contexts_by_lineno(file).items()}
            for file in data.measured_files()}
        self._spans = {module: list(_spans(ast.parse((tree / module).read_text(encoding="utf-8"))))
                       for module in self._tests}

    def tests(self, mutant: Mutant) -> tuple[list[str], list[str]]:
        """The tests that reach the mutant's statement, the quickest first: `QUICK_SECONDS` of them, and the others.

        A statement that only an import runs is reached by every test of its module.
        """
        lines = self._tests.get(mutant.module, {})
        span = min((s for s in self._spans[mutant.module] if mutant.line in s), key=len, default=range(0))
        found = set().union(*(lines.get(line, ()) for line in span)) or set().union(*lines.values())
        tests = sorted(found, key=lambda t: self.seconds.get(t, 0.0))
        passed = list(itertools.accumulate(self.seconds.get(t, 0.0) for t in tests))
        quick = bisect.bisect_right(passed, QUICK_SECONDS)
        return tests[:quick], tests[quick:]


def _spans(tree: ast.Module) -> Iterator[range]:
    """Lines of every statement; of one that holds others only those above them."""
    for node in ast.walk(tree):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            yield range(node.lineno, body[0].lineno if body else (node.end_lineno or node.lineno) + 1)


def survives(mutant: Mutant, tree: Path, tests: list[str], seconds: float) -> bool:
    """Whether the tests pass in a copy of the tree that holds the mutant."""
    file = tree / mutant.module
    sound = file.read_text(encoding="utf-8")
    file.write_text(mutant.applied(sound), encoding="utf-8")
    for stale in (file.parent / "__pycache__").glob(f"{file.stem}.*.pyc"):
        stale.unlink()
    try:
        return passes(tree, tests, seconds)
    finally:
        file.write_text(sound, encoding="utf-8")


def passes(tree: Path, tests: list[str], seconds: float) -> bool:
    """Whether tests pass in a copy of the tree, in a child of this process, which has the great libraries loaded."""
    child = os.fork()
    if child == 0:
        _be_tried(tree, tests, int(PATIENCE + 5 * seconds))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def _be_tried(tree: Path, tests: list[str], seconds: int) -> NoReturn:
    """The child: run the tests and end with 0 where all pass."""
    status = 1
    try:
        os.setsid()
        signal.alarm(seconds)  # its default is to end the process
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        silence = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silence, 1)
        os.dup2(silence, 2)
        os.chdir(tree)
        os.environ["PYTHONPATH"] = str(tree)
        sys.path[:] = [str(tree), *(entry for entry in sys.path if Path(entry or ".").resolve() != ROOT)]
        for name in [n for n in sys.modules if n.split(".")[0] in OWN]:
            del sys.modules[name]
        sys.dont_write_bytecode = True
        status = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:cov",
                                  "-W", "ignore:Module already imported", *tests]))
    finally:
        os._exit(status)


def copied(trees: Path, job: int) -> Path:
    """A copy of the tree in which the tests are quick."""
    tree = trees / str(job)
    shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".*", "__pycache__", "workspace", "out"))
    shutil.copy(ROOT / ".pytest.ini", tree)  # a warning is a failure
    with (tree / "tests" / "conftest.py").open("a", encoding="utf-8") as conftest:
        conftest.write(CONFTEST)
    return tree


def verdicts_of(chosen: list[Mutant], first: Path, jobs: int, until: float) -> dict[Mutant, bool | None]:
    """Whether each mutant survives, None where there was no time for it; each verdict is printed as it falls."""
    reach = Reach(first)
    quick = sorted(reach.seconds, key=reach.seconds.__getitem__)[:50]
    if not passes(first, quick, 60.0):
        raise RuntimeError("tests that pass by themselves fail in a child without any mutant")
    trees: SimpleQueue[Path] = SimpleQueue()
    trees.put(first)
    for job in range(1, jobs):
        trees.put(Path(shutil.copytree(first, first.parent / str(job))))

    def judge(mutant: Mutant) -> bool | None:
        if time.monotonic() > until:
            return None
        tree = trees.get()
        quick, slow = reach.tests(mutant)

        def passed(tests: list[str]) -> bool:
            return not tests or survives(mutant, tree, tests, sum(reach.seconds[t] for t in tests))

        try:
            alive = passed(quick) and (mutant.reason is not None or passed(slow))
        finally:
            trees.put(tree)
        print("survives" if alive else "noticed ", mutant, flush=True)
        return alive

    with ThreadPoolExecutor(jobs) as pool:
        return dict(zip(chosen, pool.map(judge, chosen), strict=True))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("modules", nargs="*", default=sorted(
        str(file.relative_to(ROOT)) for room in ROOMS for file in (ROOT / room).glob("*.py")))
    parser.add_argument("--mutants", type=int, default=80)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=math.inf, help="no mutant is begun after that time")
    parser.add_argument("--all", action="store_true", help="every mutant instead of a sample")
    options = parser.parse_args()
    every = [m for module in options.modules for m in mutants_of(module)]
    until = time.monotonic() + 60 * options.minutes
    count = len(every) if options.all else min(options.mutants, len(every))
    chosen = random.Random(options.seed).sample(every, count)
    print(f"{len(chosen)} of {len(every)} mutants", flush=True)
    with tempfile.TemporaryDirectory(prefix="mutants-") as scratch:
        verdicts = verdicts_of(chosen, copied(Path(scratch), 0), options.jobs, until)
    alive = [mutant for mutant, lives in verdicts.items() if lives]
    tried = sum(lives is not None for lives in verdicts.values())
    print(f"{tried - len(alive)} of {tried} tried were noticed")
    for mutant in sorted(alive, key=str):
        print(f"{mutant}\n    {mutant.reason or 'NOT EXPLAINED'}")
    return int(any(m.reason is None for m in alive))


if __name__ == "__main__":
    sys.exit(main())
