"""What a study proposes, as a scenario like any other: its choice, or the scenario that it names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from reliability.business.group_effects import FaultGroups, GroupEffects, fault_groups
from reliability.business.options import AS_IT_IS, Options, valued
from reliability.business.selection import Choice, choice_of
from reliability.network.devices import BACKS_UP, COUNTS
from reliability.network.model import Model
from reliability.network.protection import Protection, protection
from reliability.network.tree import Network
from reliability.schema.devices import DEVICES
from reliability.schema.scenarios import PROPOSED, UNCHANGED, Conversion, Scenario
from reliability.study.cost_table import CostTable

CHANGED = 1     # index of the setting that a scenario gives a breaker or recloser


def named_proposal(scenarios: tuple[Scenario, ...], name: str | None) -> Scenario | None:
    """The scenario of a study that is its proposal: the one of that name, or else one called "Proposed"; None: none."""
    wanted = (name or PROPOSED).casefold()
    return next((s for s in scenarios if s.name.casefold() == wanted), None)


def scenario_of(choice: Choice) -> Scenario | None:
    """The scenario "Proposed" that carries out a choice; None where it changes nothing."""
    chosen = choice.selection
    if not choice.feasible or chosen.empty:
        return None
    laterals, backups = chosen[chosen["what"] == "lateral"], chosen[chosen["what"] != "lateral"]
    conversions = {str(head): Conversion(str(device), None if np.isnan(counts) else int(counts))
                   for head, device, counts in zip(laterals["section_id"], laterals["device"], laterals["counts"],
                                                   strict=True)}
    fast = {str(backup): int(operations) for backup, operations in
            zip(backups["section_id"], backups["fast_operations_of_backup"], strict=True)}
    device = laterals["device"].mode().iloc[0] if len(laterals) else None
    return Scenario(PROPOSED, conversions if conversions else (), device, None, fast or None)


def converted_laterals(choice: Choice) -> tuple[str, ...]:
    """section_id of each lateral that a choice converts."""
    chosen = choice.selection
    return tuple(chosen.loc[chosen["what"] == "lateral", "section_id"].astype(str))


def renamed(scenario: Scenario) -> Scenario:
    """A scenario as the proposal."""
    return replace(scenario, name=PROPOSED)


def choice_of_scenario(model: Model, costs: CostTable, scenario: Scenario, objective: str,
                       currency: str = "") -> tuple[Options, Choice]:
    """A scenario as a choice that takes all of it: what each of its conversions and settings brings by itself.

    The options hold nothing else. The totals are those of the scenario, to the last event.
    """
    network, groups = model.network, fault_groups(model.network)
    before, after = protection(model), protection(model, scenario)
    effects = GroupEffects(model, (UNCHANGED, scenario), groups, costs)
    effect = effects.effects(model.values)
    reset = BACKS_UP[before.device[groups.zones]] & (after.fast[groups.zones] != before.fast[groups.zones])
    fast = np.column_stack([before.fast[groups.zones].astype(float),
                            np.where(reset, after.fast[groups.zones].astype(float), np.nan)])
    rows, group = _rows(model, groups, reset, after, before, np.any([np.abs(e[1]) > 0.0 for e in effect.values()],
                                                                   axis=0))
    left = np.flatnonzero(reset)                # a zone whose setting changes may also be left as it is
    rows = pd.concat([rows, _left_as_they_are(network, groups, left)], ignore_index=True)
    group = np.append(group, len(network.candidates) + left)
    chosen = np.arange(len(rows)) < len(rows) - len(left)
    case = chosen.astype(np.int64)
    options = Options(network, network.candidates, groups.zones, groups.zone, fast,
                      valued(rows, effect, case, group, model.values), effects, case, group, currency)
    return options, choice_of(options, chosen, objective)


def _left_as_they_are(network: Network, groups: FaultGroups, zone: np.ndarray) -> pd.DataFrame:
    """Rows of `Options`, without effects, of zones that keep their setting."""
    return pd.DataFrame({"lateral": np.full(len(zone), -1), "zone": zone, "setting": AS_IT_IS, "device": "",
                         "counts": np.nan, "feeder": network.feeder[groups.zones[zone]], "units": 0.0})


def _rows(model: Model, groups: FaultGroups, reset: np.ndarray, after: Protection, before: Protection,
          moved: np.ndarray) -> tuple[pd.DataFrame, np.ndarray]:
    """Rows of `Options`, without effects, and the group of faults of each: each conversion, the setting of each zone,
    and the groups that the scenario has an effect on otherwise. moved: (groups,) whether it has any.
    """
    network, heads, h = model.network, model.network.candidates, len(model.network.candidates)
    device, counts = after.device[heads], after.counts[heads]
    new = device != before.device[heads]
    converted = np.append(new | (COUNTS[device] & (counts != before.counts[heads])), np.zeros(len(reset), dtype=bool))
    at = np.flatnonzero(converted | moved | (np.arange(len(converted)) >= h))
    is_lateral, zone = at < h, np.append(groups.zone, np.arange(len(reset)))[at]
    lateral = np.where(is_lateral, at, -1)
    head = heads[lateral] if h else np.zeros(len(at), dtype=int)
    units = np.where(is_lateral & np.append(new, np.zeros(len(reset), dtype=bool))[at], network.phases[head], 0.0)
    puts = converted[at]
    return pd.DataFrame({
        "lateral": lateral, "zone": zone, "setting": np.where(reset[zone], CHANGED, AS_IT_IS),
        "device": np.where(puts, np.array([*DEVICES, ""])[after.device[head]], ""),
        "counts": np.where(puts & COUNTS[after.device[head]], after.counts[head].astype(float), np.nan),
        "feeder": network.feeder[np.where(is_lateral, head, groups.zones[zone])], "units": units}), at
