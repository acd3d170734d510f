"""The best set of conversions under limits, as a mixed-integer program.

One yes/no variable a row of `Options`. Every zone has one setting; a lateral is converted, or
left, under the setting of its zone. Money, interruptions and momentary events all add up over
the rows chosen, so every limit is one linear inequality, and changed settings of a zone are
one row, paid once whatever the number of laterals that gain from them.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import pandas as pd
import scipy
from scipy import sparse

from reliability.business.break_even import BREAK_EVEN, break_even_share
from reliability.business.known_choices import nearly_best
from reliability.business.limits import (
    LIMIT_NAMES,
    Limits,
    constraints,
    converts,
    feeder_customers,
    highest,
    laterals_called,
    never_better,
)
from reliability.business.options import AS_IT_IS, EFFECTS, Options
from reliability.business.verdict import pays
from reliability.formats import count, exact, money, number, shown
from reliability.network.place_names import field_columns

NPV, SAIDI = "npv", "saidi"
SOLVER_SECONDS = 30.0
GAP = 1e-4
# Share of the SAIDI reduction that may be given up where the same costs less.
TIE_TOLERANCE = 1e-6
MANY_CHOICES = 20_000  # of so many rows and more a search takes long
INFEASIBLE = 2  # status of scipy.optimize.milp


@dataclass(frozen=True)
class Choice:
    """The outcome of a search.

    feasible: whether a choice was found that meets the limits. message: one plain sentence.
    chosen: (rows of Options,) bool. totals: sums over the choice, see `totals_of`; empty
    without one. gap: relative distance of the objective from the best possible, at most; None
    without a choice. seconds: taken by the search. selection: see `selection_frame`.
    """

    feasible: bool
    message: str
    objective: str
    chosen: np.ndarray
    totals: Mapping[str, float]
    gap: float | None
    seconds: float
    selection: pd.DataFrame


def choose(options: Options, limits: Limits | None = None, objective: str = NPV, *, gap: float = GAP,
           seconds: float = SOLVER_SECONDS) -> Choice:
    """The set of conversions with the highest NPV, or the largest SAIDI reduction, within the limits.

    objective: "npv" or "saidi". gap: relative; seconds: the search stops then with the best found. Raises ValueError
    for a lateral that does not exist.
    """
    limits = limits or Limits()
    blocked = _impossible(options, limits)
    if blocked:
        return _nothing(options, objective, "No choice meets the limits: nothing may be installed at laterals forced "
                                            f"in ({', '.join(blocked[:5])}).", 0.0)
    begun = time.monotonic()
    known, within = None, np.inf
    if objective == SAIDI and len(options.rows) >= MANY_CHOICES:
        known, within = nearly_best(options, sought(options, SAIDI), limits, gap)
    if known is not None and within <= gap:
        return replace(choice_of(options, known, objective), gap=within, seconds=time.monotonic() - begun)
    result = solve(options, limits, objective, gap, seconds)
    took = time.monotonic() - begun
    if known is not None and np.isfinite(within) and (result.x is None or _less(options, result.x > 0.5, known)):
        return replace(choice_of(options, known, objective), gap=within, seconds=took)
    if result.x is None:
        message = _why_not(options, limits) if result.status == INFEASIBLE else (
            f"No choice was found in {exact(seconds)} s; allow more time or set fewer limits.")
        return _nothing(options, objective, message, took)
    reached = 0.0 if result.mip_gap is None or not np.isfinite(result.mip_gap) else float(result.mip_gap)
    return replace(choice_of(options, result.x > 0.5, objective), gap=reached, seconds=took)


def devices_in_words(devices: pd.Series) -> str:
    """What laterals are converted to, behind their number: " to sectionalizers"; of several ", 2 to … and 3 to …,".

    devices: of each lateral converted, "" for the device that stands there.
    """
    numbers = devices[devices != ""].value_counts().sort_index(ascending=False)
    names = {str(d): f"{str(d).replace('_', ' ')}s" for d in numbers.index}
    if len(names) < 2:
        return f" to {next(iter(names.values()), 'new settings')}"
    parts = [f"{shown(numbers[d], 'count')} to {name}" for d, name in names.items()]
    return f", {' and '.join(parts)},"


def choice_of(options: Options, chosen: np.ndarray, objective: str) -> Choice:
    """The choice of given rows of the options, (rows,) bool, whether or not it is the best."""
    totals, selection = totals_of(options, chosen), selection_frame(options, chosen)
    devices = selection.loc[selection["what"] == "lateral", "device"]
    return Choice(True, _message(options, totals, objective, devices), objective, chosen, totals, None, 0.0, selection)


def solve(options: Options, limits: Limits, objective: str, gap: float,
          seconds: float) -> scipy.optimize.OptimizeResult:
    """The search of `choose`; x: (rows,) where one was found, else None.

    Rows that cannot be chosen are left out. The solver does not simplify the program first: it would look for rows that
    exclude one another, at some budgets for longer than the whole search takes, and heed no limit of time there.
    """
    gain = sought(options, objective)
    high = np.where(never_better(options, limits, gain), 0.0, highest(options, limits))
    at = np.flatnonzero(high > 0.0)
    result = scipy.optimize.milp(
        -gain[at], integrality=np.ones(len(at), dtype=int), bounds=scipy.optimize.Bounds(0.0, high[at]),
        constraints=[scipy.optimize.LinearConstraint(cast("sparse.csr_array", c.A)[:, at], c.lb, c.ub)
                     for c in constraints(options, limits)],
        options={"mip_rel_gap": gap, "time_limit": seconds, "presolve": False})
    if result.x is not None:
        x = np.zeros(len(gain))
        x[at] = result.x
        result.x = x
    return result


def _less(options: Options, chosen: np.ndarray, known: np.ndarray) -> bool:
    """Whether rows chosen, (rows,) bool, avoid less SAIDI than others known."""
    gain = sought(options, SAIDI)
    return float(gain[chosen].sum()) < float(gain[known].sum())


def sought(options: Options, objective: str) -> np.ndarray:
    """What each row brings of the objective, (rows,), the largest being 1; of SAIDI less a trifle for what it costs."""
    if objective == SAIDI:
        gain = _unit(options.rows["customer_hours_avoided"].to_numpy())
        return gain - TIE_TOLERANCE * _unit(options.rows["capex"].to_numpy())
    return _unit(options.rows["npv"].to_numpy())


def _unit(values: np.ndarray) -> np.ndarray:
    """Scaled to a largest absolute value of 1, within the solver's tolerances."""
    largest = np.abs(values).max(initial=0.0)
    return values / largest if largest > 0 else values


