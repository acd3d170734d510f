"""Expulsion fuse links of the reference table: how they are written, and which is the next larger one."""

from __future__ import annotations

import re
from functools import cache

import pandas as pd

from reliability.schema.reference_tables import FUSE_LINKS

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


@cache
def next_larger_link(name: str) -> str:
    """The link of the next larger rating of the same type in the table (model §2, wrong links).

    The link itself need not be in the table, if its name is a rating and a type. The largest of a type stays.
    """
    link, table = written_link(name), link_table()
    if link is None:
        return name
    larger = table[(table["speed"] == link[-1]) & (table["rating_a"] > float(link[:-1]))]["rating_a"]
    return name if larger.empty else str(larger.idxmin())
