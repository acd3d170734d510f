"""The model's rules played out one by one: slow, plain, and written apart from the package.

For every scenario, section, kind of fault, part of the faults, place along the section, state of reclosing and on/off
pattern of the devices on the way to the reclosing device, the operations are played from the first to lockout and the
consequences added up. Nothing here imports `reliability.network`, `reliability.faults` or `reliability.indices`, so an
agreement with them means something. Devices and scenarios are in enumeration_network.py, times in
enumeration_curves.py. `applicable_only` is not known here.

`enumerate_study` gives, by scenario name, a dict of

    saifi, saidi_min, caidi_min, asai, maifi, maifi_e    None where no customer is served
    ens_mwh, customers_served, callouts {refuse, reset, repair, patrol} per year
    sectionalizer_operations                             events a year that one ends
    actuators                                            poles of sectionalizers that open, a year
    cemi {1 … 6}                                         share of customers
    sections {section_id: {failure_rate, outage_hours}}  per year, seen by a customer there
    laterals {section_id: {customer_interruptions, customer_hours, momentary_events}}
                                                         per year, of the faults on the lateral
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise, product

from tests.enumeration_curves import (
    BOTH,
    FUSE_ALONE,
    by_simple_rule,
    by_times,
    cuts_by_times,
    elements_that_act,
    read_curves,
)
from tests.enumeration_network import (
    DEVICES_ALONG,
    FUSE,
    RECLOSING_DEVICES,
    SECTIONALIZER,
    Tree,
    converted,
    laterals_of,
    read_sections,
    settings,
)

KM_PER_MILE = 1.609344
PERMANENT = None  # in place of the dead time in which a fault clears
CALLOUT_OF_TEMPORARY = {"fuse": "refuse", "sectionalizer": "reset", "lateral_recloser": "reset",
                        "breaker": "patrol", "recloser": "patrol"}


def momentary_customers(opening: float, sustained: float) -> float:
    """Customers who see only momentaries when O ≠ R stays open and R opened at least once.

    opening: customers whom R's openings interrupt; sustained: those of them below O. Never below 0: with the
    customers spread evenly over the phases of an R that opens by phase, one phase can hold fewer of them than a
    device of fewer phases below it serves.
    """
    return max(0.0, opening - sustained)


def momentary_customers_to_the_letter(opening: float, sustained: float) -> float:
    """The same without that limit; differs only where it is negative."""
    return opening - sustained


class Network:
    """The sections of a study under one scenario, their devices' settings, and what is looked up often."""

    def __init__(self, study, rows: dict[str, dict], tree: Tree, scenario):
        self.values, self.tree = study.values, tree
        self.rows = converted(rows, tree, scenario, study.values)
        curves = read_curves(getattr(study, "curves", None))
        self.devices = {name: settings(row, study.values, curves) for name, row in self.rows.items()
                        if row.get("device")}
        self.customers = {name: float(row["customers"]) for name, row in rows.items()}
        self.three_phase = {name: float(row.get("customers_three_phase", 0.0)) for name, row in rows.items()}
        self.phases = {name: int(row["phases"]) for name, row in rows.items()}
        known = [current for name in rows for current in self.currents(name) or ()]
        self.range = (min(known), max(known)) if known else None
        self.stretches = {name: tree.stretch(name, rows) for name in rows}
        self._cuts: dict[tuple, list[float]] = {}

    def above(self, fault: str) -> tuple[list[dict], dict]:
        """The chain of a section, nearest the fault first, and its reclosing device."""
        chain = []
        for name in self.tree.upward(fault):
            device = self.devices.get(name)
            if device and device["device"] in RECLOSING_DEVICES:
                return chain, device
            if device and device["device"] in DEVICES_ALONG:
                chain.append(device)
        raise AssertionError("every root has a reclosing device")

    def currents(self, name: str) -> tuple[float, float] | None:
        """Fault currents at the two ends of a section, A, with their factor; None where one is unknown."""
        row, factor = self.rows[name], self.values.get("fault_current_factor", 1.0)
        if "fault_current_source_a" not in row or "fault_current_end_a" not in row:
            return None
        return factor * float(row["fault_current_source_a"]), factor * float(row["fault_current_end_a"])

    def cuts(self, backup: dict, held: dict, ground: bool) -> list[float]:
        """Currents at which the race of a reclosing device and a link may turn, found once per pair."""
        link = held["link"]
        key = (backup["section"], link["name"], ground)
        if key not in self._cuts:
            seeing = [e for e in backup["elements"] if ground or not e["ground"]]
            self._cuts[key] = cuts_by_times(link, held["factor"], seeing, *self.range)
        return self._cuts[key]


