"""What may be done with each lateral, and what each choice brings a year and over the horizon.

Converting the device at a lateral's head changes only what its own faults do, and the fast
operations of a breaker or recloser change only the faults that it interrupts. So one outcome
table of a few scenarios ("every lateral a sectionalizer with 2 counts", …) gives the effect of
every choice at every lateral by itself, exactly, and effects of different laterals add.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.business.break_even import (
    SHARE,
    customer_hours_by_state,
    less_than_as_built,
    table_of_both_states,
)
from reliability.business.cashflow import present_worth
from reliability.business.costs import (
    BENEFITS_BY_PERSPECTIVE,
    INTERRUPTION,
    amounts_by_section,
    expected_interruption_cost,
    grouped,
    total_money,
    unit_prices,
)
from reliability.faults.consequences import CALLOUTS
from reliability.faults.outcomes import build_outcomes, row_rates
from reliability.indices.expected import expected_values
from reliability.network.application import check_laterals
from reliability.network.conversions import may_convert
from reliability.network.devices import BACKS_UP, CODE
from reliability.network.model import Model
from reliability.network.protection import Protection, counts_too_many, most_counts, protection
from reliability.network.tree import Network
from reliability.schema.columns import MOST_COUNTS
from reliability.schema.devices import BY_NAME, TABLE
from reliability.schema.scenarios import UNCHANGED, Scenario
from reliability.schema.values import Drawn
from reliability.study.cost_table import CostTable

AS_IT_IS = 0  # index of the setting that leaves a breaker or recloser as built
EFFECTS = ("units", "capex", "npv", "ci_avoided", "customer_hours_avoided", "momentary_events_added",
           "callouts_avoided", "customer_hours_avoided_on", "customer_hours_avoided_off")


@dataclass(frozen=True)
class Options:
    """The choices, one row each, and where they belong.

    heads: (h,) positions of the laterals' heads. zones: (z,) positions of the breakers and
    reclosers. zone: (h,) index of the one behind each lateral. fast: (z, K) its fast
    operations under each setting, NaN where it cannot have that setting; setting 0 is as built.
    rows: a row a choice: lateral (index into heads, −1 where the row is a setting of a zone),
    zone, setting, device ("" leaves it), counts (NaN: none), feeder, and `EFFECTS` against
    "As built": units, capex and npv in money, a year the customer interruptions, customer
    hours and call-outs avoided and the customers' momentary events added; the customer hours also with
    reclosing on everywhere, and off. currency: of money in words.
    """

    network: Network
    heads: np.ndarray
    zones: np.ndarray
    zone: np.ndarray
    fast: np.ndarray
    rows: pd.DataFrame
    currency: str = ""

    @property
    def customers_served(self) -> float:
        """Customers of the network."""
        return float(self.network.customers.sum())


@dataclass(frozen=True)
class _Case:
    """One scenario of the table: a setting, and a device at every lateral that admits it ((h,) bool).

    setting: index of it; fast_operations: what it sets every breaker and recloser to, None as built.
    """

    setting: int
    fast_operations: int | None
    device: str | None
    counts: int | None
    offered: np.ndarray


def build_options(model: Model, costs: CostTable,
                  fast_operations: Sequence[int] = (), applicable_only: bool = False, currency: str = "") -> Options:
    """Every conversion open to every lateral, at the given assumptions.

    fast_operations: settings that breakers and reclosers may be changed to, besides staying
    as built. applicable_only: leave out a sectionalizer with counts and a setting of the backup
    at which an application check fails there. A device is offered where its settings are possible:
    counts below the operations of the device behind it, also those of sectionalizers further down
    the lateral. costs: from `read_cost_table`, only looked at under the perspective of society.
    """
    network = model.network
    as_built = protection(model)
    heads = network.candidates
    groups = fault_groups(network)
    zones, zone = groups.zones, groups.zone
    fast = _settings(as_built.fast[zones], as_built.lockout[zones], fast_operations)
    cases = _cases(model, as_built, (None, *fast_operations), applicable_only)
    ids = network.ids[heads]
    scenarios = [Scenario(f"case {i}", tuple(ids[c.offered]) if c.device else (), c.device, c.counts,
                          c.fast_operations) for i, c in enumerate(cases)]
    frames = []
    for case, effect in zip(cases, effects_by_group(model, scenarios, groups, costs), strict=True):
        frames.append(_lateral_rows(model, as_built, heads, zone, fast, case, effect))
        if case.device is None:
            frames.append(_zone_rows(model, zones, fast, case.setting, len(heads), effect))
    return Options(network, heads, zones, zone, fast, pd.concat(frames, ignore_index=True), currency)


@dataclass(frozen=True)
class FaultGroups:
    """Whose faults are counted together: those that a candidate's own device sees, and what is left of each zone.

    zones: (z,) positions of the breakers and reclosers. zone: (h,) index of the one behind each candidate. group: (n,)
    of each section, the candidates first, then the zones.
    """

    zones: np.ndarray
    zone: np.ndarray
    group: np.ndarray

    def __len__(self) -> int:
        return len(self.zone) + len(self.zones)


def fault_groups(network: Network) -> FaultGroups:
    """The groups of a network; faults behind a recloser inside a lateral never reach the lateral's own device."""
    heads, lateral = network.candidates, network.candidate_index
    nearest = _nearest_backup(network)
    zones, zone_of = np.unique(nearest, return_inverse=True)
    own = (lateral >= 0) & (nearest == nearest[heads[lateral]] if len(heads) else False)
    return FaultGroups(zones, zone_of[heads], np.where(own, lateral, len(heads) + zone_of))