def totals_of(options: Options, chosen: np.ndarray) -> dict[str, float]:
    """What a choice costs and brings: money, a year's interruptions, and indices less or more than as built.

    Its gain in SAIDI with reclosing on everywhere and off, and the share of faults at which it is nil, NaN for none.
    """
    rows = options.rows[chosen]
    sums = {name: float(rows[name].sum()) for name in EFFECTS}
    served = options.customers_served or np.nan
    on, off = sums["customer_hours_avoided_on"], sums["customer_hours_avoided_off"]
    customers = feeder_customers(options)
    by_feeder = np.bincount(rows["feeder"], rows["momentary_events_added"], len(customers))
    worst = (by_feeder[customers > 0] / customers[customers > 0]).max(initial=-np.inf)
    return {
        "laterals": float(converts(options)[chosen].sum()),
        "backup_settings_changed": float(((rows["lateral"] < 0) & (rows["setting"] != AS_IT_IS)).sum()),
        "units": sums["units"], "capex": sums["capex"], "npv": sums["npv"],
        "saidi_minutes_avoided": 60.0 * sums["customer_hours_avoided"] / served,
        "saifi_avoided": sums["ci_avoided"] / served,
        "maifi_e_added": sums["momentary_events_added"] / served,
        "worst_feeder_maifi_e_added": float(worst) if np.isfinite(worst) else np.nan,
        "customer_interruptions_avoided": sums["ci_avoided"],
        "customer_minutes_avoided": 60.0 * sums["customer_hours_avoided"],
        "callouts_avoided": sums["callouts_avoided"],
        "saidi_minutes_avoided_reclosing_on": 60.0 * on / served,
        "saidi_minutes_avoided_reclosing_off": 60.0 * off / served,
        BREAK_EVEN: float(break_even_share(on, off)),
    }


def selection_frame(options: Options, chosen: np.ndarray) -> pd.DataFrame:
    """selection.csv: a row a lateral to convert, best NPV first, and a row a breaker or recloser to set again.

    The latter carries what its new setting does to every lateral not converted here.
    """
    rows, put = options.rows, converts(options)
    lateral, setting = rows["lateral"].to_numpy(), rows["setting"].to_numpy()
    owner = np.where(np.isin(lateral, lateral[chosen & put]), lateral, -1)
    effects = rows.loc[chosen, list(EFFECTS)]
    effects = effects.groupby([pd.Series(owner[chosen], effects.index, name="lateral"), rows["zone"][chosen]]).sum()
    plan = chosen & np.where(lateral < 0, setting != AS_IT_IS, put)
    changes = rows.loc[plan, ["lateral", "zone", "setting", "device", "counts"]].join(
        effects, on=["lateral", "zone"], how="inner")
    return _named(options, changes).sort_values(["what", "npv"], ascending=[False, False], ignore_index=True)