# --- what may happen ---------------------------------------------------------------------


def kinds(row: dict, values):
    """Yield (rate per year, dead time in which the fault clears) of a section's faults."""
    length = row["length_km"] if "length_km" in row else KM_PER_MILE * row["length_mi"]
    per_km = (row["line_fault_rate_per_mi"] / KM_PER_MILE if "line_fault_rate_per_mi" in row
              else row.get("line_fault_rate_per_km", values["line_fault_rate_per_km"]))
    rate = float(length) * float(per_km) + float(row.get("equipment_fault_rate", 0.0))
    temporary = float(row.get("temporary_fraction", values["temporary_fraction"]))
    yield rate * (1 - temporary), PERMANENT
    for dead_time, share in enumerate(values["clearing_shares"], start=1):
        yield rate * temporary * share, dead_time


def states(backup: dict, values) -> list[tuple[float, dict]]:
    """(Probability, the reclosing device in that state): in normal operation, and with reclosing off."""
    off = backup | {"off": True, "operations": 1,
                    "fast": 1 if values.get("reclosing_off_trip", "delayed") == "fast" else 0}
    return [(1 - backup["off_share"], backup), (backup["off_share"], off)]


def parts(phases: int, backup: dict, values) -> list[tuple[float, float, bool]]:
    """(Probability, mean phases involved, whether ground elements see it) of the parts of a section's faults."""
    one, two, three = values["phases_involved"]
    if phases == 1:
        return [(1.0, 1.0, True)]
    if phases == 2:
        return [(1.0, one + 2 * (two + three), True)]
    if not any(e["ground"] for e in backup["elements"]):
        return [(1.0, one + 2 * two + 3 * three, True)]
    if one + two == 0:
        return [(1.0, 3.0, False)]
    return [(one + two, (one + 2 * two) / (one + two), True), (three, 3.0, False)]


def patterns(chain: list[dict]) -> Iterator[tuple[float, list[dict], dict | None]]:
    """Yield (probability, the devices that work, the fuse to be asked with the link it holds).

    Only the working fuse nearest the fault is asked, so only its link matters.
    """
    for works in product((True, False), repeat=len(chain)):
        probability = 1.0
        for device, does in zip(chain, works, strict=True):
            probability *= 1 - device["failure"] if does else device["failure"]
        working = [device for device, does in zip(chain, works, strict=True) if does]
        fuse = next((device for device in working if device["device"] == FUSE), None)
        if fuse is None:
            yield probability, working, None
            continue
        for held, link, ceiling in fuse["links"]:
            yield probability * held, working, fuse | {"link": link, "ceiling": ceiling}


def places(network: Network, fault: str, working: list[dict], fuse: dict | None, backup: dict, ground: bool
           ) -> list[tuple[float, float | None]]:
    """Stretches of the section as (share of it, current in A at its middle), None where unknown."""
    currents = network.currents(fault)
    if currents is None:
        return [(1.0, None)]
    near, far = currents
    if near == far:
        return [(1.0, near)]
    thresholds = [device["actuating"] for device in working if device["device"] == SECTIONALIZER]
    if fuse and fuse["link"] and backup["elements"]:
        thresholds += network.cuts(backup, fuse, ground)
    elif fuse:
        thresholds += [fuse["ceiling"]] + ([fuse["link"]["clearing"].points[0][0]] if fuse["link"] else [])
    cuts = {0.0, 1.0}
    for threshold in thresholds:
        if 0 < threshold < math.inf:
            x = (1 / threshold - 1 / near) / (1 / far - 1 / near)
            if 0 < x < 1:
                cuts.add(x)
    return [(right - left, 1 / ((1 - (left + right) / 2) / near + (left + right) / 2 / far))
            for left, right in pairwise(sorted(cuts))]


