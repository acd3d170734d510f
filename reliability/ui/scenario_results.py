"""Results of the states that somebody looks at: the study as it stands, and with what is asked beside it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import streamlit as st

from reliability.pipeline import decide
from reliability.schema.scenarios import proposed_position
from reliability.study import Study
from reliability.ui import cores, state
from reliability.ui.text import short
from reliability.what_if import Asked, ScenarioResults, compute, moved_study, with_limits

STATES_KEY, RESULTS_CACHED = "states", 8
OF_THE_PROGRAMME = {"programme_years", "yearly_budget", "yearly_units"}     # limits that leave the choice as it is


def state_results(study: Study, fingerprint: str, asked: Asked) -> ScenarioResults:
    """Expected results of a state."""
    base = base_results(study, fingerprint, asked)
    if asked.at_the_studys_inputs:
        return base
    found = base if not asked.moves else _once(
        _digest(fingerprint, Asked(asked.moves, asked.limits)),
        lambda digest: compute(_marked(moved_study(base_study(study, asked), asked.moves, base),
                                       Asked(asked.moves, asked.limits), study),
                               digest, [base, *_of(fingerprint)]))
    if asked.perspective is None:
        return found
    return _once(_digest(fingerprint, asked), lambda digest: compute(
        _marked(_seen(found, str(asked.perspective)), asked, study), digest, [found]))


def base_results(study: Study, fingerprint: str, asked: Asked) -> ScenarioResults:
    """Results at the study's own inputs, with what is proposed under the limits of a state."""
    stated = stated_results(study, fingerprint)
    limits = asked.limits
    if not limits:
        return stated
    alone = Asked(limits=limits)

    def limited(digest: str) -> ScenarioResults:
        under = base_study(study, asked)
        decision = stated.decision if limits.keys() <= OF_THE_PROGRAMME else decide(
            under, limits.get("applicable_only") is not False, cores.workers(len(study.network)))
        return compute(_marked(under, alone, study), digest, [stated], decision)

    return _once(_digest(fingerprint, alone), limited)


def base_study(study: Study, asked: Asked) -> Study:
    """The study under the limits of a state."""
    return with_limits(study, asked.limits)


@st.cache_resource(max_entries=6, show_spinner=False)
def stated_results(_study: Study, fingerprint: str) -> ScenarioResults:
    """Results of the study as it stands; shared between tabs and never changed."""
    return compute(_study, _digest(fingerprint, Asked()), workers=cores.workers(len(_study.network)))


def in_perspective(now: ScenarioResults, perspective: str) -> ScenarioResults:
    """The same state in another perspective."""
    if perspective == now.results.study.values["perspective"]:
        return now
    return _once(f"{now.digest}|{perspective}", lambda digest: compute(_seen(now, perspective), digest, [now]))


def looked_at(now: ScenarioResults) -> int:
    """Position of the scenario that is looked at in this tab: the one chosen, else the proposal, else the first."""
    name, names = state.text(state.SCENARIO_KEY), now.names
    if name in names[1:]:
        return names.index(name)
    return proposed_position(now.results.study.scenarios) or min(1, len(names) - 1)


def pick_scenario(now: ScenarioResults, label: str, widget: str) -> int:
    """Ask for the scenario looked at, the same one on every page; there must be one beside "As built"."""
    state.hold(widget, looked_at(now))
    st.selectbox(label, range(1, len(now.names)), key=widget, format_func=lambda i: short(now.names[i]),
                 on_change=lambda: state.put(scenario=now.names[st.session_state[widget]]))
    return int(st.session_state[widget])


def _digest(fingerprint: str, asked: Asked) -> str:
    """Names a state: the study's files and what is asked beside them."""
    return f"{fingerprint}|{json.dumps([dict(asked.moves), dict(asked.limits), asked.perspective], sort_keys=True)}"


def _marked(moved: Study, asked: Asked, study: Study) -> Study:
    """Whatever is made of a state has the mark of the state."""
    return replace(moved, inputs_sha256=asked.mark(study.inputs_sha256))


def _seen(now: ScenarioResults, perspective: str) -> Study:
    study = now.results.study
    return replace(study, values={**study.values, "perspective": perspective})


def _of(fingerprint: str) -> list[ScenarioResults]:
    return [found for digest, found in _cached().items() if digest.startswith(f"{fingerprint}|")]


def _cached() -> dict[str, ScenarioResults]:
    return st.session_state.setdefault(STATES_KEY, {})


def _once(digest: str, work: Callable[[str], ScenarioResults]) -> ScenarioResults:
    """Results of a state, the last few of them cached in the session."""
    cached = _cached()
    # the one that was asked for last stays longest
    cached[digest] = cached.pop(digest) if digest in cached else work(digest)
    for old in list(cached)[:-RESULTS_CACHED]:
        del cached[old]
    return cached[digest]
