"""report.docx for a word processor: cover, contents, summary, tables and figures, to paste into a filing.

python-docx is an optional extra; without it the message says how to get it.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from reliability.formats import count, shown
from reliability.report.blocks import (
    LONGEST_PRINTED,
    Block,
    Bullets,
    Caution,
    Document,
    Heading,
    KeyFigures,
    Missing,
    Section,
    Table,
    Text,
)
from reliability.report.chart import BarChart, Chart, MapChart, PlotChart
from reliability.report.figures import unbroken_text
from reliability.report.picture import png
from reliability.report.reporting import day_of
from reliability.report.word_front import contents, cover, footer, heading, page
from reliability.report.word_layout import TableLayout, TextColumn, arranged
from reliability.report.word_parts import equal_bytes, fill_when_opened, styles
from reliability.report.word_tables import cells_of, clean, key_figures_xml, table_xml
from reliability.schema.problems import shorten

INSTALL_DOCX = "pip install python-docx==1.2.0"
FIGURE_INCHES = 6.3


class DocxMissing(ImportError):
    """Raised where python-docx is not installed; the message says what to type."""


def require_docx() -> Any:
    """The python-docx module; raises DocxMissing with the remedy."""
    try:
        import docx
    except ImportError as error:
        raise DocxMissing(f"report.docx needs the optional package python-docx: {INSTALL_DOCX}") from error
    return docx


def docx_bytes(made: Document) -> bytes:
    """The document as the bytes of a DOCX file."""
    docx = require_docx()
    document = docx.Document()
    styles(document, docx)
    document.core_properties.title = f"{made.kind}: {shorten(made.name, LONGEST_PRINTED)}"
    document.core_properties.author = clean(dict(made.facts).get("Prepared by", ""))
    dated(document, dict(made.facts).get("Date of the report", ""))
    cover(document, docx, made)
    contents(document, docx, made)
    footer(document, docx, made.foot)
    for number, section in enumerate(made.sections, start=1):
        _section(document, docx, section, number, made)
    fill_when_opened(document, docx)
    out = io.BytesIO()
    document.save(out)
    return equal_bytes(out.getvalue())


def dated(document: Any, day: str) -> None:
    """The day that the report states as that of the file; without one none is claimed."""
    found = day_of(day)
    for name in ("created", "modified"):
        if found is not None:
            setattr(document.core_properties, name, found)
            continue
        for stated in document.core_properties._element.findall(f"{{http://purl.org/dc/terms/}}{name}"):
            document.core_properties._element.remove(stated)


def write_docx(made: Document, path: str | Path) -> None:
    """Write report.docx."""
    Path(path).write_bytes(docx_bytes(made))


def _section(document: Any, docx: Any, section: Section, number: int, made: Document) -> None:
    """A section; the page is turned for tables that fit on no upright one, and for what stands between two of them."""
    printed = [arranged(cells_of(b)) if isinstance(b, Table) and b.shown else None for b in section.blocks]
    turned = turned_pages(section.blocks, [found[1] if found else None for found in printed])
    page(document, docx, turned=bool(turned and turned[0]))
    heading(document, docx, f"{number}. {section.title}", 1)
    for block, found, across in zip(section.blocks, printed, turned, strict=True):
        page(document, docx, turned=across)
        if isinstance(block, Table):
            _table(document, docx, block, found, made.whole(block))
        else:
            _block(document, docx, block)


def turned_pages(blocks: Sequence[Block], layouts: Sequence[TableLayout | None]) -> list[bool]:
    """Whether each block stands on a turned page: wide tables, headings above them, and what is between two of them."""
    turned = [found is not None and found.turned for found in layouts]
    for at in reversed(range(len(blocks) - 1)):
        if isinstance(blocks[at], Heading) and turned[at + 1]:
            turned[at] = True
    wide = [at for at, across in enumerate(turned) if across]
    for before, after in pairwise(wide):
        if all(not isinstance(block, Table) or not block.shown for block in blocks[before + 1:after]):
            turned[before + 1:after] = [True] * (after - before - 1)
    return turned


def _block(document: Any, docx: Any, block: Block) -> None:
    if isinstance(block, Text):
        paragraph = document.add_paragraph()
        if block.label:
            paragraph.add_run(f"{block.label}. ").bold = True
        paragraph.add_run(clean(unbroken_text(block.sentence)))
    elif isinstance(block, KeyFigures):
        document.add_paragraph()._p.addprevious(key_figures_xml(docx, block))
    elif isinstance(block, Bullets):
        for sentence in block.sentences:
            document.add_paragraph(clean(unbroken_text(sentence)), style="List Bullet")
    elif isinstance(block, Heading):
        heading(document, docx, block.text, 2)
    elif isinstance(block, Missing):
        document.add_paragraph(clean(f"Not available. {block.what}"), style="Intense Quote")
    elif isinstance(block, Caution):
        document.add_paragraph(clean(unbroken_text(block.sentence)), style="Intense Quote")
    elif isinstance(block, BarChart | PlotChart | MapChart):
        _figure(document, docx, block)


def _figure(document: Any, docx: Any, chart: Chart) -> None:
    document.add_paragraph(clean(chart.title), style="Caption")
    shape = document.add_picture(io.BytesIO(png(chart)))
    if shape.width > (most := docx.shared.Inches(FIGURE_INCHES)):
        shape.height, shape.width = round(shape.height * most / shape.width), most
    shape._inline.docPr.set("descr", clean(chart.description))


def _table(document: Any, docx: Any, table: Table, found: tuple[Sequence[TextColumn], TableLayout] | None,
           whole: str) -> None:
    rows = min(table.shown, len(table.frame))
    if found is None:
        document.add_paragraph(f"{clean(table.title)}: in {whole}.")
        return
    elsewhere = f"; all in {whole}" if whole else ""
    part = f" ({shown(rows, 'count')} of {count(len(table.frame), 'row')}{elsewhere})"
    document.add_paragraph(clean(table.title + (part if rows < len(table.frame) else "")), style="Caption")
    document.add_paragraph(clean(table.note))._p.addprevious(table_xml(docx, *found))
