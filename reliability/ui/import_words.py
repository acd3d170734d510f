"""The step of words: every distinct word of a column with how often it occurs and what it stands for."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from reliability.formats import count
from reliability.intake import Prepared
from reliability.intake.deciding import field_named, meanings_of, said, with_suggested_words, with_words, word_groups
from reliability.intake.typed import Word
from reliability.ui.import_draft import Draft
from reliability.ui.text import plain, short

UNDECIDED = "– open –"
BLANK_WORD = "(blank)"
MOST_ROWS_SEEN = 12                  # of a table that is seen without scrolling in it


def words(draft: Draft, prepared: Prepared) -> None:
    """A table of words for each column, those with open words first."""
    groups = word_groups(prepared)
    if not groups:
        st.markdown("No column of these exports has words to be translated.")
    open_ = sum(w.meaning is None and w.suggested is not None for group in groups.values() for w in group)
    if open_:
        st.button(f"Accept {count(open_, 'suggestion')} for words", key="accept_words", icon=":material/done:",
                  on_click=lambda: draft.change_recipe(lambda now: with_suggested_words(now.recipe, now)))
    places = st.columns(2)
    for k, ((kind, column), group) in enumerate(groups.items()):
        with places[k % 2].container(border=True):
            _group(draft, kind, column, group)


def _group(draft: Draft, kind: str, column: str, group: list[Word]) -> None:
    of = field_named(kind, column)
    meanings = meanings_of(of, group)
    undecided = sum(w.meaning is None for w in group)
    state = f":orange-badge[{undecided} open]" if undecided else ":green-badge[decided]"
    st.markdown(f"**{plain(column.replace('_', ' '))}** of {plain(kind)} {state}")
    shown = [said(of, w.meaning if w.meaning is not None else w.suggested) or UNDECIDED for w in group]
    frame = pd.DataFrame({
        "word": [short(w.word, 60) or BLANK_WORD for w in group], "rows": [w.rows for w in group], "stands for": shown,
        "state": [_state(w) for w in group]})
    key = f"words_{draft.token}_{kind}_{column}_{hash((tuple(shown), undecided))}"
    st.data_editor(frame, key=key, hide_index=True, disabled=["word", "rows", "state"],
                   height=38 + 35 * min(len(group), MOST_ROWS_SEEN), on_change=_chosen,
                   alt=f"Words of {column} of {kind} and what they stand for",
                   args=(draft, kind, column, group, key),
                   column_config={"word": st.column_config.TextColumn(width="medium"),
                                  "rows": st.column_config.NumberColumn(width="small"),
                                  "stands for": st.column_config.SelectboxColumn(
                                      options=[UNDECIDED, *meanings], required=True, width="medium"),
                                  "state": st.column_config.TextColumn(width="small")})


def _state(word: Word) -> str:
    return "decided" if word.meaning is not None else "guess" if word.suggested is not None else "open"


def _chosen(draft: Draft, kind: str, column: str, group: list[Word], key: str) -> None:
    meanings = meanings_of(field_named(kind, column), group)
    edited = st.session_state[key]["edited_rows"]
    chosen = {group[int(k)].word: meanings[str(cells["stands for"])] for k, cells in edited.items()
              if str(cells.get("stands for", UNDECIDED)) in meanings}
    draft.change_recipe(lambda now: with_words(now.recipe, kind, column, chosen))