# --- one fault ---------------------------------------------------------------------------


def which(fuse: dict, backup: dict, current: float | None, fast: bool, ground: bool) -> str:
    """Which of the three happens on one operation."""
    if backup["elements"] and fuse["link"] and current is not None:
        return by_times(fuse["link"], fuse["factor"], elements_that_act(backup["elements"], fast, ground), current)
    return by_simple_rule(fuse["link"], fuse["ceiling"], current, fast)


def play(working: list[dict], fuse: dict | None, backup: dict, current: float | None, ground: bool,
         clears_in: int | None) -> tuple[dict | None, int]:
    """The device left open (None: nothing) and how often the reclosing device opened.

    working: the working fuses and sectionalizers, nearest the fault first; fuse: the first fuse of them, with its link.
    """
    last = backup["operations"]
    for operation in range(1, last + 1):
        ready = [device for device in working if device["device"] == SECTIONALIZER
                 and not (current is not None and current < device["actuating"]) and device["counts"] <= operation]
        if fuse:
            happens = which(fuse, backup, current, operation <= backup["fast"], ground)
            if happens == FUSE_ALONE:
                return fuse, operation - 1
            if happens == BOTH:
                if operation == last:
                    return backup, operation
                sections = [device["section"] for device in ready] + [fuse["section"]]
                return next(d for d in reversed(working) if d["section"] in sections), operation
        if operation == last:
            return backup, operation
        if ready:
            return ready[-1], operation
        if clears_in is not PERMANENT and clears_in <= operation:
            return None, operation
    raise AssertionError("the last operation always ends it")


def share_of(device: dict, involved: float, network: Network, locks_out: bool) -> float:
    """Share of the customers below an opening device that it interrupts."""
    if device["tripping"] == "three_phase" or (locks_out and device["tripping"] == "single_phase_three_phase_lockout"):
        return 1.0
    return min(1.0, involved / network.phases[device["section"]])


def shares_below(opened: dict, fault: str, involved: float, network: Network) -> dict[str, float]:
    """Share of the customers that are not three-phase interrupted for long, by section below the opened device."""
    below, stretch = network.tree.below[opened["section"]], network.stretches[fault]
    share = share_of(opened, involved, network, locks_out=True)
    if opened["section"] in stretch or share == 1:
        return dict.fromkeys(below, share)
    spread = {name: network.customers[name] - network.three_phase[name] for name in below}
    everyone, near = sum(spread.values()), sum(spread[name] for name in below if name in stretch)
    inside = min(1.0, involved / network.phases[fault])
    if not any(spread[name] for name in below if name not in stretch):
        outside = inside
    else:
        outside = max(0.0, (share * everyone - inside * near) / (everyone - near))
    return {name: share if spread[name] == 0 else inside if name in stretch else outside for name in below}


def hours_to_restore(network: Network, fault: str, opened: dict, permanent: bool, walked: bool) -> dict[str, float]:
    """Mean hours without supply by section below the opened device; `walked`: it locked out with reclosing off."""
    tree, rows, values = network.tree, network.rows, network.values
    below = tree.below[opened["section"]]
    patrol = values.get("patrol_reclosing_off_hours")
    patrol = float(values["patrol_hours"] if patrol is None else patrol)
    if not permanent:
        usual = float(values[CALLOUT_OF_TEMPORARY[opened["device"]] + "_hours"])
        return dict.fromkeys(below, patrol if walked else usual)
    repair = float(rows[fault].get("repair_hours", values["repair_hours"]))
    switching = float(values["switching_hours"])
    if walked:
        switching = max(switching, patrol)
        repair = max(switching, repair)
    hours = {}
    for name in below:
        path = tree.upward(name)
        in_block = [tree.block[s] == tree.block[fault] for s in path]
        if in_block[0]:
            hours[name] = repair
        elif any(in_block):
            tie = tree.tie[path[in_block.index(True) - 1]]
            hours[name] = tie * switching + (1 - tie) * repair
        else:
            hours[name] = switching
    return hours


