"""Fault rates and fault currents of line sections (model §2)."""

from __future__ import annotations

import numpy as np

from reliability.network.model import Model
from reliability.network.tree import Network


def line_rate_parts(network: Network) -> tuple[np.ndarray, np.ndarray]:
    """What makes up each section's faults a year, (n,) each: a part that is given, and what multiplies the
    assumed line fault rate."""
    column = network.column
    line = column["line_fault_rate_per_km"]
    given = column["length_km"] * np.nan_to_num(line) + np.nan_to_num(column["equipment_fault_rate"])
    return given, np.where(np.isnan(line), column["length_km"], 0.0)


def fault_rates(model: Model) -> np.ndarray:
    """Faults a year of each section, (n,): length × line fault rate + equipment fault rate."""
    network, values = model.network, model.values
    line = network.column["line_fault_rate_per_km"]
    line = np.where(np.isnan(line), values["line_fault_rate_per_km"], line)
    return network.column["length_km"] * line + np.nan_to_num(network.column["equipment_fault_rate"])


def fault_currents_a(model: Model) -> tuple[np.ndarray, np.ndarray]:
    """Fault currents (A) at each section's source end and far end, (n,) each, NaN where unknown."""
    network, values = model.network, model.values
    factor = values["fault_current_factor"]
    return (factor * network.column["fault_current_source_a"], factor * network.column["fault_current_end_a"])
