"""Break the package in small ways and see whether the tests notice.

    python -m tests.mutation                        # a sample of 80 from the modules below
    python -m tests.mutation --mutants 20 --seed 3 reliability/faults/chains.py
    python -m tests.mutation --all --jobs 2 reliability/business/finance.py
    python -m tests.mutation --mutants 1000 --minutes 20   # as many of a shuffled list as there is time for

A mutant is one token of the code replaced: < by <=, + by -, min by max, a number by the next.
Each is tried in a copy of the tree, under the tests that MODULES names, until the first fails.
What survives is printed; exit status 1 where a mutant survives that ACCEPTED does not explain.
"""

from __future__ import annotations

import argparse
import io
import math
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tokenize
from ast import literal_eval
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

ROOT = Path(__file__).parents[1]
SECONDS = 300  # for the tests of one mutant; above it counts as noticed, as it would be by a person who waits
# the quickest first, as the first failure ends the trial of a mutant
FAULTS = ("tests/published", "tests/business", "tests/faults", "tests/indices/test_properties.py")
INDICES = ("tests/indices/test_measures.py", "tests/indices/test_spread.py", "tests/indices/test_definitions.py",
           "tests/published", "tests/faults", "tests/indices")
MONEY = ("tests/business",)
MODULES: dict[str, tuple[str, ...]] = {
    "reliability/faults/chains.py": FAULTS,
    "reliability/faults/outcomes.py": FAULTS,
    "reliability/faults/consequences.py": FAULTS,
    "reliability/faults/places.py": FAULTS,
    "reliability/indices/expected.py": INDICES,
    "reliability/indices/definitions.py": INDICES,
    "reliability/indices/measures.py": INDICES,
    "reliability/indices/events.py": INDICES,
    "reliability/indices/draws.py": INDICES,
    "reliability/indices/spread.py": INDICES,
    "reliability/business/finance.py": MONEY,
    "reliability/business/costs.py": MONEY,
    "reliability/business/cost_table.py": MONEY,
    "reliability/business/cashflow.py": MONEY,
}
SWAPS = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==", "+": "-", "-": "+", "*": "/", "/": "*",
    "**": "*", "&": "|", "|": "&", "+=": "-=", "&=": "|=", "~": "", "and": "or", "or": "and", "not": "",
    "True": "False", "False": "True", "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum",
    "any": "all", "all": "any", "sum": "max", "mean": "max", "cumsum": "cumprod", "log1p": "log", "expm1": "exp",
    "is": "is not",
}
# Mutants that no test can or need notice, with the reason: (module, line as it stands, "old → new").
_GRID = "inner = np.array([]) if changes == 1 else np.linspace(-5.0, 5.0, POINTS + 1)"
_GRID_REASON = "a grid a little wider, or of a point more or less, tells the same roots apart"
ACCEPTED: dict[tuple[str, str, str], str] = {
    ("reliability/business/finance.py", _GRID, change): _GRID_REASON
    for change in ("+ → -", "1 → 2", "5.0 → 6.0")
} | {
    ("reliability/business/cost_table.py", "MOST_BYTES = 2**20", change): "a bound far above any table"
    for change in ("20 → 21", "2 → 3")
} | {
    ("reliability/business/cashflow.py", "return sum(self.units.values())", "sum → max"):
        "a scenario installs devices of one kind",
    ("reliability/faults/consequences.py",
     'hours = np.array([values["refuse_hours"], values["reset_hours"], values["patrol_hours"]] + [0.0, 0.0])[callout]',
     "0.0 → 1.0"): "stands in where a repair's own hours or nobody's interruption follow",
}


# A failing example need not be made small.
UNSHRUNK = """
from hypothesis import Phase
settings.register_profile("unshrunk", settings.get_profile("fixed"), phases=[Phase.explicit, Phase.generate])
settings.load_profile("unshrunk")
"""


@dataclass(frozen=True)
class Mutant:
    """One token of a module replaced; line and column count from 1 and 0."""

    module: str
    line: int
    column: int
    old: str
    new: str
    text: str

    def __str__(self) -> str:
        return f"{self.module}:{self.line}:{self.column}: {self.old} → {self.new or 'nothing'}: {self.text.strip()}"

    @property
    def reason(self) -> str | None:
        """Why it may survive, None where it may not."""
        return ACCEPTED.get((self.module, self.text.strip(), f"{self.old} → {self.new or 'nothing'}"))

    def applied(self, source: str) -> str:
        """The module's text with the token replaced."""
        lines = source.splitlines(keepends=True)
        line = lines[self.line - 1]
        lines[self.line - 1] = line[:self.column] + self.new + line[self.column + len(self.old):]
        return "".join(lines)


