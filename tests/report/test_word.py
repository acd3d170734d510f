"""report.docx: an optional extra, with the words, tables and figures of the page."""

from __future__ import annotations

import io
import os
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from reliability.formats import money
from reliability.report.blocks import KeyFigures, tables
from reliability.report.chart import Chart
from reliability.report.documents import report
from reliability.report.figures import plain
from reliability.report.output import write_results
from reliability.report.picture import png
from reliability.report.word import INSTALL_DOCX, DocxMissing, docx_bytes, require_docx


@pytest.fixture
def docx():
    try:
        import docx
    except ImportError:
        if os.environ.get("CI") == "true":
            pytest.fail(f"python-docx is not there; install it: {INSTALL_DOCX}")
        pytest.skip(f"python-docx is not there; install it: {INSTALL_DOCX}")
    return docx


@pytest.fixture(scope="module")
def document(content):
    """The demo's document."""
    return report(content)


@pytest.fixture(scope="module")
def laid_out(document):
    """The demo's document, as somebody else opens it."""
    return pytest.importorskip("docx").Document(io.BytesIO(docx_bytes(document)))


def test_without_the_package_the_remedy_is_told_and_nothing_written(results, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "docx", None)
    with pytest.raises(DocxMissing, match="pip install python-docx"):
        require_docx()
    with pytest.raises(DocxMissing):
        write_results(results, tmp_path / "out", docx=True)
    assert list(tmp_path.iterdir()) == []


def test_it_holds_every_section_table_and_figure(laid_out, content, document):
    made, document = document.sections, laid_out
    headings = [p.text for p in document.paragraphs if p.style.name == "Heading 1"]
    assert headings == [f"{i}. {s.title}" for i, s in enumerate(made, start=1)]
    boxes = sum(isinstance(b, KeyFigures) for s in made for b in s.blocks)
    assert len(document.tables) == len([t for t in tables(made) if t.shown]) + boxes
    assert len(document.inline_shapes) == sum(isinstance(b, Chart) for s in made for b in s.blocks)
    text = "\n".join(p.text for p in document.paragraphs)
    assert f"for {money(content.at('choice', 'totals', 'capex'), 'USD')}. This pays" in text
    expected = next(t for t in document.tables if [c.text for c in t.row_cells(0)[:2]] == ["Scenario", "SAIFI, 1/yr"])
    assert expected.cell(1, 0).text == "As built"
    assert float(expected.cell(1, 1).text) == pytest.approx(content.at("scenarios", 0, "expected", "saifi"), abs=5e-4)


def test_no_assumption_is_missing(docx, laid_out, document):
    table = next(t for t in tables(document.sections) if t.key == "assumptions")
    found = next(t for t in laid_out.tables if "Source of the value" in [c.text for c in t.row_cells(0)])
    labels = [cell.text for cell in found.column_cells(0)]
    assert labels[1:] == table.frame["label"].tolist()
    assert len(labels) > 120


def test_a_longer_table_says_where_the_rest_is(laid_out, document):
    captions = [p.text for p in laid_out.paragraphs if p.style.name == "Caption"]
    cut = [t for t in tables(document.sections) if 0 < t.shown < len(t.frame)]
    assert len(cut) > 5
    for table in cut:
        assert any(c.startswith(f"{table.title} ({table.shown} of ") and f"sheet “{table.sheet}”)" in c
                   for c in captions), table.title


def test_rows_are_whole_heads_repeated_and_numbers_to_the_right(docx, laid_out, content):
    w = docx.oxml.ns.qn
    for table in laid_out.tables:
        rows = table._tbl.findall(w("w:tr"))
        assert all(row.find(f"{w('w:trPr')}/{w('w:cantSplit')}") is not None for row in rows)
        if len(rows) > 1:
            assert rows[0].find(f"{w('w:trPr')}/{w('w:tblHeader')}") is not None
    expected = next(t for t in laid_out.tables if [c.text for c in t.row_cells(0)[:2]] == ["Scenario", "SAIFI, 1/yr"])
    right = docx.enum.text.WD_ALIGN_PARAGRAPH.RIGHT
    for row in expected.rows:
        sides = [c.paragraphs[0].alignment or c.paragraphs[0].style.paragraph_format.alignment for c in row.cells]
        assert sides == [None] + [right] * (len(row.cells) - 1)


