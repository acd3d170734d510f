"""report.docx: an optional extra, with the words, tables and figures of the page."""

from __future__ import annotations

import io
import os
import sys
from dataclasses import replace

import pytest

from reliability.formats import money
from reliability.report.blocks import KeyFigures, tables
from reliability.report.chart import Chart
from reliability.report.documents import report, sections
from reliability.report.output import write_results
from reliability.report.picture import png
from reliability.report.word import INSTALL, DocxMissing, docx_bytes, require_docx


@pytest.fixture
def docx():
    try:
        import docx
    except ImportError:
        if os.environ.get("CI") == "true":
            pytest.fail(f"python-docx is not there; install it: {INSTALL}")
        pytest.skip(f"python-docx is not there; install it: {INSTALL}")
    return docx


def test_without_the_package_the_remedy_is_told_and_nothing_written(results, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "docx", None)
    with pytest.raises(DocxMissing, match="pip install python-docx"):
        require_docx()
    with pytest.raises(DocxMissing):
        write_results(results, tmp_path / "out", docx=True)
    assert list(tmp_path.iterdir()) == []


def test_it_holds_every_section_table_and_figure(docx, content):
    made = sections(content)
    document = docx.Document(io.BytesIO(docx_bytes(report(content, made))))
    headings = [p.text for p in document.paragraphs if p.style.name == "Heading 1"]
    assert headings == [f"{i}. {s.title}" for i, s in enumerate(made, start=1)]
    boxes = sum(isinstance(b, KeyFigures) for s in made for b in s.blocks)
    assert len(document.tables) == len([t for t in tables(made) if t.shown]) + boxes
    assert len(document.inline_shapes) == sum(isinstance(b, Chart) for s in made for b in s.blocks)
    text = "\n".join(p.text for p in document.paragraphs)
    assert f"for {money(content.at('choice', 'totals', 'capex'), 'USD')}. This pays" in text
    expected = next(t for t in document.tables if [c.text for c in t.rows[0].cells[:2]] == ["Scenario", "SAIFI, 1/yr"])
    assert expected.cell(1, 0).text == "As built"
    assert float(expected.cell(1, 1).text) == pytest.approx(content.at("scenarios", 0, "expected", "saifi"), abs=5e-4)


def test_odd_names_do_not_break_it(docx, content):
    name = "<w:p>\x00\x1b\u202e💥 =1+1"
    laterals = content.laterals.assign(lateral_id=name + content.laterals["lateral_id"].astype(str))
    odd = replace(content, laterals=laterals, summary={**content.summary, "study": name})
    text = [p.text for p in docx.Document(io.BytesIO(docx_bytes(report(odd)))).paragraphs]
    assert any("<w:p>" in t for t in text)


def test_charts_become_pictures(content):
    charts = [b for s in sections(content) for b in s.blocks if isinstance(b, Chart)]
    pictures = [png(chart) for chart in charts]
    assert len(pictures) >= 8
    assert all(p.startswith(b"\x89PNG") and len(p) > 3000 for p in pictures)