def mutants_of(module: str) -> Iterator[Mutant]:
    """Every mutant of a module whose text still compiles; imports, signatures and annotations are left alone."""
    source = (ROOT / module).read_text(encoding="utf-8")
    lines = source.splitlines()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        new = _instead(token)
        if new is None:
            continue
        line = lines[token.start[0] - 1]
        if _idle(line.strip()) or line[:token.start[1]].endswith("strict="):
            continue
        mutant = Mutant(module, *token.start, token.string, new, line)
        try:
            compile(mutant.applied(source), module, "exec")
        except SyntaxError:
            continue
        yield mutant


def _instead(token: tokenize.TokenInfo) -> str | None:
    if token.type == tokenize.NUMBER:
        value = literal_eval(token.string)
        return str(value + 1)
    return SWAPS.get(token.string) if token.type in (tokenize.OP, tokenize.NAME) else None


def _idle(line: str) -> bool:
    """Lines on which a token is no rule: imports, signatures, fields with a type."""
    field = line.split("=")[0]
    return line.startswith(("import ", "from ", "def ", "@", "class ")) or "->" in line or (
        ": " in field and field.split(":")[0].isidentifier() and not line.startswith(("if", "for", "else", "while")))


def survives(mutant: Mutant, tree: Path) -> bool:
    """Whether the tests of the mutant's module pass in a copy of the tree that holds it."""
    file = tree / mutant.module
    sound = file.read_text(encoding="utf-8")
    file.write_text(mutant.applied(sound), encoding="utf-8")
    try:
        return passes(mutant.module, tree)
    finally:
        file.write_text(sound, encoding="utf-8")


def passes(module: str, tree: Path) -> bool:
    """Whether the tests that MODULES names for a module pass in a copy of the tree."""
    targets = [t for t in MODULES.get(module, ("tests",)) if (tree / t).exists()]
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *dict.fromkeys(targets)]
    try:
        done = subprocess.run(command, cwd=tree, capture_output=True, timeout=SECONDS, check=False,
                              env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(tree)})
        return done.returncode == 0
    except subprocess.TimeoutExpired:
        return False


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("modules", nargs="*", default=list(MODULES))
    parser.add_argument("--mutants", type=int, default=80)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=math.inf, help="no mutant is begun after that time")
    parser.add_argument("--all", action="store_true", help="every mutant instead of a sample")
    options = parser.parse_args()
    every = [m for module in options.modules for m in mutants_of(module)]
    until = time.monotonic() + 60 * options.minutes
    chosen = every if options.all else random.Random(options.seed).sample(every, min(options.mutants, len(every)))
    print(f"{len(chosen)} of {len(every)} mutants", flush=True)
    trees: SimpleQueue[Path] = SimpleQueue()

    with tempfile.TemporaryDirectory(prefix="mutants-") as scratch:
        for job in range(options.jobs):
            tree = Path(scratch) / str(job)
            shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".*", "__pycache__", "workspace", "out"))
            with (tree / "tests" / "conftest.py").open("a", encoding="utf-8") as conftest:
                conftest.write(UNSHRUNK)
            trees.put(tree)

        for module in {MODULES.get(m.module, ("tests",)): m.module for m in chosen}.values():
            if not passes(module, tree):
                parser.error(f"the tests of {module} fail, or take too long, without any mutant")

        def judge(mutant: Mutant) -> bool | None:
            if time.monotonic() > until:
                return None
            tree = trees.get()
            try:
                alive = survives(mutant, tree)
            finally:
                trees.put(tree)
            print("survives" if alive else "noticed ", mutant, flush=True)
            return alive

        with ThreadPoolExecutor(options.jobs) as pool:
            verdicts = dict(zip(chosen, pool.map(judge, chosen), strict=True))
    alive = [mutant for mutant, lives in verdicts.items() if lives]
    tried = sum(lives is not None for lives in verdicts.values())
    print(f"{tried - len(alive)} of {tried} tried were noticed")
    for mutant in alive:
        print(f"{mutant}\n    {mutant.reason or 'NOT EXPLAINED'}")
    return int(any(m.reason is None for m in alive))


if __name__ == "__main__":
    sys.exit(main())