def test_no_type_is_under_eight_points(docx, laid_out):
    sizes = [int(e.get(docx.oxml.ns.qn("w:val"))) for e in laid_out.element.body.iter(docx.oxml.ns.qn("w:sz"))
             if e.getparent().tag == docx.oxml.ns.qn("w:rPr")]
    assert sizes
    assert min(sizes) >= 16
    assert all(s.font.size is None or s.font.size.pt >= 8 for s in laid_out.styles if s.type == 1 and s.font.size)


def test_the_contents_list_every_heading_within_a_field(docx, laid_out):
    w, body = docx.oxml.ns.qn, laid_out.element.body
    headings = [p.text for p in laid_out.paragraphs if p.style.name in ("Heading 1", "Heading 2")]
    listed = [p for p in laid_out.paragraphs if p.style.name in ("toc 1", "toc 2")]
    assert ["".join(t.text for t in p._p.iter(w("w:t"))) for p in listed] == headings
    marks = [e.get(w("w:name")) for e in body.iter(w("w:bookmarkStart"))]
    assert [p._p.find(w("w:hyperlink")).get(w("w:anchor")) for p in listed] == marks
    kinds = [e.get(w("w:fldCharType")) for p in listed for e in p._p.iter(w("w:fldChar"))]
    assert kinds == ["begin", "separate", "end"]
    assert [e.text.strip() for p in listed for e in p._p.iter(w("w:instrText"))] == [r'TOC \o "1-2" \h \z \u']
    assert laid_out.settings.element.find(w("w:updateFields")).get(w("w:val")) == "true"
    stops = laid_out.styles["toc 1"].paragraph_format.tab_stops
    assert [s.leader for s in stops] == [docx.enum.text.WD_TAB_LEADER.DOTS]


def test_the_cover_has_what_a_filing_needs(laid_out, document):
    first = [p.text.replace("\u00a0", " ") for p in laid_out.paragraphs[:15]]
    assert first[:3] == [document.kind, document.name, plain(document.lead)]
    for label, value in document.facts:
        assert f"{label}\t{value or '_' * 40}" in first
    assert any(line.startswith("Approved by\t") for line in first)
    assert laid_out.sections[0].different_first_page_header_footer
    assert laid_out.sections[0].footer.paragraphs[0].text.startswith(f"{document.foot}\tPage ")
    run = dict(document.facts)["Inputs"]
    day = dict(document.facts)["Date of the report"]
    assert document.foot == f"{document.name}, {day}, run of inputs {run}"
    stated = replace(document, facts=[(k, "2027-03-31" if k == "Date of the report" else v) for k, v in document.facts])
    assert f"{document.name}, 2027-03-31, run of inputs {run}" in stated.foot


@pytest.mark.parametrize(("day", "made"), [
    ("2027-03-31", datetime(2027, 3, 31, tzinfo=UTC)), ("", None), ("next spring", None)])
def test_the_file_claims_the_day_that_the_report_states_and_no_other(docx, document, day, made):
    short = replace(document, sections=document.sections[:1], facts=[("Date of the report", day),
                                                                     ("Prepared by", "Planning")])
    properties = docx.Document(io.BytesIO(docx_bytes(short))).core_properties
    assert (properties.created, properties.modified, properties.author) == (made, made, "Planning")


def test_equal_runs_give_equal_bytes(docx, document, monkeypatch):
    few = replace(document, sections=document.sections[:2])
    one = docx_bytes(few)
    monkeypatch.setattr("time.localtime", lambda *_: time.struct_time((2031, 5, 6, 7, 8, 10, 1, 126, 0)))
    assert docx_bytes(few) == one


def test_odd_names_do_not_break_it(docx, content):
    name = "<w:p>\x00\x1b\u202e💥 =1+1"
    laterals = content.laterals.assign(lateral_id=name + content.laterals["lateral_id"].astype(str))
    odd = replace(content, laterals=laterals, summary={**content.summary, "study": name})
    text = [p.text for p in docx.Document(io.BytesIO(docx_bytes(report(odd)))).paragraphs]
    assert any("<w:p>" in t for t in text)


def test_charts_become_pictures(document):
    charts = [b for s in document.sections for b in s.blocks if isinstance(b, Chart)]
    pictures = [png(chart) for chart in charts]
    assert len(pictures) >= 8
    assert all(p.startswith(b"\x89PNG") and len(p) > 3000 for p in pictures)