@dataclass(frozen=True)
class Consequence:
    """What one fault does: by section the customers interrupted for long and their hours, and the rest.

    shares: of the customers that are not three-phase; those are interrupted whole, everywhere in `shares`.
    opening: customers whom an opening of the reclosing device interrupts; sustained: customers interrupted for long.
    """

    shares: dict[str, float]
    hours: dict[str, float]
    opening: float
    sustained: float
    only_momentary: bool
    interruptions: int
    callout: str | None = None
    actuators: float = 0.0

    def momentary(self, rule: Callable[[float, float], float] = momentary_customers) -> float:
        """Customers who have one momentary event."""
        return rule(self.opening, self.sustained) if self.only_momentary else 0.0


def consequence(network: Network, fault: str, backup: dict, involved: float, opened: dict | None, openings: int,
                permanent: bool) -> Consequence:
    """Who is interrupted, and for how long (model.md §4)."""
    zone = network.tree.below[backup["section"]]
    r_share = share_of(backup, involved, network, locks_out=False)
    opening = sum(interrupted(network, name, r_share) for name in zone)
    if opened is None:
        return Consequence({}, {}, opening, 0.0, True, openings)
    is_backup = opened["section"] == backup["section"]
    walked = is_backup and backup["off"]
    shares = shares_below(opened, fault, involved, network)
    callout = "repair" if permanent else "patrol" if walked else CALLOUT_OF_TEMPORARY[opened["device"]]
    found = Consequence(shares, hours_to_restore(network, fault, opened, permanent, walked), opening,
                        sum(interrupted(network, name, share) for name, share in shares.items()),
                        not is_backup and openings >= 1, openings, callout)
    if opened["device"] != SECTIONALIZER:
        return found
    phases = network.phases[opened["section"]]
    return replace(found, actuators=phases if opened["tripping"] == "three_phase" else min(involved, phases))


def interrupted(network: Network, name: str, share: float) -> float:
    """Customers of a section interrupted where `share` of those that are not three-phase are."""
    return (network.customers[name] - network.three_phase[name]) * share + network.three_phase[name]


# --- the sums ----------------------------------------------------------------------------


def enumerate_study(study, momentary: Callable[[float, float], float] = momentary_customers) -> dict[str, dict]:
    """Results by scenario name; see the top of the module for what they hold."""
    rows = read_sections(study)
    tree = Tree(rows)
    return {scenario.name: _scenario_results(Network(study, rows, tree, scenario), laterals_of(rows, tree), momentary)
            for scenario in study.scenarios}


def classes(network: Network, fault: str) -> Iterator[tuple[float, Consequence, str]]:
    """Yield (rate per year, consequence, device left open or "") of every fault class of a section."""
    chain, backup = network.above(fault)
    row, values = network.rows[fault], network.values
    for (in_state, device), part in product(states(backup, values), parts(network.phases[fault], backup, values)):
        of_part, involved, ground = part
        for held, working, fuse in patterns(chain):
            if in_state * of_part * held == 0:
                continue
            for at_place, current in places(network, fault, working, fuse, device, ground):
                for rate, clears_in in kinds(row, values):
                    rate *= in_state * of_part * held * at_place
                    if rate == 0:
                        continue
                    opened, openings = play(working, fuse, device, current, ground, clears_in)
                    yield rate, consequence(network, fault, device, involved, opened, openings,
                                            clears_in is PERMANENT), opened["device"] if opened else ""


