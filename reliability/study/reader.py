"""What a study is read from: the files of a folder, or data frames in their place."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from reliability.schema.problems import Problems
from reliability.study.tables import Rows
from reliability.study.toml import Toml


@dataclass
class Gathered:
    """What is gathered while a study is read.

    contents: bytes that stand for each input by its name, in the order of reading.
    """

    problems: Problems = field(default_factory=Problems)
    contents: dict[str, bytes] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


class Reader(Protocol):
    """Gives a study's settings and tables as text; what is wrong with them as such is noted in `found.problems`."""

    found: Gathered

    @property
    def folder(self) -> Path | None:
        """The study's folder, None where it has none."""

    def settings(self) -> Toml | None:
        """Assumptions and scenarios; None where they cannot be read."""

    def name_of(self, table: str) -> str | None:
        """How a table of `columns.COLUMN_TABLES` is called in messages, None where the study has none."""

    def rows(self, table: str) -> Rows | None:
        """Rows of a table that is there; None where they cannot be read."""

    def cost_rows(self, name: str, toml: Toml) -> Rows | None:
        """Rows of the user's own table of interruption costs; None where there is none or they cannot be read."""

    def routes(self) -> bytes | None:
        """GeoJSON of where the sections run; None where there is none or it cannot be read."""

    def report_missing(self, table: str, remedy: str) -> None:
        """Note that a table is missing."""

    def report_no_network(self) -> None:
        """Note that no table holds a network."""
