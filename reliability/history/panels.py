"""Yearly sums of parts of a network or of causes, and their indices over any years.

A part may be a feeder, a lateral, an operating area or a cause. An outage belongs to the feeder or lateral that its
record names; among areas its customers are spread as those of the part of the network are that it reached. A place
without a single momentary interruption in the records has no MAIFI_E, as its devices may well go unrecorded, unless
[records] says that all are recorded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.history.extent import reached
from reliability.history.observed import OBSERVED_SUMS
from reliability.history.outages import Records
from reliability.indices.definitions import caidi_minutes
from reliability.network.areas import Areas

EVENTS = "events"
PANEL_INDICES = ("saifi", "saidi_min", "caidi_min", "maifi_e", EVENTS)


@dataclass(frozen=True)
class SystemParts:
    """Parts of a system, and which steps of the records belong to them.

    names: (g,). step, part, weight: (m,) the steps of each part and the share of each that counts there.
    served: (y, g) customers. places: whether they are places, whose momentary events may go unrecorded.
    """

    names: np.ndarray
    step: np.ndarray
    part: np.ndarray
    weight: np.ndarray
    served: np.ndarray
    places: bool = True

    def momentary_recorded(self, records: Records, sums: pd.DataFrame) -> np.ndarray:
        """(g,) whether the records can show momentary events there; sums: see `observed.tally`, of all steps."""
        if records.settings.momentary_complete or not self.places:
            return np.ones(len(self.names), dtype=bool)
        return self.momentary_seen(sums)

    def momentary_seen(self, sums: pd.DataFrame) -> np.ndarray:
        """(g,) whether any momentary interruption is recorded there; sums: see `observed.tally`, of all steps."""
        weights = sums["momentary_interruptions"].to_numpy()[self.step] * self.weight
        return np.bincount(self.part, weights, len(self.names)) > 0


@dataclass(frozen=True)
class Panel:
    """Yearly sums of parts: `sums` has (y, g) each by name of OBSERVED_SUMS, and "events" with a sustained
    interruption.

    momentary_recorded: (g,) see `SystemParts`. momentary_complete: whether the study says that every device has its
    momentary events recorded; else MAIFI_E is a least value that neither ranks nor has a trend.
    """

    names: np.ndarray
    years: np.ndarray
    served: np.ndarray
    sums: dict[str, np.ndarray]
    momentary_recorded: np.ndarray
    momentary_complete: bool = True

    def indices(self, years: Sequence[int]) -> pd.DataFrame:
        """Means a year over some of the years, a row a part, columns PANEL_INDICES and customer_minutes.

        Each year's sum is divided by the customers served in it; CAIDI is the ratio of the means, NaN without an
        interruption, MAIFI_E where it is not recorded.
        """
        rows = np.isin(self.years, list(years))
        saifi, saidi, maifi_e = (self._mean_per_customer(name, rows) for name in (
            "interruptions", "customer_minutes", "momentary_events"))
        return pd.DataFrame({
            "saifi": saifi, "saidi_min": saidi, "caidi_min": caidi_minutes(saidi, saifi),
            "maifi_e": np.where(self.momentary_recorded, maifi_e, np.nan),
            EVENTS: self.sums[EVENTS][rows].mean(axis=0), "customer_minutes": self.sums["customer_minutes"][rows].mean(
                axis=0)}, index=pd.Index(self.names, name="name"))

    def _mean_per_customer(self, name: str, rows: np.ndarray) -> np.ndarray:
        total, served = self.sums[name][rows], self.served[rows]
        return np.divide(total, served, out=np.full(total.shape, np.nan), where=served > 0).mean(axis=0)


def panel(records: Records, sums: pd.DataFrame, keep: np.ndarray, parts: SystemParts) -> Panel:
    """Yearly sums of parts over the steps that `keep` (n,) marks; sums: see `observed.tally`, of all steps."""
    used = keep[parts.step]
    step, part, weight = parts.step[used], parts.part[used], parts.weight[used]
    years, width = records.years, len(parts.names)
    code = (sums["year"].to_numpy()[step] - years[0]) * width + part
    size = len(years) * width

    def total(name: str) -> np.ndarray:
        return np.bincount(code, sums[name].to_numpy()[step] * weight, size).reshape(len(years), width)

    lasting = (records.steps["sustained"] & records.steps["counted"]).to_numpy(dtype=bool)[step]
    event = records.steps["event"].to_numpy().astype(np.int64)[step]
    once = np.unique(np.column_stack([event, code])[lasting], axis=0)
    events = np.bincount(once[:, 1], minlength=size).astype(float).reshape(len(years), width)
    return Panel(parts.names, years, parts.served, {name: total(name) for name in OBSERVED_SUMS} | {EVENTS: events},
                 parts.momentary_recorded(records, sums), records.settings.momentary_complete)


def feeder_parts(records: Records) -> SystemParts:
    """The feeders; outages of unknown place belong to none."""
    section = records.steps["section"].to_numpy()
    step = np.flatnonzero(section >= 0)
    return SystemParts(records.network.feeder_ids, step, records.network.feeder[section[step]], np.ones(len(step)),
                       records.served.by_feeder)


def lateral_parts(records: Records) -> SystemParts:
    """The laterals, by section_id of their heads; a fused branch is one of its own only behind a lateral recloser.

    Customers served are those at and below the head.
    """
    network, section = records.network, records.steps["section"].to_numpy()
    unit = np.where(section >= 0, network.unit[section], -1)
    step, heads = np.flatnonzero(unit >= 0), network.candidates
    served = records.served.growth[:, None] * network.customers_below[heads]
    return SystemParts(network.ids[heads], step, np.searchsorted(heads, unit[step]), np.ones(len(step)), served)


def cause_parts(records: Records) -> SystemParts:
    """The causes as recorded, over the customers of the system."""
    cause = records.steps["cause"].to_numpy().astype(np.int64)
    served = np.repeat(records.served.total[:, None], len(records.causes), axis=1)
    return SystemParts(records.causes, np.arange(len(cause)), cause, np.ones(len(cause)), served, places=False)


def area_parts(records: Records, areas: Areas) -> SystemParts:
    """The operating areas.

    The customers of a step are taken to be spread over the part that it reached as those served there are; where nobody
    is served they count where the section is that it names.
    """
    network, steps = records.network, records.steps
    own = np.zeros((len(network), len(areas)))
    own[np.arange(len(network)), areas.of_section] = network.customers
    below = network.below(own)
    known = np.flatnonzero(steps["section"].to_numpy() >= 0)
    section = steps["section"].to_numpy()[known].astype(np.int64)
    growth = records.served.growth[steps["year"].to_numpy()[known] - records.served.years[0]]
    at = reached(network, section, np.nan_to_num((steps["customers"] - steps["already_off"]).to_numpy()[known]), growth)
    total = below[at].sum(axis=1)
    named = np.zeros((len(known), len(areas)))
    named[np.arange(len(known)), areas.of_section[section]] = 1.0
    share = np.divide(below[at], total[:, None], out=named, where=total[:, None] > 0)
    row, area = np.nonzero(share)
    served = records.served.growth[:, None] * np.bincount(areas.of_section, network.customers, len(areas))
    return SystemParts(np.array(areas.names, dtype=object), known[row], area, share[row, area], served)
