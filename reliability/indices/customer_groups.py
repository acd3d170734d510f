"""Impact by customer group: what a scenario changes for those on converted laterals, and for the others."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.indices.expected import Expected
from reliability.network.protection import Protection
from reliability.schema.units import MINUTES_PER_HOUR

CONVERTED, OTHER_LATERALS, MAINS, EVERYBODY = (
    "Customers on converted laterals", "Customers on other laterals", "Customers on the mains", "All customers")
GROUP_COLUMNS = ("group", "customers", "sustained", "minutes", "momentary")


def customer_groups(before: Expected, after: Expected, as_built: Protection, protection: Protection) -> pd.DataFrame:
    """Change of what a customer sees a year against "As built", a row a group that has customers.

    before, after: expected values of "As built" and of the scenario; as_built, protection: their devices. Columns:
    group, customers, and per customer and year sustained (interruptions), minutes, momentary (events). A lateral
    counts as converted where its device or its counts are others.
    """
    network, heads = before.network, before.network.candidates
    differs = ((as_built.device != protection.device) | (as_built.counts != protection.counts))[heads]
    changed = np.zeros(len(network), dtype=bool)
    changed[heads[differs]] = True
    on_lateral = network.unit >= 0
    on_changed = on_lateral & changed[network.unit]
    groups = ((CONVERTED, on_changed), (OTHER_LATERALS, on_lateral & ~on_changed), (MAINS, ~on_lateral))
    rows = [_row(name, np.where(where, network.customers, 0.0), before, after) for name, where in groups]
    return pd.DataFrame([row for row in rows if row["customers"]], columns=list(GROUP_COLUMNS))


def all_customers(groups: pd.DataFrame) -> pd.Series:
    """The row of all customers, from those of the groups: the mean of each column over the customers."""
    weights = groups["customers"].to_numpy(dtype=float)
    means = {c: float(weights @ groups[c].to_numpy(dtype=float) / weights.sum()) if weights.sum() else np.nan
             for c in GROUP_COLUMNS[2:]}
    return pd.Series({"group": EVERYBODY, "customers": int(weights.sum())} | means)


def _row(name: str, weights: np.ndarray, before: Expected, after: Expected) -> dict[str, object]:
    served = float(weights.sum()) or np.nan

    def mean(change: np.ndarray) -> float:
        return float((weights * change).sum() / served)

    return {"group": name, "customers": int(weights.sum()),
            "sustained": mean(after.failure_rate - before.failure_rate),
            "minutes": mean(MINUTES_PER_HOUR * (after.outage_hours - before.outage_hours)),
            "momentary": mean(after.momentary_event_rate - before.momentary_event_rate)}
