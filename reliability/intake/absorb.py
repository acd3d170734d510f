"""Devices between two nodes moved to the one segment that begins behind them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reliability.intake.device_rows import Devices
from reliability.intake.spans import Spans
from reliability.intake.walk import Walk


def absorb_edges(spans: Spans, devices: Devices, walked: Walk) -> tuple[Spans, Devices, Walk]:
    """Spans, devices and the walk without those spans of no length whose device can stand on the one segment behind
    it instead.

    That is so where one segment begins there, which has no device of its own, and no device stands at the node between.
    """
    up, down, into = walked.up.copy(), walked.down, walked.into.copy()
    fed = np.zeros(len(spans), bool)
    fed[walked.depth_order] = True
    begins = np.bincount(up[fed], minlength=len(spans.nodes))
    carries = np.zeros(len(spans), bool)
    carries[devices.span[(devices.span >= 0)]] = True
    occupied = np.zeros(len(spans.nodes), bool)
    occupied[devices.node[devices.node >= 0]] = True
    first = np.full(len(spans.nodes), -1)
    first[up[walked.depth_order]] = walked.depth_order
    edges = np.flatnonzero(fed & spans.inserted)
    beyond = first[down[edges]]
    good = (begins[down[edges]] == 1) & (beyond >= 0) & ~occupied[down[edges]]
    good &= ~spans.inserted[beyond] & ~carries[beyond] & (spans.frame["device"].to_numpy(object)[beyond] == "")
    edges, beyond = edges[good], beyond[good]
    moved = np.arange(len(spans))
    moved[edges] = beyond
    span = devices.span.copy()
    span[span >= 0] = moved[span[span >= 0]]
    into[down[edges]] = beyond
    ends = spans.ends.copy()        # the segment now begins where the device's span did
    ends[beyond] = np.where(ends[beyond] == down[edges][:, None], up[edges][:, None], ends[beyond])
    up[beyond] = up[edges]
    down = down.copy()
    up[edges], down[edges] = -1, -1
    gone = np.zeros(len(spans), bool)
    gone[edges] = True
    order = walked.depth_order[~gone[walked.depth_order]]
    return replace(spans, ends=ends), replace(devices, span=span), replace(walked, up=up, down=down, into=into,
                                                                           depth_order=order)
