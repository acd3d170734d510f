"""Page: what is computed, with which assumptions, and what it is not."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from reliability.cautions import CAUTION
from reliability.formats import percent, shown
from reliability.report.definitions import AT_THE_MEANS, LEARNED_INTERVALS, SEPARATE_DRAWS
from reliability.report.figures import plain
from reliability.report.formulas import FORMULAS, MODEL_LIMITS
from reliability.report.ranges import ranges_sentence, set_by
from reliability.schema.assumptions import ASSUMPTIONS
from reliability.schema.default_ranges import DEFAULT_RANGES
from reliability.study import Study
from reliability.ui import figure, frame

METHOD_TEXT = f"""
**Faults.** Each line section faults at random, in proportion to its length, with what its equipment adds. A fault is
temporary or permanent; a temporary one clears once the line has been dead for the first, second or third time. Where
on the section it lies decides how much current flows.

**Protection.** The nearest breaker or recloser above opens and recloses, first fast, then with delay, until it locks
out. A fuse melts at the first operation that gives it time: by the curves of device and link where the study has them,
else at once where fast tripping is blocked or the current is above its largest current for fuse saving. A
sectionalizer counts the openings above it and opens in a dead time when its counts are reached. From this follows, for
every kind of fault, which device stays open and how many momentary interruptions the customers above it see.

**Customers.** Whoever is below the open device is interrupted until somebody has replaced the fuse, closed the device
or repaired the line; part of them is switched to another supply where there is one. Everybody else behind the
reclosing device sees one momentary event.

**Indices** are those of IEEE Std 1366: SAIFI, SAIDI, CAIDI, ASAI, MAIFI, MAIFI_E and CEMI-n, all per customer served
and year. ENS is the energy not supplied.

**Expected values** are sums of rate times consequence over all kinds of fault, without any sampling. **Simulated
years** add the luck of the year, storminess, and what is not known about the assumptions: the range that the study
states, else a default one evenly around the value, which moves no expected value (`default_ranges = false` under
`[simulation]` turns these off). Every scenario sees the same faults, so a difference between two is one of protection
and not of luck. {AT_THE_MEANS}; ranges and probabilities come from the simulation. {SEPARATE_DRAWS} {LEARNED_INTERVALS}

**Money.** The utility's view counts crews, material, energy margin and the regulator's incentive; society's counts
crews, material and what interruptions cost customers. The two are never added.
"""
METHOD_CAUTIONS = (
    CAUTION,
    "Figures are expected values of a model and its assumptions; a single year can be far from them, as the spread "
    "shows.",
    "Application checks sort laterals. They replace neither a coordination study nor the instructions of a device's "
    "maker.",
    "Where the study does not know a fault current, every fuse is taken as saved by a fast operation and every "
    "sectionalizer as counting, which favours both.",
    "Customers are taken as spread evenly over the phases, and one event has one severity for all whom it concerns.",
    "Momentary events are interruptions too: fewer fuse operations are paid for with more of them.",
)
METHOD_TERMS = (
    ("SAIFI", "sustained interruptions a customer and year"), ("SAIDI", "minutes interrupted a customer and year"),
    ("CAIDI", "minutes of one sustained interruption"), ("MAIFI", "momentary interruptions a customer and year"),
    ("MAIFI_E", "momentary events a customer and year; an event is all operations of one fault"),
    ("CEMI-n", "share of customers with n or more sustained interruptions in a year"),
    ("ENS", "energy not supplied"), ("lateral", "a section headed by a fuse, sectionalizer or lateral recloser"),
    ("zone", "everything behind a breaker or recloser"),
    ("counts", "openings that a sectionalizer counts before it opens"),
    ("largest current for fuse saving", "current below which a fast operation is over before the fuse melts"),
    ("call-out", "one trip of a crew: fuse replaced, device reset, line patrolled or repaired"),
    ("NPV", "net present value"),
)


def show() -> None:
    """Draw the page."""
    shown = frame.begin("Method")
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader("What is computed", anchor=False)
        st.markdown(METHOD_TEXT)
    with right:
        st.subheader("What it is not", anchor=False)
        st.markdown("\n".join(f"- {c}" for c in (*METHOD_CAUTIONS, *MODEL_LIMITS)))
        st.subheader("Terms", anchor=False)
        st.markdown("\n".join(f"- **{term}**: {meaning}" for term, meaning in METHOD_TERMS))
    st.subheader("Every formula with its source", anchor=False)
    figure.table(pd.DataFrame(FORMULAS, columns=["what", "formula", "source"]), "Formulas", "formulas", height=420,
                 column_config={"formula": st.column_config.TextColumn(width="large")})
    st.subheader("Every assumption with its source", anchor=False)
    if shown.study is not None:
        st.markdown(plain(ranges_sentence(shown.study)))
    figure.table(assumptions_table(shown.study), "Assumptions", "assumptions", height=420, column_config={
        "meaning": st.column_config.TextColumn(width="large"),
        "default_range": st.column_config.TextColumn(width="large")})


def assumptions_table(study: Study | None) -> pd.DataFrame:
    """Every assumption: value of the study or default, range, unit, bounds, source and meaning."""
    rows = []
    for a in ASSUMPTIONS:
        value = a.default if study is None else study.values.get(a.key)
        given = None if study is None else study.uncertain.get(a.key)
        by_default = DEFAULT_RANGES.get(a.key)
        rows.append({"assumption": a.label, "value": _shown(value), "unit": a.unit,
                     "low": given.low if given else None, "high": given.high if given else None,
                     "range_set_by": "" if study is None else set_by(study, a.key), "default": _shown(a.default),
                     "source": a.source, "meaning": a.help,
                     "default_range": "" if by_default is None else
                     f"± {percent(by_default.spread)}. {by_default.reason} ({by_default.source})",
                     "key": f"{a.table}.{a.key}"})
    return pd.DataFrame(rows)


def _shown(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple):
        return ", ".join(map(_shown, value))
    return shown(value, "any") if isinstance(value, float) else str(value)


if __name__ == "__main__":
    show()
