"""Breakers that an export places at the one node where several feeders begin: each heads one of them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd

from reliability.intake.decisions import NETWORK, Decision
from reliability.intake.device_rows import Devices, is_device
from reliability.intake.findings import AMBER, DEVICE, Findings
from reliability.intake.kinds import DEVICE_COLUMNS
from reliability.intake.placing import matching
from reliability.intake.spans import Spans, rank_by_name
from reliability.schema.devices import SOURCE_DEVICES


def breakers_apart(spans: Spans, up: np.ndarray, into: np.ndarray, fed: np.ndarray, devices: Devices,
                   findings: Findings) -> tuple[Devices, list[Decision]]:
    """Devices with those on the segments that they head, and what is open about them.

    up, into, fed: see `place_devices`. Where their phases or names do not tell, they are taken in the order of their
    names if they are alike, so that no expected value depends on it; else it is asked.
    """
    span, decisions = devices.span.copy(), []
    recloses = np.isin(devices.kinds.astype(str), SOURCE_DEVICES) & is_device(devices.kinds)
    here = np.flatnonzero(recloses & ~devices.open & (devices.span < 0) & (devices.node >= 0))
    here = here[into[devices.node[here]] < 0]
    ordered: list[str] = []
    for _, group in pd.Series(here).groupby([devices.node[here], devices.kinds[here]], sort=False):
        beyond = fed[up[fed] == devices.node[group.iloc[0]]]
        if len(group) < 2 or len(beyond) < 2:
            continue
        found = _told(spans, devices, group.to_numpy(), beyond)
        left = group.to_numpy()[[d not in found for d in group]]
        free = beyond[~np.isin(beyond, list(found.values()))]
        if len(left) == len(free) and _alike(devices, left):
            by_name = zip(left[np.argsort(rank_by_name(devices.ids[left]))],
                          free[np.argsort(rank_by_name(spans.ids[free]))], strict=True)
            found |= {int(d): int(s) for d, s in by_name}
            ordered += [f"{devices.ids[d]} before {spans.ids[found[d]]}" for d in left.tolist()]
        else:
            decisions += [_open(spans, devices, d, free) for d in left.tolist()]
        span[list(found)] = list(found.values())
    findings.add("devices", "breakers_in_order", "Breakers at one node where several feeders begin, alike, of which no "
                 "name says which they head: taken in the order of names. Is it otherwise, state it in [network] place",
                 AMBER, ordered, DEVICE)
    return replace(devices, span=span), decisions


def _told(spans: Spans, devices: Devices, group: np.ndarray, beyond: np.ndarray) -> dict[int, int]:
    """Device → the one segment that its phases match, or whose own name or feeder's its name holds as a word of its own
    (F1 of CB-F1, not of CB-F10); each once."""
    keys = {int(s): [str(name).casefold() for name in (spans.ids[s], spans.frame["feeder_id"].iloc[s]) if name]
            for s in beyond}
    found = {}
    for d in group.tolist():
        one, own = matching(spans, devices, d, beyond), str(devices.ids[d]).casefold()
        named = [s for s, of in keys.items() if any(re.search(rf"(?<!\w){re.escape(k)}(?!\w)", own) for k in of)]
        if one >= 0 or len(named) == 1:
            found[d] = one if one >= 0 else named[0]
    taken = list(found.values())
    return {d: s for d, s in found.items() if taken.count(s) == 1}


def _alike(devices: Devices, group: np.ndarray) -> bool:
    """Whether devices differ by their names alone."""
    frame = devices.frame.iloc[group][[c for c in DEVICE_COLUMNS if c != "device_id"]].astype(str)
    return bool((frame.nunique() <= 1).all())


def _open(spans: Spans, devices: Devices, d: int, free: np.ndarray) -> Decision:
    names = ", ".join(str(spans.ids[s]) for s in free)
    return Decision(NETWORK, "devices", "device_id", str(devices.ids[d]), "several breakers stand at the node where "
                    f"feeders begin, and which segment each heads is open ({names})",
                    f'[network] place = {{ "{devices.ids[d]}" = "…" }}')
