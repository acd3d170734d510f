"""The step of units and times: what each column is measured in, with a line on whether that is plausible."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from reliability.intake import Prepared
from reliability.intake.deciding import UnitColumn, measured, with_decimal, with_unit
from reliability.intake.decisions import NUMBER
from reliability.intake.kinds import OUTAGE_ROWS
from reliability.intake.recipe import DAY_FIRST, MONTH_FIRST
from reliability.intake.recognise import Recognised
from reliability.ui.import_draft import Draft, same
from reliability.ui.text import plain, short

OPEN_UNIT = "open"
ORDERS = {"": "as the dates tell", MONTH_FIRST: "month first: 03/04 is March 4",
          DAY_FIRST: "day first: 03/04 is April 3"}
DECIMAL_SIGNS = {"": "as the numbers tell", ".": "point: 1,234.5", ",": "comma: 1.234,5"}
CENTURIES = {None: "not read", 2000: "03/04/24 is of 2024", 1900: "03/04/94 is of 1994"}
CLOCKS = {None: "as the times tell", 12: "12 hours", 24: "24 hours"}


def units(draft: Draft, prepared: Prepared) -> None:
    """Every column with a unit, the open ones first, and how times are read."""
    rows = measured(prepared, draft.confirmed)
    st.markdown("Units are never guessed in silence: they come from a header, the recipe or from here."
                if rows else "No column of these exports has a unit.")
    with st.container(border=True):
        for k, one in enumerate(prepared.recognised):
            _decimal(draft, prepared, k, one)
        for k, row in enumerate(rows):
            _unit(draft, k, row)
    if any(one.kind == OUTAGE_ROWS for one in prepared.recognised):
        times(draft, prepared)


def _unit(draft: Draft, k: int, row: UnitColumn) -> None:
    name, unit, said, right = st.columns([4, 2, 6, 2], vertical_alignment="center")
    name.markdown(f"**{plain(row.header)}**, {plain(row.one.table.name)}: {plain(row.name.replace('_', ' '))}")
    doubted = row.plausibility is not None and not row.plausibility.plausible
    unknown = row.open and not doubted
    options = [*([OPEN_UNIT] if unknown else []), *row.units]
    now = OPEN_UNIT if unknown else row.unit
    key = f"unit_{draft.token}_{k}_{row.name}_{now}"
    unit.selectbox(f"Unit of {short(row.header)}", options, index=options.index(now) if now in options else 0, key=key,
                   label_visibility="collapsed", on_change=_chosen, args=(draft, row, key))
    badge = ":orange-badge[open] " if unknown else ":red-badge[implausible] " if doubted else (
        ":green-badge[plausible] " if row.plausibility is not None else "")
    usual = f"{plain(str(row.plausibility), 160)}; " if row.plausibility is not None else ""
    said.markdown(f"{badge}{usual}first values {plain(', '.join(row.one.first_values(row.header)[:3]))}")
    if doubted and row.open:
        right.button("It is right", key=f"right_{key}", on_click=_confirm, args=(draft, row.key))


def _decimal(draft: Draft, prepared: Prepared, k: int, one: Recognised) -> None:
    """The decimal sign of a table whose numbers have two readings, or for which it has been stated."""
    stated = "" if one.rule is None else one.rule.decimal
    asked = next((d for d in prepared.decisions if d.step == NUMBER and d.table == one.table.name), None)
    if asked is None and not stated:
        return
    name, sign, said = st.columns([4, 2, 8], vertical_alignment="center")
    name.markdown(f"**Numbers of {plain(one.table.name)}**")
    key = f"decimal_{draft.token}_{k}_{stated}"
    sign.selectbox(f"Decimal sign of {short(one.table.name)}", list(DECIMAL_SIGNS),
                   index=list(DECIMAL_SIGNS).index(stated),
                   key=key, format_func=DECIMAL_SIGNS.__getitem__, label_visibility="collapsed",
                   on_change=lambda: draft.change_recipe(
                       lambda now: with_decimal(now.recipe, same(now, one), st.session_state[key])))
    if asked is not None:
        said.markdown(f":orange-badge[open] {plain(asked.column)} {plain(asked.value)}: {plain(asked.question, 160)}")


def _confirm(draft: Draft, key: str) -> None:
    draft.decide(confirmed=[*draft.now.confirmed, key])


def _chosen(draft: Draft, row: UnitColumn, key: str) -> None:
    unit = str(st.session_state[key])
    if unit != OPEN_UNIT:
        draft.change_recipe(lambda now: with_unit(now.recipe, same(now, row.one), row.name, unit))


def times(draft: Draft, prepared: Prepared) -> None:
    """How dates and times of the outages are written."""
    recipe = prepared.recipe
    st.markdown("**Times of the outages**")
    order, clock, century, zone = st.columns(4)
    key = f"order_{draft.token}"
    order.selectbox("Order of dates", list(ORDERS), index=list(ORDERS).index(recipe.date_order), key=key,
                    format_func=ORDERS.__getitem__, on_change=_decide, args=(draft, "date_order", key))
    key = f"clock_{draft.token}"
    clock.selectbox("Clock", list(CLOCKS), index=list(CLOCKS).index(recipe.clock), key=key,
                    format_func=CLOCKS.__getitem__, on_change=_decide, args=(draft, "clock", key))
    key = f"century_{draft.token}"
    century.selectbox("Dates that end with two digits", list(CENTURIES), index=list(CENTURIES).index(recipe.century),
                      key=key, format_func=CENTURIES.__getitem__, on_change=_decide,
                      args=(draft, "century", key))
    key = f"zone_{draft.token}"
    zone.text_input("Time zone, such as America/Chicago; blank: local times", recipe.time_zone, key=key, max_chars=60,
                    on_change=_decide, args=(draft, "time_zone", key))
    for one in prepared.recognised:
        for match in (m for m in one.matches if one.kind == OUTAGE_ROWS and m.name in ("started", "restored")):
            values = " and ".join(plain(", ".join(one.first_values(h)[:3])) for h in match.headers)
            st.caption(f"{plain(one.table.name)}: {match.name} from {plain(' and '.join(match.headers))}, as {values}")


def _decide(draft: Draft, field: str, key: str) -> None:
    draft.change_recipe(lambda now: replace(now.recipe, **{field: st.session_state[key]}))
