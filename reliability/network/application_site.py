"""What stands around a device at the head of a lateral: transformers, motors, cable, other sources, reclosing off."""

from __future__ import annotations

import numpy as np

from reliability.network.application_catalogue import (
    CHECK_OF_KEY,
    FAIL,
    PASS,
    PRODUCT_TOLERANCE,
    REVIEW,
    UNKNOWN,
    Check,
    Settled,
    judge,
)
from reliability.network.application_proposal import Proposal
from reliability.network.application_rules import line_current_a
from reliability.network.forest import largest_below
from reliability.network.model import Model
from reliability.network.protection import Protection
from reliability.network.tree import Network
from reliability.schema.columns import UNDERGROUND

HOLDS, DOES_NOT_HOLD = "yes", "no"   # choices of `inrush_restraint`; blank: not known


def site_checks(model: Model, proposal: Proposal, as_built: Protection) -> tuple[Check, ...]:
    """Every check of what stands around the device, in the order of `CHECKS`."""
    network = model.network
    return (inrush(model, proposal), three_phase_customers(network, proposal),
            underground(model, proposal), ties(network, proposal, as_built),
            reclosing_off(model, proposal))


def inrush(model: Model, proposal: Proposal) -> Check:
    """Inrush of the transformers below the head against the actuating current.

    `inrush_multiple` × the rated current of `connected_kva`, even over the phases of the head (our formula; the
    multiple is common practice, no source). A section without customers and load that states none has none; a
    lateral where no section states any is unknown.

    Above the actuating current a device without restraint fails: the backup's next opening, for a fault elsewhere,
    would be counted on a healthy lateral, which the model does not include.
    """
    network, values = model.network, model.values
    head, kva = proposal.head, network.column["connected_kva"]
    power = network.below(np.nan_to_num(kva))[head]
    stated = network.below((~np.isnan(kva)).astype(float))[head] > 0.5
    served = (np.nan_to_num(network.customers) > 0.0) | (network.load_kw > 0.0)
    gaps = network.below((np.isnan(kva) & served).astype(float))[head] > 0.5
    current = values["inrush_multiple"] * line_current_a(model, head, np.where(stated, power, np.nan))
    above, restraint = current > proposal.actuating_a * (1.0 + PRODUCT_TOLERANCE), values["inrush_restraint"]
    holds = above & (restraint == HOLDS)
    return judge("inrush", current, proposal.actuating_a, gaps, [
        Settled(holds & ~gaps, PASS, "inrush is above the actuating current; the device offered holds through it"),
        Settled(holds & gaps, UNKNOWN, CHECK_OF_KEY["inrush"].missing),
        Settled(above & (restraint not in (HOLDS, DOES_NOT_HOLD)), REVIEW,
                "inrush is above the actuating current: unless the device offered holds through it, see its data "
                "sheet, a healthy lateral counts it after each reclosing")])


def three_phase_customers(network: Network, proposal: Proposal) -> Check:
    """Three-phase customers below a device that opens by phase; none may stand there unlooked at.

    The model takes a blank for none. Where a head of more than one phase serves customers and no section of the
    lateral says how many are of three phases, the check does not know.
    """
    head, own = proposal.head, network.column["customers_three_phase"]
    number = network.below(np.nan_to_num(own))[head]
    silent = network.below((~np.isnan(own)).astype(float))[head] < 0.5
    silent &= (network.phases[head] > 1.0) & (network.customers_below[head] > 0.0)
    return judge("three_phase_customers", number, np.zeros(len(head)), silent, [
        Settled(~proposal.by_phase, PASS, "the device opens all its phases together")])


def underground(model: Model, proposal: Proposal) -> Check:
    """Share of the lateral's length that is underground; no conversion touches one whose head is."""
    network, values = model.network, model.values
    head, cable = proposal.head, network.text["construction"] == UNDERGROUND
    length = np.nan_to_num(network.column["length_km"])
    total, below = network.below(length)[head], network.below(np.where(cable, length, 0.0))[head]
    share = np.divide(below, total, out=np.zeros(len(head)), where=total > 0.0)
    some = network.below(cable.astype(float))[head] > 0.5
    limit = np.full(len(head), float(values["underground_share"]))
    return judge("underground", share, limit, settled=[
        Settled(some & (share <= limit * (1.0 + PRODUCT_TOLERANCE)), PASS,
                "part of the lateral is underground, but no large part"),
        Settled(cable[head], FAIL, "the section at the head is underground: no such device goes there, and no "
                                   "conversion touches it")])


def ties(network: Network, proposal: Proposal, as_built: Protection) -> Check:
    """Counts against the operations of every other source that the backup's zone may be fed from.

    The device behind a tie is known where `tie_section_id` names the section on its other side.
    """
    n, head, backup = len(network), proposal.head, np.maximum(proposal.backup, 0)
    tied = np.nan_to_num(network.column["tie_probability"]) > 0.0
    names = network.text["tie_section_id"]
    place = {str(name): i for i, name in enumerate(network.ids)}
    other = np.array([place.get(str(name), -1) if name else -1 for name in names], dtype=int)
    named = other >= 0
    most = np.where(named, as_built.lockout[as_built.reclosing_device[other]] - 1.0, np.inf)
    # the least over a zone, as the largest of what is turned round
    most = -largest_below(np.where(tied, -most, -np.inf), network.size)[backup] if n else np.zeros(len(head))
    any_tie = network.below(tied.astype(float))[backup] > 0.5
    unnamed = network.below((tied & ~named).astype(float))[backup] > 0.5
    limit = np.where(any_tie & np.isfinite(most), most, np.nan)
    counts = np.where(any_tie, proposal.counts, np.nan)
    fits = ~(proposal.counts > limit)
    return judge("ties", counts, limit, settled=[
        Settled(any_tie & unnamed & fits, REVIEW,
                "a tie in the backup's zone does not name its other side: the counts have to be fewer than the "
                "operations of that source's device too"),
        Settled(~any_tie, PASS, "the backup's zone has no tie to another source")])


def reclosing_off(model: Model, proposal: Proposal) -> Check:
    """Share of the faults that meet the backup while its reclosing is off, when no sectionalizer opens (model §3)."""
    network, values = model.network, model.values
    own = np.where(proposal.backup >= 0, network.column["reclosing_off_share"][proposal.backup], np.nan)
    share = np.where(np.isnan(own), float(values["reclosing_off_share"]), own)
    return judge("reclosing_off", share, np.zeros(len(share)))
