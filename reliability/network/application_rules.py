"""Would a sectionalizer work at the head of this lateral: the rules, one function each."""

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
from reliability.network.application_reach import Reach, largest_current_a, smallest_current_a
from reliability.network.device_settings import (
    ALL_ELEMENTS,
    DELAYED_OPERATION,
    FAST_OPERATION,
    clearing_times_s,
)
from reliability.network.model import Model
from reliability.network.protection import offered_ratings_a
from reliability.schema.values import Assumptions


def device_checks(model: Model, proposal: Proposal, stretch: Reach, outraced: np.ndarray) -> tuple[Check, ...]:
    """Every check of the device, in the order of `CHECKS`. outraced: see `application.Standing`."""
    values = model.values
    return (
        *load_checks(model, proposal),
        sees_faults(values, proposal, stretch),
        minimum_trip(values, proposal),
        backup_trips(proposal, stretch),
        *count_checks(proposal, outraced),
        *timing_checks(model, proposal, stretch),
        backfeed(model, proposal),
        insulation(model, proposal),
        *withstand_checks(values, stretch),
    )


def load_checks(model: Model, proposal: Proposal) -> tuple[Check, Check]:
    """Peak load × margin against the rating, cold-load pickup against the actuating current.

    Where no rating offered carries the load, both stand against the largest one.
    """
    network, values = model.network, model.values
    load = network.column["peak_load_a"][proposal.head]
    largest = offered_ratings_a()[-1]
    rated = np.where(np.isnan(proposal.rated_a), largest, proposal.rated_a)
    actuating = np.where(np.isnan(proposal.actuating_a), values["actuating_ratio"] * largest, proposal.actuating_a)
    return (judge("continuous_rating", values["load_margin"] * load, rated),
            judge("cold_load", values["cold_load_factor"] * load, actuating))


def sees_faults(values: Assumptions, proposal: Proposal, stretch: Reach) -> Check:
    """Smallest fault current of the stretch against actuating current × margin.

    Under the actuating current part of the stretch is not seen: fail. Within the margin
    every bolted fault is seen, one through a resistance may not be: review.
    """
    smallest, gaps = smallest_current_a(stretch)
    limit = values["fault_current_margin"] * proposal.actuating_a
    least, below = proposal.actuating_a * (1.0 - PRODUCT_TOLERANCE), limit * (1.0 - PRODUCT_TOLERANCE)
    marginal = (smallest >= least) & (smallest < below)
    return judge("sees_faults", smallest, limit, gaps, [
        Settled(marginal & ~gaps, REVIEW, "the smallest fault current is above the actuating current, but by less than "
                                      "the margin"),
        # a section without currents may hold a smaller one yet
        Settled(marginal & gaps, UNKNOWN, CHECK_OF_KEY["sees_faults"].missing)])


def minimum_trip(values: Assumptions, proposal: Proposal) -> Check:
    """Actuating current against the share of the backup's minimum trip, or of its least pickup of phase and ground."""
    return judge("minimum_trip", proposal.actuating_a, values["minimum_trip_share"] * proposal.minimum_trip_a)


def backup_trips(proposal: Proposal, stretch: Reach) -> Check:
    """Smallest fault current of the stretch against the pickup of the backup: where it does not open nothing counts.

    A fault that a fuse would clear and that the backup does not see would stay on the line.
    """
    smallest, gaps = smallest_current_a(stretch)
    # at the pickup itself an element does not move (model §8), at a minimum trip that is stated the device trips
    at_pickup = (proposal.settings_of >= 0) & (smallest <= proposal.trips_above_a * (1.0 + PRODUCT_TOLERANCE))
    return judge("backup_trips", smallest, proposal.trips_above_a, gaps, [
        Settled(at_pickup, FAIL, CHECK_OF_KEY["backup_trips"].broken)])


def count_checks(proposal: Proposal, outraced: np.ndarray) -> tuple[Check, Check, Check]:
    """Counts against the backup's operations, sectionalizers below and fuses below (model §3). outraced: (m,) whether a
    delayed operation clears before a fuse below melts."""
    # a backup that locks out at once admits no counts at all; the least setting shows it
    counts = np.where(np.isnan(proposal.counts) & ~np.isnan(proposal.lockout), 1.0, proposal.counts)
    fewer = Settled(counts < proposal.most_counts, PASS,
                    "it opens before the backup locks out; more counts are admissible and ride through more faults")
    alone, no_fuse = proposal.counts_below == 0.0, ~proposal.fuse_below
    return (judge("below_lockout", counts, proposal.most_counts, settled=[fewer]),
            judge("series_counts", counts, np.where(alone, np.nan, proposal.counts_below + 1.0), settled=[
                Settled(alone, PASS, "no sectionalizer below counts for the same backup")]),
            judge("fuses_below", counts, np.where(no_fuse, np.nan, proposal.fast + 1.0), settled=[
                Settled(no_fuse, PASS, "no fuse below answers to the same backup"),
                Settled(outraced, REVIEW, "by their curves the backup clears on its delayed operations before a fuse "
                                          "below melts: the whole lateral opens ahead of it")]))


