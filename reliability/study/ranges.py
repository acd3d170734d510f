"""Which default ranges hold in a study: those of what it neither states as a range nor learns from records."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from reliability.network.tree import Network
from reliability.schema.assumption_types import Range
from reliability.schema.default_ranges import DEFAULT_RANGES, default_range
from reliability.schema.values import Assumptions

LEARNED = "learned"
OF_RECORDS = ("line_fault_rate_per_km", "temporary_fraction")   # what records tell where rates are learned
OF_DEVICES = "reclosing_off_share"


def ranges_by_default(values: Assumptions, stated: Mapping[str, Range], network: Network) -> dict[str, Range]:
    """The default ranges that hold, by key, each around the value of its assumption, in the order of their table.

    stated: ranges of the study, those of no width (known exactly) included. None holds for what every section states
    for itself, nor for what records tell: there the draws of the learned rates are all that is unknown. The share of
    faults while reclosing is off has none where a device states its own, since each draw would need an outcome table.
    """
    if not values["default_ranges"]:
        return {}
    given = dict(values)
    taken = {key.partition(".")[0] for key in stated} | {
        key for key in DEFAULT_RANGES if key in network.column and _by_sections(network.column[key], key)}
    if values["rates"] == LEARNED:
        taken |= set(OF_RECORDS)
    found = {key: default_range(key, given[key]) for key in DEFAULT_RANGES if key not in taken}
    return {key: known for key, known in found.items() if known is not None}


def _by_sections(column: np.ndarray, key: str) -> bool:
    """Whether what sections state leaves nothing to a range of the study's value."""
    known = np.isfinite(column)
    return bool(known.any() if key == OF_DEVICES else known.all())
