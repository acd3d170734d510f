"""What the report is made of, before it is a page, a workbook or a word processor's file.

One list of sections, each a list of blocks; `page`, `workbook` and `word` only lay them out,
so that the three cannot say different things.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from reliability.formats import TEXT_KIND
from reliability.report.chart import Chart
from reliability.report.figures import Sentence, resolve
from reliability.schema.problems import shorten

TO, PLUS_MINUS = " to ", " ± "
LONGEST_PRINTED = 80    # letters of a name from the user's files; the whole name is in the workbook
FOOT = 40               # letters of a name at the foot of a page


@dataclass(frozen=True)
class Column:
    """One column of a table.

    high: a second column of the frame, shown in the same cell after `between` (an interval, or
    a mean and its error). where: "both", "page" for the page alone, "sheet" for the workbook alone.
    """

    key: str
    label: str
    kind: str = TEXT_KIND
    unit: str = ""
    high: str = ""
    signed: bool = False
    between: str = TO
    where: str = "both"

    @property
    def header(self) -> str:
        """Label and unit."""
        return f"{self.label}, {self.unit}" if self.unit else self.label


@dataclass(frozen=True)
class Table:
    """A table: the page shows the first `shown` rows, the workbook all of them.

    paths: same shape as frame, the JSON Pointer into summary.json of each cell that mirrors
    it, "" for the others; None where no cell does. sheet: name of its sheet in the workbook,
    at most 31 characters; "" where it has none of its own. file: where a document without a workbook
    has all rows, "" for nowhere. whole: title of all its rows, where `title` is that of those shown.
    """

    key: str
    title: str
    columns: tuple[Column, ...]
    frame: pd.DataFrame
    sheet: str = ""
    shown: int = 60
    note: str = ""
    paths: pd.DataFrame | None = None
    file: str = ""
    whole: str = ""

    @property
    def on_page(self) -> tuple[Column, ...]:
        """Columns that the page shows."""
        return tuple(c for c in self.columns if c.where != "sheet")

    @property
    def on_sheet(self) -> tuple[Column, ...]:
        """Columns that the workbook shows."""
        return tuple(c for c in self.columns if c.where != "page")


@dataclass(frozen=True)
class Text:
    """A paragraph; `label` stands in front of it in bold."""

    sentence: Sentence
    label: str = ""


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    sentences: tuple[Sentence, ...]


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str


@dataclass(frozen=True)
class Missing:
    """Stands where a part cannot be shown: what is missing. remedy: what would bring it, for the app; a document that
    goes to others does not speak of keys and files.
    """

    what: str
    remedy: str = ""


@dataclass(frozen=True)
class Caution:
    """A sentence that nobody should overlook."""

    sentence: Sentence


@dataclass(frozen=True)
class KeyFigure:
    """A number in large type: what it is, the number, and a line below it."""

    label: str
    value: Sentence
    note: Sentence = ()


@dataclass(frozen=True)
class KeyFigures:
    """A box of a few numbers that a reader should not have to look for."""

    figures: tuple[KeyFigure, ...]


Block = Text | KeyFigures | Bullets | Heading | Missing | Caution | Table | Chart


@dataclass(frozen=True)
class Section:
    """A numbered part of the report."""

    key: str
    title: str
    blocks: Sequence[Block] = field(default_factory=tuple)


@dataclass(frozen=True)
class Document:
    """What is laid out as a page or as a word processor's file.

    kind: what it is, above its title. name: what it is about. workbook: file that holds the tables' sheets, ""
    where the document has none. facts: what stands on its cover, as label and value, "" to be filled in by hand;
    a document without them has no cover. lead: the one sentence of the cover.
    """

    kind: str
    name: str
    sections: Sequence[Section]
    workbook: str = ""
    facts: Sequence[tuple[str, str]] = ()
    lead: Sentence = ()

    @property
    def foot(self) -> str:
        """What stands at the foot of each printed page: whose document, of which day and run."""
        facts = dict(self.facts)
        run = facts.get("Inputs", "")
        return ", ".join(filter(None, (shorten(self.name, FOOT), shorten(facts.get("Date of the report", ""), FOOT),
                                       f"run of inputs {run}" if run else "")))

    def whole(self, table: Table) -> str:
        """Where all rows of a table are to be had, as words; "" for nowhere else."""
        if self.workbook and table.sheet:
            return f"{self.workbook}, sheet “{table.sheet}”"
        return table.file


def words(*sentences: str) -> Bullets:
    """A list of sentences without figures."""
    return Bullets(tuple((s,) for s in sentences))


def summary_table(key: str, title: str, summary: Mapping[str, Any], first: Column, rows: Sequence[tuple[str, str]],
                  columns: Sequence[tuple[Column, str] | tuple[Column, str, str]], **more: Any) -> Table:
    """A table whose numbers are read from summary.json, so that they are those.

    rows: label and JSON Pointer of each row; columns: column and the pointer to go on with, a
    second one for a column with `high`. A column in which nothing exists is left out.
    """
    kept = [c for c in columns if any(resolve(summary, row + c[1]) is not None for _, row in rows)]
    frame: dict[str, list[Any]] = {first.key: [label for label, _ in rows]}
    paths = {first.key: [""] * len(rows)}
    for column, *places in kept:
        for name, place in zip((column.key, column.high), places, strict=False):
            values = [resolve(summary, row + place) for _, row in rows]
            frame[name] = [float("nan") if v is None else float(v) for v in values]
            paths[name] = [row + place for _, row in rows]
    return Table(key, title, (first, *(c[0] for c in kept)), pd.DataFrame(frame),
                 paths=pd.DataFrame(paths), **more)


def tables(sections: Sequence[Section]) -> list[Table]:
    """Every table of the report, in its order."""
    return [block for section in sections for block in section.blocks if isinstance(block, Table)]
