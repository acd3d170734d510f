"""Fault currents along the lines, from the current at the source and the conductors.

Z1 and Z0 of the source follow from its currents, those of the lines from the reference table of conductors; both are
added up from the source outwards. With V the voltage to ground and Rf the resistance of the fault,

    three-phase        I = V / |Z1|
    phase to ground    I = 3 V / |2 Z1 + Z0 + 3 Rf|

(method of symmetrical components; any textbook of power systems, from memory). Loads, generators and capacitors are
left out, the voltage is the nominal one. On a line of one phase 2 Z1 + Z0 is three times the impedance of the wire with
its return, so that the same table serves; the neutral's place on the pole makes a few per cent.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from reliability.schema.reference_tables import CONDUCTORS

X_OVER_R = 8.0                  # of a distribution substation, where it is not stated: common practice, no source
MOST_GROUND_SHARE = 1.5         # largest ratio of the two currents at a source: Z0 is then nil


@dataclass(frozen=True)
class FaultCurrents:
    """Currents of n sections, A, (n,) each, NaN where they cannot be known; those to ground are what a study takes.

    source_a, end_a: phase to ground, with the resistance of the fault, at the end nearer the source and at the other.
    three_phase_source_a, three_phase_end_a: of a three-phase fault, on any section, as if it had three phases.
    unknown: conductors that the table does not have, and on how many sections; "" for a blank cell.
    """

    source_a: np.ndarray
    end_a: np.ndarray
    three_phase_source_a: np.ndarray
    three_phase_end_a: np.ndarray
    unknown: Mapping[str, int]


@cache
def conductor_table() -> pd.DataFrame:
    """Columns r1_ohm_per_km, x1_…, r0_…, x0_… by size such as "1/0" (see schema/reference/README.md)."""
    return pd.read_csv(CONDUCTORS, dtype={"size": "str", "also": "str"}, keep_default_na=False).set_index("size")


@cache
def _sizes() -> dict[str, str]:
    table = conductor_table()
    sizes = [str(size) for size in table.index]
    also = {other: size for size, others in zip(sizes, table["also"], strict=True) for other in str(others).split()}
    return {size: size for size in sizes} | also


def conductor_size(name: str) -> str | None:
    """The table's size of a conductor, however it is written ("#1/0 ACSR", "336.4 26/7"); None if it has none such.

    Only aluminium conductors with a steel core are in the table; of a name with any other word in it nothing is known.
    """
    text = re.sub(r"ACSR|AWG|KCMIL|MCM|\bCM\b|#|NO\.", " ", str(name).upper()).replace(",", "")
    words = [word for word in re.sub(r"\s*/\s*", "/", text).replace("-", " ").split() if not _stranding(word)]
    return _sizes().get(words[0]) if len(words) == 1 else None


def _stranding(word: str) -> bool:
    """Whether a word counts strands, such as 26/7; 4/0 is a size."""
    return re.fullmatch(r"\d+/[1-9]\d*", word) is not None


def line_impedances(conductor: np.ndarray) -> tuple[np.ndarray, np.ndarray, dict[str, int]]:
    """(Z1, Z0) of conductors (n,), complex (n,), Ω/km, NaN where unknown, and the unknown names with their number."""
    names, place = np.unique(np.asarray(conductor).astype(str), return_inverse=True)
    table = conductor_table()
    sizes = [conductor_size(name) for name in names]
    columns = table[["r1_ohm_per_km", "x1_ohm_per_km", "r0_ohm_per_km", "x0_ohm_per_km"]]
    known = columns.reindex([size or "?" for size in sizes]).to_numpy(dtype=float)
    positive, zero = known[:, 0] + 1j * known[:, 1], known[:, 2] + 1j * known[:, 3]
    count = Counter({str(name): int(number) for name, size, number in
                     zip(names, sizes, np.bincount(place, minlength=len(names)), strict=True) if size is None})
    return positive[place], zero[place], dict(count.most_common())


def source_is_possible(three_phase_a: np.ndarray, line_to_ground_a: np.ndarray) -> np.ndarray:
    """Whether the currents at a source go together, (k,): above 0, and to ground at most 1.5 times three-phase.

    NaN for what is not stated. Beyond 1.5 times the zero-sequence impedance would be negative.
    """
    three, ground = np.asarray(three_phase_a, dtype=float), np.asarray(line_to_ground_a, dtype=float)
    return ~(three <= 0) & ~(ground <= 0) & ~(ground > MOST_GROUND_SHARE * three * (1 + 1e-9))


def source_impedances(three_phase_a: np.ndarray, line_to_ground_a: np.ndarray, system_kv: np.ndarray,
                      x_over_r: np.ndarray | float = X_OVER_R) -> tuple[np.ndarray, np.ndarray]:
    """(Z1, Z0) at sources, complex (k,), Ω.

    three_phase_a, line_to_ground_a: (k,) currents of a fault without resistance at the source, A; NaN where not
    stated: Z0 = Z1 then. system_kv: (k,) between phases. x_over_r: of both impedances, NaN for X_OVER_R. Raises
    ValueError for currents that do not go together (`source_is_possible`).
    """
    three, ground = np.asarray(three_phase_a, dtype=float), np.asarray(line_to_ground_a, dtype=float)
    if not source_is_possible(three, ground).all():
        raise ValueError("currents at a source must be above 0, and to ground at most 1.5 times three-phase")
    ratio = np.where(np.isnan(x_over_r), X_OVER_R, x_over_r)
    direction = (1.0 + 1j * ratio) / np.hypot(1.0, ratio)
    volts = _volts(system_kv)
    three, ground = np.where(np.isnan(three), ground, three), np.where(np.isnan(ground), three, ground)
    positive = volts / three
    zero = np.maximum(3.0 * volts / ground - 2.0 * positive, 0.0)
    return positive * direction, zero * direction


def fault_currents(parent: np.ndarray, length_km: np.ndarray, conductor: np.ndarray,
                   source: tuple[np.ndarray, np.ndarray], system_kv: np.ndarray | float,
                   fault_resistance_ohm: float = 0.0) -> FaultCurrents:
    """Fault currents at both ends of every section.

    parent: (n,) position of the section towards the source, −1 at a source, in any order. length_km: (n,), ≥ 0.
    conductor: (n,) names, which count where the section has a length. source: (Z1, Z0), complex (n,), Ω, as
    `source_impedances` gives them; read at sections without a parent only. system_kv: between phases, (n,) or one.
    fault_resistance_ohm: Rf, of faults to ground. Raises ValueError where lengths or the resistance are negative or
    parents go in a circle.
    """
    length = np.asarray(length_km, dtype=float)
    if (length < 0).any() or not fault_resistance_ohm >= 0:
        raise ValueError("lengths and the resistance of a fault must not be negative")
    lines = np.flatnonzero(length > 0)
    *per_km, unknown = line_impedances(np.asarray(conductor)[lines])
    ends = []
    for of_lines, of_source in zip(per_km, source, strict=True):
        own = np.zeros(len(length), dtype=complex)
        own[lines] = of_lines * length[lines]
        at_end = sums_above(parent, own + np.where(parent < 0, of_source, 0.0))
        ends.append((np.where(parent < 0, of_source, at_end[parent]), at_end))
    volts = _volts(system_kv)
    ground = [np.asarray(3.0 * volts / np.abs(2.0 * positive + zero + 3.0 * fault_resistance_ohm))
              for positive, zero in zip(*ends, strict=True)]
    three = [np.asarray(volts / np.abs(positive)) for positive in ends[0]]
    return FaultCurrents(ground[0], ground[1], three[0], three[1], unknown)


def sums_above(parent: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Sum of `values` (n,) of every section and all above it; parents in any order.

    Path doubling: the logarithm of the depth in rounds. Raises ValueError where parents go in a circle.
    """
    none = len(parent)
    jump = np.append(np.where(parent >= 0, parent, none), none)
    total = np.append(values, 0)
    for _ in range(none.bit_length() + 1):
        if (jump == none).all():
            return total[:-1]
        total, jump = total + total[jump], jump[jump]
    raise ValueError("parents go in a circle")


def _volts(system_kv: np.ndarray | float) -> np.ndarray:
    """Voltage to ground, V."""
    return np.asarray(system_kv, dtype=float) * 1000.0 / np.sqrt(3.0)
