"""What shows nothing on paper does not load the library that draws on it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CHECK = "from reliability.__main__ import main; assert main(['check', 'data/demo']) == 0"
IMPORTS = ("import reliability.report.output, reliability.report.history_output, reliability.report.word, "
           "reliability.report.workbook")


def loaded(code: str) -> set[str]:
    done = subprocess.run([sys.executable, "-c", code + "\nimport sys; print('\\n'.join(sys.modules))"], cwd=ROOT,
                          capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return set(done.stdout.split())


@pytest.mark.parametrize("code", [CHECK, IMPORTS], ids=["check", "imports"])
def test_the_command_line_loads_matplotlib_only_to_draw(code):
    assert "matplotlib" not in loaded(code)


def test_check_loads_nothing_that_it_does_not_use():
    slow = {"scipy.stats", "scipy.optimize", "xlsxwriter", "jinja2", "multiprocessing.connection",
            "reliability.pipeline", "reliability.business", "reliability.report"}
    assert not loaded(CHECK) & slow


def test_a_document_loads_it():
    found = loaded("from reliability.report.chart import *\nfrom reliability.report.picture import svg\n"
                   "svg(BarChart('k', 't', 'd', ['a'], (Bars('s', [1.0]),), Axis('x')))")
    assert "matplotlib" in found
    assert "matplotlib.pyplot" not in found
