"""On the page of laterals: who is out for a fault on the lateral looked at, with reclosing on and off."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import streamlit as st

from reliability.business.break_even import table_of_both_states
from reliability.faults.outcomes import OutcomeTable
from reliability.faults.what_trips import what_trips
from reliability.formats import count, percent
from reliability.network.tree import Network
from reliability.schema.devices import DEVICES
from reliability.ui import background, figure, frame
from reliability.ui.text import plain, short
from reliability.what_if import ScenarioResults

TWO_LINES = {False: 66, True: 82}       # pixels, of a row in which a browser breaks lines, in large type too
TRIPS_PREPARED_AT_MOST = 3000                 # sections
LEAST_SHARE = 0.01            # of the faults of a kind; what is rarer, as where a device fails, is left out
RECLOSING_STATES = {False: "on", True: "off"}
FAULT_KINDS = {False: "temporary", True: "permanent"}


def _work(now: ScenarioResults, at: list[int]) -> tuple[str, Callable[[], OutcomeTable]]:
    """Key and work of the outcomes of some scenarios with reclosing on and off. at: positions of the scenarios."""
    study = now.results.study
    return f"trips|{now.digest}|{at[-1]}", lambda: table_of_both_states(
        study.model, [study.scenarios[s] for s in at])


def prepare(now: ScenarioResults, scenario: int) -> None:
    """Begin with it while somebody reads another page; of a large network the tables are too large for that."""
    if len(now.results.network) <= TRIPS_PREPARED_AT_MOST:
        background.prepare(*_work(now, _looked_at(scenario)))


def begin(now: ScenarioResults, scenario: int) -> None:
    """Begin with it while the page is drawn above it."""
    background.ask(*_work(now, _looked_at(scenario)))


def _looked_at(scenario: int) -> list[int]:
    """As built and the scenario, where there is one."""
    return [0, scenario] if scenario else [0]


def show(now: ScenarioResults, head: int, scenario: int) -> None:
    """The table of a lateral as built and under a scenario. head: position of the lateral's head."""
    study, network = now.results.study, now.results.network
    at = _looked_at(scenario)
    both = background.result(*_work(now, at), "what trips", keep=4)
    st.markdown(f"**Who is out for a fault on {plain(network.names[head])}**")
    if both is not None:
        found = what_trips(both, study.values, network.unit == head)
        device = [now.results.table.protections[s].device for s in at]
        figure.table(in_words(found, network, device, [short(now.names[s]) for s in at]), "Who is out", "who_is_out",
                     row_height=TWO_LINES[frame.presenting()])
        st.caption("Of all faults of the kind, every device working or not; what happens in less than 1 % of them is "
                   f"left out. With reclosing off the device trips once, {study.values['reclosing_off_trip']}.")


def in_words(found: pd.DataFrame, network: Network, device: list[np.ndarray], names: list[str]) -> pd.DataFrame:
    """A row a state and kind of fault, a column a scenario. found: of `what_trips`. device: (n,) codes by scenario."""
    rows = []
    for (off, permanent), part in found.groupby(["off", "permanent"]):
        said = {name: _outcomes(part[part["scenario"] == s], network, device[s]) for s, name in enumerate(names)}
        rows.append({"reclosing": RECLOSING_STATES[bool(off)], "fault": FAULT_KINDS[bool(permanent)], **said})
    return pd.DataFrame(rows, columns=["reclosing", "fault", *names])


def _outcomes(part: pd.DataFrame, network: Network, device: np.ndarray) -> str:
    """What stays open and who is out, with its share where there is more than one."""
    likely = part[part["share"] >= LEAST_SHARE]
    opened, customers = likely["opened"].to_numpy(dtype=int), likely["customers"].to_numpy(dtype=float)
    texts = [_one(network, device, at, out) for at, out in zip(opened.tolist(), customers.tolist(), strict=True)]
    if len(texts) == 1:
        return texts[0]
    return "; ".join(f"{percent(share)}: {text}" for share, text in zip(likely["share"], texts, strict=True))


def _one(network: Network, device: np.ndarray, opened: int, customers: float) -> str:
    if opened < 0:
        return "nothing stays open, nobody is out"
    kind = DEVICES[device[opened]].replace("_", " ")
    return f"{kind} {short(str(network.names[opened]), 30)} opens, {count(round(customers), 'customer')} out"