def _nearest_backup(network: Network) -> np.ndarray:
    """Breaker or recloser at or above each section, (n,)."""
    at = network.protective.copy()
    while True:
        passed = np.flatnonzero(~BACKS_UP[network.device[at]])
        if not passed.size:
            return at
        at[passed] = network.protective_above[at[passed]]


def _settings(fast: np.ndarray, lockout: np.ndarray, alternatives: Sequence[int]) -> np.ndarray:
    """Fast operations of each zone under each setting, (z, K), NaN where not possible or nothing new."""
    columns = [fast.astype(float)]
    for wanted in alternatives:
        columns.append(np.where((wanted < lockout) & (wanted != fast), float(wanted), np.nan))
    return np.column_stack(columns)


def _cases(model: Model, as_built: Protection, settings: Sequence[int | None],
           applicable_only: bool) -> list[_Case]:
    """The cases that any lateral admits."""
    network = model.network
    most, open_to = most_counts(as_built)[network.candidates], _open_to_conversion(network)
    sound = {d.name: _sound_inside(model, d.name) for d in sorted(TABLE, key=lambda d: not d.counts) if d.chosen}
    cases = []
    for k, fast in enumerate(settings):
        cases.append(_Case(k, fast, None, None, np.ones(len(most), dtype=bool)))
        for device, fits in sound.items():
            if not BY_NAME[device].counts:      # the checks are those of a sectionalizer: they say nothing of others
                cases.append(_Case(k, fast, device, None, open_to & fits))
                continue
            for counts in range(1, MOST_COUNTS + 1):
                offered = open_to & fits & (counts <= most)
                if applicable_only:
                    offered &= check_laterals(model, Scenario("", None, device, counts, fast)).applicable
                cases.append(_Case(k, fast, device, counts, offered))
    return [case for case in cases if case.device is None or case.offered.any()]


def _open_to_conversion(network: Network) -> np.ndarray:
    """Candidates that a choice may convert, (h,) bool: none underground, and none that backs up other candidates.

    A device that recloses and has candidates behind it stays, so that what is chosen for those does not depend on
    what is chosen for it, and effects of different candidates add.
    """
    heads = network.candidates
    behind = network.parent[heads]
    backing = np.zeros(len(network), dtype=bool)
    outer = np.where(behind >= 0, network.unit[behind], -1)
    backing[outer[outer >= 0]] = True
    return np.isin(heads, may_convert(network)) & ~backing[heads]


def _sound_inside(model: Model, device: str) -> np.ndarray:
    """Laterals whose sectionalizers further down still see more operations than counts once converted, (h,)."""

    network = model.network
    def broken(scenario: Scenario) -> np.ndarray:
        marked = np.zeros(len(network), dtype=bool)
        marked[counts_too_many(protection(model, scenario))] = True
        return marked

    new = broken(Scenario("all", None, device, 1)) & ~broken(UNCHANGED)
    return ~np.isin(network.candidates, network.unit[new])


