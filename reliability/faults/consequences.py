"""What each fault class does to customers, load and crews (model §4)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable
from reliability.faults.parts import ALL_FAULTS, phases_involved
from reliability.faults.times import (
    NO_TIME,
    PATROL,
    PATROL_OFF,
    REPAIR,
    REPAIR_OFF,
    switching_hours,
    waiting_hours,
)
from reliability.network.devices import COUNTS
from reliability.network.quantities import Quantity, SectionSums, customers_of
from reliability.schema.devices import DEVICE_TABLE
from reliability.schema.values import Assumptions

CALLOUTS = ("refuse", "reset", "patrol", "repair")
NO_CALLOUT = -1
# after a temporary fault, by device code; the last for no device
CALLOUT_OF = np.array([CALLOUTS.index(d.callout) if d.callout else NO_CALLOUT for d in DEVICE_TABLE] + [NO_CALLOUT])
# by place in times.WAITING
CALLOUT_AFTER = np.array([0, 1, 2, 3, 2, 3, NO_CALLOUT])


@dataclass(frozen=True)
class Shares:
    """Parts of a quantity below a section that something happens to, (r,) each; see `Consequences`.

    outside, inside: of what is spread over the phases, outside and inside the fault's stretch. whole: of three-phase
    customers'. unserved: of what sections without customers have.
    """

    outside: np.ndarray
    inside: np.ndarray
    whole: np.ndarray
    unserved: np.ndarray

    def of(self, sums: SectionSums, at: np.ndarray, within: np.ndarray) -> np.ndarray:
        """Amount, (r,) or (r, m), of sums (n,) or (n, m) at section `at`; `within`: of them, those in the stretch."""
        amount = _times(self.outside, sums.by_phase[at])
        spread = np.flatnonzero(self.inside != self.outside)
        if spread.size:
            amount[spread] += _times((self.inside - self.outside)[spread], sums.by_phase[within[spread]])
        for share, values in ((self.whole, sums.whole), (self.unserved, sums.unserved)):
            if values is not None:
                amount += _times(share, values[at])
        return amount


@dataclass(frozen=True)
class Consequences:
    """Per event of each of r rows under one scenario, arrays (r,).

    opened: section that stays open, −1 for none. within: the deeper of it and the head of the fault's stretch: below
    it the shares inside the stretch hold. sustained_shares: of customers below `opened`. callout: index into CALLOUTS,
    −1 for none. sectionalizer_operates: whether it was a sectionalizer that opened; actuators: expected poles of it.
    time, own_repair: what they wait for, see `times`. waiting_hours: mean time until the call-out's work is done;
    switching_hours: until those are back who need not wait.
    waits: block whose customers wait for a repair, −1 where all of sub(O) comes back at once; waits_within: the
    deeper of its head and that of the stretch. recloser: R. openings: momentary interruptions in each momentary event.
    momentary_zone: shares of customers below R who have a momentary event where nothing stays open below;
    momentary_below: the same of those below `opened`, less momentary_zone.
    """

    opened: np.ndarray
    within: np.ndarray
    sustained_shares: Shares
    recloser: np.ndarray
    callout: np.ndarray
    time: np.ndarray
    own_repair: np.ndarray
    sectionalizer_operates: np.ndarray
    actuators: np.ndarray
    waiting_hours: np.ndarray
    switching_hours: np.ndarray
    waits: np.ndarray
    waits_within: np.ndarray
    openings: np.ndarray
    momentary_zone: Shares
    momentary_below: Shares

    def sustained(self, quantity: Quantity) -> np.ndarray:
        """Amount of a quantity interrupted, (r,) or (r, m)."""
        return self.sustained_shares.of(quantity.below, self.opened, self.within)

    def waiting(self, quantity: Quantity) -> np.ndarray:
        """Of `sustained`, what waits `waiting_hours`."""
        return self.waiting_and_switched(quantity)[0]

    def waiting_and_switched(self, quantity: Quantity) -> tuple[np.ndarray, np.ndarray]:
        """Of `sustained`, what waits `waiting_hours`, and what is back after `switching_hours`."""
        sustained, all_wait = self.sustained(quantity), self.waits < 0
        some = self.sustained_shares.of(quantity.waiting, self.waits, self.waits_within)
        waiting = np.where(all_wait if some.ndim == 1 else all_wait[:, None], sustained, some)
        return waiting, sustained - waiting

    def momentary_events(self, quantity: Quantity) -> np.ndarray:
        """Amount of a quantity with one momentary event."""
        return (self.momentary_zone.of(quantity.below, self.recloser, self.recloser)
                + self.momentary_below.of(quantity.below, self.opened, self.within))


def _times(factor: np.ndarray, values: np.ndarray) -> np.ndarray:
    return factor * values if values.ndim == 1 else factor[:, None] * values


def consequences(table: OutcomeTable, scenario: int, values: Assumptions,
                 rows: slice | np.ndarray = slice(None)) -> Consequences:
    """Consequences of the rows of a table under one scenario (by position)."""
    network, protection = table.network, table.protections[scenario]
    section, opened = table.section[rows], table.opened[scenario, rows]
    openings = table.openings[scenario, rows].astype(float)
    recloser = table.recloser[scenario][section]
    stays_open, permanent = opened >= 0, table.kinds[rows] == PERMANENT_BIT
    locked_out_for_good = table.off[scenario, rows] & (opened == recloser)

    # without ground elements the parts of a section's faults are not distinguished
    part = np.where(table.hears_ground[scenario][section], table.part[rows], ALL_FAULTS)
    involved = phases_involved(part, network.phases[section], values)
    per_phase = np.minimum(1.0, involved / network.phases[opened])
    share = np.where(stays_open, np.where(protection.locks_out_all[opened], 1.0, per_phase), 0.0)
    recloser_share = np.where(protection.opens_all[recloser], 1.0,
                              np.minimum(1.0, involved / network.phases[recloser]))
    top = network.stretch_top[section]
    within = np.maximum(top, opened)
    customers = customers_of(network)
    sustained = _sustained_shares(customers, opened, top, share, np.minimum(1.0, involved / network.phases[section]))

    momentary = ~stays_open | ((opened != recloser) & (openings > 0))
    zone, below = _momentary_shares(customers, recloser, recloser_share, opened, within, sustained, momentary)
    callout, time = _callouts(protection.device[opened], stays_open, permanent, locked_out_for_good)
    own_repair = network.column["repair_hours"][section]
    operates = stays_open & COUNTS[protection.device[opened]]
    poles = np.where(protection.opens_all[opened], network.phases[opened], np.minimum(involved, network.phases[opened]))
    return Consequences(
        opened=opened, within=within, sustained_shares=sustained, recloser=recloser, callout=callout, time=time,
        sectionalizer_operates=operates, actuators=np.where(operates, poles, 0.0),
        own_repair=own_repair, waiting_hours=waiting_hours(time, own_repair, values),
        switching_hours=switching_hours(time, values),
        waits=np.where(permanent, network.block[section], -1),
        waits_within=np.maximum(top, network.block[section]),
        openings=np.where(momentary, openings, 0.0), momentary_zone=zone, momentary_below=below)


def _sustained_shares(customers: Quantity, opened: np.ndarray, top: np.ndarray, share: np.ndarray,
                      stretch_share: np.ndarray) -> Shares:
    """Who of sub(O) O's share falls on: those on the phases of the fault, near it, before the others (model §4).

    stretch_share: of the customers in the fault's stretch, whose head is `top`.
    """
    spread = (opened >= 0) & (opened < top) & (share < 1.0)
    everyone, in_stretch = customers.below.by_phase[opened], customers.below.by_phase[top]
    rest = everyone - in_stretch
    outside = np.divide(share * everyone - stretch_share * in_stretch, rest, out=np.array(share),
                        where=spread & (rest > 0.0))
    whole = np.where(opened >= 0, 1.0, 0.0)
    return Shares(np.maximum(outside, 0.0), np.where(spread, stretch_share, share), whole, share)


def _momentary_shares(customers: Quantity, recloser: np.ndarray, recloser_share: np.ndarray, opened: np.ndarray,
                      within: np.ndarray, sustained: Shares, momentary: np.ndarray) -> tuple[Shares, Shares]:
    """Shares of customers below R, and below O in addition, who have one momentary event.

    Their total is the zone times R's share less those interrupted below O, at the least none (model §4). Below O each
    has what R's share leaves of the sustained one; where the sum is less than that comes to, all have less.
    """
    stays_open = opened >= 0
    outside = np.maximum(recloser_share - sustained.outside, 0.0)
    inside = np.maximum(recloser_share - sustained.inside, 0.0)
    all_below = Shares(recloser_share, recloser_share, np.ones(len(opened)), recloser_share)
    unserved = np.maximum(recloser_share - sustained.unserved, 0.0)
    left_below = Shares(*(np.where(stays_open, left - of_all, 0.0) for left, of_all in (
        (outside, recloser_share), (inside, recloser_share), (0.0, 1.0), (unserved, recloser_share))))
    below = customers.below
    opening = all_below.of(below, recloser, recloser)
    wanted = np.maximum(opening - sustained.of(below, opened, within), 0.0)
    total = opening + left_below.of(below, opened, within)
    less = stays_open & (wanted < total)
    factor = np.where(momentary, np.divide(wanted, total, out=np.ones(len(opened)), where=less), 0.0)
    return _scaled(all_below, factor), _scaled(left_below, factor)


def _scaled(shares: Shares, factor: np.ndarray) -> Shares:
    return Shares(factor * shares.outside, factor * shares.inside, factor * shares.whole, factor * shares.unserved)


def _callouts(device: np.ndarray, stays_open: np.ndarray, permanent: np.ndarray,
              walked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(call-out, place in times.WAITING) of rows (r,), NO_CALLOUT and NO_TIME where nothing stays open.

    device: that stays open. walked: R, of whatever kind, locked out with reclosing off: the line is walked.
    """
    usual = np.where(permanent, REPAIR, CALLOUT_OF[device])
    callout = np.where(stays_open, np.where(walked & ~permanent, PATROL, usual), NO_CALLOUT)
    time = np.where(walked, np.where(permanent, REPAIR_OFF, PATROL_OFF), callout)
    return callout, np.where(stays_open, time, NO_TIME)
