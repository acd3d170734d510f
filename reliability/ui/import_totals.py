"""Totals by feeder of an import, beside the user's own where these are given."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from reliability.formats import shown
from reliability.intake import Imported
from reliability.intake.own_totals import QUANTITIES, beside_own
from reliability.schema.devices import BY_NAME
from reliability.ui.import_draft import Draft

TOTALS_HEIGHT = 300


def totals(draft: Draft, imported: Imported) -> None:
    """Draw the totals, and ask for the user's own."""
    table = imported.report.totals
    devices = [name for name in BY_NAME if table[name].iloc[-1]]
    last = pd.concat([table.iloc[-1:], table.iloc[:-1]], ignore_index=True)
    named = pd.DataFrame({"feeder": last["feeder_id"], "km": [shown(v, "amount") for v in last["km"]],
                          "mi": [shown(v, "amount") for v in last["mi"]]})
    counts = {"customers": "customers", "connected_kva": "kVA", "laterals": "laterals",
              **{d: f"{d.replace('_', ' ')}{'es' if d.endswith('switch') else 's'}" for d in devices},
              "outages_per_year": "outages a year", "customer_minutes_per_year": "customer-minutes a year"}
    for column, words in counts.items():
        if column in last:
            named[words] = [shown(v, "count") for v in last[column]]
    st.markdown("**Totals by feeder**")
    st.dataframe(named, hide_index=True, key="import_totals", alt="Totals by feeder",
                 height=min(38 + 35 * len(named), TOTALS_HEIGHT))
    with st.expander("Compare with totals of your own", expanded=bool(draft.plan.get("totals"))):
        _own(draft, imported)


def _own(draft: Draft, imported: Imported) -> None:
    given = draft.plan.get("totals", {})
    feeders = imported.report.totals["feeder_id"].tolist()
    frame = pd.DataFrame({"feeder": feeders, **{q: [given.get(f, {}).get(q) for f in feeders] for q in QUANTITIES}})
    left, right = st.columns(2)
    key = f"totals_{draft.token}"
    with left:
        st.data_editor(frame.astype(dict.fromkeys(QUANTITIES, float)), key=key, hide_index=True, disabled=["feeder"],
                       column_config={q: st.column_config.NumberColumn(format="%.12g") for q in QUANTITIES},
                       height=TOTALS_HEIGHT, alt="Your own totals by feeder", on_change=_noted,
                       args=(draft, feeders, key))
    compared = beside_own(imported.report.totals, given)
    if len(compared):
        with right:
            st.dataframe(pd.DataFrame({
                "state": compared["state"], "feeder": compared["feeder_id"], "of": compared["quantity"],
                "imported": [shown(v, "count") for v in compared["imported"]],
                "yours": [shown(v, "count") for v in compared["own"]],
                "difference": [shown(v, "share", True) for v in compared["difference"]]}), hide_index=True,
                key="totals_compared", alt="Imported totals beside your own", height=TOTALS_HEIGHT)


def _noted(draft: Draft, feeders: list[str], key: str) -> None:
    given = {f: dict(q) for f, q in draft.now.plan.get("totals", {}).items()}
    for row, cells in st.session_state[key]["edited_rows"].items():
        of = given.setdefault(feeders[int(row)], {})
        for quantity, value in cells.items():
            of.pop(quantity, None)
            if value is not None:
                of[quantity] = float(value)
    draft.decide(totals={f: q for f, q in given.items() if q})
