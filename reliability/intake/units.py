"""Units of a user's columns: into ours by a factor, and whether a column's median is plausible for its unit."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass

import numpy as np

from reliability.formats import exact
from reliability.intake.kinds import Field
from reliability.schema.columns import KM_PER_MILE
from reliability.schema.plausible import RANGES

HOURS_A_YEAR = 8760.0
M_PER_FOOT = 0.3048     # exact, by the definition of the international foot
# Our unit first. Other spellings of a unit are folded by `unit_name`.
UNIT_FACTORS: dict[str, dict[str, float]] = {
    "length": {"km": 1.0, "m": 1e-3, "ft": M_PER_FOOT * 1e-3, "mi": KM_PER_MILE},
    "current": {"A": 1.0, "kA": 1e3},
    "time": {"h": 1.0, "min": 1 / 60, "s": 1 / 3600},
    "power": {"kW": 1.0, "MW": 1e3, "W": 1e-3},
    "apparent": {"kVA": 1.0, "MVA": 1e3, "VA": 1e-3},
    "energy": {"kWh/yr": 1.0, "kWh/month": 12.0, "MWh/yr": 1e3, "MWh/month": 12e3},
    "rate": {"per km": 1.0, "per mi": 1 / KM_PER_MILE},
}
_SPELLINGS = {
    "feet": "ft", "foot": "ft", "miles": "mi", "mile": "mi", "metres": "m", "meters": "m", "metre": "m", "meter": "m",
    "kilometres": "km", "kilometers": "km", "amps": "A", "a": "A", "ka": "kA", "minutes": "min", "minute": "min",
    "mins": "min", "hours": "h", "hour": "h", "hrs": "h", "hr": "h", "seconds": "s", "sec": "s", "kw": "kW",
    "mw": "MW", "w": "W", "kva": "kVA", "mva": "MVA", "va": "VA", "kwh": "kWh/yr", "kwh/yr": "kWh/yr",
    "mwh": "MWh/yr", "kwh/month": "kWh/month", "mwh/yr": "MWh/yr", "mwh/month": "MWh/month", "per_km": "per km",
    "per_mi": "per mi", "km": "km", "m": "m", "ft": "ft", "mi": "mi", "h": "h", "min": "min", "s": "s",
}
# Medians (in our unit) outside which a unit is doubted, of columns that `RANGES` does not name; our choice, common
# practice, no source.
PLAUSIBLE_MEDIANS: dict[str, tuple[float, float]] = {
    "length": (0.0005, 20.0), "current": (20.0, 40_000.0), "time": (0.02, 48.0), "power": (0.05, 5_000.0),
    "apparent": (2.0, 5_000.0), "energy": (500.0, 5e7), "rate": (1e-4, 20.0),
}
# Times the length of the geometry that a file's stated lengths may be, and how near they must come to the ratio of two
# units; our choice.
ALIKE, CLOSE_FACTOR = 1.25, 1.1


@dataclass(frozen=True)
class Plausibility:
    """What a column's numbers say about its unit. median: in our unit; low, high: what is usual for the quantity."""

    median: float
    unit: str
    low: float
    high: float
    plausible: bool

    def __str__(self) -> str:
        usual = f"usual: {exact(self.low)} to {exact(self.high)} {self.unit}"
        return f"median {exact(float(f'{self.median:.3g}'))} {self.unit}, {usual}"


def unit_name(text: str) -> str:
    """A unit as this module writes it; the text itself where it is not known."""
    return _SPELLINGS.get(text.strip().casefold(), text.strip())


def all_off(ratios: np.ndarray) -> str:
    """What is wrong with lengths (n,) km by those of their geometry, where all are off alike; "" for nothing."""
    low, middle, high = np.quantile(ratios, [0.25, 0.5, 0.75])
    if 1.0 / ALIKE <= middle <= ALIKE:
        return ""
    said = f"Segments of a file whose stated lengths are {exact(float(f'{middle:.3g}'))} times those of their geometry"
    unit = UNIT_FACTORS["length"]
    true, read = min(itertools.permutations(unit, 2), key=lambda pair: abs(math.log(middle * unit[pair[0]]
                                                                                    / unit[pair[1]])))
    ratio = middle * unit[true] / unit[read]
    fits = 1.0 / CLOSE_FACTOR <= ratio <= CLOSE_FACTOR and high <= CLOSE_FACTOR * CLOSE_FACTOR * low
    return f"{said}, as if {true} had been read as {read}: look at the unit of that column" if fits else (
        f"{said} (median): one of the two is wrong, or the geometry is not to scale")


def unit_in_header(measure: str, header: str) -> str:
    """The unit of a quantity with which a header ends, as "Line length (ft)" does; "" for none."""
    if measure == "time" and re.search(r"\bh(?:h|rs?|ours?)?\W+m", header, re.IGNORECASE):
        return "h"              # h:mm
    words = re.findall(r"[^\W_]+", header)
    unit = unit_name(words[-1]) if len(words) > 1 else ""
    return unit if unit in UNIT_FACTORS.get(measure, {}) else ""


def units_of(measure: str) -> tuple[str, ...]:
    """Units that a kind of quantity may have, ours first."""
    return tuple(UNIT_FACTORS.get(measure, {}))


def factor(measure: str, unit: str) -> float | None:
    """Ours for one of theirs; None where the unit is not one of the quantity."""
    return UNIT_FACTORS[measure].get(unit_name(unit))


def plausibility(field: Field, numbers: np.ndarray) -> Plausibility | None:
    """Whether the median of a column's numbers (in our unit; zeros and blanks aside) is usual for the quantity."""
    usual = RANGES.get(field.name)
    bounds = PLAUSIBLE_MEDIANS.get(field.measure) if usual is None else (usual.low, usual.high)
    given = numbers[np.isfinite(numbers) & (numbers > 0)]
    if bounds is None or not given.size:
        return None
    median = float(np.median(given))
    return Plausibility(median, units_of(field.measure)[0], *bounds, bounds[0] <= median <= bounds[1])