def _named(options: Options, rows: pd.DataFrame) -> pd.DataFrame:
    """Indices into the ids and units of a reader."""
    network = options.network
    is_lateral, zone = rows["lateral"].to_numpy() >= 0, rows["zone"].to_numpy()
    at = options.zones[zone].copy()
    at[is_lateral] = options.heads[rows["lateral"].to_numpy()[is_lateral]]
    return pd.DataFrame({
        "what": np.where(is_lateral, "lateral", "backup settings"),
        "section_id": network.ids[at], "feeder_id": network.feeder_ids[network.feeder[at]],
        **field_columns(network.text, at),
        "backup_id": network.ids[options.zones[zone]],
        "device": rows["device"].to_numpy(), "counts": rows["counts"].to_numpy(),
        "fast_operations_of_backup": options.fast[zone, rows["setting"].to_numpy()],
        "units": rows["units"].to_numpy(), "capex": rows["capex"].to_numpy(), "npv": rows["npv"].to_numpy(),
        "customer_interruptions_avoided": rows["ci_avoided"].to_numpy(),
        "customer_minutes_avoided": 60.0 * rows["customer_hours_avoided"].to_numpy(),
        "momentary_events_added": rows["momentary_events_added"].to_numpy(),
        "callouts_avoided": rows["callouts_avoided"].to_numpy(),
        BREAK_EVEN: break_even_share(rows["customer_hours_avoided_on"].to_numpy(dtype=float),
                                  rows["customer_hours_avoided_off"].to_numpy(dtype=float)),
    })


def _impossible(options: Options, limits: Limits) -> list[str]:
    """Laterals forced in at which nothing may be installed, or which are forced out too."""
    possible = options.rows["lateral"].to_numpy()[converts(options)]
    forced = laterals_called(options, limits.forced_in)
    bad = forced[~np.isin(forced, possible) | np.isin(forced, laterals_called(options, limits.forced_out))]
    return [str(name) for name in options.network.ids[options.heads[bad]]]


def _why_not(options: Options, limits: Limits) -> str:
    """Which single limit stands in the way, and how much SAIDI can be avoided at most."""
    message = "No choice meets all the limits."
    helps = []
    for name, plain in LIMIT_NAMES.items():
        if getattr(limits, name) in (None, ()):
            continue
        relaxed = replace(limits, **{name: getattr(Limits(), name)})
        result = solve(options, relaxed, SAIDI, 1e-2, 5.0)
        if result.x is None:
            continue
        helps.append(plain)
        if name == "saidi_reduction_minutes":
            most = totals_of(options, result.x > 0.5)["saidi_minutes_avoided"]
            message += f" About {number(most)} minutes of SAIDI can be avoided within the others."
    return message + (f" Without {' or without '.join(helps)} there is one." if helps else
                      " Leaving any single one out does not help.")


def _nothing(options: Options, objective: str, message: str, seconds: float) -> Choice:
    chosen = np.zeros(len(options.rows), dtype=bool)
    return Choice(False, message, objective, chosen, {}, None, seconds, selection_frame(options, chosen))


def _message(options: Options, totals: Mapping[str, float], objective: str, devices: pd.Series) -> str:
    """One plain sentence; a choice of nothing is a result too."""
    if not totals["laterals"] and not totals["backup_settings_changed"]:
        gain = "has a higher NPV than" if objective == NPV else "avoids more SAIDI than"
        return f"Nothing to convert: within the limits no conversion {gain} leaving every lateral as it is."
    laterals, changed = round(totals["laterals"]), round(totals["backup_settings_changed"])
    parts = [f"{count(laterals, 'lateral')} converted{devices_in_words(devices)}"] if laterals else []
    if changed:
        parts.append(f"settings changed at {count(changed, 'breaker or recloser', 'breakers or reclosers')}")
    actions = " and ".join(parts)
    actions = actions[0].upper() + actions[1:]
    minutes = totals["saidi_minutes_avoided"]
    return (f"{actions} for {money(totals['capex'], options.currency)}: this {pays(totals['npv'])} (NPV "
            f"{money(totals['npv'], options.currency)}) and {'avoids' if minutes >= 0 else 'adds'} "
            f"{number(abs(minutes))} minutes of SAIDI a year.")
