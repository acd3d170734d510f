"""How the workbook prints, and what its charts say: axes as they lie, from zero, the largest on top."""

from __future__ import annotations

import re
import zipfile
from xml.etree import ElementTree

import numpy as np
import openpyxl
import pytest

from reliability.formats import TEXT_KIND
from reliability.report.blocks import tables
from reliability.report.documents import sections

C = {"c": "http://schemas.openxmlformats.org/drawingml/2006/chart",
     "a": "http://schemas.openxmlformats.org/drawingml/2006/main"}


@pytest.fixture(scope="module")
def book(written):
    return openpyxl.load_workbook(written / "workbook.xlsx")


@pytest.fixture(scope="module")
def charts(written):
    """The charts by title."""
    with zipfile.ZipFile(written / "workbook.xlsx") as archive:
        roots = [ElementTree.fromstring(archive.read(n)) for n in archive.namelist()
                 if re.fullmatch(r"xl/charts/chart\d+\.xml", n)]
    return {text(root.find("c:chart/c:title", C)): root for root in roots}


def text(element) -> str:
    return "".join(t.text or "" for t in element.iterfind(".//a:t", C)) if element is not None else ""


def axis(chart, kind: str):
    return chart.find(f".//c:{kind}", C)


def value(element, path: str) -> str | None:
    found = element.find(path, C)
    return None if found is None else found.get("val")


def numbers(book, chart, series: int) -> list[float | None]:
    """Values of a series, from the cells that it reads."""
    reference = chart.findall(".//c:ser", C)[series].find("c:val//c:f", C).text
    found = []
    for part in reference.strip("()").split(","):
        name, _, area = part.rpartition("!")
        cells = book[name.strip("'")][area.replace("$", "")]
        found += [c.value for row in (cells if isinstance(cells, tuple) else ((cells,),)) for c in row]
    return found


def test_every_sheet_prints_across_with_study_sheet_and_page(book, content):
    study = content.summary["study"]
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape", sheet.title
        assert sheet.oddHeader.left.text == study
        assert sheet.oddHeader.right.text == "&A"
        assert sheet.oddFooter.right.text == "Page &P of &N"
        wide = sheet.sheet_properties.pageSetUpPr is not None and sheet.sheet_properties.pageSetUpPr.fitToPage
        blocks = sheet.title in ("Proposal", "Charts") or sheet.title.startswith("Cash flow")
        assert bool(wide) != blocks, sheet.title
        if wide:        # a missing fitToWidth is one page
            assert (sheet.page_setup.fitToWidth or 1, int(sheet.page_setup.fitToHeight)) == (1, 0), sheet.title
        else:
            assert sheet.page_setup.scale == 65


def test_heads_are_repeated(book, content):
    for table in tables(sections(content)):
        if table.sheet:
            assert book[table.sheet].print_title_rows == "$1:$1", table.sheet
    assert book["Contents"].print_title_rows == "$5:$5"
    assert book["Proposal by year"].print_title_rows == "$4:$4"


def test_numbers_have_their_heads_above_them(book, content):
    table = next(t for t in tables(sections(content)) if t.key == "expected")
    for cell, column in zip(book["Expected"][1], table.on_sheet, strict=True):
        assert (cell.alignment.horizontal == "right") == (column.kind != TEXT_KIND)


def test_no_chart_and_no_block_is_cut_by_the_end_of_a_page(book):
    sheet = book["Charts"]
    breaks = [b.id for b in sheet.row_breaks.brk]
    assert breaks
    for chart in sheet._charts:
        first, last = chart.anchor._from.row, chart.anchor.to.row
        assert not any(first < b <= last for b in breaks), (first, last)
        assert chart.anchor.to.col < 21
    flows = book["Cash flow utility"]
    heads = [r for r in range(1, flows.max_row + 1) if flows.cell(r, 1).value == "Year"]
    ends = [b.id for b in flows.row_breaks.brk]
    assert ends
    assert all(end + 2 in heads for end in ends)
    assert max(b - a for a, b in zip([0, *ends], [*ends, flows.max_row], strict=True)) <= 48


def test_lying_bars_have_names_at_the_side_and_values_below_from_zero(charts, book):
    for title, name, values in (("SAIFI of the scenarios", "", "interruptions a customer and year"),
                                ("SAIDI of the scenarios", "", "minutes a customer and year"),
                                ("Causes by customer-minutes", "Cause", "Customer-minutes, all years")):
        chart = charts[title]
        names, measured = axis(chart, "catAx"), axis(chart, "valAx")
        assert value(chart, ".//c:barDir") == "bar"
        assert (text(names.find("c:title", C)), text(measured.find("c:title", C))) == (name, values)
        assert value(names, "c:axPos") == "l"
        # the first name on top, bars from left to right, values at the bottom
        assert value(names, "c:scaling/c:orientation") == "maxMin"
        assert value(measured, "c:scaling/c:orientation") == "minMax"
        assert value(measured, "c:crosses") == "max"
        assert value(measured, "c:tickLblPos") == "nextTo"
        assert float(value(measured, "c:scaling/c:min")) == 0.0
        assert value(names, "c:tickLblSkip") == "1"
    causes = numbers(book, charts["Causes by customer-minutes"], 0)
    assert causes == sorted(causes, reverse=True)


def test_years_start_at_zero_and_leave_out_what_the_page_leaves_out(charts, book, content):
    history = content.history
    for index in ("SAIDI", "SAIFI"):
        chart = charts[f"{index} by year"]
        assert float(value(axis(chart, "valAx"), "c:scaling/c:min")) == 0.0
        every, without = numbers(book, chart, 0), numbers(book, chart, 1)
        known = [history.major_events.has_verdict(int(y)) for y in history.records.years]
        assert not all(known)
        assert [v is not None for v in without] == known
        assert None not in every


def test_the_drivers_are_one_tornado(charts, book, content):
    title = next(t for t in charts if t.startswith("What moves the NPV of Proposed"))
    chart = charts[title]
    names = axis(chart, "catAx")
    assert value(chart, ".//c:overlap") == "100"
    assert value(names, "c:tickLblSkip") == "1"
    assert value(names, "c:scaling/c:orientation") == "maxMin"
    assert value(names, "c:tickLblPos") == "low"
    low, high = (np.array(numbers(book, chart, k), dtype=float) for k in (0, 1))
    swing = np.abs(high - low)
    assert (np.diff(swing) <= 1e-6).all()
    assert len(swing) > 8
    assert (low * high <= 0).mean() > 0.8
    frame = content.drivers[content.drivers["scenario"] == "Proposed"].head(len(low))
    np.testing.assert_allclose(low + frame["npv"], frame["npv_low"], rtol=1e-12)


def test_the_cash_flow_is_drawn_from_the_live_sheet_as_far_as_the_horizon(charts, content):
    chart = charts["Cash flow of the proposal, utility perspective"]
    found = [f.text for f in chart.iterfind(".//c:val//c:f", C)]
    last = 5 + int(content.study.values["horizon_years"])
    assert found == [f"'Proposal by year'!$I$5:$I${last}", f"'Proposal by year'!$P$5:$P${last}"]
