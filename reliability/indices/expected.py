"""Expected values: rate × consequence, summed over the outcome table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from reliability.faults.consequences import CALLOUTS, Consequences, consequences, waiting_below
from reliability.faults.outcomes import OutcomeTable, row_rates
from reliability.indices import definitions
from reliability.indices.measures import counts
from reliability.network.tree import Network

# A table of this many rows is worked through in slices, so that memory stays bounded.
ROWS_AT_ONCE = 500_000


@dataclass(frozen=True)
class Expected:
    """Expected yearly values of one scenario over a network of n sections, arrays (n,).

    What the faults on each section cause: fault_ci (customer interruptions),
    fault_customer_hours, fault_load_kwh, fault_momentary_events, fault_momentary_interruptions
    (customers'), fault_callouts (n, 4) in the order of CALLOUTS, fault_sectionalizer_operations.
    What a customer on each section sees: failure_rate (sustained interruptions a year),
    outage_hours (a year), momentary_event_rate, momentary_interruption_rate.
    """

    network: Network
    fault_ci: np.ndarray
    fault_customer_hours: np.ndarray
    fault_load_kwh: np.ndarray
    fault_momentary_events: np.ndarray
    fault_momentary_interruptions: np.ndarray
    fault_callouts: np.ndarray
    fault_sectionalizer_operations: np.ndarray
    failure_rate: np.ndarray
    outage_hours: np.ndarray
    momentary_event_rate: np.ndarray
    momentary_interruption_rate: np.ndarray


def expected_values(table: OutcomeTable, values: Mapping[str, object]) -> tuple[Expected, ...]:
    """Expected yearly values of every scenario of the table, at the given assumptions."""
    rates = row_rates(table, values)
    waiting = {name: waiting_below(table.network, v) for name, v in
               (("customers", table.network.customers), ("load", table.network.load_kw))}
    return tuple(_scenario(table, s, rates, values, waiting) for s in range(len(table.scenarios)))


def _scenario(table: OutcomeTable, scenario: int, rates: np.ndarray, values: Mapping[str, object],
              waiting: dict[str, np.ndarray]) -> Expected:
    network, n = table.network, len(table.network)
    caused: dict[str, np.ndarray] = {}
    seen: dict[str, np.ndarray] = {}
    for start in range(0, max(len(table), 1), ROWS_AT_ONCE):
        rows = slice(start, start + ROWS_AT_ONCE)
        what = consequences(table, scenario, values, rows)
        section, rate = table.section[rows], rates[rows]
        for name, amount in _caused(network, what, waiting, values["switching_hours"]).items():
            caused[name] = caused.get(name, 0.0) + np.bincount(section, rate * amount, n)
        for name, (at, amount) in _seen(network, what, section, values["switching_hours"]).items():
            seen[name] = seen.get(name, 0.0) + np.bincount(at, rate * amount, n)
    path = network.along_path
    outage_hours = path(seen["all_hours"]) + _block_hours(network, seen["extra_hours"])
    return Expected(
        network, caused["ci"], caused["customer_hours"], caused["load_kwh"], caused["momentary_events"],
        caused["momentary_interruptions"], np.column_stack([caused[c] for c in CALLOUTS]),
        caused["sectionalizer_operations"],
        failure_rate=path(seen["rate"]), outage_hours=outage_hours,
        momentary_event_rate=path(seen["events_zone"]) - path(seen["events_exempt"]),
        momentary_interruption_rate=path(seen["interruptions_zone"]) - path(seen["interruptions_exempt"]),
    )


def _caused(network: Network, what: Consequences, waiting: dict[str, np.ndarray],
            switching_hours: float) -> dict[str, np.ndarray]:
    """Amounts per event, (rows,), by name."""

    def hours(below: np.ndarray, waiting_in: np.ndarray) -> np.ndarray:
        wait = what.waiting(below, waiting_in)
        return wait * what.waiting_hours + (what.sustained(below) - wait) * switching_hours

    return counts(network, what) | {"customer_hours": hours(network.customers_below, waiting["customers"]),
                                    "load_kwh": hours(network.load_below, waiting["load"])}


def _seen(network: Network, what: Consequences, section: np.ndarray,
          switching_hours: float) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """(section, amount) per event: what is seen by everybody below that section.

    "extra_hours" stands at the block that waits: the hours by which its repair exceeds switching.
    """
    opens = what.opened >= 0
    at, share = np.where(opens, what.opened, 0), np.where(opens, what.share, 0.0)
    repair = what.waits >= 0
    zone, exempt = what.momentary_zone, what.momentary_exempt
    return {
        "rate": (at, share),
        "all_hours": (at, share * np.where(repair, switching_hours, what.waiting_hours)),
        "extra_hours": (network.block[section], np.where(repair, share * (what.waiting_hours - switching_hours), 0.0)),
        "events_zone": (what.recloser, zone),
        "events_exempt": (at, exempt),
        "interruptions_zone": (what.recloser, zone * what.openings),
        "interruptions_exempt": (at, exempt * what.openings),
    }


def _block_hours(network: Network, extra: np.ndarray) -> np.ndarray:
    """Hours seen because of repairs, (n,), from their excess over switching by block head.

    Whoever is in the block or beyond its devices waits, but a subtree with a tie only with
    the chance that the tie cannot take it over.
    """
    heads = np.flatnonzero((network.block == np.arange(len(network))) & (network.parent >= 0))
    relief = np.zeros(len(network))
    relief[heads] = network.tie_below[heads] * extra[network.block[network.parent[heads]]]
    return network.along_path(extra - relief)


def system_indices(expected: Expected, yearly_cv: float) -> dict[str, object]:
    """The indices of contract.md's summary.json, NaN where one does not exist."""
    network = expected.network
    served = float(network.customers.sum())
    result = _indices(served, expected.fault_ci.sum(), expected.fault_customer_hours.sum(),
                      expected.fault_momentary_interruptions.sum(), expected.fault_momentary_events.sum())
    result["ens_mwh"] = float(expected.fault_load_kwh.sum()) / 1000.0
    result["cemi"] = {str(k): v for k, v in
                      definitions.cemi(expected.failure_rate, network.customers, yearly_cv).items()}
    result["callouts"] = dict(zip(CALLOUTS, expected.fault_callouts.sum(axis=0).tolist(), strict=True))
    result["sectionalizer_operations"] = float(expected.fault_sectionalizer_operations.sum())
    result["customers_served"] = served
    return result


def feeder_indices(expected: Expected) -> dict[str, dict[str, float]]:
    """Indices of the customers of each feeder, by feeder id."""
    network, m = expected.network, len(expected.network.feeder_ids)

    def total(seen: np.ndarray) -> np.ndarray:
        return np.bincount(network.feeder, network.customers * seen, m)

    served = np.bincount(network.feeder, network.customers, m)
    sums = [total(a) for a in (expected.failure_rate, expected.outage_hours,
                               expected.momentary_interruption_rate, expected.momentary_event_rate)]
    return {str(name): _indices(served[i], *(s[i] for s in sums)) | {"customers_served": float(served[i])}
            for i, name in enumerate(network.feeder_ids)}


def _indices(served: float, ci: float, customer_hours: float, momentary_interruptions: float,
             momentary_events: float) -> dict[str, object]:
    saifi = float(definitions.per_customer(ci, served))
    saidi = float(definitions.saidi_minutes(customer_hours, served))
    return {
        "saifi": saifi,
        "saidi_min": saidi,
        "caidi_min": float(definitions.caidi_minutes(saidi, saifi)),
        "asai": float(definitions.asai(saidi)),
        "maifi": float(definitions.per_customer(momentary_interruptions, served)),
        "maifi_e": float(definitions.per_customer(momentary_events, served)),
    }
