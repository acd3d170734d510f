"""What a user waits for, as multiples of importing the libraries of a run: python -m tests.benchmarks.bench_ratios.

    python -m tests.benchmarks.bench_ratios             the demo, `check`, 21 000 sections, a simulated event
    python -m tests.benchmarks.bench_ratios large       500 000 sections as well: minutes, and gigabytes
    python -m tests.benchmarks.bench_ratios code=DIR    the commands of the package in another folder, an earlier one

Each command is a process of its own. Printed are its seconds by the clock and of the processor (of all processes that
it begins), and the largest memory of one process. Ratios are to an import measured right before, clock to clock and
processor to processor, so that a busy machine shows where they differ. Printed, never asserted.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from reliability.formats import count
from tests.benchmarks.bench_draws import DEMO, LIBRARIES, UNCERTAIN, own_values

ROOT = Path(__file__).parents[2]
LOADED = "import sys; from reliability.__main__ import main; main(['check', {study!r}]); print(*sys.modules)"


@dataclass(frozen=True)
class Took:
    """Seconds by the clock and of the processor, and GB of the largest process."""

    clock: float
    processor: float
    memory: float

    def against(self, other: Took) -> str:
        """As a line of the table."""
        return (f"{self.clock:7.2f} s | {self.clock / other.clock:5.1f} | {self.processor:7.2f} s | "
                f"{self.processor / other.processor:5.1f} | {self.memory:5.2f} GB")


def took(code: Path, *command: str) -> Took:
    """Run Python with these arguments on the package in a folder."""
    before, begun = os.times(), time.perf_counter()
    process = subprocess.Popen([sys.executable, *command], cwd=code, stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    clock, after = time.perf_counter() - begun, os.times()
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)} ended with {process.returncode}")
    spent = sum(getattr(after, name) - getattr(before, name) for name in ("children_user", "children_system"))
    return Took(clock, spent, usage.ru_maxrss / 1e6)


def write_large(folder: Path, sections: int) -> None:
    """A study with rates, fractions and repair hours of most sections' own, settings everywhere, and ranges."""
    study = own_values(sections)
    study.sections.dropna(axis=1, how="all").to_csv(folder / "sections.csv", index=False)
    study.settings.to_csv(folder / "settings.csv", index=False)
    ranges: dict[str, list[str]] = {}
    for key, stated in UNCERTAIN.items():
        table = {"patrol_hours": "restoration", "switching_hours": "restoration", "temporary_fraction": "faults",
                 "reclosing_off_share": "protection"}.get(key, "costs")
        ranges.setdefault(table, []).append(
            f"{key} = {{ low = {stated.low}, likely = {stated.likely}, high = {stated.high} }}")
    lines = ['name = "synthetic"', *(line for table, of in ranges.items() for line in (f"[{table}]", *of)),
             "[[scenarios]]", 'name = "Sectionalizers"', 'device = "sectionalizer"', "counts = 2",
             "[[scenarios]]", 'name = "Lateral reclosers"', 'device = "lateral_recloser"']
    (folder / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Print the table."""
    code = next((Path(a[5:]).resolve() for a in sys.argv[1:] if a.startswith("code=")), ROOT)
    print(f"load {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors")
    print("| what | by the clock | ratio | processor | ratio | memory | to reach |\n|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)

        def line(what: str, goal: str, *command: str, unit: str = f"import {LIBRARIES}") -> None:
            base = min((took(code, "-c", unit) for _ in range(3)), key=lambda one: one.clock)
            print(f"| {what} | {took(code, *command).against(base)} | {goal} |", flush=True)

        def run(what: str, goal: str, study: Path, *more: str) -> None:
            line(what, goal, "-m", "reliability", "run", str(study), "--out", str(folder / "out"), *more)

        line("the import itself", "1", "-c", f"import {LIBRARIES}")
        run("first demo, every file", "3.5", DEMO)
        learned = shutil.copytree(DEMO, folder / "learned")
        text = (learned / "study.toml").read_text(encoding="utf-8")
        text = text.replace("[faults]", '[faults]\nrates = "learned"', 1)
        (learned / "study.toml").write_text(text, encoding="utf-8")
        run("the same with rates learned", "4.5", learned)
        loaded = subprocess.run([sys.executable, "-c", LOADED.format(study=str(DEMO))], cwd=code, capture_output=True,
                                text=True, check=True).stdout.splitlines()[-1].split()
        ours = ", ".join(m for m in loaded if m.split(".")[0] in ("reliability", "pandas", "scipy", "tomlkit"))
        line("check of it, to its own imports", "1.1", "-m", "reliability", "check", str(DEMO), unit=f"import {ours}")
        for sections, goal in ((21_000, "10"), *(((500_000, "120 s, 6 GB"),) if "large" in sys.argv[1:] else ())):
            (folder / f"{sections}").mkdir()
            write_large(folder / f"{sections}", sections)
            run(f"{count(sections, 'section')} with rates and hours of their own, 20 trials", goal,
                folder / f"{sections}", "--trials", "20")


if __name__ == "__main__":
    main()
