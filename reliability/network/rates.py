"""Fault rates and fault currents of line sections (model §2)."""

from __future__ import annotations

import numpy as np

from reliability.network.model import Model
from reliability.network.tree import Network


def line_rate_parts(network: Network, section: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What makes up the faults a year of sections (r,), (r,) each: a part that is given, and what multiplies the
    assumed line fault rate."""
    line, length, equipment = (network.column[name][section] for name in (
        "line_fault_rate_per_km", "length_km", "equipment_fault_rate"))
    return length * np.nan_to_num(line) + np.nan_to_num(equipment), np.where(np.isnan(line), length, 0.0)


def fault_rates(model: Model, sections: slice = slice(None)) -> np.ndarray:
    """Faults a year of each of n sections, (n,): length × line fault rate + equipment fault rate."""
    line, length, equipment = (model.network.column[name][sections] for name in (
        "line_fault_rate_per_km", "length_km", "equipment_fault_rate"))
    line = np.where(np.isnan(line), model.values["line_fault_rate_per_km"], line)
    return length * line + np.nan_to_num(equipment)


def fault_currents_a(model: Model) -> tuple[np.ndarray, np.ndarray]:
    """Fault currents (A) at each section's source end and far end, (n,) each, NaN where unknown."""
    network, values = model.network, model.values
    factor = values["fault_current_factor"]
    return (factor * network.column["fault_current_source_a"], factor * network.column["fault_current_end_a"])
