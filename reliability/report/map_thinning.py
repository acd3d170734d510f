"""Lines of a map without the bends that no eye can see at its scale."""

from __future__ import annotations

import numpy as np

PASSES = 6      # every second point may go in each; more would gain little


def thinned(x: np.ndarray, y: np.ndarray, finest: float) -> tuple[np.ndarray, np.ndarray]:
    """Lines (p,), broken where x is not a number, without points nearer than `finest` to the chord of their neighbours.

    The ends of every line stay. A line is moved by `finest` times PASSES / 2 at most.
    """
    for turn in range(PASSES):
        if len(x) < 3:
            break
        dx, dy = x[2:] - x[:-2], y[2:] - y[:-2]
        across, up = x[1:-1] - x[:-2], y[1:-1] - y[:-2]
        length = np.hypot(dx, dy)
        off = np.abs(across * dy - up * dx) / np.where(length > 0, length, np.nan)
        along = (across * dx + up * dy) / np.where(length > 0, length, np.nan)
        straight = (off < finest) & (along >= 0) & (along <= length)
        near = np.hypot(across, up) < finest
        second = np.arange(1, len(x) - 1) % 2 == turn % 2
        dropped = second & (straight | near) & ~np.isnan(dx)     # the ends of a line have a gap beside them
        kept = np.append(True, np.append(~dropped, True))
        x, y = x[kept], y[kept]
    return x, y
