"""What would be chosen at the inputs of a state, and whether it is what is proposed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from reliability.business.constraints import fast_settings, limits_of
from reliability.business.frontier import YearlyLimits, programme
from reliability.business.limits import Limits
from reliability.business.options import Options, build_options
from reliability.business.selection import Choice, choose
from reliability.schema.assumptions import MAY_CHANGE
from reliability.study import Study
from reliability.what_if import Asked, ScenarioResults, options_at

SEARCH_SECONDS, OPTIMALITY_GAP = 10.0, 1e-4


@dataclass(frozen=True)
class ChoiceRequest:
    """What the choice is asked for: goal and limits, what may be done, and the programme."""

    goal: str
    limits: Limits
    settings: bool
    only: bool
    years: int
    yearly: YearlyLimits

    @property
    def by_year(self) -> bool:
        """Whether the work is spread over years."""
        return self.yearly != YearlyLimits(None, None)


@dataclass(frozen=True)
class Selection:
    """The choice that the page shows. proposed: whether it is what is proposed, or stands beside that.

    moved: whether it is made at inputs that are not the study's.
    """

    question: ChoiceRequest
    options: Options
    choice: Choice
    proposed: bool
    moved: bool

    @property
    def devices(self) -> list[str]:
        """What laterals can be converted to."""
        return sorted({str(d) for d in self.options.rows["device"].unique() if d}, reverse=True)

    def programme(self, now: ScenarioResults) -> tuple[str, Callable[[], tuple[pd.DataFrame, str]]]:
        """Key and work of the programme by year."""
        asked, options = self.question, self.options
        return f"programme|{now.digest}|{asked}", lambda: programme(
            options, self.choice.chosen, asked.years, asked.yearly, asked.goal)


def question_of(study: Study, wanted: Mapping[str, Any]) -> ChoiceRequest:
    """What is asked. wanted: every limit by key. study: of the state, with its limits in the table [choice]."""
    return ChoiceRequest(wanted["objective"], limits_of(study), wanted["backup_settings"] == MAY_CHANGE,
                         wanted["applicable_only"], int(wanted["programme_years"]),
                         YearlyLimits(wanted["yearly_budget"], wanted["yearly_units"]))


def select(now: ScenarioResults, asked: Asked, question: ChoiceRequest) -> Selection:
    """What is proposed where nothing but limits is moved, else the choice at the moved inputs."""
    moved, decision = not asked.at_the_studys_inputs, now.decision
    if not moved and not decision.named:
        return Selection(question, decision.options, decision.choice, True, False)
    options = _options(now, question)
    return Selection(question, options, _chosen(now, options, question), False, moved)


def chosen_again(now: ScenarioResults, base: ScenarioResults, question: ChoiceRequest) -> Choice:
    """The choice at the inputs of a moved state, for work beside a page. base: results at the study's own inputs."""
    options = None if base.decision.named else options_at(base.decision.options, base.results.study, now.results.study)
    return choose(options or _built(now, question), question.limits, question.goal, gap=OPTIMALITY_GAP,
                  seconds=SEARCH_SECONDS)


def _built(now: ScenarioResults, question: ChoiceRequest) -> Options:
    study = now.results.study
    return build_options(study.model, now.results.costs, fast_settings(study.values), question.only, study.currency)


def _options(now: ScenarioResults, question: ChoiceRequest) -> Options:
    """What may be done with each lateral, the last one cached in the session and used again where it can be."""
    key, study = (now.digest, question.settings, question.only), now.results.study
    cached = st.session_state.get("options")
    if cached is None or cached[0] != key:
        options = options_at(cached[1], cached[2], study) if cached and cached[0][1:] == key[1:] else None
        if options is None:
            options = _built(now, question)
        cached = st.session_state["options"] = (key, options, study)
    return cached[1]


def _chosen(now: ScenarioResults, options: Options, question: ChoiceRequest) -> Choice:
    key, cached = (now.digest, question), st.session_state.get("choice")
    if cached is None or cached[0] != key:
        with st.spinner("Choosing …"):
            found = choose(options, question.limits, question.goal, gap=OPTIMALITY_GAP, seconds=SEARCH_SECONDS)
            cached = st.session_state["choice"] = (key, found)
    return cached[1]
