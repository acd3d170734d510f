"""A study of data frames and keyword arguments, through the same checks as one of files."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path

import pandas as pd

from reliability.schema.problems import Problem
from reliability.schema.scenarios import Scenario
from reliability.study.arguments import Arguments, not_a_frame, scenario_entries, stated, toml_form
from reliability.study.folder import read_study
from reliability.study.reader import Gathered
from reliability.study.routes import ROUTES_FILE as ROUTES_FILE
from reliability.study.study import Study
from reliability.study.tables import Rows
from reliability.study.text_cells import frame_rows
from reliability.study.toml import Toml

COSTS = "interruption_costs"
ROUTES = "routes"


class FrameReader:
    """Reads a study from data frames by table, those that are None left out; see `Reader`."""

    folder: Path | None = None

    def __init__(self, tables: Mapping[str, object], arguments: Arguments) -> None:
        self.tables = {name: frame for name, frame in tables.items() if frame is not None}
        self.arguments = arguments
        self.found = Gathered(contents={arguments.file: repr(arguments.data).encode()})

    def settings(self) -> Toml:
        """The arguments, in place of study.toml."""
        return self.arguments

    def name_of(self, table: str) -> str | None:
        """The table's own name."""
        return table if table in self.tables else None

    def rows(self, table: str) -> Rows | None:
        """Rows of the frame of a table."""
        frame, problems = self.tables[table], self.found.problems
        if not isinstance(frame, pd.DataFrame):
            problems.add(not_a_frame(table, frame))
            return None
        rows = frame_rows(table, frame)
        if not rows.columns:
            problems.add(Problem(table, "the table is empty", "give it columns and records"))
            return None
        self.found.contents[table] = "\x1e".join("\x1f".join([h, *c]) for h, c in
                                                 zip(rows.headers, rows.columns, strict=True)).encode()
        return rows

    def cost_rows(self, name: str, toml: Toml) -> Rows | None:
        """Rows of the frame of interruption costs; text cannot name a file where there is no folder."""
        if COSTS in self.tables:
            return self.rows(COSTS)
        toml.wrong(f"costs.{COSTS}", name, "there is no study folder that could hold this file",
                   "give the table as a data frame")
        return None

    def routes(self) -> bytes | None:
        """The mapping of routes as JSON text."""
        given = self.tables.get(ROUTES)
        if given is None:
            return None
        try:
            text = json.dumps(given).encode()
        except (TypeError, ValueError, RecursionError):
            self.found.problems.add(Problem(ROUTES, "no GeoJSON", "give a dict as json.load reads it from a file",
                                            value=type(given).__name__))
            return None
        self.found.contents[ROUTES_FILE] = text
        return text

    def report_missing(self, table: str, remedy: str) -> None:
        """Note that a table is missing."""
        self.found.problems.add(Problem(table, "the table is missing", remedy))

    def report_no_network(self) -> None:
        """Note that no table holds a network."""
        self.report_missing("sections", "give sections, or feeders and laterals, as data frames")


def study_of_frames(tables: Mapping[str, object], name: str, currency: str,
                    scenarios: Iterable[Scenario | Mapping[str, object]],
                    columns: Mapping[str, Mapping[str, object]] | None,
                    assumptions: Mapping[str, object]) -> Study:
    """See `Study.from_frames`.

    tables: frames by name of `columns.COLUMN_TABLES`, GeoJSON under ROUTES; None where the study has none.
    """
    assumptions, costs = with_costs_named(assumptions)
    arguments = stated(assumptions, name=name, currency=currency, scenarios=scenario_entries(scenarios),
                       columns=toml_form(columns or {}))
    return read_study(FrameReader({**tables, COSTS: costs}, arguments))


def with_costs_named(assumptions: Mapping[str, object]) -> tuple[dict[str, object], pd.DataFrame | None]:
    """The assumptions with a frame of interruption costs replaced by its name, and the frame."""
    costs = assumptions.get(COSTS)
    if not isinstance(costs, pd.DataFrame):
        return dict(assumptions), None
    return {**assumptions, COSTS: COSTS}, costs
