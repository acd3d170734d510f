"""Conversions and pilots as tables and charts, for the documents and for the app's page."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.formats import count, exact, number, shown
from reliability.history.conversions import BeforeAfter
from reliability.history.pilot import MOST_YEARS, POWER, Pilot, power
from reliability.history.selection_basis import BOTH_MUST_AGREE, PREDICTIVE, RAW
from reliability.report.chart import DASHED, LINEAR, LOG_AXIS, SOLID, Axis, BarChart, Bars, Line, PlotChart, Reference

MEASURE_LABELS = {"sustained_interruptions": "Sustained interruptions", "callouts": "Call-outs",
                  "momentary_events": "Momentary events"}
COMPARISONS = {RAW: "Raw", PREDICTIVE: "Predictive"}
DECIDES = {RAW: "raw", PREDICTIVE: "predictive", BOTH_MUST_AGREE: "both must agree"}
NOT_DETERMINED = "not determined"
_PREFIX = {RAW: ("rate_ratio", "low", "high", "p_value", "raw_verdict"),
           PREDICTIVE: ("corrected_ratio", "corrected_low", "corrected_high", "corrected_p_value",
                        "predictive_verdict")}
_PILOTS_DRAWN = 3
_YEARS_DRAWN = 10


def measures_frame(found: BeforeAfter) -> pd.DataFrame:
    """A row a measure: counts, expected_ratio, years_needed, spreads, decides and verdict in words."""
    frame = found.measures.rename_axis("measure").reset_index()
    frame["measure"] = frame["measure"].map(MEASURE_LABELS)
    frame["verdict"] = frame["verdict"].fillna(NOT_DETERMINED)
    frame["decides"] = frame["decides"].map(DECIDES).fillna("")
    columns = ["measure", "converted_before", "converted_after", "others_before", "others_after", "expected_ratio",
               "years_needed", "lateral_year_cv", "feeder_year_cv", "decides", "verdict"]
    return frame[columns]


def comparisons_frame(found: BeforeAfter) -> pd.DataFrame:
    """A row a measure and comparison, raw and predictive below each other: ratio, low, high, p_value, verdict."""
    rows = [{"measure": MEASURE_LABELS[str(name)], "comparison": COMPARISONS[comparison],
             **dict(zip(("ratio", "low", "high", "p_value", "verdict"), (row[key] for key in keys), strict=True))}
            for name, row in found.measures.iterrows() for comparison, keys in _PREFIX.items()]
    return pd.DataFrame(rows).fillna({"verdict": NOT_DETERMINED})


def conversions(found: BeforeAfter) -> BarChart:
    """Change of the converted laterals over that of the others, raw and predictive, with their intervals."""
    frame = comparisons_frame(found)
    ratio = frame["ratio"].to_numpy(dtype=float)
    frame = frame[np.isfinite(ratio) & (ratio > 0)]
    names = [f"{str(row['measure']).split()[0]}, {str(row['comparison']).lower()}" for row in frame.to_dict("records")]
    ratio, low, high = (frame[c].to_numpy(dtype=float) for c in ("ratio", "low", "high"))
    description = "; ".join(f"{n}: {number(r)} ({number(a)} to {number(b)})"
                     for n, r, a, b in zip(names, ratio, low, high, strict=True))
    bars = []
    for fill, name in enumerate(COMPARISONS.values()):
        here = frame["comparison"].to_numpy() == name
        values, least, most = (np.where(here, v, np.nan) for v in (ratio, low, high))
        bars.append(Bars(name, values, least, most, [shown(v, "ratio") if np.isfinite(v) else "" for v in values],
                         dots=True, fill=fill))
    scale = LOG_AXIS if (low > 0).all() and np.isfinite(high).all() else LINEAR
    return BarChart("chart-conversions", "Effect of earlier conversions, with 90 % intervals", description, names,
                    tuple(bars), Axis("Change of the converted over that of the others"
                                      + (" (logarithmic)" if scale == LOG_AXIS else ""), scale),
                    lying=True, overlaid=True, references=(Reference("No effect", 1.0),))


def pilot_frame(found: Pilot) -> pd.DataFrame:
    """A row a pilot: converted, others, rollout in words, years_after, years_total."""
    frame = found.designs.copy()
    frame["rollout"] = ["at once" if n == 1 else f"in {n} yearly steps" for n in frame["steps"]]
    return frame[["converted", "others", "rollout", "years_after", "years_total"]]


def pilots(found: Pilot) -> PlotChart:
    """Power over the years since the first conversion, by laterals converted; dashed for a stepped roll-out."""
    sizes = np.unique(found.designs["converted"].to_numpy(dtype=int))
    sizes = sizes[np.unique(np.linspace(0, len(sizes) - 1, _PILOTS_DRAWN).round().astype(int))]
    longest = float(np.nanmax([*found.designs["years_total"], 1.0]))
    end = min(max(longest * 1.2, 4.0), float(_YEARS_DRAWN))
    after = np.linspace(0.05, end, 100)
    series = []
    for fill, converted in enumerate(sizes.tolist()):
        chance = power(found.fleet, found.ratio, converted, after)
        for steps in found.designs.loc[found.designs["converted"] == converted, "steps"].astype(int).tolist():
            years, how = after + (steps - 1), "" if steps == 1 else f", in {steps} yearly steps"
            series.append(Line(f"{count(converted, 'lateral')}{how}", years, np.where(years <= end, chance, np.nan),
                               SOLID if steps == 1 else DASHED, fill))
    series.append(Line(f"Power of {exact(100 * POWER)} %", [0.0, end], [POWER, POWER]))
    description = "; ".join(f"{count(int(row['converted']), 'lateral')}, {row['rollout']}: "
                     + (f"{number(row['years_total'])} years" if np.isfinite(row["years_total"])
                        else f"not within {number(MOST_YEARS)} years")
                     for row in pilot_frame(found).to_dict("records"))
    return PlotChart("chart-pilot", "Chance that a pilot shows the expected effect", description,
                     Axis("Years since the first conversion", limits=(0.0, end)),
                     Axis("Power: probability to show it", limits=(0.0, 1.0)), tuple(series))
