"""What a study is once it has been read and checked; rooms further in trust it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.network.model import Model
from reliability.network.rate_draws import RateDraws
from reliability.network.tree import Network, build_network
from reliability.schema.assumption_types import Range
from reliability.schema.problems import Problem, shorten
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.schema.values import Assumptions
from reliability.study.cost_table import CostTable, default_cost_table
from reliability.study.headers import TextTable
from reliability.study.ranges import ranges_by_default
from reliability.study.report_settings import EarlierPlan
from reliability.study.routes import Routes


@dataclass(frozen=True)
class Study:
    """A checked study.

    sections: a row for each line section in the user's order, with every column of
        `columns.SECTIONS` in kilometres (those per mile are converted and left out): ids and device
        as text, numbers as float with NaN where the file left the value to an assumption or does
        not know it. Fault currents are known at both ends or at neither.
    network: the sections as arrays.
    values: value of every assumption by key; of an uncertain one its mean.
    stated_ranges: low / likely / high of the assumptions that the study states as ranges, by key; an element of
        `clearing_shares` or `phases_involved` by "key.0", "key.1", "key.2". One of no width says that a value is
        known exactly. See also `default_ranges` and `uncertain`.
    scenarios: "As built" first.
    outages: outage records as text columns of `columns.OUTAGES` and `row`, the row in the user's
        file; None without a file.
    section_tables: the tables that the rows of `sections` come from, one after the other, without
        their cells; empty where no file was read.
    settings: overcurrent settings of reclosing devices, columns of `columns.SETTINGS`; None without a file.
    curves: time-current curves by points, columns of `columns.CURVES`; None without a file.
    operations: counter readings and events of reclosing devices, see `operations.read_operation_rows`; None without a
        file.
    routes: where the sections run; None without a file. segments: segment_id and section_id of what the sections
        were made from; None without a file.
    rate_draws: draws of fault rates learned from records; None where rates are as stated.
    cost_table: customers' cost of an interruption, the study's own or the reference table.
    extra: tables of study.toml whose keys are the user's own (`free_tables.FREE_TABLES`), by name.
    plans: plans of earlier reports, as `[[report.plans]]` states them.
    lines: line of each key of study.toml by its dotted path, for problems found later.
    notes: sentences on what is no problem but affects the results (values unknown, a default that matters).
    folder: the study's folder, None of one made in Python. inputs_sha256: digest of its input files or frames.
    """

    name: str
    currency: str
    sections: pd.DataFrame
    network: Network
    values: Assumptions
    stated_ranges: Mapping[str, Range] = field(default_factory=dict)
    scenarios: tuple[Scenario, ...] = (Scenario(AS_BUILT),)
    outages: pd.DataFrame | None = None
    outages_file: str = "outages.csv"
    section_tables: tuple[TextTable, ...] = ()
    settings: pd.DataFrame | None = None
    curves: pd.DataFrame | None = None
    operations: pd.DataFrame | None = None
    operations_file: str = "operations.csv"
    routes: Routes | None = None
    segments: pd.DataFrame | None = None
    cost_table: CostTable = field(default_factory=default_cost_table)
    rate_draws: RateDraws | None = None
    extra: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    plans: tuple[EarlierPlan, ...] = ()
    lines: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    folder: Path | None = None
    inputs_sha256: str = ""

    def __repr__(self) -> str:
        parts = [count(len(self.sections), "section"), count(len(self.network.feeder_ids), "feeder"),
                 count(len(self.scenarios), "scenario")]
        if self.outages is not None:
            parts.append(count(len(self.outages), "row") + " of outage records")
        return f"Study '{shorten(self.name, 60)}': {', '.join(parts)}"

    @classmethod
    def from_frames(cls, sections: pd.DataFrame | None = None, outages: pd.DataFrame | None = None, *,
                    feeders: pd.DataFrame | None = None, laterals: pd.DataFrame | None = None,
                    settings: pd.DataFrame | None = None, curves: pd.DataFrame | None = None,
                    operations: pd.DataFrame | None = None,
                    segment_sections: pd.DataFrame | None = None, routes: Mapping[str, object] | None = None,
                    name: str = "Study", currency: str = "USD",
                    scenarios: Iterable[Scenario | Mapping[str, object]] = (),
                    columns: Mapping[str, Mapping[str, object]] | None = None, **assumptions: object) -> Study:
        """A study of data frames, read and checked like files of the same content.

        sections, outages, feeders, laterals, settings, curves, operations: frames with the columns of
            `schema/columns.py`, or others that `columns` maps; ids may be numbers, missing values stand for blank
            cells. A study has sections, or feeders and laterals.
        segment_sections: which segments the sections were made from, columns segment_id and section_id.
        routes: GeoJSON as a dict, a FeatureCollection of lines with a property section_id, in WGS 84.
        name, currency, scenarios, columns: as in study.toml; a scenario is a `Scenario` or a dict of its keys.
        assumptions: by key of `schema/assumptions.py`, in the units given there. A range is a tuple or dict of low,
            likely and high; three shares are a sequence. `interruption_costs` is a frame. A whole table of study.toml
            may be given by its name, such as history={"time_zone": "Etc/GMT+6"}.

        Raises StudyError with every problem of every frame and assumption. Rows count as in a file that has the
        headers in row 1, so the first record is row 2.
        """
        from reliability.study.frames import study_of_frames

        tables = {"sections": sections, "outages": outages, "feeders": feeders, "laterals": laterals,
                  "settings": settings, "curves": curves, "operations": operations,
                  "segment_sections": segment_sections, "routes": routes}
        return study_of_frames(tables, name, currency, scenarios, columns, assumptions)

    def with_assumptions(self, **changes: object) -> Study:
        """The study with other assumptions, checked again, on the same network.

        changes: by key, see `from_frames`; a plain number takes the place of a range, None of what was stated by the
        default. Raises StudyError with every problem, those of sections and scenarios included.
        """
        from reliability.study.revised import with_assumptions

        return with_assumptions(self, changes)

    def with_scenario(self, name: str, laterals: str | Sequence[str] | None = None, device: str | None = None,
                      counts: int | None = None, fast_operations: int | None = None,
                      applicable_only: bool = False) -> Study:
        """The study with one more scenario, checked against its network.

        laterals: section ids of their heads, or "all". device: of `devices.LATERAL_DEVICES`; None: a sectionalizer
        where laterals or counts are given, else no device changes. fast_operations: of every breaker and recloser.
        Raises StudyError with every problem.
        """
        from reliability.study.revised import with_scenario

        return with_scenario(self, {"name": name, "laterals": laterals, "device": device, "counts": counts,
                                    "fast_operations": fast_operations, "applicable_only": applicable_only})

    @cached_property
    def default_ranges(self) -> Mapping[str, Range]:
        """The ranges of assumptions for which the study states none, by key, see `ranges_by_default`."""
        return ranges_by_default(self.values, self.stated_ranges, self.network)

    @cached_property
    def uncertain(self) -> Mapping[str, Range]:
        """Every assumption that is drawn, by key: over the range that the study states, else over the default one."""
        return {key: known for key, known in self.stated_ranges.items() if known.low < known.high} | dict(
            self.default_ranges)

    @property
    def in_miles(self) -> bool:
        """Whether the user gives lengths in miles, so that a map's scale is in miles too."""
        return any(name.endswith("length_mi") for table in self.section_tables for name in table.headers)

    @property
    def model(self) -> Model:
        """The network and the assumptions together."""
        return Model(self.network, self.values)

    def with_sections(self, sections: pd.DataFrame) -> Study:
        """The study with other checked sections, and the network that they make."""
        return replace(self, sections=sections,
                       network=build_network(sections, settings=self.settings, curves=self.curves))

    def with_section_values(self, columns: Mapping[str, np.ndarray]) -> Study:
        """The study with other values in some numeric columns of its sections, each (n,) in the network's order.

        Only for what the tree does not depend on (rates, fractions, hours, currents): not customers, loads or phases.
        """
        sections = self.sections.copy()
        for name, values in columns.items():
            column = np.empty(len(values))
            column[self.network.row] = values
            sections[name] = column
        return replace(self, sections=sections, network=self.network.with_columns(columns))

    def section_problem(self, row: int, column: str, value: str, rule: str, remedy: str) -> Problem:
        """A problem of a cell of `sections` (row by position), placed in the user's file under the user's header."""
        at = row
        for table in self.section_tables:
            if at < len(table):
                return table.problem(at, column, value, rule, remedy)
            at -= len(table)
        return Problem("sections.csv", rule, remedy, row + 2, column, value)
