"""The simulation behind the figures: it follows in stages, and a new move stops it."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from concurrent.futures import wait
from dataclasses import dataclass

import numpy as np
import streamlit as st

from reliability.business.cashflow import npv_by_trial
from reliability.indices.progress import Progress
from reliability.indices.simulation import SimulationInput, simulate
from reliability.indices.spread import differences, summaries, yearly_indices
from reliability.pipeline import simulation_input
from reliability.tasks import HERE, Workers
from reliability.ui import background, cores
from reliability.what_if import ScenarioResults

FIRST_TRIALS = (60,
                )                     # trials after which first intervals are shown; then as many as the study asks for
REST_SECONDS = 0.45            # so long the sliders must rest before a simulation begins
REPORT_EVERY_SECONDS = 0.2           # a message for every block would keep the browser busy
ASKED_AT_MOST = 3000               # sections of a network whose trials the first page waits for
TRIALS_PREPARED_AT_MOST = 30_000          # sections of one that is simulated while somebody reads that page
TRIALS_CACHED, LATEST = 24, "simulated"
MAX_YEARS = 20_000           # yearly values of SAIDI kept for the picture of their spread


@dataclass(frozen=True)
class SimulatedSpread:
    """Simulated figures of one state.

    summaries, differences: of each scenario (see indices/spread). saidi: (S, y) yearly values.
    saidi_average: (S, trials) means over a trial's years. npv: (S, trials), and npv_elsewhere in the perspective that
    the state is not seen in. final: whether these are all the trials that the study asks for.
    """

    digest: str
    names: tuple[str, ...]
    trials: int
    years: int
    seed: int
    summaries: list[dict[str, dict[str, float]]]
    differences: list[dict[str, dict[str, float]]]
    saidi: np.ndarray
    saidi_average: np.ndarray
    npv: np.ndarray
    npv_elsewhere: np.ndarray
    final: bool


@st.cache_resource(show_spinner=False)
def _store() -> tuple[OrderedDict[str, SimulatedSpread], threading.Lock]:
    """What was simulated last, shared between tabs and pages and never changed."""
    return OrderedDict(), threading.Lock()


@st.cache_resource(show_spinner=False)
def _done_of() -> dict[str, tuple[int, int]]:
    """Trials done and trials in all of what is simulated beside the pages, by digest."""
    return {}


def odds_of_gain(npv: np.ndarray) -> float | None:
    """Share of trials (trials,) with a net present value above 0; None where nothing is spent and nothing saved."""
    return float((npv > 0).mean()) if np.any(npv != 0.0) else None


def known(digest: str) -> SimulatedSpread | None:
    """What is simulated of a state so far."""
    cached, lock = _store()
    with lock:
        return cached.get(digest)


def latest() -> SimulatedSpread | None:
    """The state that this tab showed last, whichever it is."""
    return known(st.session_state.get(LATEST, ""))


def _cache(spread: SimulatedSpread) -> SimulatedSpread:
    cached, lock = _store()
    with lock:
        cached[spread.digest] = spread
        cached.move_to_end(spread.digest)
        while len(cached) > TRIALS_CACHED:
            cached.popitem(last=False)
    return spread


def follow(now: ScenarioResults, progress: Callable[[int, int], object]) -> Iterator[SimulatedSpread]:
    """Simulated figures of a state, in stages; every block of work asks whether there is a newer state.

    progress: called with done and total trials, a few times a second.
    """
    have, moving = known(now.digest), LATEST in st.session_state
    if have is not None:
        st.session_state[LATEST] = now.digest
        yield have
        if have.final:
            return
    for _ in range(6 if moving else 0):
        time.sleep(REST_SECONDS / 6)
        st.session_state.get(LATEST)  # a newer state stops this one here
    for spread in _beside(now, have, progress):
        st.session_state[LATEST] = now.digest
        have = spread
        yield spread
    if have is not None and have.final:
        return
    inputs = simulation_input(now.results)
    for trials in _stages(now, have):
        spread = _cache(_stage(now, inputs, trials, progress))
        st.session_state[LATEST] = now.digest
        yield spread


def _stages(now: ScenarioResults, have: SimulatedSpread | None) -> list[int | None]:
    """Trials after which there are figures, the last all that the study asks for. have: what there is already."""
    wanted = now.results.study.values["trials"]
    return [*(s for s in FIRST_TRIALS if (have is None or s > have.trials) and (wanted is None or s < wanted)), wanted]


def _beside(now: ScenarioResults, have: SimulatedSpread | None,
            progress: Callable[[int, int], object]) -> Iterator[SimulatedSpread]:
    """What is simulated beside the pages, while it is; have: what there is already."""
    while True:
        future = background.under_way(_key(now), waits=True)
        if future is not None:
            st.session_state.get(LATEST)     # a newer state stops this one here
            if (so_far := _done_of().get(now.digest)) is not None:
                progress(*so_far)
            wait([future], REPORT_EVERY_SECONDS)
        found = known(now.digest)
        if found is not None and found is not have:
            have = found
            yield found
        if future is None:                   # looked at after its end: the last of its figures were there
            return


def asked(now: ScenarioResults) -> SimulatedSpread | None:
    """What is simulated of a state so far, None for nothing; the rest is simulated beside the page, in stages."""
    if is_waited_for(now) and not done(now.digest):
        background.ask(_key(now), lambda: _in_stages(now), background.LONG, waits=False)
    return known(now.digest)


def prepare(now: ScenarioResults) -> None:
    """Simulate a state that a page will ask for, while nobody waits for a page."""
    if len(now.results.network) <= TRIALS_PREPARED_AT_MOST and not done(now.digest):
        background.prepare(_key(now), lambda: _in_stages(now))


def _key(now: ScenarioResults) -> str:
    return f"spread|{now.digest}"


def _in_stages(now: ScenarioResults) -> None:
    key, have, done_of = _key(now), known(now.digest), _done_of()
    if have is not None and have.final:      # a page was quicker
        return
    inputs = simulation_input(now.results)

    def step(done: int, total: int, seconds_left: float) -> None:
        done_of[now.digest] = done, total
        background.give_way(key)

    try:
        for trials in _stages(now, have):
            _cache(_spread(now, inputs, trials, step, _workers(now) if background.is_awaited(key) else HERE))
    finally:
        done_of.pop(now.digest, None)


def is_waited_for(now: ScenarioResults) -> bool:
    """Whether the first page waits for the trials of a state; of a large network it does without."""
    return len(now.results.network) <= ASKED_AT_MOST


def done(digest: str) -> bool:
    """Whether all trials of a state are simulated."""
    found = known(digest)
    return found is not None and found.final


def _workers(now: ScenarioResults) -> Workers:
    return cores.workers(len(now.results.network))


def _stage(now: ScenarioResults, inputs: SimulationInput, trials: int | None,
           progress: Callable[[int, int], object]) -> SimulatedSpread:
    reported = 0.0

    def step(done: int, total: int, seconds_left: float) -> None:
        nonlocal reported
        st.session_state.get(LATEST)         # a rerun asked for in the meantime stops this one here
        if time.monotonic() - reported >= REPORT_EVERY_SECONDS:
            reported = time.monotonic()
            progress(done, total)

    return _spread(now, inputs, trials, step, _workers(now))


def _spread(now: ScenarioResults, inputs: SimulationInput, trials: int | None, step: Progress | None,
            workers: Workers) -> SimulatedSpread:
    values = now.results.study.values
    simulated = simulate(inputs, seed=values["seed"], trials=trials, executor=workers.executor, workers=workers.at_once,
                         on_progress=step)
    indices = yearly_indices(simulated, float(now.results.network.customers.sum()))
    by_trial = indices["saidi_min"]
    saidi = by_trial.reshape(len(simulated.scenarios), -1)[:, :MAX_YEARS]
    other = next(case for view, case in now.results.perspectives.items() if view != now.business.values["perspective"])
    return SimulatedSpread(now.digest, simulated.scenarios, simulated.trials, simulated.years, simulated.seed,
                           summaries(indices), differences(indices), saidi.astype(np.float32).copy(),
                           by_trial.mean(axis=2).astype(np.float32),
                           npv_by_trial(now.business, simulated), npv_by_trial(other, simulated),
                           trials == values["trials"])
