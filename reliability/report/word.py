"""report.docx for a word processor: summary, tables and figures, to paste into a filing.

python-docx is an optional extra; without it the message says how to get it.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from reliability.formats import DASH, TEXT, count, missing, shown
from reliability.report.blocks import (
    TO,
    Block,
    Caution,
    Column,
    Document,
    Heading,
    KeyFigures,
    Missing,
    Points,
    Table,
    Text,
)
from reliability.report.chart import BarChart, Chart, MapChart, PlotChart
from reliability.report.figures import plain
from reliability.report.picture import png
from reliability.schema.problems import shorten

INSTALL = "pip install python-docx==1.2.0"
LONGEST = 80
MOST_ROWS = 40       # rows of a table; a word processor is slow with more, and the workbook has all of them
FIGURE_INCHES = 6.3


class DocxMissing(ImportError):
    """Raised where python-docx is not installed; the message says what to type."""


def require_docx() -> Any:
    """The python-docx module; raises DocxMissing with the remedy."""
    try:
        import docx
    except ImportError as error:
        raise DocxMissing(f"report.docx needs the optional package python-docx: {INSTALL}") from error
    return docx


def docx_bytes(made: Document) -> bytes:
    """The document as the bytes of a DOCX file."""
    docx = require_docx()
    document = docx.Document()
    _page_setup(document, docx)
    title = f"{made.kind}: {shorten(made.name, LONGEST)}"
    document.core_properties.title = title
    document.core_properties.author = ""
    document.add_heading(title, 0)
    for number, section in enumerate(made.sections, start=1):
        document.add_heading(f"{number}. {section.title}", 1)
        for block in section.blocks:
            _block(document, docx, block, made)
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()


def write_docx(made: Document, path: str | Path) -> None:
    """Write report.docx."""
    Path(path).write_bytes(docx_bytes(made))


def _page_setup(document: Any, docx: Any) -> None:
    """Margins, a compact table type, and page numbers in the footer."""
    for part in document.sections:
        part.left_margin = part.right_margin = docx.shared.Inches(0.9)
    document.styles["Normal"].font.name = "Calibri"
    document.styles["Normal"].font.size = docx.shared.Pt(10)
    run = document.sections[0].footer.paragraphs[0].add_run()
    for kind, text in (("begin", ""), ("", "PAGE"), ("end", "")):
        element = docx.oxml.OxmlElement("w:fldChar" if kind else "w:instrText")
        if kind:
            element.set(docx.oxml.ns.qn("w:fldCharType"), kind)
        else:
            element.text = text
        run._r.append(element)


def _block(document: Any, docx: Any, block: Block, made: Document) -> None:
    if isinstance(block, Text):
        paragraph = document.add_paragraph()
        if block.label:
            paragraph.add_run(f"{block.label}. ").bold = True
        paragraph.add_run(_clean(plain(block.sentence)))
    elif isinstance(block, KeyFigures):
        _key_figures(document, docx, block)
    elif isinstance(block, Points):
        for sentence in block.sentences:
            document.add_paragraph(_clean(plain(sentence)), style="List Bullet")
    elif isinstance(block, Heading):
        document.add_heading(block.text, 2)
    elif isinstance(block, Missing):
        document.add_paragraph(_clean(f"Not available. {block.what} {block.remedy}".strip()), style="Intense Quote")
    elif isinstance(block, Caution):
        document.add_paragraph(_clean(plain(block.sentence)), style="Intense Quote")
    elif isinstance(block, Table):
        _table(document, docx, block, made.whole(block))
    elif isinstance(block, BarChart | PlotChart | MapChart):
        _figure(document, docx, block)


def _key_figures(document: Any, docx: Any, block: KeyFigures) -> None:
    """A cell a figure: what it is, the number large, a line below."""
    grid = document.add_table(rows=1, cols=len(block.figures), style="Table Grid")
    for cell, key in zip(grid.rows[0].cells, block.figures, strict=True):
        cell.paragraphs[0].add_run(_clean(key.label)).font.size = docx.shared.Pt(8.5)
        number = cell.add_paragraph().add_run(_clean(plain(key.value)))
        number.bold, number.font.size = True, docx.shared.Pt(13)
        cell.add_paragraph().add_run(_clean(plain(key.note))).font.size = docx.shared.Pt(8.5)
    document.add_paragraph()


def _figure(document: Any, docx: Any, chart: Chart) -> None:
    _caption(document, chart.title)
    shape = document.add_picture(io.BytesIO(png(chart)))
    if shape.width > (most := docx.shared.Inches(FIGURE_INCHES)):
        shape.height, shape.width = round(shape.height * most / shape.width), most
    shape._inline.docPr.set("descr", _clean(chart.description))


def _caption(document: Any, text: str) -> None:
    paragraph = document.add_paragraph()
    paragraph.add_run(_clean(text)).bold = True
    paragraph.paragraph_format.keep_with_next = True


def _table(document: Any, docx: Any, table: Table, whole: str) -> None:
    columns, rows = table.on_page, min(table.shown, MOST_ROWS, len(table.frame))
    if not table.shown:
        document.add_paragraph(f"{_clean(table.title)}: in {whole}.")
        return
    elsewhere = f"; all in {whole}" if whole else ""
    part = f" ({shown(rows, 'count')} of {count(len(table.frame), 'row')}{elsewhere})"
    more = part if rows < len(table.frame) else ""
    _caption(document, table.title + more)
    grid = document.add_table(rows=1, cols=len(columns), style="Light Grid Accent 1")
    size = docx.shared.Pt(7 if len(columns) > 7 else 8.5)
    _fill(grid.rows[0], [c.header for c in columns], size, bold=True)
    head = grid.rows[0]._tr.get_or_add_trPr()
    repeated = docx.oxml.OxmlElement("w:tblHeader")
    head.append(repeated)
    for record in table.frame.head(rows).to_dict("records"):
        _fill(grid.add_row(), [_cell(c, record) for c in columns], size)
    document.add_paragraph(_clean(table.note))


def _fill(row: Any, texts: list[str], size: Any, bold: bool = False) -> None:
    # row.cells is slow when asked for again and again
    for cell, text in zip(row.cells, texts, strict=True):
        run = cell.paragraphs[0].add_run(_clean(text))
        run.font.size, run.bold = size, bold


def _cell(column: Column, record: Mapping[Any, Any]) -> str:
    value = record[column.key]
    if column.kind == TEXT or not column.high:
        return shown(value, column.kind, column.signed)
    if missing(value) or missing(record[column.high]):
        return DASH
    signed = column.signed and column.between == TO
    high = shown(record[column.high], column.kind, signed)
    return f"{shown(value, column.kind, column.signed)}{column.between}{high}"


def _clean(text: str) -> str:
    """Text on one line without characters that the format forbids, long names shortened."""
    return " ".join(shorten(word, LONGEST) for word in text.split(" "))
