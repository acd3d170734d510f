"""What each fault class does to customers, load and crews (model §4)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from reliability.faults.outcomes import PERMANENT, OutcomeTable
from reliability.network.devices import COUNTS
from reliability.network.tree import Network
from reliability.schema.devices import TABLE

CALLOUTS = ("refuse", "reset", "patrol", "repair")
REFUSE, RESET, PATROL, REPAIR = range(4)
NO_CALLOUT = -1
# after a temporary fault, by device code; the last for no device
CALLOUT_OF = np.array([CALLOUTS.index(d.callout) if d.callout else NO_CALLOUT for d in TABLE] + [NO_CALLOUT])


@dataclass(frozen=True)
class Consequences:
    """Per event of each of r rows under one scenario, arrays (r,).

    opened: section that stays open, −1 for none. share: of the customers below it that is
    interrupted. callout: index into CALLOUTS, −1 for none. sectionalizer_operates: whether it
    was a sectionalizer that opened. waiting_hours: mean time until the
    call-out's work is done. waits: block whose customers wait for a repair, −1 where all of
    sub(O) comes back at once. momentary_events: customers with one momentary event;
    openings: momentary interruptions in each.
    momentary_zone, momentary_exempt: shares of the customers below R and below O that go into
    momentary_events, the second subtracted; momentary_zone is the share of those not below O.
    """

    opened: np.ndarray
    share: np.ndarray
    recloser: np.ndarray
    callout: np.ndarray
    sectionalizer_operates: np.ndarray
    waiting_hours: np.ndarray
    waits: np.ndarray
    openings: np.ndarray
    momentary_zone: np.ndarray
    momentary_exempt: np.ndarray

    def sustained(self, below: np.ndarray) -> np.ndarray:
        """Customers (or load) interrupted, (r,) or (r, m); below: the same below each section."""
        return _times(np.where(self.opened >= 0, self.share, 0.0), below[self.opened])

    def waiting(self, below: np.ndarray, waiting_in: np.ndarray) -> np.ndarray:
        """Of `sustained`, those that wait `waiting_hours`; the others are back after switching.

        waiting_in: customers (or load) that wait where the fault is in the block of each section.
        """
        all_wait = self.waits < 0
        some = np.where(all_wait if below.ndim == 1 else all_wait[:, None], below[self.opened], waiting_in[self.waits])
        return _times(np.where(self.opened >= 0, self.share, 0.0), some)

    def momentary_events(self, below: np.ndarray) -> np.ndarray:
        """Customers (or load) with one momentary event."""
        return _times(self.momentary_zone, below[self.recloser]) - _times(self.momentary_exempt, below[self.opened])


def _times(factor: np.ndarray, values: np.ndarray) -> np.ndarray:
    return factor * values if values.ndim == 1 else factor[:, None] * values


def phases_interrupted(network: Network, values: Mapping[str, object]) -> np.ndarray:
    """Expected phases involved in a fault on each section, (n,) (model §2)."""
    one, two, three = values["phases_involved"]
    expected = np.array([np.nan, 1.0, one + 2.0 * (two + three), one + 2.0 * two + 3.0 * three])
    return expected[network.phases.astype(int)]


def waiting_below(network: Network, values: np.ndarray) -> np.ndarray:
    """Customers (or load) that wait for the repair of a fault in the block of a section, (n,) or (n, m).

    values: per section. The block itself waits, and beyond its devices the part of each
    subtree that no tie takes over. Rows other than block heads are 0.
    """
    below = network.below(values)
    heads = np.flatnonzero(network.block == np.arange(len(network)))
    inside = np.zeros_like(below)
    np.add.at(inside, network.block, values)
    beyond = heads[network.parent[heads] >= 0]
    stranded = _times(1.0 - network.tie_below[beyond], below[beyond])
    np.add.at(inside, network.block[network.parent[beyond]], stranded)
    return inside


def consequences(table: OutcomeTable, scenario: int, values: Mapping[str, object],
                 rows: slice = slice(None)) -> Consequences:
    """Consequences of the rows of a table under one scenario (by position)."""
    network, protection = table.network, table.protections[scenario]
    device = protection.device
    section, opened = table.section[rows], table.opened[scenario, rows]
    openings = table.openings[scenario, rows].astype(float)
    recloser = table.recloser[scenario][section]
    stays_open, permanent = opened >= 0, table.kinds[rows] == PERMANENT

    phases = phases_interrupted(network, values)[section]
    # a device that recloses stays open only by locking out; others open once
    share = _share(protection.locks_out_all, phases, network.phases, opened)
    recloser_share = _share(protection.opens_all, phases, network.phases, recloser)
    momentary = ~stays_open | ((opened != recloser) & (openings > 0))
    below_opened = np.maximum(recloser_share - share, 0.0)
    others = np.where(stays_open, _others(network, recloser, recloser_share, opened, share), recloser_share)

    callout = _callouts(device, opened, stays_open, permanent)
    hours = np.array([values["refuse_hours"], values["reset_hours"], values["patrol_hours"]] + [0.0, 0.0])[callout]
    own = network.column["repair_hours"]
    repair = np.where(np.isnan(own), values["repair_hours"], own)[section]
    return Consequences(
        opened=opened, share=share, recloser=recloser, callout=callout,
        sectionalizer_operates=stays_open & COUNTS[device[opened]],
        waiting_hours=np.where(permanent, repair, hours),
        waits=np.where(permanent, network.block[section], -1),
        openings=np.where(momentary, openings, 0.0),
        momentary_zone=np.where(momentary, others, 0.0),
        momentary_exempt=np.where(momentary & stays_open, others - below_opened, 0.0),
    )


def _share(opens_all: np.ndarray, phases_involved: np.ndarray, phases: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Share of the customers below `at` that opening it interrupts; opens_all: (n,) whether all poles open."""
    return np.where(opens_all[at], 1.0, np.minimum(1.0, phases_involved / phases[at]))


def _others(network: Network, recloser: np.ndarray, recloser_share: np.ndarray, opened: np.ndarray,
            share: np.ndarray) -> np.ndarray:
    """Share of a zone's customers that are not below the opened device who have a momentary event, (r,).

    It is the reclosing device's share, but where that device has more phases than the one that
    opens: with customers spread evenly over phases, the phase of the fault then holds fewer
    others, by as many as the opened device interrupts beyond its own even part (model §4 taken
    as a sum), at the least none.
    """
    below = network.customers_below[opened]
    rest = network.customers_below[recloser] - below
    beyond = below * np.maximum(share - recloser_share, 0.0)
    return np.maximum(recloser_share - np.divide(beyond, rest, out=np.zeros_like(rest), where=rest > 0), 0.0)


def _callouts(device: np.ndarray, opened: np.ndarray, stays_open: np.ndarray, permanent: np.ndarray) -> np.ndarray:
    return np.where(permanent, REPAIR, np.where(stays_open, CALLOUT_OF[device[opened]], NO_CALLOUT))
