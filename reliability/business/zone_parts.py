"""Options of few zones at a time: what is chosen in a zone without limits on sums depends on no other zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reliability.business.options import Options


@dataclass(frozen=True)
class ZonePart:
    """Which of all options are those of some zones: positions of rows, laterals, zones and groups of faults, ascending.
    """

    rows: np.ndarray
    laterals: np.ndarray
    zones: np.ndarray
    groups: np.ndarray

    def of(self, options: Options) -> Options:
        """The options of the part, whose laterals, zones and groups are numbered within it; effects are still of all.
        """
        rows = options.rows.iloc[self.rows]
        of_lateral, zone = rows["lateral"].to_numpy() >= 0, rows["zone"].to_numpy() - self.zones[0]
        lateral = np.where(of_lateral, np.searchsorted(self.laterals, rows["lateral"].to_numpy()), -1)
        return replace(options, heads=options.heads[self.laterals], zones=options.zones[self.zones],
                       zone=options.zone[self.laterals] - self.zones[0], fast=options.fast[self.zones],
                       rows=rows.assign(lateral=lateral, zone=zone), scenario=options.scenario[self.rows],
                       group=np.searchsorted(self.groups, options.group[self.rows]))


def zone_parts(options: Options, rows: int) -> Sequence[ZonePart]:
    """Parts of neighbouring zones with about so many rows, together all of the options."""
    row_zone, zones = options.rows["zone"].to_numpy(), len(options.zones)
    ends = np.cumsum(np.bincount(row_zone, minlength=zones))
    cuts = np.unique(np.append(np.searchsorted(ends, np.arange(rows, len(row_zone), rows)), [0, zones]))
    of_part = [np.split(np.argsort(zone, kind="stable"), np.cumsum(np.bincount(zone, minlength=zones))[cuts[1:-1] - 1])
               for zone in (row_zone, options.zone)]
    parts = []
    for own_rows, laterals, first, last in zip(*of_part, cuts[:-1], cuts[1:], strict=True):
        heads, own = np.sort(laterals), np.arange(first, last)
        parts.append(ZonePart(np.sort(own_rows), heads, own, np.append(heads, len(options.heads) + own)))
    return parts
