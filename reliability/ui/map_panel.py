"""The drawing of the network on the pages of laterals and of the selection: a map where there are routes.

The one-line drawing stands in its place where there are none, and can be asked for. What colours the laterals is chosen
beside it; a click gives the lateral.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from reliability.history.history import worst_laterals
from reliability.history.observed import tally
from reliability.history.outages import records_of
from reliability.network.tree import Network
from reliability.report.chart import MapChart
from reliability.report.charts_map import network_map
from reliability.report.map_classes import Benefit, Classed, by_benefit
from reliability.report.sections_map import recorded_outages
from reliability.results import Results
from reliability.study import Study, StudyError
from reliability.ui import described, figure, frame, lengths
from reliability.ui.feeder_chart import feeder_chart
from reliability.ui.opened import Opened
from reliability.ui.text import short

MINUTES_MEASURE, NPV_MEASURE, VERDICT_MEASURE = "customer_minutes", "npv", "verdict"
BREAK_EVEN_MEASURE, OUTAGES_MEASURE = "break_even", "outages"
MAP_MEASURES = {MINUTES_MEASURE: "Customer-minutes avoided", NPV_MEASURE: "NPV of converting",
                VERDICT_MEASURE: "Application verdict",
                BREAK_EVEN_MEASURE: "Break-even share, reclosing off", OUTAGES_MEASURE: "Outages recorded"}
MAP, ONE_LINE = "Map", "One-line"
ALL_FEEDERS = "All feeders"
MAPS_CACHED = 4
MAP_PIXELS, WIDE_HEIGHT = 560, 640     # pixels, of a map beside something, and over the width of the page


@dataclass(frozen=True)
class Look:
    """What is looked at: a feeder (ALL_FEEDERS for every one), a measure of MAP_MEASURES, and whether it is the map."""

    feeder: str
    measure: str
    on_map: bool


def controls(study: Study, places: Sequence[DeltaGenerator], key: str, feeders: Sequence[str],
             words: Callable[[str], str] = short) -> Look:
    """Ask for feeder, measure and drawing in three places. key: of the widgets; feeders: their names, the first shown.

    words: how a feeder is called in the list. Only a study with routes is asked for the drawing, and has all feeders
    in one.
    """
    routed = study.routes is not None
    drawing = places[2].segmented_control("Drawing", (MAP, ONE_LINE), default=MAP, key=f"{key}_drawing",
                                          required=True, persist_state="session") if routed else ONE_LINE
    on_map = drawing == MAP
    choices = [ALL_FEEDERS, *feeders] if on_map else list(feeders)
    if st.session_state.get(f"{key}_feeder") not in choices:
        st.session_state.pop(f"{key}_feeder", None)
    feeder = places[0].selectbox("Feeder", choices, key=f"{key}_feeder",
                                 format_func=lambda f: f if f == ALL_FEEDERS else words(f))
    offered = [m for m in MAP_MEASURES if m != OUTAGES_MEASURE or (study.outages is not None and len(study.outages))]
    measure = places[1].selectbox("Laterals coloured by", offered, format_func=MAP_MEASURES.__getitem__,
                                  key=f"{key}_measure", persist_state="session")
    return Look(str(feeder), str(measure), on_map)


def draw(results: Results, look: Look, classed: Classed, device: np.ndarray, *, key: str, name: str, alt: str,
         data: Callable[[], pd.DataFrame], chosen: Sequence[int] = (), chosen_name: str = "chosen",
         looked_at: int | None = None, height: int = WIDE_HEIGHT) -> str | None:
    """Draw the network; returns the section_id of a lateral that was clicked just now, None where none was.

    device: (n,) codes of the devices drawn. chosen, chosen_name: positions of heads whose devices are new, and what
    these are called. looked_at: position of the head that is looked at. name, data: of the table behind the drawing.
    alt: what the one-line drawing shows, in words. height: of a map, in pixels.
    """
    network, view = results.network, results.plan_view
    feeders = [str(f) for f in network.feeder_ids]
    note = ""
    if look.on_map and view is not None:
        shown = None if look.feeder == ALL_FEEDERS else network.feeder == feeders.index(look.feeder)
        chart = network_map(network, view, classed, device, key=f"map-{key}", title=name, shown=shown, chosen=chosen,
                            chosen_name=chosen_name, looked_at=looked_at, miles=lengths.in_miles(results.study))
        picture, alt = described.figure(chart, frame.presenting(), height), _alt(chart)
        note = chart.note
    else:
        one = None if looked_at is None else str(network.ids[looked_at])
        picture = feeder_chart(network, feeders.index(look.feeder), device, classed, one, frame.presenting(),
                               lengths.unit_and_scale(results.study))
    picked = figure.chart(picture, alt, data, name, key, on_select="rerun", zoom=True)
    if note:
        st.caption(note)
    return _clicked(picked, key)


def turns(values: np.ndarray, nothing: str) -> Benefit:
    """Laterals by the share of faults with reclosing off at which their gain is lost; nothing: of those without."""
    return Benefit("Reclosing off at which the gain turns, % of faults (darker: sooner)", "", values,
                   "share", "below 0", nothing, low_matters=True)


def _alt(chart: MapChart) -> str:
    return f"Map of the network, {chart.description[0].lower()}{chart.description[1:]}"


def _clicked(picked: Mapping[str, Any] | None, key: str) -> str | None:
    """The lateral of a new click; one that was seen before is none."""
    points = picked["selection"]["points"] if picked else []
    ids = [p["customdata"] for p in points if "customdata" in p]
    one = ids[0][0] if ids and isinstance(ids[0], list) else ids[0] if ids else None
    seen = f"{key}_clicked"
    if one is None or one == st.session_state.get(seen):
        return None
    st.session_state[seen] = one
    return str(one)


def positions(network: Network, ids: Sequence[str]) -> list[int]:
    """Positions of sections by their ids."""
    return pd.Index(network.ids.astype(str)).get_indexer(pd.Index(list(ids), dtype=object)).tolist()


@st.cache_resource(max_entries=MAPS_CACHED, show_spinner="Reading the outage records …")
def recorded(_study: Study, fingerprint: str) -> pd.DataFrame | None:
    """Laterals by outages recorded on them, see `worst_laterals`; None where there are no records to be read."""
    try:
        records = records_of(_study)
    except StudyError:
        return None
    return None if records is None else worst_laterals(records, tally(records))


def by_outages(shown: Opened, network: Network) -> Classed:
    """Laterals by the outages recorded on them; none where the records cannot be read, which the page then says."""
    rows = recorded(shown.stated, shown.fingerprint)
    if rows is None:
        st.info("The outage records cannot be read; the page Outage history says why.")
        rows = pd.DataFrame({"events_per_year": []}, index=pd.Index([], dtype=object))
    return by_benefit(network, recorded_outages(network, rows))
