"""The step of files and columns: what each table is, and what each of its headers stands for, beside first values."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from reliability.formats import count
from reliability.intake import Prepared
from reliability.intake.deciding import (
    EVERY_KIND,
    ColumnRow,
    column_rows,
    confirmed_kind,
    required_missing,
    with_columns,
    with_kind,
)
from reliability.intake.kinds import IGNORE, names_of
from reliability.intake.notes import notes
from reliability.intake.recognise import Recognised
from reliability.ui.import_draft import Draft, same
from reliability.ui.import_kinds import KIND_NAMES, OWN_NAMES
from reliability.ui.text import plain, short

OPEN_KIND = "open"
NOT_USED = "– not used –"
KIND_CHOICES = {**KIND_NAMES, **OWN_NAMES, OPEN_KIND: "open: choose one"}


def files(draft: Draft, prepared: Prepared) -> None:
    """Every table with its kind, and the columns of one of them."""
    with st.container(border=True):
        for k, one in enumerate(prepared.recognised):
            _table(draft, k, one)
    lines = notes(prepared)
    if lines:
        with st.expander(f"What is not used, or read otherwise than it stands: {count(len(lines), 'note')}"):
            st.markdown("\n".join(f"- {plain(line, 400)}" for line in lines))
    used = [k for k, one in enumerate(prepared.recognised) if one.kind]
    if used:
        _columns(draft, prepared, used)


def _table(draft: Draft, k: int, one: Recognised) -> None:
    name, kind, state = st.columns([3, 4, 5], vertical_alignment="center")
    name.markdown(f"**{plain(one.table.name)}**, {count(len(one.table), 'row')}")
    now = one.kind or (IGNORE if one.rule is not None else OPEN_KIND)
    options = [*([OPEN_KIND] if now == OPEN_KIND else []), *EVERY_KIND, *OWN_NAMES]
    key = f"kind_{draft.token}_{k}_{now}"
    kind.selectbox(f"Kind of {short(one.table.name)}", options, index=options.index(now),
                   format_func=KIND_CHOICES.__getitem__,
                   key=key, label_visibility="collapsed", on_change=_kind_chosen, args=(draft, one, key))
    state.markdown(_state(one))


def _kind_chosen(draft: Draft, one: Recognised, key: str) -> None:
    kind = str(st.session_state[key])
    if kind in OWN_NAMES:
        draft.decide_one("own", one.table.file, {"table": kind})
    elif kind not in (OPEN_KIND, one.kind):         # the box may tell of a change that is none
        draft.change_recipe(lambda now: with_kind(now.recipe, same(now, one), kind))


def _state(one: Recognised) -> str:
    if not one.kind:
        return "not used" if one.rule is not None else ":orange-badge[open] its kind has to be chosen"
    rows = column_rows(one)
    guessed = sum(r.guess for r in rows)
    unused = sum(not r.name for r in rows)
    kind = ":orange-badge[guess]" if one.guess else ":green-badge[recognized]"
    parts = [f"{sum(bool(r.name) and not r.guess for r in rows)} recognized"]
    parts += [f"**{count(guessed, 'guess', 'guesses')}**"] if guessed else []
    parts += [f"{unused} not used"] if unused else []
    missing = required_missing(one)
    lost = f" :red-badge[required, missing] {plain(', '.join(missing), 120)}" if missing else ""
    return f"{kind} {', '.join(parts)}{lost}"


def _columns(draft: Draft, prepared: Prepared, used: Sequence[int]) -> None:
    found = prepared.recognised
    first = next((k for k in used if required_missing(found[k])), next(
        (k for k in used if any(r.guess for r in column_rows(found[k]))), used[0]))
    key = f"columns_of_{draft.token}"
    if st.session_state.get(key) not in used:
        st.session_state[key] = first
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    k = left.selectbox("Columns of", list(used), format_func=lambda i: short(found[i].table.name), key=key)
    one = found[k]
    rows = column_rows(one)
    if any(r.guess for r in rows) or one.guess:
        right.button("Accept the guesses of this table", key="accept_table", icon=":material/done:",
                     on_click=lambda: draft.change_recipe(lambda now: confirmed_kind(now.recipe, same(now, one))))
    _editor(draft, one, rows)


def _editor(draft: Draft, one: Recognised, rows: Sequence[ColumnRow]) -> None:
    frame = pd.DataFrame({
        "header": [short(r.header, 40) for r in rows], "first values": [short(", ".join(r.first_values), 80)
                                                                        for r in rows],
        "stands for": [r.name or NOT_USED for r in rows],
        "state": ["guess" if r.guess else "recognized" if r.name else "" for r in rows]})
    key = f"editor_{draft.token}_{one.table.name}_{hash(tuple(rows))}"
    st.data_editor(
        frame, key=key, hide_index=True, disabled=["header", "first values", "state"],
        height=min(38 + 35 * len(rows), 460), alt=f"Headers of {short(one.table.name)} and what they stand for",
        on_change=_columns_chosen, args=(draft, one, rows, key),
        column_config={"header": st.column_config.TextColumn(width="small"),
                       "first values": st.column_config.TextColumn(width="large"),
                       "stands for": st.column_config.SelectboxColumn(
                           options=[NOT_USED, *dict.fromkeys(names_of(one.kind))], required=True, width="medium",
                           help="Change it where it is wrong. Two headers of one column are joined, as a date and a "
                                "time of day."),
                       "state": st.column_config.TextColumn(width="small")})
    st.caption("A guess is what a header or its cells suggest and nobody has confirmed.")


def _columns_chosen(draft: Draft, one: Recognised, rows: Sequence[ColumnRow], key: str) -> None:
    edited = st.session_state[key]["edited_rows"]
    chosen = {rows[int(k)].header: str(cells["stands for"]) for k, cells in edited.items() if "stands for" in cells}
    meant = {header: "" if name == NOT_USED else name for header, name in chosen.items()}
    draft.change_recipe(lambda now: with_columns(now.recipe, same(now, one), meant))
