"""Which devices stand at each point of the frontier, and how near the best it is, in words."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.business.frontier import FRONTIER_GAP, UNITS_OF
from reliability.formats import count, percent

NOTHING_INSTALLED = "nothing installed"


def devices(frame: pd.DataFrame) -> list[str]:
    """Devices that some point of the frontier installs.

    frame: of `business.frontier.frontier`, a row a budget.
    """
    columns = [str(c) for c in frame.columns if str(c).startswith(UNITS_OF)]
    return [c.removeprefix(UNITS_OF) for c in columns if (frame[c] > 0).any()]


def mixes(frame: pd.DataFrame) -> list[str]:
    """Units by device of every point, most first: "612 lateral reclosers, 222 sectionalizers"."""
    names = devices(frame)
    units = frame[[UNITS_OF + n for n in names]].to_numpy(dtype=float).reshape(len(frame), len(names))
    return [", ".join(count(round(row[k]), names[k].replace("_", " ")) for k in np.argsort(-row, kind="stable")
                      if row[k] > 0) or NOTHING_INSTALLED for row in units]


def changes(frame: pd.DataFrame) -> list[int]:
    """Points at which another device becomes the one with most units, and the last: those worth a label."""
    names = devices(frame)
    if not names:
        return []
    units = frame[[UNITS_OF + n for n in names]].to_numpy(dtype=float)
    most = np.where(units.sum(axis=1) > 0, units.argmax(axis=1), -1)
    turns = np.flatnonzero((most[1:] != most[:-1]) & (most[1:] >= 0) & (most[:-1] >= 0)) + 1
    return sorted({*turns.tolist(), len(frame) - 1})


def unproven(frame: pd.DataFrame) -> str:
    """What is to be said of budgets at which more may be avoided than shown; "" where there are none."""
    gap = frame["gap"].to_numpy(dtype=float)
    far = ~(gap <= FRONTIER_GAP)
    if not far.any():
        return ""
    most = "" if np.isnan(gap[far]).any() else f", by up to {percent(gap[far].max())}"
    return (f"At {count(int(far.sum()), 'budget')} of {len(frame)} more may be avoided than is shown{most}: the time "
            "for searching under the other limits was not enough.")
