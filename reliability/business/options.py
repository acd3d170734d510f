"""What may be done with each lateral, and what each choice brings a year and over the horizon.

Converting the device at a lateral's head changes only what its own faults do, and the fast
operations of a breaker or recloser change only the faults that it interrupts. So one outcome
table of a few scenarios ("every lateral a sectionalizer with 2 counts", …) gives the effect of
every choice at every lateral by itself, exactly, and effects of different laterals add.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from reliability.business.cashflow import present_worth
from reliability.business.group_effects import EFFECTS_OF_FAULTS, SAVING, GroupEffects, fault_groups
from reliability.network.application import check_laterals, standing_today
from reliability.network.conversions import may_convert
from reliability.network.devices import CODE, RECLOSES, codes_of
from reliability.network.model import Model
from reliability.network.protection import Protection, counts_too_many, most_counts, protection
from reliability.network.tree import Network
from reliability.schema.columns import MOST_COUNTS
from reliability.schema.devices import BY_NAME, DEVICE_TABLE
from reliability.schema.scenarios import UNCHANGED, Scenario
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn
from reliability.study.cost_table import CostTable
from reliability.tasks import HERE, Workers

AS_IT_IS = 0  # index of the setting that leaves a breaker or recloser as built
EFFECTS = ("units", "capex", "npv", *EFFECTS_OF_FAULTS)


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
    reclosing on everywhere, and off. effects: what they come from; scenario, group: (rows,) which of its scenarios
    and groups of faults each row is. currency: of money in words.
    """

    network: Network
    heads: np.ndarray
    zones: np.ndarray
    zone: np.ndarray
    fast: np.ndarray
    rows: pd.DataFrame
    effects: GroupEffects
    scenario: np.ndarray
    group: np.ndarray
    currency: str = ""

    @property
    def customers_served(self) -> float:
        """Customers of the network."""
        return float(self.network.customers.sum())

    @cached_property
    def device(self) -> np.ndarray:
        """Code of the device that each row puts in or sets the counts of, NO_DEVICE where it leaves them, (rows,)."""
        return codes_of(self.rows["device"].to_numpy())

    def at(self, values: Assumptions, picked: np.ndarray | None = None) -> Options:
        """The same options at other rates, times, probabilities and prices: their effects and what they are worth.

        Which are offered stays, and the perspective. picked: (1,) draw of the learned rates.
        """
        effects = self.effects.effects(values, picked)
        return replace(self, rows=valued(self.rows, effects, self.scenario, self.group, values))

    def npv(self, values: TrialValues, savings: np.ndarray) -> np.ndarray:
        """Net present value of each row over K draws, (K, rows); savings: of `effects`, (K, S, G)."""
        saved = savings[:, self.scenario, self.group]
        units = self.rows["units"].to_numpy()
        worth = present_worth(values, saved.T, capital(self.rows, self.device, values).T,
                              (units * np.atleast_1d(drawn(values, "inspection_cost_per_year"))[:, None]).T)
        return np.asarray(worth).T


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
                  fast_operations: Sequence[int] = (), applicable_only: bool = False, currency: str = "",
                  workers: Workers = HERE) -> Options:
    """Every conversion open to every lateral, at the given assumptions.

    fast_operations: settings that breakers and reclosers may be changed to, besides staying
    as built. applicable_only: leave out a sectionalizer with counts and a setting of the backup
    at which an application check fails there. A device is offered where its settings are possible:
    counts below the operations of the device behind it, also those of sectionalizers further down
    the lateral. costs: from `read_cost_table`, only looked at under the perspective of society.
    workers: sum parts of the outcome table.
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
    for i, case in enumerate(cases):
        frames.append(_lateral_rows(network, as_built, zone, fast, case).assign(scenario=i))
        if case.device is None:
            frames.append(_zone_rows(network, zones, fast, case.setting).assign(scenario=i))
    rows = pd.concat(frames, ignore_index=True)
    scenario = rows.pop("scenario").to_numpy()
    group = np.where(rows["lateral"] >= 0, rows["lateral"], len(heads) + rows["zone"]).astype(np.int64)
    effects = GroupEffects(model, scenarios, groups, costs)
    effects.prepare(workers)
    rows = valued(rows, effects.effects(model.values), scenario, group, model.values)
    return Options(network, heads, zones, zone, fast, rows, effects, scenario, group, currency)


def valued(rows: pd.DataFrame, effects: Mapping[str, np.ndarray], scenario: np.ndarray, group: np.ndarray,
           values: Assumptions) -> pd.DataFrame:
    """Rows of `Options` with their capital, worth and effects. effects: of `GroupEffects`, (S, G) each."""
    found = {name: effect[scenario, group] for name, effect in effects.items()}
    units, capex = rows["units"].to_numpy(), capital(rows, codes_of(rows["device"].to_numpy()), values)[0]
    worth = present_worth(values, found.pop(SAVING), capex, units * values["inspection_cost_per_year"])
    kept = {name: rows[name] for name in ("lateral", "zone", "setting", "device", "counts", "feeder", "units")}
    return pd.DataFrame({**kept, "capex": capex, "npv": worth, **{name: found[name] for name in EFFECTS_OF_FAULTS}})


def capital(rows: pd.DataFrame, code: np.ndarray, values: TrialValues) -> np.ndarray:
    """Money that each row costs in year 0, (K, rows), K being 1 where no price is drawn. code: (rows,) of its device.
    """
    prices = [np.atleast_1d(drawn(values, d.price)) if d.price else np.zeros(1) for d in DEVICE_TABLE]
    by_code = np.stack(np.broadcast_arrays(*prices, np.zeros(1)), axis=-1)
    changes = ((rows["lateral"] < 0) & (rows["setting"] != AS_IT_IS)).to_numpy()
    settings: Drawn = np.atleast_1d(drawn(values, "backup_settings_cost"))[:, None]
    spares = np.atleast_1d(drawn(values, "spare_units_share"))[:, None]
    return rows["units"].to_numpy() * by_code[:, code] * (1.0 + spares) + changes * settings


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
    sound = {d.name: _sound_inside(model, d.name) for d in sorted(DEVICE_TABLE, key=lambda d: not d.counts) if d.chosen}
    cases, standing = [], standing_today(model) if applicable_only else None
    for k, fast in enumerate(settings):
        cases.append(_Case(k, fast, None, None, np.ones(len(most), dtype=bool)))
        for device, fits in sound.items():
            if not BY_NAME[device].counts:      # the checks are those of a sectionalizer: they say nothing of others
                cases.append(_Case(k, fast, device, None, open_to & fits))
                continue
            for counts in range(1, MOST_COUNTS + 1):
                offered = open_to & fits & (counts <= most)
                if applicable_only:
                    offered &= check_laterals(model, Scenario("", None, device, counts, fast),
                                              standing=standing).applicable
                cases.append(_Case(k, fast, device, counts, offered))
    return [case for case in cases if case.device is None or case.offered.any()]


def _open_to_conversion(network: Network) -> np.ndarray:
    """Candidates that a choice may convert, (h,) bool: none underground, and none that backs up other candidates.

    A device that recloses and backs up candidates stays, so that what is chosen for those does not depend on what is
    chosen for it, and effects of different candidates add. Candidates behind a reclosing device inside a lateral are
    backed up by that, whatever stands at the lateral's head.
    """
    heads = network.candidates
    behind = network.parent[heads]
    backing = np.zeros(len(network), dtype=bool)
    outer = np.where(behind >= 0, network.unit[behind], -1)
    backing[outer[outer >= 0]] = True
    return np.isin(heads, may_convert(network)) & ~(backing & RECLOSES[network.device])[heads]


def _sound_inside(model: Model, device: str) -> np.ndarray:
    """Laterals whose sectionalizers further down still see more operations than counts once converted, (h,)."""

    network = model.network
    def broken(scenario: Scenario) -> np.ndarray:
        marked = np.zeros(len(network), dtype=bool)
        marked[counts_too_many(protection(model, scenario))] = True
        return marked

    new = broken(Scenario("all", None, device, 1)) & ~broken(UNCHANGED)
    return ~np.isin(network.candidates, network.unit[new])


def _lateral_rows(network: Network, as_built: Protection, zone: np.ndarray, fast: np.ndarray,
                  case: _Case) -> pd.DataFrame:
    """Rows of one case: the laterals that admit it and whose zone can have its setting."""
    heads = network.candidates
    take = case.offered & ~np.isnan(fast[zone, case.setting])
    if case.device is None and case.setting == AS_IT_IS:
        take &= False  # leaving everything as it is changes nothing and needs no row
    target = CODE[case.device] if case.device else None
    has = np.zeros(len(heads), dtype=bool) if target is None else as_built.device[heads] == target
    if target is not None:
        same = has & (as_built.counts[heads] == case.counts if case.counts else True)
        take &= ~same
    at = np.flatnonzero(take)
    return pd.DataFrame({
        "lateral": at, "zone": zone[at], "setting": case.setting, "device": case.device or "",
        "counts": np.nan if case.counts is None else float(case.counts), "feeder": network.feeder[heads[at]],
        "units": np.where(has[at] | (target is None), 0.0, network.phases[heads[at]])})


def _zone_rows(network: Network, zones: np.ndarray, fast: np.ndarray, setting: int) -> pd.DataFrame:
    """Rows of one setting: the zones that can have it, with the faults that are no lateral's."""
    at = np.flatnonzero(~np.isnan(fast[:, setting]))
    return pd.DataFrame({"lateral": np.full(len(at), -1), "zone": at, "setting": setting, "device": "",
                         "counts": np.nan, "feeder": network.feeder[zones[at]], "units": np.zeros(len(at))})
