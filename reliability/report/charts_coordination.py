"""Charts of coordination: the curves that meet at a lateral, and a feeder's faults by what an operation does."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.faults.coordination_view import OPERATION_NAMES, OUTCOME_WORDS
from reliability.formats import exact
from reliability.network.coordination_curves import LateralCurves
from reliability.network.device_settings import ALL_ELEMENTS, FAST_OPERATION, PHASE_ELEMENTS
from reliability.report.chart import (
    DASHED,
    DOTTED,
    LOG_AXIS,
    SOLID,
    Axis,
    BarChart,
    Bars,
    Line,
    PlotChart,
    Rectangles,
    Words,
)
from reliability.schema.problems import shorten

LEAST_S, MOST_S = 0.01, 300.0      # times that the picture shows, as curves of links are printed
TICKS_S = (0.01, 0.1, 1.0, 10.0, 100.0)
TICKS_A = tuple(step * 10.0 ** decade for decade in range(6) for step in (1, 2, 5))
STRIP, STRIP_GAP = 1.65, 1.25            # height of a strip below the curves, and of the room above it, as factors
OUTCOME_FILLS = {0: 2, 1: 4, 2: 3}         # number of colour and pattern of DEVICE_ALONE, BOTH, FUSE_ALONE
NARROWEST = 1.02                   # a strip of one current is drawn so wide, as a factor


def curves(found: LateralCurves, number: int = 0) -> PlotChart:
    """Times over current on logarithmic axes; below them, in strips, what happens along the lateral.

    number: tells the charts of one document apart.
    """
    strips = _strips(found)
    low = LEAST_S / (STRIP_GAP * STRIP) ** len(strips) / STRIP_GAP
    series: list[Line | Rectangles | Words] = []
    if np.isfinite(found.low_a):
        series.append(Rectangles("Fault currents along the lateral", [found.low_a], [_wider(found.low_a, found.high_a)],
                                 [low], [MOST_S]))
    if found.melting_s is not None and found.clearing_s is not None:
        link = f"Link {found.link}"
        series += [Line(f"{link}, melting × {found.melting_factor:.3g}", found.current_a, _shown(found.melting_s)),
                   Line(f"{link}, total clearing", found.current_a, _shown(found.clearing_s), DASHED)]
    series += _device(found)
    for name, at, dash, fill in (("Actuating current", found.actuating_a, DASHED, 3),
                                 ("Largest current for fuse saving", found.ceiling_a, DOTTED, None)):
        if np.isfinite(at):
            series.append(Line(f"{name}, {_a(at)} A", [at, at], [LEAST_S, MOST_S], dash, fill))
    for outcome, fill in OUTCOME_FILLS.items():
        here = [(i.low_a, _wider(i.low_a, i.high_a), *strips[i.kind, i.part][1]) for i in found.intervals
                if i.outcome == outcome]
        if here:
            left, right, bottom, top = zip(*here, strict=True)
            series.append(Rectangles(OUTCOME_WORDS[outcome][1].capitalize(), left, right, bottom, top, fill))
    if strips:
        series.append(Words("Operations", [float(found.current_a[0]) * 1.05] * len(strips),
                            [float(np.sqrt(bottom * top)) for _, (bottom, top) in strips.values()],
                            [text for text, _ in strips.values()]))
    ends = (float(found.current_a[0]), float(found.current_a[-1]))
    return PlotChart(
        f"chart-coordination-{number}", f"Coordination at {shorten(found.lateral, 60)}", described(found),
        Axis("Current, A", LOG_AXIS, ends, tuple(t for t in TICKS_A if ends[0] <= t <= ends[1])),
        Axis("Time, s", LOG_AXIS, (low, MOST_S), TICKS_S), tuple(series), tall=True)


def curves_frame(found: LateralCurves) -> pd.DataFrame:
    """The curves in numbers: current_a, and s of the link and of each kind of operation and elements."""
    columns = {"current_a": found.current_a}
    if found.melting_s is not None and found.clearing_s is not None:
        columns |= {"melting_s": found.melting_s, "clearing_s": found.clearing_s}
    for (kind, part), times in found.device_s.items():
        elements = "phase_elements" if part == PHASE_ELEMENTS else "all_elements"
        columns[f"{OPERATION_NAMES[kind]}_{elements}_s"] = times
    return pd.DataFrame(columns).replace(np.inf, np.nan)


def _wider(low: float, high: float) -> float:
    return max(high, low * NARROWEST)


def _shown(times: np.ndarray) -> np.ndarray:
    """Times within the picture; a gap elsewhere."""
    return np.where((times >= LEAST_S) & (times <= MOST_S), times, np.nan)


def _device(found: LateralCurves) -> list[Line]:
    """R's clearing times; those of phase elements alone where earth faults have others."""
    lines = []
    for (kind, part), times in found.device_s.items():
        if part == PHASE_ELEMENTS and np.array_equal(times, found.device_s[kind, ALL_ELEMENTS]):
            continue
        only = ", phase elements alone" if part == PHASE_ELEMENTS else ""
        lines.append(Line(f"{found.recloser}, {OPERATION_NAMES[kind]}{only}", found.current_a, _shown(times),
                          DOTTED if only else SOLID, 0 if kind == FAST_OPERATION else 1))
    if np.isfinite(found.fast_s):
        lines.append(Line(f"{found.recloser}, fast, assumed {found.fast_s:.3g} s",
                          found.current_a[[0, -1]], [found.fast_s] * 2, SOLID, 0))
    return lines


