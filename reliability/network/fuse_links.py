"""Melting of expulsion fuse links, and the fault current up to which a fast trip saves one."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pandas as pd

from reliability.schema.reference_tables import FUSE_LINKS

# Share of the melting time that a backup may use up without ageing the link; model of the
# 75 % rule, common practice, no source.
MELTING_SHARE = 0.75
_RATING = r"(\d+(?:\.\d+)?)"
_LINK = re.compile(rf"{_RATING}\s*([A-Z])|([A-Z])\s*{_RATING}", re.ASCII)


@cache
def link_table() -> pd.DataFrame:
    """Melting points by link name such as "65K" (IEEE C37.42, see schema/reference/README.md)."""
    table = pd.read_csv(FUSE_LINKS)
    return table.set_index(table["rating_a"].astype(str) + table["speed"])


def written_link(text: str) -> str | None:
    """The one way of writing a link, rating then speed, of 65K, 65 k or K65; None where it is no link's name."""
    link = _LINK.fullmatch(text.strip().upper())
    return f"{float(link[1] or link[4]):g}{link[2] or link[3]}" if link else None


def link_name(text: str) -> str | None:
    """The table's name of a link, however it is written; None if there is no such link."""
    name = written_link(text)
    return name if name in link_table().index else None


def next_larger_link(name: str) -> str:
    """The link of the next larger rating of the same type in the table (model §2, wrong links).

    The largest of a type, and a link that the table does not hold, stays what it is: there is nothing to take it for.
    """
    table = link_table()
    if name not in table.index:
        return name
    speed, rating = table.at[name, "speed"], table.at[name, "rating_a"]
    larger = table[(table["speed"] == speed) & (table["rating_a"] > rating)]["rating_a"]
    return name if larger.empty else str(larger.idxmin())


def saving_ceiling_a(link: str, fast_clearing_time_s: float) -> float:
    """Current (A) at which 0.75 × minimum melting time equals the backup's fast clearing time.

    Below it a fast operation saves the link. Melting is log-log between the points of the
    table, and by constant I²t below 0.1 s. A clearing time beyond the table's longest
    saves only currents that never melt the link. Raises KeyError for an unknown link.
    """
    points = link_table().loc[link]
    times = np.array([0.1, 10.0, points["long_time_s"]])
    currents = points[["tenth_s_min_a", "ten_s_min_a", "long_min_a"]].to_numpy(dtype=float)
    melting_s = fast_clearing_time_s / MELTING_SHARE
    if melting_s < times[0]:
        return float(currents[0] * np.sqrt(times[0] / melting_s))
    return float(np.exp(np.interp(np.log(melting_s), np.log(times), np.log(currents))))


def saving_ceilings_a(links: np.ndarray, fast_clearing_time_s: float) -> np.ndarray:
    """`saving_ceiling_a` of an array (n,) of link texts; infinite where no link is given."""
    names, index = np.unique(links.astype(str), return_inverse=True)
    known = [link_name(name) for name in names]
    ceilings = [np.inf if k is None else saving_ceiling_a(k, fast_clearing_time_s) for k in known]
    return np.array(ceilings, dtype=float)[index]
