"""Tables of a word processor's file: columns as wide as they need, numbers to the right, rows whole, heads repeated."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from reliability.formats import DASH, MINUS, SPACE, TEXT_KIND, missing, shown
from reliability.report import palette
from reliability.report.blocks import LONGEST_PRINTED, TO, Column, KeyFigures, Table
from reliability.report.figures import unbroken_text
from reliability.report.word_layout import UPRIGHT, TableLayout, TextColumn
from reliability.report.word_parts import CELL, HEAD_STYLE, NUMBER_STYLE, TABLE_SIZE
from reliability.schema.problems import shorten

UNBROKEN_SPACE = "\u00a0"
TWIPS = 20                   # twentieths of a point, in which the format measures
KEY_SIZE = 13.0
_NUMBER = re.compile(rf"[{MINUS}+]?[\d{SPACE}.]+( %)?")
CELL_ROOM = 70                    # left and right of a cell's text, in these


def cells_of(table: Table) -> list[TextColumn]:
    """The columns of a table as text, the rows that a page shows."""
    records = table.frame.head(table.shown).to_dict("records")
    texts = [[clean(_cell(c, r)) for r in records] for c in table.on_page]
    return [TextColumn(clean(c.header), found, c.kind != TEXT_KIND or _numbers(found))
            for c, found in zip(table.on_page, texts, strict=True)]


def _numbers(texts: Sequence[str]) -> bool:
    """Whether most of what stands in a column of texts are numbers."""
    filled = [t for t in texts if t not in ("", DASH)]
    return bool(filled) and 2 * sum(bool(_NUMBER.fullmatch(t)) for t in filled) > len(filled)


def table_xml(docx: Any, columns: Sequence[TextColumn], layout: TableLayout) -> Any:
    """The table as an element of the document."""
    widths = [round(w * TWIPS) for w in layout.widths]
    grid = "".join(f'<w:gridCol w:w="{w}"/>' for w in widths)
    heads = [c.header for c in columns]
    rows = [_row(heads, columns, widths, layout.size, head=True)]
    rows += [_row(texts, columns, widths, layout.size, first=r == 0)
             for r, texts in enumerate(zip(*(c.texts for c in columns), strict=True))]
    return docx.oxml.parse_xml(f'<w:tbl {docx.oxml.ns.nsdecls("w")}>{_look(sum(widths))}<w:tblGrid>{grid}</w:tblGrid>'
                               f'{"".join(rows)}</w:tbl>')


def key_figures_xml(docx: Any, block: KeyFigures) -> Any:
    """A cell a figure, all equally wide: what it is, the number large, a line below."""
    width = round(UPRIGHT * TWIPS / len(block.figures))
    cells = "".join(
        f'<w:tc><w:tcPr><w:tcW w:w="{width}" w:type="dxa"/>'
        f'<w:shd w:val="clear" w:color="auto" w:fill="{palette.WASH.lstrip("#")}"/></w:tcPr>'
        f"{_line(key.label, TABLE_SIZE)}{_line(unbroken_text(key.value), KEY_SIZE, bold=True)}"
        f"{_line(unbroken_text(key.note), TABLE_SIZE)}</w:tc>" for key in block.figures)
    grid = f'<w:gridCol w:w="{width}"/>' * len(block.figures)
    return docx.oxml.parse_xml(f'<w:tbl {docx.oxml.ns.nsdecls("w")}>{_look(width * len(block.figures))}'
                               f"<w:tblGrid>{grid}"
                               f"</w:tblGrid><w:tr><w:trPr><w:cantSplit/></w:trPr>{cells}</w:tr></w:tbl>")


def _line(text: str, size: float, bold: bool = False) -> str:
    look = f'<w:rPr>{"<w:b/>" if bold else ""}<w:sz w:val="{round(2 * size)}"/></w:rPr>'
    return (f'<w:p><w:pPr><w:pStyle w:val="{CELL.replace(" ", "")}"/></w:pPr>'
            f'<w:r>{look}<w:t xml:space="preserve">{escape(clean(text))}</w:t></w:r></w:p>')


def _look(width: int) -> str:
    rule, strong = palette.RULE.lstrip("#"), palette.SOFT.lstrip("#")
    return (f'<w:tblPr><w:tblW w:w="{width}" w:type="dxa"/><w:tblBorders>'
            f'<w:top w:val="single" w:sz="8" w:space="0" w:color="{strong}"/>'
            f'<w:bottom w:val="single" w:sz="8" w:space="0" w:color="{strong}"/>'
            f'<w:insideH w:val="single" w:sz="4" w:space="0" w:color="{rule}"/></w:tblBorders>'
            f'<w:tblLayout w:type="fixed"/><w:tblCellMar><w:top w:w="25" w:type="dxa"/>'
            f'<w:left w:w="{CELL_ROOM}" w:type="dxa"/><w:bottom w:w="25" w:type="dxa"/>'
            f'<w:right w:w="{CELL_ROOM}" w:type="dxa"/></w:tblCellMar></w:tblPr>')


def _row(texts: Sequence[str], columns: Sequence[TextColumn], widths: Sequence[int], size: float, head: bool = False,
         first: bool = False) -> str:
    """One row, never split over two pages; the head stays with the first row."""
    return ('<w:tr><w:trPr><w:cantSplit/>' + ("<w:tblHeader/>" if head else "") + "</w:trPr>"
            + "".join(_one(text, c.number, width, size, head, head or first)
                      for text, c, width in zip(texts, columns, widths, strict=True)) + "</w:tr>")


def _one(text: str, number: bool, width: int, size: float, head: bool, with_next: bool) -> str:
    style = (HEAD_STYLE if head else NUMBER_STYLE if number else CELL).replace(" ", "")
    shade = f'<w:shd w:val="clear" w:color="auto" w:fill="{palette.WASH.lstrip("#")}"/><w:vAlign w:val="bottom"/>'
    keep = "<w:keepNext/>" if with_next else ""
    right = '<w:jc w:val="right"/>' if head and number else ""
    type_ = f'<w:rPr><w:sz w:val="{round(2 * size)}"/></w:rPr>' if size != TABLE_SIZE else ""
    return (f'<w:tc><w:tcPr><w:tcW w:w="{width}" w:type="dxa"/>{shade if head else ""}</w:tcPr>'
            f'<w:p><w:pPr><w:pStyle w:val="{style}"/>{keep}{right}</w:pPr>'
            f'<w:r>{type_}<w:t xml:space="preserve">{escape(text)}</w:t></w:r></w:p></w:tc>')


def _cell(column: Column, record: Mapping[Any, Any]) -> str:
    """Text of a cell; a number breaks nowhere, an interval only between its ends."""
    value = record[column.key]
    if column.kind == TEXT_KIND:
        return shown(value, TEXT_KIND)
    low = shown(value, column.kind, column.signed).replace(" ", UNBROKEN_SPACE)
    if not column.high:
        return low
    if missing(value) or missing(record[column.high]):
        return DASH
    high = shown(record[column.high], column.kind, column.signed and column.between == TO)
    return f"{low}{column.between.rstrip()}{UNBROKEN_SPACE}{high.replace(' ', UNBROKEN_SPACE)}"


def clean(text: str) -> str:
    """Text on one line without characters that the format forbids, long names shortened."""
    return " ".join(_pieces(text))


def _pieces(text: str) -> Iterator[str]:
    for word in text.split(" "):
        yield shorten(word, LONGEST_PRINTED)
