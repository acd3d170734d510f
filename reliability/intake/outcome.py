"""What an import gives: the tables of a study, a report, and how it is saved whole or not at all."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from reliability.cells import csv_text, safe_text
from reliability.intake.findings import Findings
from reliability.intake.layers import routes_text
from reliability.intake.reading import RECIPE_FILE
from reliability.intake.recipe import Recipe
from reliability.schema.problems import Problem, StudyError
from reliability.study.files import SETTINGS_FILE
from reliability.study.folder import open_study
from reliability.study.save import create
from reliability.study.study import Study

SEGMENT_SECTIONS, PLACES_FILE, REPORT_TABLE = "segment_sections.csv", "places.csv", "import_report.csv"
WRITTEN_TABLES = ("sections", "outages", "operations", "settings", "curves")


@dataclass(frozen=True)
class ImportReport:
    """What an import did.

    totals: a row a feeder, and "All": km, mi, customers, connected_kva, laterals, devices by kind, outages and
    customer_minutes a year. matched: a row a share, with its state. noted: what was noticed, with ids. words: words by
    which rows are planned. totals in and out: `balance`, a row a quantity: in, out, listed.
    """

    totals: pd.DataFrame
    matched: pd.DataFrame
    balance: pd.DataFrame
    findings: Findings
    facts: Mapping[str, Any] = field(default_factory=dict)

    @property
    def state(self) -> str:
        """The worst state of any part."""
        states = {*self.matched["state"], *(n.state for n in self.findings.noted)}
        return "red" if "red" in states else "amber" if "amber" in states else "green"


@dataclass(frozen=True)
class Imported:
    """A study made of exports.

    tables: name of a table of a study → frame, for those of WRITTEN_TABLES that there is something to write of.
    settings: study.toml. recipe: as import.toml has it. segment_sections: segment_id, section_id, order, reversed.
    places: kind, name, section_id of every name that the exports use. routes: section_id → (points, 2) longitude and
    latitude. ties: open points, see `ties.Ties`.
    """

    tables: Mapping[str, pd.DataFrame]
    settings: str
    recipe: Recipe
    segment_sections: pd.DataFrame
    places: pd.DataFrame
    report: ImportReport
    ties: pd.DataFrame
    routes: Mapping[str, np.ndarray] = field(default_factory=dict)
    segment_routes: Mapping[str, np.ndarray] = field(default_factory=dict)

    @cached_property
    def files(self) -> dict[str, bytes]:
        """Every file of the study by its name; the report's page is the report room's."""
        files = {f"{name}.csv": csv_text(frame).encode() for name, frame in self.tables.items()}
        files |= {SETTINGS_FILE: self.settings.encode(), RECIPE_FILE: self.recipe.text.encode(),
                  SEGMENT_SECTIONS: csv_text(self.segment_sections).encode(),
                  PLACES_FILE: csv_text(self.places).encode()}
        if self.routes:
            files["routes.geojson"] = routes_text([str(safe_text(name)) for name in self.routes],
                                                  list(self.routes.values())).encode()
        return files

    def study(self) -> Study:
        """The study that would be written, opened. Raises StudyError where it has a problem."""
        with tempfile.TemporaryDirectory(prefix="import-") as draft:
            for name, content in self.files.items():
                if name == SETTINGS_FILE or name.removesuffix(".csv") in WRITTEN_TABLES:
                    (Path(draft) / name).write_bytes(content)
            return open_study(draft)

    def save(self, folder: str | Path, more: Mapping[str, bytes] | None = None) -> None:
        """Write the study into a new folder, whole or not at all. more: other files beside it, such as the report.

        Raises StudyError where the folder exists and is not empty.
        """
        target = Path(folder)
        if target.exists() and any(target.iterdir()):
            raise StudyError([Problem("--out", "this folder is there already", "name a new folder for the study",
                                      value=str(folder))])
        if target.exists():
            target.rmdir()
        create(target, self.files | dict(more or {}))
