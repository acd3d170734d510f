"""Totals of an import beside those that the user has from elsewhere, by feeder."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from reliability.intake.findings import AMBER, GREEN, RED

QUANTITIES = ("customers", "km")
AMBER_ABOVE, RED_ABOVE = 0.05, 0.20     # difference as a share, as for what is matched in import.md


def beside_own(totals: pd.DataFrame, own: Mapping[str, Mapping[str, float]]) -> pd.DataFrame:
    """A row a feeder and quantity that the user has given: imported, own, difference as a share, state.

    totals: of the import's report. own: feeder → quantity of QUANTITIES → total. A feeder that the import does not have
    stands with 0.
    """
    by_feeder = totals.set_index("feeder_id")
    rows = []
    for feeder, given in own.items():
        for quantity in (q for q in QUANTITIES if q in given and np.isfinite(given[q])):
            imported = float(by_feeder[quantity].get(feeder, 0.0))
            share = (imported - given[quantity]) / given[quantity] if given[quantity] else float(imported != 0)
            state = GREEN if abs(share) <= AMBER_ABOVE else AMBER if abs(share) <= RED_ABOVE else RED
            rows.append((feeder, quantity, imported, given[quantity], share, state))
    return pd.DataFrame(rows, columns=["feeder_id", "quantity", "imported", "own", "difference", "state"])
