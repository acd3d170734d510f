"""The devices that a section may have at its source end, and the properties that distinguish them, in one table.

A rule of protection, a call-out, a price or a drawing asks the table for a property; no other place compares a
device's name to decide what it does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

BREAKER, RECLOSER, LATERAL_RECLOSER = "breaker", "recloser", "lateral_recloser"
FUSE, SECTIONALIZER, SWITCH = "fuse", "sectionalizer", "switch"

THREE_PHASE, SINGLE_PHASE = "three_phase", "single_phase"
SINGLE_PHASE_THREE_PHASE_LOCKOUT = "single_phase_three_phase_lockout"
Symbol = Literal["solid_square", "square", "small_square", "fuse", "blade"]
TRIPPINGS = (THREE_PHASE, SINGLE_PHASE, SINGLE_PHASE_THREE_PHASE_LOCKOUT)


@dataclass(frozen=True)
class Device:
    """Properties of one kind of device.

    label: for readers. recloses: opens and recloses on a fault until it locks out. melts: clears a fault by a
    link that melts. counts: counts its backup's openings and opens in a dead time. A device with none of the three
    only isolates and restores. heads_lateral: a section with it heads a lateral. tripping: the poles that open
    together where the study states none; trippings: what a study may state.
    fast_by_default: takes its fast operations from [protection] where it states none, else has none.
    callout: the call-out after a temporary fault on which it stayed open. price: the assumption that holds its price
    installed, per unit; "" where no scenario installs it. symbol: the shape that stands for it in a drawing; letter:
    inside it.
    """

    name: str
    label: str
    recloses: bool = False
    melts: bool = False
    counts: bool = False
    heads_lateral: bool = False
    tripping: str = THREE_PHASE
    trippings: tuple[str, ...] = ()
    fast_by_default: bool = False
    callout: str = ""
    price: str = ""
    symbol: Symbol = "square"
    letter: str = ""

    @property
    def chosen(self) -> bool:
        """Whether a choice of laterals to convert may propose it: it heads laterals, is installed at a price and
        spares the fuse."""
        return self.heads_lateral and bool(self.price) and not self.melts

    @property
    def protects(self) -> bool:
        """Whether it can interrupt fault current or open on a fault."""
        return self.recloses or self.melts or self.counts


DEVICE_TABLE: tuple[Device, ...] = (
    Device(BREAKER, "Breaker", recloses=True, trippings=TRIPPINGS, fast_by_default=True, callout="patrol",
           symbol="solid_square"),
    Device(RECLOSER, "Recloser", recloses=True, trippings=TRIPPINGS, fast_by_default=True,
           callout="patrol", letter="R"),
    Device(LATERAL_RECLOSER, "Lateral recloser", recloses=True, heads_lateral=True, tripping=SINGLE_PHASE,
           trippings=TRIPPINGS, callout="reset", price="lateral_recloser_cost", symbol="small_square", letter="R"),
    Device(FUSE, "Fuse", melts=True, heads_lateral=True, tripping=SINGLE_PHASE, trippings=(SINGLE_PHASE,),
           callout="refuse", price="fuse_cost", symbol="fuse"),
    Device(SECTIONALIZER, "Sectionalizer", counts=True, heads_lateral=True, tripping=SINGLE_PHASE,
           trippings=(THREE_PHASE, SINGLE_PHASE), callout="reset", price="sectionalizer_cost", symbol="small_square",
           letter="S"),
    Device(SWITCH, "Switch", symbol="blade"),
)

BY_NAME: dict[str, Device] = {d.name: d for d in DEVICE_TABLE}
DEVICES: tuple[str, ...] = tuple(BY_NAME)
LATERAL_DEVICES: tuple[str, ...] = tuple(d.name for d in DEVICE_TABLE if d.heads_lateral)
SOURCE_DEVICES: tuple[str, ...] = tuple(d.name for d in DEVICE_TABLE if d.recloses and not d.heads_lateral)
