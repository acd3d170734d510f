"""What a scenario would change on the basis of the records without major event days, on which regulators judge.

The model spreads over all days what storms bring on a few, so its own indices are no figures of ordinary days. The
change is therefore the recorded mean times the relative change of the model: our scaling, said so where it stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reliability.formats import finite
from reliability.history.history import History

WITHOUT_MAJOR_KEY = "without_major_events"
COMPARED_INDICES = ("saifi", "saidi_min")


def recorded_base(history: History) -> tuple[tuple[int, ...], dict[str, float]] | None:
    """Years, and mean SAIFI and SAIDI over them without major event days: five to the year shown, else three, else it
    alone; None where that year has no threshold.
    """
    reported = history.reported
    year = reported.shown
    for n, frame in ((5, reported.five_years.without), (3, reported.three_years.without),
                     (1, history.without_major_events.years)):
        known = year in frame.index and history.major_events.has_verdict(year)
        if known and all(finite(frame[index].loc[year]) is not None for index in COMPARED_INDICES):
            return tuple(range(year - n + 1,
                               year + 1)), {index: float(frame[index].loc[year]) for index in COMPARED_INDICES}
    return None


def recorded_basis(history: History | None, expected: Sequence[Mapping[str, Any]]) -> list[dict[str, Any] | None]:
    """ "without_major_events" of each scenario of summary.json: years of the records, and by index recorded (their
    mean), relative_change (of the model, a share), change and after; None without records or without a threshold.

    expected: indices of the scenarios, "As built" first.
    """
    found = None if history is None else recorded_base(history)
    if found is None:
        return [None] * len(expected)
    years, base = found
    result: list[dict[str, Any] | None] = []
    for indices in expected:
        of: dict[str, Any] = {"years": list(years)}
        for key in COMPARED_INDICES:
            before, after, recorded = finite(expected[0][key]), finite(indices[key]), base[key]
            share = after / before - 1.0 if before and after is not None else None
            of[key] = {"recorded": recorded, "relative_change": share,
                       "change": None if share is None else recorded * share,
                       "after": None if share is None else recorded * (1.0 + share)}
        result.append(of)
    return result
