"""A document as HTML: one file that opens anywhere, offline and without a script, and prints on Letter and A4."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from reliability.formats import DASH, TEXT_KIND, missing, shown
from reliability.report import palette
from reliability.report.blocks import (
    LONGEST_PRINTED,
    TO,
    Bullets,
    Caution,
    Column,
    Document,
    Heading,
    KeyFigures,
    Missing,
    Section,
    Table,
    Text,
)
from reliability.report.chart import BarChart, MapChart, PlotChart
from reliability.report.figures import Figure, Name, Sentence, in_one_piece, unbroken
from reliability.report.picture import pictures
from reliability.schema.problems import shorten
from reliability.tasks import HERE, Workers

PAGE_TEMPLATE, STYLE_SHEET = "page.html.j2", "page.css"
LONGEST_SENTENCE = 400
UNBROKEN_IN_A_CELL = 16       # letters of a word that a cell does not break
SENTENCE = 20       # letters from which a cell's text wants room
CHART = "chart"
BLOCK_CLASSES = {Text: "text", KeyFigures: "keys", Bullets: "points", Heading: "heading", Missing: "missing",
                 Caution: "caution", Table: "table", BarChart: CHART, PlotChart: CHART, MapChart: CHART}


def page(document: Document, workers: Workers = HERE) -> str:
    """The document as HTML; every text from the user's files is escaped. workers: draw its charts."""
    charts = [block for section in document.sections for block in section.blocks
              if isinstance(block, BarChart | PlotChart | MapChart)]
    drawn = dict(zip(map(id, charts), pictures(charts, workers), strict=True))
    folder = Path(__file__).parent
    environment = Environment(loader=FileSystemLoader(folder), autoescape=True, undefined=StrictUndefined,
                              trim_blocks=True, lstrip_blocks=True)
    environment.filters |= {"words": words, "paragraph": paragraph, "short": lambda t: shorten(str(t), LONGEST_PRINTED),
                            "count": lambda n: shown(n, "count"), "svg": lambda chart: Markup(drawn[id(chart)])}  # noqa: S704 - svg() escapes
    environment.tests["block"] = lambda block, kind: BLOCK_CLASSES[type(block)] == kind
    environment.globals["rows"] = lambda table: list(_rows(table))
    style = palette.css() + (folder / STYLE_SHEET).read_text(encoding="utf-8")
    foot = css_text(f"{document.foot}, planning estimates, not settings")
    style += f"@page {{ @bottom-left {{ content: {foot}; }} }}"
    return environment.get_template(PAGE_TEMPLATE).render(document=document, style=Markup(style))  # noqa: S704 - our own


def labelled(section: Section) -> str:
    """The paragraphs of a section that have a label, as they are in the document."""
    return Markup("").join(paragraph(block) for block in section.blocks if isinstance(block, Text) and block.label)


def css_text(text: str) -> str:
    """A text as a string of a style sheet: whatever is no plain letter, digit or space is written by its number."""
    return '"' + "".join(c if c.isascii() and (c.isalnum() or c in " ,.-") else f"\\{ord(c):06x}" for c in text) + '"'


def words(sentence: Sentence) -> Markup:
    """A sentence as HTML; a figure of summary.json carries its value and place."""
    return Markup("").join(_part(part) for part in unbroken(sentence))


def paragraph(text: Text) -> Markup:
    """A sentence with its label as HTML."""
    label = Markup('<strong class="label">{}.</strong> ').format(text.label) if text.label else ""
    return Markup("<p>{}{}</p>").format(label, words(text.sentence))


def _part(part: str | Figure | Name) -> Markup:
    if isinstance(part, Figure):
        return data(part.value, in_one_piece(part), part.path)
    if isinstance(part, Name):
        return Markup("“<bdi>{}</bdi>”").format(shorten(part.text, LONGEST_PRINTED))
    return escape(part)


def data(value: float | None, text: str, path: str) -> Markup:
    """A number as text, within a <data> element where it stands in summary.json."""
    if not path or value is None or missing(value):
        return escape(text)
    return Markup('<data value="{}" data-path="{}">{}</data>').format(repr(float(value)), path, text)


def _rows(table: Table) -> Iterator[list[tuple[str, Markup]]]:
    """(class, content) of the cells of the rows shown."""
    head = table.frame.head(table.shown)
    paths = table.paths.head(table.shown) if table.paths is not None else None
    values = {name: head[name].tolist() for c in table.on_page for name in (c.key, c.high) if name}
    places = {name: paths[name].tolist() for name in values} if paths is not None else {}
    for r in range(len(head)):
        yield [(_class(c, values[c.key][r]), _cell(c, values, places, r)) for c in table.on_page]


def _class(column: Column, value: object) -> str:
    """How a cell may break: numbers, ids and dates do not, intervals do on paper, sentences want room."""
    if column.kind != TEXT_KIND:
        return "n i" if column.high else "n"
    text = shown(value, TEXT_KIND)
    if len(text) <= UNBROKEN_IN_A_CELL and (" " not in text or any(c.isdigit() for c in text)):
        return "t s"
    return "t l" if len(text) > SENTENCE else "t"


def _cell(column: Column, values: dict[str, list[Any]], places: dict[str, list[Any]], row: int) -> Markup:
    """One cell; an interval is written from … to."""
    value = values[column.key][row]
    if column.kind == TEXT_KIND:
        return name_in_cell(shown(value, TEXT_KIND))

    def number(name: str) -> Markup:
        one = values[name][row]
        signed = column.signed and (name == column.key or column.between == TO)
        return data(one, in_one_piece(shown(one, column.kind, signed)), places[name][row] if places else "")

    if not column.high:
        return number(column.key)
    if missing(value) or missing(values[column.high][row]):
        return escape(DASH)
    return Markup("{}{}{}").format(number(column.key), column.between, number(column.high))


def name_in_cell(text: str) -> Markup:
    """Text of a cell: kept apart from its surroundings, shortened, breakable where it is one long word."""
    if not text:
        return Markup("")
    short = shorten(text, LONGEST_SENTENCE if " " in text else LONGEST_PRINTED)
    words_ = (Markup("<wbr>").join(word[i:i + UNBROKEN_IN_A_CELL] for i in range(0, len(word), UNBROKEN_IN_A_CELL))
              for word in short.split(" "))
    return Markup("<bdi>{}</bdi>").format(Markup(" ").join(words_))
