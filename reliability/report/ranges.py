"""Which ranges of assumptions a study states and which are defaults: a sentence, and rows of tables."""

from __future__ import annotations

from typing import Any

import pandas as pd

from reliability.report.figures import Figure, Sentence, joined, say
from reliability.schema.assumptions import label_of
from reliability.schema.default_ranges import DEFAULT_RANGES
from reliability.schema.units import unit_of
from reliability.study.study import Study

FROM_STUDY, DEFAULT = "study", "default"
_OFF = say("Default ranges are switched off: what has no range is taken as certain.")


def set_by(study: Study, key: str) -> str:
    """Who set the range of an assumption, by its key or that of one element of a share; "" where it has none."""
    return "" if key not in study.uncertain else DEFAULT if key in study.default_ranges else FROM_STUDY


def ranges_sentence(study: Study) -> Sentence:
    """How many of the ranges of assumptions the study states, and how many are defaults."""
    ranges, default = len(study.uncertain), len(study.default_ranges)
    n, m = Figure(ranges, "count"), Figure(default, "count")
    if not ranges:
        none = say("No assumption is given as a range, so the uncertainty of the inputs is not included.")
        return none if study.values["default_ranges"] else joined([none, _OFF])
    if not default:
        stated = say("The study states each of the {n} ranges of inputs.", n=n)
        return stated if study.values["default_ranges"] else joined([stated, _OFF])
    return say("{m} of the {n} ranges of inputs are the tool's defaults, as the study states none there.", m=m, n=n)


def ranges_summary(study: Study) -> dict[str, Any]:
    """"uncertain" of summary.json: how many ranges there are, how many by default, and each with who set it."""
    return {"assumptions": len(study.uncertain), "by_default": len(study.default_ranges),
            "ranges": {key: {**vars(known), "set_by": set_by(study, key)} for key, known in study.uncertain.items()}}


def default_ranges_frame(study: Study) -> pd.DataFrame:
    """A row a default range that holds: label, unit, value, low, high, reason, source."""
    rows = [{"key": key, "label": label_of(key), "unit": unit_of(key, study.currency), "value": known.likely,
             "low": known.low, "high": known.high, "reason": DEFAULT_RANGES[key].reason,
             "source": DEFAULT_RANGES[key].source} for key, known in study.default_ranges.items()]
    return pd.DataFrame(rows, columns=["key", "label", "unit", "value", "low", "high", "reason", "source"])
