"""Names that look like formulas, markup or worse pass through import, page, workbook and CSV as text."""

from __future__ import annotations

import csv
import json

import openpyxl
import pytest

from reliability.__main__ import main
from reliability.cells import safe_text
from tests.report.parsed import Page

LONG = "L" * 10_000
NAMES = ('=HYPERLINK("http://x.example","y")', "<script>alert(1)</script>", "+1-1", "-2+3", "@SUM(1)", LONG, "💥🔌",
         "שלום עולם", "مرحبا", "</title></style><b>", "{{7*7}}{% x %}", '" onmouseover="alert(1)', "&lt;i&gt;&amp;",
         "a\u202egnp.exe", "'quoted'", "http://x.example/a", "back\\slash", "[x](javascript:1)")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Results of a study in which every name is one of them."""
    source, target = tmp_path_factory.mktemp("evil"), tmp_path_factory.mktemp("evil-out") / "out"
    rows = [["main", "", "breaker", NAMES[1], 2, 100]]
    rows += [[name, "main", "fuse", NAMES[i % len(NAMES)], 1, 10 + i] for i, name in enumerate(NAMES)]
    with (source / "sections.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["section_id", "parent_id", "device", "feeder_id", "length_km", "customers"],
                                    *rows])
    with (source / "outages.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([
            ["event_id", "section_id", "started", "restored", "customers", "cause"],
            *([f"e{i}", name, f"2024-0{1 + i % 9}-1{i % 9}T10:00", f"2024-0{1 + i % 9}-1{i % 9}T1{1 + i % 8}:00", 5,
               name]
              for i, name in enumerate(NAMES))])
    scenarios = "".join(f"[[scenarios]]\nname = {json.dumps(name)}\nlaterals = {json.dumps([name])}\n"
                        'device = "sectionalizer"\n' for name in (NAMES[0], NAMES[1], NAMES[5], NAMES[10]))
    (source / "study.toml").write_text(f'name = {json.dumps(NAMES[9])}\ncurrency = "=1+1"\n{scenarios}',
                                       encoding="utf-8")
    assert main(["run", str(source), "--out", str(target), "--trials", "3"]) == 0
    return target


def test_the_page_holds_them_as_text(folder):
    page = Page((folder / "report.html").read_text(encoding="utf-8"))
    assert {tag for tag, _ in page.tags} <= {
        "html", "head", "meta", "title", "style", "body", "header", "p", "h1", "h2", "h3", "main", "section", "nav",
        "ol",
        "ul", "li", "a", "div", "table", "caption", "span", "thead", "tbody", "tr", "th", "td", "bdi", "wbr", "data",
        "dl", "dt", "dd",
        "strong",
        "figure", "figcaption", "svg", "desc", "g", "defs", "path", "use", "rect", "clippath", "pattern", "text"}
    assert not [a for _, attributes in page.tags for a in attributes if a.startswith("on")]
    for name in NAMES:
        shown = name.replace("\u202e", "·")[:70]
        assert shown in page.text, shown
    assert "49{% x %}" not in page.text
    assert LONG not in page.text
    assert page.open == []


def test_the_workbook_holds_them_as_text(folder):
    book = openpyxl.load_workbook(folder / "workbook.xlsx")
    sheet = book["Laterals"]
    found = {sheet.cell(r, 1).value: sheet.cell(r, 1) for r in range(2, sheet.max_row + 1)}
    assert set(NAMES) <= set(found)
    assert {cell.data_type for cell in found.values()} == {"s"}
    assert all(found[n].quotePrefix for n in NAMES if n[0] in "=+-@")
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                live = cell.data_type == "s" and cell.value[0] in "=+-@"
                assert cell.quotePrefix or not live, (sheet.title, cell.value)
                assert cell.data_type != "f" or sheet.title.startswith(("Cash flow", "Proposal")), cell.value
                assert cell.hyperlink is None or cell.hyperlink.target is None
                if cell.data_type == "f":
                    assert "HYPERLINK" not in cell.value


def test_the_csv_files_hold_them_as_text(folder):
    with (folder / "laterals.csv").open(newline="", encoding="utf-8") as file:
        found = {row["lateral_id"] for row in csv.DictReader(file)}
    assert found == {safe_text(name) for name in NAMES}


def test_summary_json_holds_them_unchanged(folder):
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert summary["study"] == NAMES[9]
    assert [s["name"] for s in summary["scenarios"][1:5]] == [NAMES[0], NAMES[1], NAMES[5], NAMES[10]]
