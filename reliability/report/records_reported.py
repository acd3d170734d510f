"""Frames and JSON of what a report of one year says of the records; see `history.reported`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from reliability.history.history import History
from reliability.history.panels import PANEL_INDICES, Panel
from reliability.history.reported import BothViews
from reliability.history.trends import trend
from reliability.history.worst_circuits import Circuits
from reliability.report.records import ALL_EVENTS, WITHOUT, most_interruptions
from reliability.study.report_settings import benchmarks, standards

NO_TREND = "not tested: some devices only"
INDEX_LABELS = {"saifi": ("SAIFI", "1/yr"), "saidi_min": ("SAIDI", "min/yr"), "caidi_min": ("CAIDI", "min"),
                "maifi_e": ("MAIFI_E", "1/yr")}


def _views(both: BothViews) -> Iterator[tuple[str, pd.DataFrame]]:
    return iter(((WITHOUT, both.without), (ALL_EVENTS, both.every_event)))


def index_frame(history: History) -> pd.DataFrame:
    """A row an index and view: the reporting year, means, change and trend, the benchmark.

    Columns: index, view, unit, year, three, five (means of three and five years to that year), change (of the year from
    the five-year mean, a share), trend (of all years covered in full, without major event days of those with a
    threshold; neither of MAIFI_E where not every device has its momentary events recorded), benchmark and against (a
    share above it), standard and standard_three (what the year and the three-year
    mean may be at most); these stand in the rows that [report] says.
    """
    reported, values = history.reported, history.study.values
    stated, own = benchmarks(values), WITHOUT if values["benchmark_excludes_major_events"] else ALL_EVENTS
    years = BothViews(history.every_event.years, history.without_major_events.years)
    untold, above = history.major_events.unclassified(history.records.years), standards(values)
    rows = []
    for index, (label, unit) in INDEX_LABELS.items():
        for (view, frame), (_, three), (_, five) in zip(*(map(_views, (years, reported.three_years,
                                                                      reported.five_years))), strict=True):
            now, mean = frame[index].get(reported.shown, np.nan), five[index].get(reported.shown, np.nan)
            benchmark = stated.get(index, np.nan) if view == own else np.nan
            known = index != "maifi_e" or history.records.settings.momentary_complete
            full = frame[index].drop([*history.records.partial, *(untold if view == WITHOUT else ())], errors="ignore")
            rows.append({"index": label, "key": index, "view": view, "unit": unit, "year": now,
                         "three": three[index].get(reported.shown, np.nan), "five": mean,
                         "change": now / mean - 1.0 if known and mean > 0 else np.nan,
                         "trend": trend(full.to_numpy()).verdict if known else NO_TREND,
                         "benchmark": benchmark, "against": now / benchmark - 1.0 if benchmark > 0 else np.nan,
                         "standard": benchmark * (1.0 + above[0]), "standard_three": benchmark * (1.0 + above[1])})
    return pd.DataFrame(rows)


def months_frame(history: History) -> pd.DataFrame:
    """Rolling twelve months, the latest first; both views beside each other, those of all events with "_all"."""
    months = history.reported.months
    frame = months.without.join(months.every_event.add_suffix("_all"))
    return frame.iloc[::-1].reset_index()


def means_frame(history: History) -> pd.DataFrame:
    """Three-year means by their last year, the latest first, both views."""
    parts = [frame.assign(view=view) for view, frame in _views(history.reported.three_years)]
    frame = pd.concat(parts).reset_index()
    frame["years"] = [f"{int(y) - 2} to {int(y)}" for y in frame["year"]]
    return frame.sort_values(["year", "view"], ascending=[False, True], kind="stable", ignore_index=True)


def areas_frame(history: History) -> pd.DataFrame:
    """Indices by operating area and year, the latest year first; empty where no section states an area."""
    if history.reported.areas is None:
        return pd.DataFrame(columns=["year", "area", "view", *PANEL_INDICES, "customers_served"])
    every, without = history.reported.areas
    parts = [_of_year(panel, int(year)).assign(year=str(int(year)), view=view)
             for year in every.years[::-1] for view, panel in ((ALL_EVENTS, every), (WITHOUT, without))]
    frame = pd.concat(parts, ignore_index=True)
    order = {name: k for k, name in enumerate(every.names)}
    return frame.sort_values(["year", "area", "view"], ascending=[False, True, True], kind="stable", ignore_index=True,
                             key=lambda c: c.map(order) if c.name == "area" else c)


def _of_year(panel: Panel, year: int) -> pd.DataFrame:
    served = panel.served[np.flatnonzero(panel.years == year)[0]]
    return panel.indices([year])[list(PANEL_INDICES)].assign(customers_served=served).rename_axis("area").reset_index()


def circuits_frame(circuits: Circuits, key: str) -> pd.DataFrame:
    """The table of circuits with their names in the column `key`."""
    return circuits.table.rename_axis(key).reset_index()


def reported_summary(history: History) -> dict[str, Any]:
    """What summary.json and history.json hold of it; `none_for_nan` makes NaN None."""
    reported, values = history.reported, history.study.values
    rows = index_frame(history)
    return {
        "reporting_year": reported.year, "year": reported.shown,
        "indices": {_key(view): {row["key"]: {name: row[name] for name in (
            "year", "three", "five", "change", "trend", "benchmark", "against", "standard", "standard_three")}
            for row in part.to_dict("records")}
            for view, part in ((v, rows[rows["view"] == v]) for v in (WITHOUT, ALL_EVENTS))},
        "benchmarks": {**benchmarks(values), "excludes_major_events": values["benchmark_excludes_major_events"],
                       "source": values["benchmark_source"]},
        "three_year_means": _by_year(reported.three_years), "five_year_means": _by_year(reported.five_years),
        "rolling_twelve_months": {_key(view): frame.to_dict(orient="index")
                                  for view, frame in _views(reported.months)},
        "areas": _areas(history), "worst_feeders": _circuits(reported.feeders),
        "worst_laterals": _circuits(reported.laterals), "causes": reported.causes.to_dict(orient="index"),
        "completeness": reported.completeness.to_dict(orient="index"),
        "more_than_twelve_outages": most_interruptions(history).to_dict(orient="records"),
    }


def _key(view: str) -> str:
    return "all" if view == ALL_EVENTS else "without_major_events"


def _by_year(both: BothViews) -> dict[str, dict[str, Any]]:
    return {_key(view): {str(year): row for year, row in frame.to_dict(orient="index").items()}
            for view, frame in _views(both)}


def _areas(history: History) -> dict[str, dict[str, dict[str, Any]]]:
    """By area, year and view."""
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for row in areas_frame(history).to_dict("records"):
        entry = {name: row[name] for name in (*PANEL_INDICES, "customers_served")}
        found.setdefault(row["area"], {}).setdefault(row["year"], {})[_key(row["view"])] = entry
    return found


def _circuits(circuits: Circuits) -> dict[str, Any]:
    """Those among the worst by any index, the worst first."""
    frame = circuits.worst.rename_axis("id").reset_index()
    return {"years": list(circuits.years), "circuits": [{str(k): v for k, v in row.items()}
                                                        for row in frame.to_dict("records")]}
