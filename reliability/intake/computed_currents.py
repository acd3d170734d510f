"""Fault currents where the exports state none: from the currents at the sources and the conductors of the segments."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reliability.intake.findings import AMBER, GREEN, NODE, RED, Findings
from reliability.intake.sources import Sources
from reliability.intake.spans import FROM_A, TO_A, Spans
from reliability.network.impedance import fault_currents, source_impedances, source_is_possible, sums_above


def with_computed_currents(spans: Spans, up: np.ndarray, into: np.ndarray, sources: Sources,
                           fault_resistance_ohm: float, findings: Findings) -> Spans:
    """Spans with the current of a fault to ground at their two nodes; as they are where any span states currents, or no
    source does.

    up: (spans,) node at the source's side, −1 where a span is not fed. into: (nodes,) span that arrives at each node.
    Listed are sources that lack what is needed, and conductors that the table does not have, with how often they occur.
    """
    circuit = sources.circuit
    currents = circuit[["fault_current_three_phase_a", "fault_current_a"]].to_numpy(float)
    if spans.frame[[FROM_A, TO_A]].notna().any(axis=None) or np.isnan(currents).all():
        return spans
    names = np.array([str(spans.nodes[n]) for n in sources.nodes], dtype=object)
    kv = circuit["system_kv"].to_numpy(float)
    possible = source_is_possible(*currents.T)
    findings.add("topology", "source_current", "Sources whose currents do not go together: above 0, and to ground at "
                 "most 1.5 times three-phase", RED, names[~possible], NODE)
    lacking = np.isnan(currents).all(axis=1) | np.isnan(kv)
    findings.add("topology", "source_without_current", "Sources without a fault current or a voltage: no currents "
                 "computed there", AMBER, names[lacking], NODE)
    three_phase, to_ground = np.where((possible & ~lacking)[:, None], currents, np.nan).T
    impedance = source_impedances(three_phase, to_ground, kv, circuit["x_over_r"].to_numpy(float))
    of_node = np.full(len(spans.nodes) + 1, -1)
    of_node[sources.nodes] = np.arange(len(names))
    parent = np.where(up >= 0, into[up], -1)
    source = np.where(parent < 0, of_node[up], -1)
    positive, zero, volts = (np.where(source >= 0, of[source], np.nan) for of in (*impedance, kv))
    volts = sums_above(parent, np.where(parent < 0, volts, 0.0))     # those of the source hold all the way down
    found = fault_currents(parent, spans.km, spans.frame["conductor"].to_numpy(object), (positive, zero), volts,
                           fault_resistance_ohm)
    findings.add("topology", "conductor_unknown", "Conductors that are not in the table: no currents there and beyond",
                 AMBER, [f"{name or '(blank)'}: {count}" for name, count in found.unknown.items()], "conductor")
    turned = (up >= 0) & (up != spans.ends[:, 0])
    frame = spans.frame.copy()
    frame[FROM_A] = np.where(turned, found.end_a, found.source_a)
    frame[TO_A] = np.where(turned, found.source_a, found.end_a)
    findings.add("topology", "currents_computed", "Segments with fault currents computed from source and conductors, "
                 f"faults to ground through {fault_resistance_ohm:g} Ω", GREEN,
                 spans.ids[frame[FROM_A].notna().to_numpy()])
    return replace(spans, frame=frame)