def effects_by_group(model: Model, scenarios: Sequence[Scenario], groups: FaultGroups,
                     costs: CostTable) -> list[dict[str, np.ndarray]]:
    """What the faults of each group cost and bring under each scenario, against the first: one dict of (groups,) each.

    saving (money a year) and the yearly `EFFECTS`; a scenario that changes nothing has zeros.
    """
    network, values = model.network, model.values
    both = table_of_both_states(model, scenarios)
    if np.isfinite(network.column[SHARE]).any():
        table = build_outcomes(model, scenarios)
    else:  # where no device states a share of its own the rows are among those of both states
        table = both.take(np.flatnonzero(row_rates(both, values)))
    expected = expected_values(table, values)
    interruption: list[np.ndarray | None] = [None] * len(expected)
    if INTERRUPTION in BENEFITS_BY_PERSPECTIVE[values["perspective"]]:
        interruption = list(expected_interruption_cost(table, values, costs))
    amounts = [grouped(amounts_by_section(e, i), groups.group, len(groups))
               for e, i in zip(expected, interruption, strict=True)]
    money = [total_money(a, values, float(network.customers.sum())) for a in amounts]
    hours = np.array([[np.bincount(groups.group, by_section, len(groups)) for by_section in state]
                      for state in customer_hours_by_state(both, values)])
    on, off = less_than_as_built(hours)
    before = amounts[0]
    return [{
        "saving": money[0] - money[i],
        "ci_avoided": before["ci"] - after["ci"],
        "customer_hours_avoided": before["customer_hours"] - after["customer_hours"],
        "momentary_events_added": after["momentary_events"] - before["momentary_events"],
        "callouts_avoided": sum((before[c] - after[c] for c in CALLOUTS), start=np.zeros(())),
        "customer_hours_avoided_on": on[i], "customer_hours_avoided_off": off[i],
    } for i, after in enumerate(amounts)]


def _lateral_rows(model: Model, as_built: Protection, heads: np.ndarray,
                  zone: np.ndarray, fast: np.ndarray, case: _Case, effect: dict[str, np.ndarray]) -> pd.DataFrame:
    """Rows of one case: the laterals that admit it and whose zone can have its setting."""
    network, values = model.network, model.values
    take = case.offered & ~np.isnan(fast[zone, case.setting])
    if case.device is None and case.setting == AS_IT_IS:
        take &= False  # leaving everything as it is changes nothing and needs no row
    target = CODE[case.device] if case.device else None
    has = np.zeros(len(heads), dtype=bool) if target is None else as_built.device[heads] == target
    if target is not None:
        same = has & (as_built.counts[heads] == case.counts if case.counts else True)
        take &= ~same
    at = np.flatnonzero(take)
    units = np.where(has[at] | (target is None), 0.0, network.phases[heads[at]])
    capex = units * (unit_prices(values)[target] if target is not None else 0.0)
    choice = {"lateral": at, "zone": zone[at], "setting": case.setting, "device": case.device or "",
              "counts": np.nan if case.counts is None else float(case.counts), "feeder": network.feeder[heads[at]],
              "units": units, "capex": capex}
    worth = present_worth(values, effect["saving"][at], capex, units * values["inspection_cost_per_year"])
    return _rows(choice, worth, {k: v[at] for k, v in effect.items()})


def _zone_rows(model: Model, zones: np.ndarray, fast: np.ndarray, setting: int,
               first_group: int, effect: dict[str, np.ndarray]) -> pd.DataFrame:
    """Rows of one setting: the zones that can have it, with the faults that are no lateral's."""
    network, values = model.network, model.values
    at = np.flatnonzero(~np.isnan(fast[:, setting]))
    capex = np.full(len(at), float(values["backup_settings_cost"]) if setting != AS_IT_IS else 0.0)
    choice = {"lateral": np.full(len(at), -1), "zone": at, "setting": setting, "device": "", "counts": np.nan,
              "feeder": network.feeder[zones[at]], "units": np.zeros(len(at)), "capex": capex}
    worth = present_worth(values, effect["saving"][first_group + at], capex, np.zeros(len(at)))
    return _rows(choice, worth, {k: v[first_group + at] for k, v in effect.items()})


def _rows(choice: Mapping[str, object], npv: Drawn, effect: Mapping[str, np.ndarray]) -> pd.DataFrame:
    """Rows of `Options`: what is chosen, what it is worth, and its effect a year."""
    return pd.DataFrame({**choice, "npv": npv, **{k: v for k, v in effect.items() if k != "saving"}})
