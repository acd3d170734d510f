"""Protection as it was while the records were made: conversions and settings with a date divide the time.

A section's time is cut at the day its lateral was converted and at the day the settings of its reclosing device
changed. Together with today's that makes at most four networks, each with its sections at the same positions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from reliability.network.devices import RECLOSES
from reliability.network.forest import nearest
from reliability.network.model import Model
from reliability.network.tree import Network, build_network
from reliability.schema.devices import FUSE, SECTIONALIZER
from reliability.schema.values import as_assumptions
from reliability.study.record_settings import RecordSettings
from reliability.study.study import Study

_NEVER = np.datetime64("0001-01-01", "s")


@dataclass(frozen=True)
class Spell:
    """A network of the time, and the time for which each section's protection was as in it: start, end (n,)
    datetime64[s], with end not after start where it never was."""

    model: Model
    start: np.ndarray
    end: np.ndarray


def spells(study: Study, settings: RecordSettings, first: np.datetime64, last: np.datetime64) -> Iterator[Spell]:
    """The networks of the time from `first` up to `last` (datetime64[s]), today's first."""
    network = study.network
    converted, changed = _conversion_days(network, settings), _settings_days(network, settings)
    values, share = study.values, study.values["recorded_reclosing_off_share"]
    if share is not None:
        values = as_assumptions({**values, "reclosing_off_share": share})
    for before_conversion in (False, True):
        for before_change in (False, True):
            start, end = np.full(len(network), first), np.full(len(network), last)
            for day, before in ((converted, before_conversion), (changed, before_change)):
                start, end = (start, np.minimum(end, day)) if before else (np.maximum(start, day), end)
            if np.any(end > start) or not (before_conversion or before_change):
                then = _network_then(study, settings, before_conversion, before_change)
                yield Spell(Model(then, values), start, end)


def _conversion_days(network: Network, settings: RecordSettings) -> np.ndarray:
    """Day on which the lateral of each section was converted, long ago where it was not, (n,)."""
    at = _positions(network)
    days = np.full(len(network), _NEVER)
    # of a lateral inside another the own day counts: the larger one first
    for name in sorted(settings.conversions, key=lambda name: -int(network.size[at[name]])):
        days[at[name]:at[name] + network.size[at[name]]] = settings.conversions[name].astype("datetime64[s]")
    return days


def _settings_days(network: Network, settings: RecordSettings) -> np.ndarray:
    """Day on which the settings of each section's reclosing device changed, long ago where they did not, (n,)."""
    device, at = nearest(network.parent, RECLOSES[network.device]), _positions(network)
    days = np.full(len(network), _NEVER)
    for name, earlier in settings.earlier_settings.items():
        days[device == at[name]] = earlier.until.astype("datetime64[s]")
    return days


def _positions(network: Network) -> dict[str, int]:
    return {str(name): i for i, name in enumerate(network.ids)}


def _network_then(study: Study, settings: RecordSettings, before_conversion: bool, before_change: bool) -> Network:
    """The study's network with each converted lateral and each changed setting on one side of its day.

    A lateral was headed by a fuse before, where the study states no other device; afterwards by what stands there
    today, or by a sectionalizer where the sections still show what was replaced.
    """
    sections = study.sections
    row = {str(name): i for i, name in enumerate(sections["section_id"])}
    changed: dict[str, dict[int, object]] = {"device": {}, "fuse_link": {}, "fast_operations": {}}
    for name in settings.conversions:
        old, now = settings.replaced.get(name), str(sections["device"].iloc[row[name]])
        device = old.device if old else FUSE
        if before_conversion:
            changed["device"][row[name]] = device
            if old and old.fuse_link:
                changed["fuse_link"][row[name]] = old.fuse_link
        elif now == device:
            changed["device"][row[name]] = SECTIONALIZER
    if before_change:
        changed["fast_operations"] = {row[name]: float(e.fast_operations)
                                      for name, e in settings.earlier_settings.items()}
    changed = {name: {at: value for at, value in cells.items() if sections[name].iloc[at] != value}
               for name, cells in changed.items()}
    if not any(changed.values()):
        return study.network
    sections = sections.copy()
    for name, cells in changed.items():
        if cells:
            column = sections[name].to_numpy(dtype=object).copy()
            column[list(cells)] = list(cells.values())
            sections[name] = column if name != "fast_operations" else column.astype(float)
    return build_network(sections, settings=study.settings, curves=study.curves)

