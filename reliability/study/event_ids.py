"""Outages as events: an id that is used again later is another event, and a short interruption is momentary."""

from __future__ import annotations

import numpy as np
import pandas as pd

DAY_SECONDS = 86_400
MOMENTARY_SECONDS = 300          # IEEE Std 1366-2012, definitions (from memory): five minutes or less


def numbered_events(event: np.ndarray, started: np.ndarray, restored: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A number for the event of each row, and where an id is used again, (rows,) both.

    event: (rows,) codes of ids. started, restored: datetime64[s]. A row that starts more than a day after all earlier
    ones of its id have ended is of another event; one without a start is of the first, one without an end ends at once.
    """
    event, reused = event.astype(np.int64), np.zeros(len(event), bool)
    several = np.flatnonzero(pd.Series(event).duplicated(keep=False).to_numpy())
    if not several.size:
        return pd.factorize(event)[0], reused
    begun = started[several].astype("datetime64[s]")
    over = np.where(np.isnat(restored[several]), begun, restored[several].astype("datetime64[s]"))
    least = begun[~np.isnat(begun)].min(initial=np.datetime64("2262-01-01", "s"))
    start, end = (np.where(np.isnat(times), least, times).astype(np.int64) for times in (begun, over))
    order = np.lexsort((start, event[several]))
    ids, start, end = event[several][order], start[order], end[order]
    last = pd.Series(end).groupby(ids).cummax().to_numpy()
    same = np.append(False, ids[1:] == ids[:-1])
    reuse = same & (start > np.append(0, last[:-1]) + DAY_SECONDS)
    number = np.cumsum(reuse, dtype=np.int64)
    number -= number[np.maximum.accumulate(np.where(same, 0, np.arange(len(ids))))]
    event[several[order]] = ids + number * (event.max() + 1)
    reused[several[order]] = number > 0
    return pd.factorize(event)[0], reused
