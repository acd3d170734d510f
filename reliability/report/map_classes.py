"""What colours the laterals of a drawing: classes of a quantity or of the verdict, each with a second mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reliability.formats import money, number, percent
from reliability.network.application_catalogue import VERDICTS
from reliability.network.tree import Network
from reliability.report.chart import DASHED, DOTTED, SOLID
from reliability.report.palette import FAINT, LOSS, SEQUENTIAL, VERDICT_FILLS

WIDTHS = (2.0, 2.6, 3.2, 4.0, 5.0)  # of the classes of a benefit: darker and thicker is more; a loss is orange
WORSE, NO_CLASS = -1, -2             # classes below the first
NO_LATERAL = -1
SMALLEST_SHOWN = 1e-9                        # less is nothing
VERDICT_LINES = {"pass": (2.6, SOLID), "review": (3.2, DASHED), "unknown": (2.2, DOTTED), "fail": (4.2, SOLID)}


@dataclass(frozen=True)
class Benefit:
    """What colours the laterals: one value a lateral's head, (n,) NaN elsewhere; more is better.

    kind: of number, see `formats`. worse, nothing: how a value below zero, and none, are called. low_matters: whether
    the smallest values are those to be seen first, as of a share at which a gain is lost.
    """

    title: str
    unit: str
    values: np.ndarray
    kind: str = "any"
    worse: str = "worse than as built"
    nothing: str = "none"
    low_matters: bool = False

    def said(self, value: float) -> str:
        """A value in words, without its unit."""
        return percent(value) if self.kind == "share" else money(value) if self.kind == "money" else number(value)

    def bound(self, value: float) -> str:
        """The end of a class, in two digits."""
        return percent(round(value, 3)) if self.kind == "share" else number(value, 2)

    @property
    def legend(self) -> str:
        """Title and unit."""
        return f"{self.title}, {self.unit}" if self.unit else self.title


@dataclass(frozen=True)
class MapClass:
    """A class of laterals: how it is called and drawn."""

    name: str
    colour: str
    width: float
    dash: str = SOLID


@dataclass(frozen=True)
class Classed:
    """Laterals by class. of_head: (n,) place in `classes` at a lateral's head, NO_LATERAL where it is not drawn.

    legend: what is measured, with its unit. text: (h,) of each candidate, in words.
    """

    legend: str
    classes: Sequence[MapClass]
    of_head: np.ndarray
    text: Sequence[str]


def benefit_classes(values: np.ndarray) -> tuple[np.ndarray, list[float]]:
    """Class of each value (WORSE, NO_CLASS, 0 … 4), and the upper ends of the classes 0 … 3; NaN is NO_CLASS."""
    gains = values[values > 0]
    ends = np.unique(np.quantile(gains, (0.2, 0.4, 0.6, 0.8))).tolist() if gains.size else []
    classes = np.searchsorted(ends, values, side="left") if ends else np.zeros(len(values), dtype=int)
    nothing = np.isnan(values) | (np.abs(values) <= SMALLEST_SHOWN)
    classes = np.where(nothing, NO_CLASS, np.minimum(classes, len(SEQUENTIAL) - 1))
    return np.where(values < -SMALLEST_SHOWN, WORSE, classes), ends


def class_styles(benefit: Benefit, ends: Sequence[float]) -> list[tuple[int, MapClass]]:
    """The classes that values can have and how each is drawn, from the smallest values up: the more a class matters,
    the darker and thicker.
    """
    last = ends[-1] if ends else 0.0
    names = [f"up to {benefit.bound(end)}" for end in ends] + [f"above {benefit.bound(last)}"]
    looks = list(zip(SEQUENTIAL, WIDTHS, strict=True))[::-1 if benefit.low_matters else 1]
    return [*((k, MapClass(name, *looks[k])) for k, name in enumerate(names)),
            (NO_CLASS, MapClass(benefit.nothing, FAINT, 1.3)), (WORSE, MapClass(benefit.worse, LOSS, 3.0, DOTTED))]


def by_benefit(network: Network, benefit: Benefit) -> Classed:
    """Laterals by classes of a quantity."""
    heads = network.candidates
    found, ends = benefit_classes(benefit.values[heads])
    styles = class_styles(benefit, ends)
    place = {number_: k for k, (number_, _) in enumerate(styles)}
    unit = f" {benefit.unit}" if benefit.unit and benefit.kind != "share" else ""
    text = [f"{benefit.title}: {benefit.said(v)}{unit}" for v in benefit.values[heads].tolist()]
    return Classed(benefit.legend, [style for _, style in styles],
                   _at(network, heads, [place[c] for c in found.tolist()]), text)


def by_verdict(network: Network, heads: np.ndarray, verdict: np.ndarray) -> Classed:
    """Laterals by the verdict of the application checks. heads, verdict: (m,) position and index into VERDICTS."""
    classes = [MapClass(name, VERDICT_FILLS[name][0], *VERDICT_LINES[name]) for name in VERDICTS]
    of_head = _at(network, heads, verdict)
    text = [f"Sectionalizer here: {VERDICTS[v]}" if v != NO_LATERAL else "not checked"
            for v in of_head[network.candidates].tolist()]
    return Classed("Application checks of a sectionalizer", classes, of_head, text)


def _at(network: Network, heads: np.ndarray, values: Sequence[int] | np.ndarray) -> np.ndarray:
    of_head = np.full(len(network), NO_LATERAL)
    of_head[heads] = values
    return of_head
