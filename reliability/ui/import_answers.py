"""The step of the nine questions: each with its default, the reason, and how far the results move with its answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd
import streamlit as st

from reliability.formats import money, shown
from reliability.import_questions import Base, base_of, effects
from reliability.intake import Imported, Prepared
from reliability.intake.questions import ALL_QUESTIONS, OWN, OwnNumber, Question, answered_by, own_number
from reliability.study import Study, StudyError
from reliability.ui import background
from reliability.ui.import_draft import KEPT, Draft
from reliability.ui.import_report_panel import study_of
from reliability.ui.problem_table import show_problems
from reliability.ui.text import plain

EFFECTS_KEY = "effects"


def questions(draft: Draft, prepared: Prepared) -> None:
    """Ask what the data do not answer."""
    imported = study_of(draft, prepared)
    if imported is None:
        return
    asked, settled = open_questions(imported)
    st.markdown("What nobody exports. Each has a default; the figures say how far the results move from it. SAIFI and "
                "SAIDI are those of the network as built; NPV is that of converting every lateral.")
    study = opened_study(draft, imported)
    if isinstance(study, StudyError):
        st.error("The study has problems, so that nothing can be computed.")
        show_problems(study.problems, "import_study_problems")
        return
    table = _effects(draft, study, asked)
    for question in asked:
        _question(draft, question, table, study)
    if settled:
        with st.expander(f"Answered by the data: {len(settled)}"):
            for title, why in settled:
                st.markdown(f"- {plain(title, 120)} {plain(why, 200)}")


def open_questions(imported: Imported) -> tuple[list[Question], list[tuple[str, str]]]:
    """Questions that the data do not answer, and title and reason of those that they do."""
    why = {q.key: answered_by(imported, q) for q in ALL_QUESTIONS}
    return [q for q in ALL_QUESTIONS if not why[q.key]], [(q.title, why[q.key]) for q in ALL_QUESTIONS if why[q.key]]


def chosen_answers(draft: Draft, imported: Imported) -> dict[str, str]:
    """Question → answer of every question that is open, as chosen or by default."""
    chosen = draft.plan.get("answers", {})
    return {q.key: str(chosen.get(q.key, q.default.key)) for q in open_questions(imported)[0]}


@st.cache_resource(max_entries=KEPT, show_spinner="Checking the study …")
def _opened(token: str, recipe: str, _imported: Imported) -> Study | StudyError:
    try:
        return _imported.study()
    except StudyError as error:
        return error


def opened_study(draft: Draft, imported: Imported) -> Study | StudyError:
    """The study that the import would write, or what is wrong with it."""
    return _opened(draft.token, draft.recipe_text, imported)


def _effects(draft: Draft, study: Study, asked: list[Question]) -> pd.DataFrame | None:
    key = f"{EFFECTS_KEY} {draft.token} {hash(draft.recipe_text)}"

    def work() -> pd.DataFrame:
        base: Base = base_of(study)
        return effects(base, asked, lambda done, total: background.tell_share(key, done, total))

    return background.result(key, work, "how far the answers move the results", KEPT)


def _question(draft: Draft, question: Question, table: pd.DataFrame | None, study: Study) -> None:
    labels = {o.key: o.label for o in question.options} | ({OWN: question.own.label} if question.own else {})
    labels[question.default.key] += " (default)"
    now = str(draft.plan.get("answers", {}).get(question.key, question.default.key))
    number, key = own_number(now), f"answer_{draft.token}_{question.key}"
    with st.container(border=True):
        left, right = st.columns([2, 5])
        left.markdown(f"**{plain(question.title, 120)}**")
        left.caption(plain(" ".join(question.reason.split()), 400))
        with right:
            rows = _rows(table, question)
            if number is not None and table is not None:
                rows[OWN] = _rows(_own_effect(draft, study, question, now), question).get(now)
            shown_as = now if number is None else OWN
            st.radio(question.title, list(labels), index=list(labels).index(shown_as), key=key,
                     label_visibility="collapsed", on_change=_chosen, args=(draft, question, key),
                     format_func=labels.__getitem__, captions=[_moves(rows.get(o), study.currency) for o in labels])
            if number is not None and question.own is not None:
                _own_number(draft, question.key, question.own, number, f"{key}_own")


def _rows(table: pd.DataFrame | None, question: Question) -> dict[str, Mapping[Any, Any] | None]:
    """Effects of one question's answers by their key."""
    if table is None:
        return {}
    own = table[table["question"] == question.key]
    return dict(zip(own["option"], own.to_dict("records"), strict=True))


def _own_effect(draft: Draft, study: Study, question: Question, answer: str) -> pd.DataFrame | None:
    """Effects of a question's default and of a number of somebody's own; None until they are computed."""
    option = question.option(answer)
    if option is None:
        return None
    asked = replace(question, options=(question.default, option))
    return background.result(f"{EFFECTS_KEY}_own {draft.token} {hash(draft.recipe_text)} {question.key} {answer}",
                             lambda: effects(base_of(study), [asked]), f"how far {option.label} moves the results")


def _own_number(draft: Draft, question: str, own: OwnNumber, number: float, key: str) -> None:
    low, high = own.bounds
    st.number_input(f"{own.label}, {own.unit}", low, high, number, own.step, "%g", key=key, width=320,
                    on_change=lambda: draft.decide_one("answers", question, f"{OWN} {st.session_state[key]:g}"))


def _chosen(draft: Draft, question: Question, key: str) -> None:
    answer = st.session_state[key]
    if answer == OWN and question.own is not None:
        answer = f"{OWN} {question.own.of(question.default):g}"
    draft.decide_one("answers", question.key, answer)


def _moves(row: Mapping[Any, Any] | None, currency: str) -> str:
    """How far an answer moves the results, in words; "" while that is not known."""
    if row is None:
        return ""
    if row["default"]:
        return plain(f"SAIFI {shown(row['saifi'], 'index')}, SAIDI {shown(row['saidi_min'], 'minutes')} min, NPV "
                     f"{money(row['npv'], currency)}", 200)
    if not any(row[k] for k in ("saifi_change", "saidi_change", "npv_change")):
        return "moves none of the three"
    saidi = shown(row["saidi_change"], "minutes", True)
    return plain(f"SAIFI {shown(row['saifi_change'], 'index', True)}, SAIDI {saidi} min, "
                 f"NPV {money(row['npv_change'], currency, signed=True)}", 200)
