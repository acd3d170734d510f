"""Benefit against budget, SAIDI for money, and the programme: what is chosen, year by year."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.business.greedy_frontier import corner_sets
from reliability.business.known_choices import KnownChoices
from reliability.business.limits import Limits, limit_rows
from reliability.business.options import Options
from reliability.business.selection import (
    INFEASIBLE,
    NPV,
    SAIDI,
    selection_frame,
    solve,
    sought,
    totals_of,
)
from reliability.formats import count, money, shown
from reliability.schema.devices import DEVICES

# Half a per cent of the reduction: finer than a planner's inputs, and thirty searches in seconds.
FRONTIER_GAP = 5e-3
LAST_SHARE = 0.25                  # of the time, for the most that all money buys
SEARCHES_IN_VAIN = 3               # one after another, and no more is searched
TRIFLE = 1e-6                      # of money, by which rounding may go over a year's budget
GAINS = {NPV: "npv", SAIDI: "customer_minutes_avoided"}
UNITS_OF = "units_"                # begins the columns of frontier.csv that tell units by device


def frontier(options: Options, points: int = 30, limits: Limits | None = None, *, gap: float = FRONTIER_GAP,
             seconds_per_point: float = 2.0) -> pd.DataFrame:
    """The largest SAIDI reduction for about `points` budgets, from 0 to where more money avoids no more.

    A row a budget: budget, the totals of the choice (`selection.totals_of`), its units by device, and gap, by which
    share the best may be better. Where only money limits the choice, or the other limits do not bind, the budgets are
    those at which it is exact. Elsewhere a search goes on until the gap is reached or its time is over. limits: a
    budget ends the frontier; one at which the others cannot be met has no row.
    """
    limits = limits or Limits()
    known = KnownChoices(options, limits, sought(options, SAIDI), list(limit_rows(options, limits)))
    budgets = {known.add(*corner) for corner in corner_sets(options, known.gain, points, limits)}
    until, rows, in_vain = time.monotonic() + points * seconds_per_point, list[dict[str, float]](), 0
    end = np.inf if limits.budget is None else limits.budget
    if budgets and seconds_per_point and known.gap(end) > gap:      # what is most of all, no corner has
        in_vain += not _search(known, end, gap, LAST_SHARE * points * seconds_per_point)
        best = known.best(end)
        budgets |= set() if best is None else {float(options.rows["capex"].to_numpy()[best].sum())}
    far = sorted(budget for budget in budgets if known.gap(budget) > gap)
    for budget in sorted(budgets):
        left = until - time.monotonic()
        if known.gap(budget) > gap and left > 0.0 and in_vain < SEARCHES_IN_VAIN:
            found = _search(known, budget, gap, left / (len(far) - far.index(budget)))
            in_vain = 0 if found else in_vain + 1
        best = known.best(budget)
        if best is not None:
            rows.append({"budget": budget, **_point(options, best), "gap": known.gap(budget)})
    while len(rows) > 1 and rows[-1]["capex"] == rows[-2]["capex"]:
        rows.pop()
    empty = ["budget", *_point(options, np.zeros(len(options.rows), dtype=bool)), "gap"]
    return pd.DataFrame(rows, columns=empty).replace({"gap": {np.inf: np.nan}})


def _search(known: KnownChoices, budget: float, gap: float, seconds: float) -> bool:
    """Look for a better choice within a budget. Returns False where that took its time and brought nothing."""
    if known.beyond_reach(budget):
        return True
    before = known.gap(budget)
    within = replace(known.limits, budget=None if np.isinf(budget) else budget)
    result = solve(known.options, within, SAIDI, gap, seconds)
    if result.x is not None:
        known.keep(result.x > 0.5)
        known.searched[budget] = -float(result.mip_dual_bound)
    return known.gap(budget) < before or result.status == INFEASIBLE


def _point(options: Options, chosen: np.ndarray) -> dict[str, float]:
    return totals_of(options, chosen) | units_by_device(options, chosen)


def units_by_device(options: Options, chosen: np.ndarray) -> dict[str, float]:
    """Units that chosen rows (rows of Options,), bool, install: a key units_<device> for each that may be installed."""
    units = options.rows["units"].to_numpy(dtype=float)
    return {f"{UNITS_OF}{name}": float(units[chosen & (options.device == code)].sum())
            for code, name in enumerate(DEVICES) if (options.device == code).any()}


@dataclass(frozen=True)
class YearlyLimits:
    """What may be spent (money) and installed in each year of a programme; None for no limit."""

    budget: float | None = None
    units: float | None = None


def programme(options: Options, chosen: np.ndarray, years: int, yearly: YearlyLimits | None = None,
              objective: str = NPV) -> tuple[pd.DataFrame, str]:
    """What is chosen, (rows,) bool, by year: what brings most for its money first, each in the first year with room.

    Settings come before laterals. objective: "npv" or "saidi", of which most is sought. What no year has room for has
    no row, and the sentence says how much that is. The figures are those of `selection_frame`, valued as if their year
    were year 0. Returns programme.csv (year, the columns of selection.csv, and the running totals cumulative_capex,
    cumulative_npv and cumulative_saidi_minutes_avoided) and one plain sentence or a few.
    """
    yearly, frame = yearly or YearlyLimits(), selection_frame(options, chosen)
    if frame.empty:
        return _joined(options, []), "Nothing is proposed, so that no year has conversions."
    asked, gain = frame[["capex", "units"]].to_numpy(dtype=float), frame[GAINS[objective]].to_numpy(dtype=float)
    worth = np.divide(gain, asked[:, 0], out=np.where(gain > 0.0, np.inf, gain), where=asked[:, 0] > 0.0)
    order = np.lexsort((-worth, (frame["what"] == "lateral").to_numpy()))
    frame, asked = frame.iloc[order].reset_index(drop=True), asked[order]
    left = np.tile([np.inf if most is None else most for most in (yearly.budget, yearly.units)], (years, 1))
    year = np.zeros(len(frame), dtype=int)
    for row, needs in enumerate(asked):
        room = np.flatnonzero(np.all(left >= needs - TRIFLE, axis=1))
        if room.size:
            left[room[0]] -= needs
            year[row] = room[0] + 1
    placed = frame.assign(year=year)
    result = _joined(options, [placed[placed["year"] == y] for y in range(1, years + 1)])
    return result, _said(result, frame, years, options.currency)


def _said(result: pd.DataFrame, asked: pd.DataFrame, years: int, currency: str) -> str:
    """What a programme does of what is asked, and what of it finds no room."""
    beyond = len(asked) - len(result)
    lost = (f"{shown(beyond, 'count')} of the {count(len(asked), 'row')} of the proposal "
            f"{'fits' if beyond == 1 else 'fit'}")
    if result.empty:
        return f"{lost} into none of the years: the limits of a year are too small."
    lateral = result["what"] == "lateral"
    laterals, changed, ends = int(lateral.sum()), int((~lateral).sum()), int(result["year"].max())
    parts = [f"{count(laterals, 'lateral')} converted"] if laterals else []
    if changed:
        parts.append(f"settings changed at {count(changed, 'breaker or recloser', 'breakers and reclosers')}")
    text = " and ".join(parts)
    said = f"{text[0].upper()}{text[1:]} in {count(ends, 'year')} for {money(result['capex'].sum(), currency)}."
    if ends > 1:
        said += " The NPV of each year is that of its conversions as if its year were the first."
    return f"{said} {lost} into none of the {count(years, 'year')}, within the limits of a year." if beyond else said


def _joined(options: Options, frames: list[pd.DataFrame]) -> pd.DataFrame:
    """The years below one another, year first, with running totals."""
    empty = selection_frame(options, np.zeros(len(options.rows), dtype=bool)).assign(year=pd.Series(dtype=int))
    frame = pd.concat(frames, ignore_index=True) if frames else empty
    frame.insert(0, "year", frame.pop("year"))
    frame["cumulative_capex"] = frame["capex"].cumsum()
    frame["cumulative_npv"] = frame["npv"].cumsum()
    served = options.customers_served or np.nan
    frame["cumulative_saidi_minutes_avoided"] = frame["customer_minutes_avoided"].cumsum() / served
    return frame
