"""Fuse links that a section may name: those of the reference table."""

from __future__ import annotations

import csv
import functools
import re
from pathlib import Path

import numpy as np

from reliability.study.nearest import Names
from reliability.study.problems import Problems
from reliability.study.records import Records

LINKS_FILE = Path(__file__).resolve().parents[2] / "data" / "fuse_links.csv"
_LINK = re.compile(r"(\d+(?:\.\d+)?)\s*([A-Z])", re.ASCII)


@functools.cache
def known_links() -> tuple[str, ...]:
    """Names of the links of data/fuse_links.csv, rating then speed: 6K, 8K, …"""
    with LINKS_FILE.open(encoding="utf-8", newline="") as stream:
        return tuple(f"{row['rating_a']}{row['speed']}" for row in csv.DictReader(stream))


def bad_links(records: Records, problems: Problems) -> None:
    """Write every link in one way (65K); those unreadable or not in the reference table are reported."""
    links = records.columns["fuse_link"].tolist()
    if not any(links):
        return
    names = Names(known_links())
    written = {text: _written(text) for text in set(links)}
    unknown = [i for i, text in enumerate(links) if text and written[text] not in names.known]
    problems.each(unknown, lambda i: records.problem(
        i, "fuse_link", None, *_trouble(written[links[i]], names, links[i])))
    records.columns["fuse_link"] = np.array([written[text] or "" for text in links], object)


def _written(text: str) -> str | None:
    link = _LINK.fullmatch(text.upper())
    return f"{float(link[1]):g}{link[2]}" if link else None


def _trouble(link: str | None, names: Names, text: str) -> tuple[str, str]:
    if link is None:
        return "not readable as a fuse link", "write rating and type like 65K or 40T, or leave it blank"
    same = [k for k in names.known if k[-1] == link[-1]]
    if not same:
        return "links of this type are not in the reference table", "use type K or T, or give saving_ceiling_a instead"
    near = min(same, key=lambda k: abs(float(k[:-1]) - float(link[:-1])))
    return "this link is not in the reference table", f"the nearest there is {near}; or give saving_ceiling_a instead"
