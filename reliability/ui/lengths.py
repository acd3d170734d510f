"""Lengths on the screen: in kilometres or miles as the study brought them, or as this tab asks for."""

from __future__ import annotations

import streamlit as st

from reliability.formats import number
from reliability.schema.columns import KM_PER_MILE
from reliability.study import Study
from reliability.ui import state

KM, MILES = "km", "mi"


def in_miles(study: Study) -> bool:
    """Whether lengths are shown in miles."""
    asked = state.text(state.LENGTHS)
    return asked == MILES if asked in (KM, MILES) else study.in_miles


def unit(study: Study) -> str:
    """The unit of lengths."""
    return unit_and_scale(study)[0]


def of_km(km: float, study: Study) -> float:
    """A length in the unit shown; for a rate per kilometre divide by it."""
    return km / unit_and_scale(study)[1]


def unit_and_scale(study: Study) -> tuple[str, float]:
    """The unit of lengths, and how many kilometres it has."""
    return (MILES, KM_PER_MILE) if in_miles(study) else (KM, 1.0)


def shown(km: float, study: Study) -> str:
    """A length in text, without its unit."""
    return number(of_km(km, study))


def switch(study: Study) -> None:
    """Ask for the unit of lengths of this tab."""
    state.hold("length_unit", unit(study))
    st.segmented_control("Lengths in", (KM, MILES), key="length_unit", required=True, on_change=_switched,
                         label_visibility="collapsed", args=(MILES if study.in_miles else KM,))


def _switched(brought: str) -> None:
    asked = st.session_state["length_unit"]
    state.put(lengths="" if asked == brought else asked)
