"""Results of the states that somebody looks at: the study as it stands, sliders moved, another perspective."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import streamlit as st

from reliability.study import Study
from reliability.ui.sliders import state_digest
from reliability.what_if import ScenarioResults, compute, moved_study

STATES, MAX_CACHED = "states", 6


def state_results(study: Study, fingerprint: str, moves: Mapping[str, float | int]) -> ScenarioResults:
    """Expected results of a state."""
    base = stated_results(study, fingerprint)
    if not moves:
        return base

    def moved(digest: str) -> ScenarioResults:
        same_study = [s for name, s in _cached().items() if name.startswith(f"{fingerprint}|")]
        return compute(moved_study(study, moves, base), digest, [base, *same_study])

    return _once(state_digest(fingerprint, dict(moves)), moved)


@st.cache_resource(max_entries=MAX_CACHED, show_spinner=False)
def stated_results(_study: Study, fingerprint: str) -> ScenarioResults:
    """Results of the study as it stands; shared between tabs and never changed."""
    return compute(_study, state_digest(fingerprint, {}))


def in_perspective(now: ScenarioResults, perspective: str) -> ScenarioResults:
    """The same state in another perspective."""
    study = now.results.study
    if perspective == study.values["perspective"]:
        return now
    seen = replace(study, values={**study.values, "perspective": perspective})
    return _once(f"{now.digest}|{perspective}", lambda digest: compute(seen, digest, [now]))


def _cached() -> dict[str, ScenarioResults]:
    return st.session_state.setdefault(STATES, {})


def _once(digest: str, work: Callable[[str], ScenarioResults]) -> ScenarioResults:
    """Results of a state, the last few of them cached in the session."""
    cached = _cached()
    if digest not in cached:
        cached[digest] = work(digest)
        for old in list(cached)[:-MAX_CACHED]:
            del cached[old]
    return cached[digest]
