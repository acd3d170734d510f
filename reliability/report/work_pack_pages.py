"""Which page of the work pack has what: lists cut into pages, and the numbers of all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.report.work_pack_jobs import HOLD_MARK, NO_SHEET, NO_YEAR, WorkPack
from reliability.schema.devices import SECTIONALIZER

# Rows of one line that fit on a page of Letter, which is shorter than A4; a test prints both.
LINES, LINES_OF_MATERIALS, LINES_OF_RESETS, LINES_OF_LATERALS = 42, 38, 32, 34
GROUP = ["year", "device", "rated_current_a", "actuating_current_a", "counts"]
YEAR_SUMS = ["laterals", "units", "units_on_hold"]


@dataclass(frozen=True)
class ListLine:
    """One line of the list of laterals: the heading of a year and feeder, or job number `job`."""

    heading: str = ""
    job: int = -1


@dataclass(frozen=True)
class Pages:
    """Pages of a pack, numbered from 1 for the cover.

    lists: lines of each page of the list. materials, resets: rows of each page of the bill of materials, sums among
    them, and of the backups to be set, none without. holds: of each sheet whether a page before it says what is to be
    resolved. after: numbers of the sheets on each page of laterals behind the card for after an operation.
    """

    lists: list[list[ListLine]]
    materials: list[pd.DataFrame]
    resets: list[pd.DataFrame]
    holds: tuple[bool, ...]
    after: list[list[int]]

    @property
    def first_list(self) -> int:
        """Page of the first lines."""
        return 2

    @property
    def first_materials(self) -> int:
        """Page of the bill of materials."""
        return self.first_list + len(self.lists)

    @property
    def first_reset(self) -> int:
        """Page of the backups to be set."""
        return self.first_materials + len(self.materials)

    @cached_property
    def sheets(self) -> list[tuple[int, int]]:
        """Of each sheet the page of what is to be resolved, 0 without, and its own."""
        found, page = [], self.first_reset + len(self.resets)
        for hold in self.holds:
            found.append((page, page + 1) if hold else (0, page))
            page += 1 + hold
        return found

    @property
    def card(self) -> int:
        """Page of the card for after an operation."""
        return self.first_reset + len(self.resets) + len(self.holds) + sum(self.holds)

    @property
    def total(self) -> int:
        """Number of pages; the card is there where there is a sheet."""
        return self.card - 1 + (1 + len(self.after) if self.holds else 0)


def pages_of(pack: WorkPack) -> Pages:
    """The pages of a pack; of one without a lateral the cover alone."""
    sheets = pack.with_sheet
    return Pages(_list_pages(pack), _cut_frame(with_totals(pack), LINES_OF_MATERIALS),
                 _cut_frame(pack.resets, LINES_OF_RESETS),
                 tuple((sheets["status"] == HOLD_MARK).tolist()), _cut(list(range(len(sheets))), LINES_OF_LATERALS))


def materials(pack: WorkPack) -> pd.DataFrame:
    """The bill of materials: a row a year, kind of device, rating, actuating current and counts, NaN where unknown.

    Columns laterals, units, and units_on_hold of them. Settings of devices that have no sheet are not the study's.
    """
    checks, jobs = pack.checks, pack.jobs
    at, is_ours = jobs["at"].to_numpy(dtype=int), (jobs["device"] == SECTIONALIZER).to_numpy()
    rows = pd.DataFrame({
        "year": jobs["year"], "device": jobs["device"],
        "rated_current_a": np.where(is_ours, checks.proposal.rated_a[at], np.nan),
        "actuating_current_a": np.where(is_ours, checks.proposal.actuating_a[at], np.nan),
        "counts": np.where(is_ours, checks.proposal.counts[at], np.nan),
        "laterals": 1, "units": jobs["units"],
        "units_on_hold": jobs["units"].where(jobs["status"] == HOLD_MARK, 0.0)})
    bill = rows.groupby(GROUP, dropna=False, as_index=False)[YEAR_SUMS].sum()
    return bill.sort_values("year", kind="stable", key=lambda y: y.where(y != NO_YEAR, np.inf), ignore_index=True)


def with_totals(pack: WorkPack) -> pd.DataFrame:
    """The bill of materials with sums behind it: a row a year, and one of all years where there are several.

    Column total says in words what a row sums up, "" for the rows of the bill itself.
    """
    bill = materials(pack)
    sums = bill.groupby("year", sort=False, as_index=False)[YEAR_SUMS].sum()
    names = [pack.year_name(int(year), short=True) for year in sums["year"]]
    sums["total"] = [f"Total, {name}" if name else "Total" for name in names]
    whole = pd.DataFrame([{"year": NO_YEAR, **bill[YEAR_SUMS].sum(), "total": "Total, all years"}])
    rows = [bill.assign(total=""), *([sums] if len(sums) else []), *([whole] if len(sums) > 1 else [])]
    return pd.concat(rows, ignore_index=True)


def _list_pages(pack: WorkPack) -> list[list[ListLine]]:
    """Lines by year and feeder; a heading comes again at the top of a page, and does not end one."""
    pages: list[list[ListLine]] = [[]]
    jobs = pack.jobs
    if jobs.empty:
        return []
    group = jobs.groupby(["year", "feeder_id"], sort=False).ngroup().to_numpy()
    status, index, years, feeders = (of.to_numpy() for of in (jobs["status"], jobs.index, jobs["year"],
                                                              jobs["feeder_id"]))
    order = np.argsort(group, kind="stable")
    for rows in np.split(order, np.cumsum(np.bincount(group))[:-1]):
        when, feeder = pack.year_name(int(years[rows[0]])), feeders[rows[0]]
        heading = f"{when}, feeder {feeder}: " if when else f"Feeder {feeder}: "
        heading += _said(status[rows])
        for k, job in enumerate(index[rows].tolist()):
            full = len(pages[-1]) + (2 if k == 0 else 1) > LINES
            if full:
                pages.append([])
            if k == 0 or full:
                pages[-1].append(ListLine(heading + (" (continued)" if k else "")))
            pages[-1].append(ListLine(job=job))
    return [page for page in pages if page]


def _said(status: np.ndarray) -> str:
    """How many jobs there are, by their status (m,)."""
    held, without = (int((status == one).sum()) for one in (HOLD_MARK, NO_SHEET))
    parts = [count(len(status), "lateral"), *([f"{held} on HOLD"] if held else []),
             *([f"{without} without a sheet"] if without else [])]
    return ", ".join(parts)


def _cut(rows: Sequence[int], most: int) -> list[list[int]]:
    return [list(rows[i:i + most]) for i in range(0, len(rows), most)]


def _cut_frame(frame: pd.DataFrame, most: int) -> list[pd.DataFrame]:
    return [frame.iloc[i:i + most] for i in range(0, len(frame), most)]
