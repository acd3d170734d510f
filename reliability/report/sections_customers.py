"""Tables on the impact by customer group, and on the effect without major event days."""

from __future__ import annotations

import pandas as pd

from reliability.report.blocks import Block, Column, Table
from reliability.report.content import Content
from reliability.report.figures import Sentence, plain, pointer
from reliability.report.recorded_basis import WITHOUT_MAJOR_KEY

SCENARIO_COLUMN = Column("scenario", "Scenario")
SCALED = ("Recorded: mean of {years} without major event days. Change: the recorded mean times the relative change of "
          "the model, which spreads major event days over all days (a scaling).")


def tables_of(content: Content) -> list[Block]:
    """Both tables; none where there is no scenario beside "As built", or no records with a threshold."""
    return [table for make in (_groups, _on_the_records) if (table := make(content)) is not None]


def _groups(content: Content) -> Table | None:
    """A row a scenario and group of customers."""
    columns = (("customers", "Customers", "count", "", False), ("sustained", "Sustained interruptions", "index", "1/yr",
               True), ("minutes", "Minutes without power", "minutes", "min/yr", True),
               ("momentary", "Momentary events", "index", "1/yr", True))
    rows, paths = [], []
    for i in content.order[1:]:
        for k, group in enumerate(content.at("scenarios", i, "customer_groups") or []):
            rows.append({"scenario": content.scenarios[i], "group": group["group"],
                         **{c[0]: float(group[c[0]]) for c in columns}})
            paths.append({"scenario": "", "group": "",
                          **{c[0]: pointer("scenarios", i, "customer_groups", k, c[0]) for c in columns}})
    if not rows:
        return None
    return Table("customer-groups", "Impact by customer group: change per customer against “As built”", (
        SCENARIO_COLUMN, Column("group", "Group"), *(Column(key, label, kind, unit, signed=signed)
                                                     for key, label, kind, unit, signed in columns)),
        pd.DataFrame(rows), "Customer groups", paths=pd.DataFrame(paths))


def _on_the_records(content: Content) -> Table | None:
    """A row a scenario: SAIDI and SAIFI of the records without major event days, and what they would be."""
    base = content.at("scenarios", 0, WITHOUT_MAJOR_KEY)
    if not base or len(content.scenarios) < 2:
        return None
    columns = [(Column(f"{index}_{key}", f"{name}, {label}", share or kind, "" if share else unit, signed=bool(signed)),
                (index, key))
               for index, name, kind, unit in (("saidi_min", "SAIDI", "minutes", "min/yr"),
                                               ("saifi", "SAIFI", "index", "1/yr"))
               for key, label, share, signed in (("recorded", "recorded", "", 0),
                                                 ("relative_change", "modelled change", "share", 1),
                                                 ("change", "change", "", 1), ("after", "would be", "", 0))]
    frame: dict[str, list[object]] = {"scenario": [content.scenarios[i] for i in content.order[1:]]}
    paths: dict[str, list[str]] = {"scenario": [""] * len(frame["scenario"])}
    for column, place in columns:
        found = [content.figure("any", "scenarios", i, WITHOUT_MAJOR_KEY, *place) for i in content.order[1:]]
        frame[column.key] = [float("nan") if f.value is None else f.value for f in found]
        paths[column.key] = [f.path for f in found]
    years = base["years"]
    span: Sentence = (str(years[0]) if len(years) == 1 else f"{years[0]} to {years[-1]}",)
    return Table("without-major-events", "Expected effect on the recorded indices without major event days",
                 (SCENARIO_COLUMN, *(c for c, _ in columns)), pd.DataFrame(frame), "Without major events",
                 paths=pd.DataFrame(paths), note=SCALED.format(years=plain(span)))