def _scenario_results(network: Network, laterals: list[str], momentary) -> dict:
    names = list(network.rows)
    rates = {name: [0.0, 0.0] for name in names}  # of customers that are not three-phase, and of those that are
    hours = {name: [0.0, 0.0] for name in names}
    of_lateral = {name: {"customer_interruptions": 0.0, "customer_hours": 0.0, "momentary_events": 0.0}
                  for name in laterals}
    callouts = dict.fromkeys(("refuse", "reset", "repair", "patrol"), 0.0)
    events = interruptions = operations = actuators = 0.0
    for fault in names:
        home = next((of_lateral[s] for s in network.tree.upward(fault) if s in of_lateral), None)
        for rate, effect, opened in classes(network, fault):
            for name, share in effect.shares.items():
                for kind, of_kind in enumerate((share, 1.0)):
                    rates[name][kind] += rate * of_kind
                    hours[name][kind] += rate * of_kind * effect.hours[name]
            count = effect.momentary(momentary)
            events += rate * count
            interruptions += rate * count * effect.interruptions
            operations += rate if opened == SECTIONALIZER else 0.0
            actuators += rate * effect.actuators
            if effect.callout:
                callouts[effect.callout] += rate
            if home:
                home["momentary_events"] += rate * count
                home["customer_interruptions"] += rate * effect.sustained
                home["customer_hours"] += rate * sum(interrupted(network, name, share) * effect.hours[name]
                                                     for name, share in effect.shares.items())
    return {"callouts": callouts, "sectionalizer_operations": operations, "actuators": actuators,
            "laterals": of_lateral, **_indices(network, rates, hours, events, interruptions)}


def _indices(network: Network, rates, hours, events: float, interruptions: float) -> dict:
    customers, three_phase = network.customers, network.three_phase
    served = sum(customers.values())

    def seen(of_kind: dict, name: str) -> float:
        """Of a customer of the section on the average; of one that is not three-phase where there is none."""
        portion = three_phase[name] / customers[name] if customers[name] else 0.0
        return (1 - portion) * of_kind[name][0] + portion * of_kind[name][1]

    sections = {name: {"failure_rate": seen(rates, name), "outage_hours": seen(hours, name)} for name in customers}
    load = {name: float(row.get("load_kw", 0.0)) for name, row in network.rows.items()}
    found = {"customers_served": served, "sections": sections,
             "ens_mwh": sum(load[name] * sections[name]["outage_hours"] for name in sections) / 1000}
    if served == 0:
        return found | dict.fromkeys(("saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e")) | {
            "cemi": dict.fromkeys(range(1, 7))}
    saifi = sum(customers[name] * sections[name]["failure_rate"] for name in sections) / served
    saidi = 60 * sum(customers[name] * sections[name]["outage_hours"] for name in sections) / served
    yearly_cv = network.values["yearly_cv"]
    cemi = {n: sum((customers[name] - three_phase[name]) * at_least(n, rates[name][0], yearly_cv)
                   + three_phase[name] * at_least(n, rates[name][1], yearly_cv) for name in customers) / served
            for n in range(1, 7)}
    return found | {
        "saifi": saifi, "saidi_min": saidi, "caidi_min": saidi / saifi if saifi > 0 else None,
        "asai": 1 - saidi / 525_600, "maifi": interruptions / served, "maifi_e": events / served, "cemi": cemi}


def at_least(n: int, mean: float, yearly_cv: float) -> float:
    """Probability of n or more in a year: Poisson, or negative binomial of shape 1/cv²."""
    if mean == 0:
        return 0.0
    if yearly_cv == 0:
        chance, ratio = math.exp(-mean), lambda k: mean / (k + 1)
    else:
        shape = 1 / yearly_cv**2
        chance = math.exp(-shape * math.log1p(mean / shape))
        ratio = lambda k: (shape + k) / (k + 1) * mean / (mean + shape)  # noqa: E731
    total, k = 0.0, 0
    while k < n or k < mean or chance > 1e-18 * total:  # the tail itself: 1 minus the rest would lose digits
        total += chance if k >= n else 0.0
        chance *= ratio(k)
        k += 1
    return total
