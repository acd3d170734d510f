"""Packs to test on: laterals of a few rows, chosen as a selection would choose them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from reliability.network.application import ApplicationChecks
from reliability.report.work_pack_jobs import WorkPack, work_pack


def selection_of(checks: ApplicationChecks, ids: Sequence[str] | None = None, device: str = "sectionalizer",
                 **more: object) -> pd.DataFrame:
    """A selection that converts these laterals, all of them where it is None, one unit a phase."""
    network, head = checks.network, checks.proposal.head
    place = {str(i): k for k, i in enumerate(checks.lateral_ids)}
    ids = list(place) if ids is None else list(ids)
    at = np.array([place[i] for i in ids], dtype=int)
    frame = pd.DataFrame({"what": "lateral", "section_id": ids, "device": device, "counts": checks.proposal.counts[at],
                          "fast_operations_of_backup": checks.proposal.fast[at],
                          "units": network.phases[head[at]].astype(float)})
    return frame.assign(**more)


def pack_of(checks: ApplicationChecks, ids: Sequence[str] | None = None, **more: object) -> WorkPack:
    """The pack of such a selection; more: of `work_pack`."""
    return work_pack(checks, selection_of(checks, ids), **more)


def programme_of(years: dict[str, int]) -> pd.DataFrame:
    """A programme that converts each lateral in its year."""
    return pd.DataFrame({"what": "lateral", "section_id": list(years), "year": list(years.values())})
