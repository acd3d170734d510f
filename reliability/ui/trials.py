"""The simulation behind the figures: it follows in stages, and a new move stops it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import streamlit as st

from reliability.business.cashflow import npv_by_trial
from reliability.indices.simulation import simulate
from reliability.indices.spread import differences, summaries, yearly_indices
from reliability.pipeline import question
from reliability.ui.answer import Answer

STAGES = (60,)                     # trials after which first intervals are shown; then as many as the study asks for
PATIENCE_SECONDS = 0.45            # so long the sliders must rest before a simulation begins
KEPT, STORE = 6, "trials"
MOST_YEARS_KEPT = 20_000           # yearly values of SAIDI kept for the picture of their spread


@dataclass(frozen=True)
class Spread:
    """Simulated figures of one state.

    summaries, differences: of each scenario (see indices/spread). saidi: (S, y) yearly values.
    npv: (S, trials). final: whether these are all the trials that the study asks for.
    """

    digest: str
    names: tuple[str, ...]
    trials: int
    years: int
    seed: int
    summaries: list[dict]
    differences: list[dict]
    saidi: np.ndarray
    npv: np.ndarray
    final: bool


def known(digest: str) -> Spread | None:
    """What is simulated of a state so far."""
    return st.session_state.get(STORE, {}).get(digest)


def latest() -> Spread | None:
    """The state that was simulated last, whichever it is."""
    kept = list(st.session_state.get(STORE, {}).values())
    return kept[-1] if kept else None


def follow(now: Answer, progress) -> Iterator[Spread]:
    """Simulated figures of a state, in stages; every block of work asks whether there is a newer state.

    progress: called with done and total trials.
    """
    have = known(now.digest)
    if have is not None:
        yield have
        if have.final:
            return
    for _ in range(6):
        time.sleep(PATIENCE_SECONDS / 6)
        st.session_state.get(STORE)  # a newer state stops this one here
    asked = now.results.study.values["trials"]
    stages = [(s, False) for s in STAGES if (have is None or s > have.trials) and (asked is None or s < asked)]
    for trials, final in [*stages, (asked, True)]:
        spread = _stage(now, trials, final, progress)
        kept = st.session_state.setdefault(STORE, {})
        kept.pop(now.digest, None)
        kept[now.digest] = spread
        for old in list(kept)[:-KEPT]:
            del kept[old]
        yield spread


def _stage(now: Answer, trials: int | None, final: bool, progress) -> Spread:
    def step(done: int, total: int, seconds_left: float) -> None:
        st.session_state.get(STORE)          # a rerun asked for in the meantime stops this one here
        progress(done, total)

    study = now.results.study
    simulated = simulate(question(now.results), seed=study.values["seed"], trials=trials, on_progress=step)
    indices = yearly_indices(simulated, float(now.results.network.customers.sum()))
    saidi = indices["saidi_min"].reshape(len(simulated.scenarios), -1)[:, :MOST_YEARS_KEPT]
    return Spread(now.digest, simulated.scenarios, simulated.trials, simulated.years, simulated.seed,
                  summaries(indices), differences(indices), saidi.astype(np.float32).copy(),
                  npv_by_trial(now.business, simulated), final)
