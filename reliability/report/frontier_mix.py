"""Which devices stand at each point of the frontier, in words."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.business.frontier import UNITS_OF
from reliability.formats import count

NOTHING = "nothing installed"


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
                      if row[k] > 0) or NOTHING for row in units]


def changes(frame: pd.DataFrame) -> list[int]:
    """Points at which another device becomes the one with most units, and the last: those worth a label."""
    names = devices(frame)
    if not names:
        return []
    units = frame[[UNITS_OF + n for n in names]].to_numpy(dtype=float)
    most = np.where(units.sum(axis=1) > 0, units.argmax(axis=1), -1)
    turns = np.flatnonzero((most[1:] != most[:-1]) & (most[1:] >= 0) & (most[:-1] >= 0)) + 1
    return sorted({*turns.tolist(), len(frame) - 1})