def _strips(found: LateralCurves) -> dict[tuple[int, int], tuple[str, tuple[float, float]]]:
    """Words, bottom and top of the strip of each kind of operation and part of the faults, from the top down."""
    kinds = sorted({(i.part != ALL_ELEMENTS, i.kind, i.part) for i in found.intervals})
    result = {}
    for k, (phase, kind, part) in enumerate(kinds):
        top = LEAST_S / STRIP_GAP / (STRIP_GAP * STRIP) ** k
        words = OPERATION_NAMES[kind].capitalize() + (", 3-phase" if phase else "")
        result[kind, part] = (words, (top / STRIP, top))
    return result


def described(found: LateralCurves) -> str:
    """What the picture says, in words."""
    link = f"Link {found.link}" if found.link else "A fuse whose link is unknown" if found.device == "fuse" else \
        f"A {found.device.replace('_', ' ')}"
    parts = [f"{link} below {found.recloser}, {found.fast_operations} fast operations."]
    if np.isfinite(found.low_a):
        parts.append(f"Fault currents {_a(found.low_a)} to {_a(found.high_a)} A.")
    else:
        parts.append("Fault currents unknown.")
    for i in found.intervals:
        three = " of three-phase faults" if i.part == PHASE_ELEMENTS else ""
        parts.append(f"{OPERATION_NAMES[i.kind].capitalize()} operation{three}, {_a(i.low_a)} to {_a(i.high_a)} A: "
                     f"{OUTCOME_WORDS[i.outcome][1]}.")
    if np.isfinite(found.actuating_a):
        parts.append(f"Actuating current {_a(found.actuating_a)} A.")
    return " ".join(parts)


def _a(current: float) -> str:
    """A current to three significant figures."""
    return exact(float(f"{current:.3g}"))


def feeder(frame: pd.DataFrame) -> BarChart:
    """Faults a year of one feeder by outcome, of a fast and of a delayed operation; rows of `feeders_frame`."""
    sums = frame.pivot_table(index="outcome", columns="operation", values="faults_per_year", aggfunc="sum", sort=False)
    sums = sums[(sums > 0).any(axis=1)]
    said = "; ".join(f"{operation} operation, {outcome}: {faults:.3g} faults a year"
                     for operation in OPERATION_NAMES for outcome, faults in sums[operation].items() if faults > 0)
    return BarChart("chart-coordination-feeder", "Faults by what an operation does", said,
                    [str(o).capitalize() for o in sums.index], tuple(
                        Bars(f"{operation.capitalize()} operation", sums[operation].tolist(), fill=k,
                             labels=[f"{v:.3g}" for v in sums[operation]]) for k,
                                                                     operation in enumerate(OPERATION_NAMES)),
                    Axis("Faults a year"), lying=True)
