"""Benefit against budget, SAIDI for money, and a programme of conversions year by year."""

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
    GAP,
    INFEASIBLE,
    NPV,
    SAIDI,
    SECONDS,
    Choice,
    choose,
    selection_frame,
    solve,
    sought,
    totals_of,
)
from reliability.formats import count, money
from reliability.schema.devices import DEVICES

# Half a per cent of the reduction: finer than a planner's inputs, and thirty searches in seconds.
FRONTIER_GAP = 5e-3
LAST_SHARE = 0.25                  # of the time, for the most that all money buys
SEARCHES_IN_VAIN = 3               # one after another, and no more is searched
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
    result = solve(known.options, within, SAIDI, None, gap, seconds)
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


def programme(options: Options, years: int, yearly: YearlyLimits | None = None, limits: Limits | None = None,
              objective: str = NPV, *, known: Choice | None = None, gap: float = GAP,
              seconds: float = SECONDS) -> tuple[pd.DataFrame, str]:
    """Conversions year by year, each year the best within its budget and units after those before.

    Every year is chosen for itself, what it does not spend is lost, and its figures are those
    of `selection_frame`, valued as if that year were year 0. The caps of `limits` hold for the
    programme as it stands in each year; its budget and units for the programme as a whole;
    forced laterals and a SAIDI target must be reached by the last year. Ends early when a year
    adds nothing. known: the choice within `limits`, where it is. Returns programme.csv (year, the
    columns of selection.csv, and the running totals cumulative_capex, cumulative_npv and
    cumulative_saidi_minutes_avoided) and one plain sentence.
    """
    limits, yearly, keep = limits or Limits(), yearly or YearlyLimits(), None
    frames: list[pd.DataFrame] = []
    goal = bool(limits.forced_in) or limits.saidi_reduction_minutes is not None
    spent, choice, within = {"capex": 0.0, "units": 0.0}, known, limits
    for year in range(1, years + 1):
        last = year == years
        now = replace(limits, budget=_allowed(limits.budget, yearly.budget, spent["capex"]),
                      units=_allowed(limits.units, yearly.units, spent["units"]),
                      forced_in=limits.forced_in if last else (),
                      saidi_reduction_minutes=limits.saidi_reduction_minutes if last else None)
        # what was best within the same limits still is, now that it is there already
        if choice is None or now != within:
            choice, within = choose(options, now, objective, keep=keep, gap=gap, seconds=seconds), now
        if not choice.feasible:
            return _joined(options, frames), f"Year {year}: {choice.message}"
        frame = selection_frame(options, choice.chosen, keep)
        if frame.empty and not goal:
            break
        frames.append(frame.assign(year=year))
        keep, spent = choice.chosen, {name: choice.totals[name] for name in spent}
    result = _joined(options, frames)
    if result.empty:
        return result, "Nothing to convert: no year's conversions do better than leaving every lateral as it is."
    laterals, ends = int((result["what"] == "lateral").sum()), int(result["year"].max())
    return result, (f"{count(laterals, 'lateral')} converted in {ends} year{'s' if ends > 1 else ''} "
                    f"for {money(result['capex'].sum(), options.currency)}.")


def spread_over_years(options: Options, chosen: np.ndarray, years: int,
                      yearly: YearlyLimits) -> tuple[pd.DataFrame, str]:
    """Given conversions year by year, the best NPV first, each in the first year that has room for it.

    Settings come first. What no year has room for is left out, and the sentence says how much. Returns as `programme`.
    """
    frame = selection_frame(options, chosen)
    frame = frame.sort_values("what", kind="stable", ignore_index=True)     # settings before laterals
    left = np.tile([np.inf if most is None else most for most in (yearly.budget, yearly.units)], (years, 1))
    asked, year = frame[["capex", "units"]].to_numpy(dtype=float), np.zeros(len(frame), dtype=int)
    for row, needs in enumerate(asked):
        room = np.flatnonzero(np.all(left >= needs, axis=1))
        if room.size:
            left[room[0]] -= needs
            year[row] = room[0] + 1
    placed = frame.assign(year=year)
    result = _joined(options, [placed[placed["year"] == y] for y in range(1, years + 1)])
    beyond = int((year == 0).sum())
    laterals, ends = int((result["what"] == "lateral").sum()), int(result["year"].max()) if len(result) else 0
    more = f" {count(beyond, 'row')} of the proposal fit into none of the years." if beyond else ""
    return result, (f"{count(laterals, 'lateral')} converted in {count(ends, 'year')} "
                    f"for {money(result['capex'].sum(), options.currency)}.{more}")


def _allowed(total: float | None, yearly: float | None, spent: float) -> float | None:
    """What may be spent up to the end of a year."""
    most = [m for m in (total, None if yearly is None else spent + yearly) if m is not None]
    return min(most, default=None)


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
