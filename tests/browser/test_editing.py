"""Cells typed by a quick hand."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest

from tests.browser.conftest import settle, visit

DEMO = Path(__file__).parents[2] / "data" / "demo"
CELLS = 6


def open_table(page, server, name: str, table: str, column: int) -> None:
    """The tables of a study with one chosen, a column's first cell marked."""
    visit(page, server, "study", study=name)
    page.get_by_role("tab", name="Tables").click()
    settle(page)
    page.get_by_role("radio", name=table).click()
    settle(page)
    box = page.get_by_test_id("stDataFrame").first.bounding_box()
    page.mouse.click(box["x"] + 80, box["y"] + 54)
    page.wait_for_timeout(300)
    for _ in range(column):
        page.keyboard.press("ArrowRight")
        page.wait_for_timeout(40)


def cells(folder: Path, table: str, column: str) -> list[str]:
    with (folder / f"{table}.csv").open(encoding="utf-8-sig") as file:
        return [row[column] for row in csv.DictReader(file)]


@pytest.mark.parametrize("pause", [300, 700])
def test_cells_typed_one_after_the_other_are_all_saved(page, shared, pause):
    folder = shared.workspace / f"typed-{pause}"
    shutil.copytree(DEMO, folder)
    header = (folder / "outages.csv").read_text(encoding="utf-8-sig").splitlines()[0].replace('"', "").split(",")
    open_table(page, shared, folder.name, "outages", header.index("cause"))
    for k in range(CELLS):
        page.keyboard.type(f"cause {k}", delay=60)
        page.keyboard.press("Enter")
        page.wait_for_timeout(pause)
    page.get_by_text("Saved at").wait_for()
    settle(page)
    page.wait_for_timeout(1500)
    settle(page)
    assert cells(folder, "outages", "cause")[:CELLS] == [f"cause {k}" for k in range(CELLS)]
    assert page.get_by_text("in another tab").count() == 0
    assert page.get_by_text("Not saved").count() == 0
