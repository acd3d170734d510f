"""The model's rules played out one by one: slow, plain, and written apart from the package.

For every scenario, section, kind of fault, part of the faults, place along the section, state of reclosing and on/off
pattern of the devices on the way to the reclosing device, the operations are played from the first to lockout and the
consequences added up. Nothing here imports `reliability.network`, `reliability.faults` or `reliability.indices`, so an
agreement with them means something. Devices and scenarios are in enumeration_network.py, faults and the sequence in
enumeration_faults.py, times in enumeration_curves.py. `applicable_only` is not known here.

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
from itertools import product

from tests.enumeration_faults import PERMANENT, kinds, parts, patterns, places, play, states
from tests.enumeration_network import SECTIONALIZER, Network, Tree, laterals_of, read_sections

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


# --- one fault ---------------------------------------------------------------------------


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
    near = sum(spread[name] for name in below if name in stretch)
    elsewhere = sum(spread[name] for name in below if name not in stretch)
    inside = min(1.0, involved / network.phases[fault])
    outside = max(0.0, (share * (near + elsewhere) - inside * near) / elsewhere) if elsewhere else inside
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
