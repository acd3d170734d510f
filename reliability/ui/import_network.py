"""What is open once the network is traced: sources, the coordinate system, the order of dates."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import pandas as pd
import streamlit as st

from reliability.intake import Prepared
from reliability.intake.decisions import NETWORK, PLACE, TIME, Decision
from reliability.ui.import_draft import Draft
from reliability.ui.import_units import times
from reliability.ui.text import plain


def still_open(draft: Draft, prepared: Prepared, decisions: Sequence[Decision]) -> None:
    """Ask for each of the decisions."""
    st.markdown("**Still open, before the report can be computed:**")
    for question in dict.fromkeys((d.table, d.question) for d in decisions):
        of = [d for d in decisions if (d.table, d.question) == question]
        values = ", ".join(plain(d.value) for d in of[:12] if d.value)
        how = "; ".join(dict.fromkeys(d.suggestion for d in of if d.step != PLACE and "=" not in d.suggestion))
        st.markdown(f"- {plain(question[0])}: {plain(question[1], 300)}" + (f" ({values})" if values else "")
                    + (f"; {plain(how, 600)}" if how else ""))
    steps = {d.step for d in decisions}
    if TIME in steps:
        times(draft, prepared)
    if PLACE in steps:
        _place(draft, prepared)
    if NETWORK in steps:
        _sources(draft, prepared, [d for d in decisions if d.step == NETWORK])


def _place(draft: Draft, prepared: Prepared) -> None:
    with st.form(f"place_{draft.token}"):
        system = st.text_input("Coordinate system of the files that state none, such as EPSG:26915",
                               prepared.recipe.coordinate_system, max_chars=60)
        if st.form_submit_button("Use it", type="primary") and system.strip():
            draft.change_recipe(lambda now: replace(now.recipe, coordinate_system=system.strip()))
            st.rerun()


def _sources(draft: Draft, prepared: Prepared, decisions: Sequence[Decision]) -> None:
    """Nodes that may be sources, with the feeder's name; others can be added."""
    stated = dict(prepared.recipe.sources)
    pairs = [(d.value, feeder) for d in decisions if d.value and d.column == "node"
             for feeder in stated.get(d.value, ("",))]
    pairs = [*dict.fromkeys(p for p in pairs if p[0] in stated), *(p for p in pairs if p[0] not in stated)]
    frame = pd.DataFrame({"source": [n in stated for n, _ in pairs], "node": [n for n, _ in pairs],
                          "feeder": [f for _, f in pairs]})
    with st.form(f"sources_{draft.token}"):
        st.markdown("**Where feeders begin**: a row a feeder; a node of several breakers has a row for each")
        edited = st.data_editor(frame.astype({"source": bool, "node": "str", "feeder": "str"}), hide_index=True,
                                num_rows="dynamic", key=f"sources_rows_{draft.token}", alt="Nodes where feeders begin",
                                column_config={"source": st.column_config.CheckboxColumn("a source", default=True)})
        if st.form_submit_button("Use these sources", type="primary"):
            rows = edited[edited["source"].fillna(False).astype(bool) & edited["node"].fillna("").ne("")]
            chosen = chosen_sources(rows["node"].astype(str), rows["feeder"].fillna("").astype(str))
            if chosen:
                asked = {node for node, _ in pairs}     # what is not ticked, or is no node, is no source any more
                others = {node: feeders for node, feeders in stated.items() if node not in asked}
                draft.change_recipe(lambda now: replace(now.recipe, sources={**others, **chosen}))
                st.rerun()


def chosen_sources(nodes: Iterable[str], feeders: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Node → its feeders, of rows of one each: every name of a node stays, each once."""
    chosen: dict[str, tuple[str, ...]] = {}
    for node, feeder in zip(map(str.strip, nodes), map(str.strip, feeders), strict=True):
        known = chosen.get(node, ())
        chosen[node] = known if feeder in known else (*known, feeder)
    return {node: tuple(f for f in named if f) or ("",) for node, named in chosen.items()}