def timing_checks(model: Model, proposal: Proposal, stretch: Reach) -> tuple[Check, Check]:
    """Shortest dead time against recognition and drop-out, the whole sequence against the memory.

    A device of one count opens in the first dead time, any other in a later one, which the longest may stand for. And
    counts that are kept until the device opens, if not until the backup would lock out, serve where it sees every
    opening. Both ask for review.
    """
    values, clearing = model.values, clearing_s(model, proposal, stretch)
    first, longest, counts = proposal.dead_time_s, proposal.longest_dead_time_s, proposal.counts
    needed = values["recognition_s"] + values["drop_out_s"]
    under, over = 1.0 - PRODUCT_TOLERANCE, 1.0 + PRODUCT_TOLERANCE
    later = ((first < needed * under) & (first >= values["recognition_s"] * under)
             & (longest >= needed * under) & (counts > 1.0))
    whole, own = (sequence_s(proposal, clearing, n) for n in (proposal.lockout, counts))
    until_open = (whole > values["memory_s"] * over) & (own <= values["memory_s"] * over)
    return (
        judge("dead_time", first, needed, settled=[Settled(
            later, REVIEW, "the first dead time is long enough to be counted, not to drop open: the one in which it "
                           "opens has to be longer")]),
        judge("sequence", whole, values["memory_s"], settled=[Settled(
            until_open, REVIEW, "counts are kept until it opens, but not through the backup's whole sequence: an "
                                "opening that it does not count delays it beyond its memory")]))


def clearing_s(model: Model, proposal: Proposal, stretch: Reach) -> tuple[np.ndarray, np.ndarray]:
    """Clearing times (s) of the backup's fast and delayed operations, (m,) each: by its settings at the smallest
    current of the stretch, where it is slowest; those that the study assumes where either is not known."""
    settings, own, values = model.network.settings, proposal.settings_of, model.values
    smallest, _ = smallest_current_a(stretch)
    known = np.flatnonzero((own >= 0) & ~np.isnan(smallest))
    times = []
    for kind, assumed in ((FAST_OPERATION, values["fast_clearing_time_s"]),
                          (DELAYED_OPERATION, values["delayed_clearing_time_s"])):
        seconds = np.full(len(own), float(assumed))
        seconds[known] = clearing_times_s(settings, own[known], np.array(kind), np.array(ALL_ELEMENTS), smallest[known])
        times.append(seconds)
    return times[0], times[1]


def sequence_s(proposal: Proposal, clearing: tuple[np.ndarray, np.ndarray], openings: np.ndarray) -> np.ndarray:
    """Time (s) from the backup's first opening to the one of a number, (m,); to its lockout where that is the last.

    Of the dead times between, the first is `dead_time_s` and the others the longest; the clearing times are those of
    the operations after the first: F − 1 fast ones, then delayed ones. clearing: of either, (m,) s.
    """
    further = openings - 1.0
    fast = np.clip(proposal.fast - 1.0, 0.0, further)
    dead = np.where(further > 0.0, proposal.dead_time_s + (further - 1.0) * proposal.longest_dead_time_s,
                    0.0 * proposal.dead_time_s)
    for number, seconds in zip((fast, further - fast), clearing, strict=True):
        dead = dead + np.where(number > 0.0, number, 0.0) * np.where(number > 0.0, seconds, 0.0)
    return dead


def backfeed(model: Model, proposal: Proposal) -> Check:
    """Current (A a phase) that generation and capacitors below can feed, against the dead-line threshold.

    Their sum as apparent power, (kW + kvar)·√3/(phases·kV), is never less than the true one. A
    lateral is known where at least one of its sections states the quantity, be it 0.
    """
    network, values = model.network, model.values
    head = proposal.head
    power, incomplete = np.zeros(len(head)), np.zeros(len(head), dtype=bool)
    for name in ("generation_kw", "capacitor_kvar"):
        stated = network.column[name]
        power += network.below(np.nan_to_num(stated))[head]
        incomplete |= network.below((~np.isnan(stated)).astype(float))[head] < 0.5
    power = np.where(incomplete & (power <= 0.0), np.nan, power)
    return judge("backfeed", line_current_a(model, head, power), values["dead_line_threshold_a"], incomplete)


def insulation(model: Model, proposal: Proposal) -> Check:
    """Insulation level of the device against the one asked of equipment at the head.

    The study's level belongs to its voltage: a section of a higher voltage that states no level
    of its own leaves the question open.
    """
    network, values = model.network, model.values
    asked = network.column["bil_kv"][proposal.head]
    higher = _system_kv(model)[proposal.head] > values["system_kv"] * (1.0 + PRODUCT_TOLERANCE)
    asked = np.where(np.isnan(asked), np.where(higher, np.nan, values["bil_kv"]), asked)
    return judge("insulation", values["device_bil_kv"], asked)


def withstand_checks(values: Assumptions, stretch: Reach) -> tuple[Check, Check]:
    """Largest fault current, asymmetrical and symmetrical, against the device's withstand."""
    largest, unknown_tap = largest_current_a(stretch)
    return (judge("momentary", values["asymmetry_factor"] * largest, values["momentary_withstand_a"], unknown_tap),
            judge("short_time", largest, values["short_time_withstand_a"], unknown_tap))


def line_current_a(model: Model, head: np.ndarray, power_kva: np.ndarray) -> np.ndarray:
    """Current (A a phase) of apparent power (kVA) spread evenly over the phases of each head, (m,): √3·kVA/(phases·kV).

    kV is the line-to-line voltage, so that a single phase stands at 1/√3 of it, the line-to-earth voltage.
    """
    network = model.network
    return power_kva * np.sqrt(3.0) / (network.phases[head] * _system_kv(model)[head])


def _system_kv(model: Model) -> np.ndarray:
    network, values = model.network, model.values
    own = network.column["system_kv"]
    return np.where(np.isnan(own), values["system_kv"], own)
