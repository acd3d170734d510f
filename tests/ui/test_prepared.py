"""What is prepared while somebody reads a page: it makes way for pages, and the next page finds or joins it."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest

from reliability.study import open_study, workspace
from reliability.tasks import HERE
from reliability.ui import background, cores, overview_page, trials, trips_panel
from reliability.what_if import compute


@pytest.fixture(autouse=True)
def _at_once(monkeypatch):
    monkeypatch.setattr(background, "IDLE_SECONDS", 0.0)


def test_what_is_prepared_waits_while_a_page_runs_until_it_is_asked_for():
    begun, steps, free = threading.Event(), [], threading.Event()

    def work() -> str:
        begun.set()
        for k in range(3):
            assert free.wait(30)
            background.give_way("prepared|steps")
            steps.append(k)
        return "done"

    with background.page_runs():
        background.prepare("prepared|steps", work)
        assert not begun.wait(0.3)              # it does not begin
    assert begun.wait(30)                       # behind whatever other tests have left
    with background.page_runs():
        free.set()
        time.sleep(0.3)
        assert not steps                        # nor go on
        assert background.ask("prepared|steps", lambda: "again").result(timeout=30) == "done"
    assert steps == [0, 1, 2]


@pytest.fixture
def state(small, monkeypatch):
    """Results of a study whose simulation is a fake that can be held."""
    study = open_study(workspace.root() / small)
    now = compute(study, f"held-{threading.get_ident()}-{time.monotonic()}")
    run = SimpleNamespace(now=now, stages=[], free=threading.Event(), threads=[])

    def spread(now, inputs, count, step, workers):
        run.stages.append(count)
        run.threads.append(threading.current_thread())
        step(1, 2, 0.0)
        if count != trials.FIRST_TRIALS[0]:
            assert run.free.wait(60)
        return SimpleNamespace(digest=now.digest, trials=count, final=count != trials.FIRST_TRIALS[0])

    monkeypatch.setattr(trials, "_spread", spread)
    monkeypatch.setattr(trials, "FIRST_TRIALS", (10,))        # the study asks for 30
    return run


def test_a_page_joins_the_simulation_that_runs_beside_it(state):
    trials.prepare(state.now)
    steps = []

    def progress(*done: int) -> None:
        steps.append(done)
        state.free.set()

    while len(state.stages) < 2:            # it is at all trials
        time.sleep(0.02)
    seen = [spread.trials for spread in trials.follow(state.now, progress)]
    assert seen == [10, 30]
    assert state.stages == [10, 30]
    assert steps
    assert threading.current_thread() not in state.threads


def test_what_ends_while_a_page_draws_its_first_figures_is_not_simulated_again(state, monkeypatch):
    monkeypatch.setattr(trials, "REPORT_EVERY_SECONDS", 0.01)
    trials.prepare(state.now)
    while not state.stages:
        time.sleep(0.02)
    seen = []
    for spread in trials.follow(state.now, lambda *done: None):
        seen.append(spread.trials)
        state.free.set()
        while not trials.done(state.now.digest) or background.under_way(f"spread|{state.now.digest}"):
            time.sleep(0.02)
    assert seen == [10, 30]
    assert state.stages == [10, 30]


def test_a_page_simulates_what_is_not_simulated_beside_it(state, monkeypatch):
    state.free.set()
    assert [spread.trials for spread in trials.follow(state.now, lambda *done: None)] == [10, 30]
    assert set(state.threads) == {threading.current_thread()}
    trials.prepare(state.now)               # there is nothing left to do
    assert trials.asked(state.now).final
    assert state.stages == [10, 30]
    assert background.under_way(f"spread|{state.now.digest}") is None


def test_a_network_too_large_for_it_is_simulated_when_it_is_asked_for(state, monkeypatch):
    monkeypatch.setattr(trials, "TRIALS_PREPARED_AT_MOST", 3)
    monkeypatch.setattr(trials, "ASKED_AT_MOST", 3)
    begun: dict = {}
    monkeypatch.setattr(background, "prepare", begun.__setitem__)
    monkeypatch.setattr(background, "ask", lambda key, work, worker: begun.__setitem__(key, work))
    trials.prepare(state.now)
    assert trials.asked(state.now) is None
    assert not begun
    monkeypatch.setattr(trials, "TRIALS_PREPARED_AT_MOST", 30_000)
    trials.prepare(state.now)
    assert list(begun) == [f"spread|{state.now.digest}"]


def test_threads_work_on_large_networks_alone():
    assert cores.workers(cores.SMALL_NETWORK) is HERE
    many = cores.workers(cores.SMALL_NETWORK + 1)
    assert many is HERE or (isinstance(many.executor, ThreadPoolExecutor) and not many.forks and many.at_once > 1)


def test_nothing_queues_behind_a_simulation_and_what_is_prepared_waits_for_it(state):
    trials.asked(state.now)
    while len(state.stages) < 2:
        time.sleep(0.02)
    begun = threading.Event()
    background.prepare("prepared|behind", begun.set)
    assert background.ask("other|behind", lambda: "found").result(timeout=30) == "found"
    assert not begun.wait(0.3)
    state.free.set()
    assert begun.wait(30)
    assert [spread.trials for spread in trials.follow(state.now, lambda *done: None)] == [30]


def test_the_study_that_a_button_of_an_example_leads_to_is_prepared(small, monkeypatch):
    prepared: dict = {}
    monkeypatch.setattr(background, "prepare", prepared.__setitem__)
    overview_page._prepare_demos(SimpleNamespace(name=small))
    assert not prepared
    overview_page._prepare_demos(SimpleNamespace(name="demo"))
    assert list(prepared) == ["demo|wooded-town"]
    prepared.clear()
    monkeypatch.setitem(workspace.DEMOS, small, workspace.DEMOS["demo"])
    overview_page._prepare_demos(SimpleNamespace(name="wooded-town"))
    monkeypatch.setattr(trials, "done", lambda digest: False)
    prepared[f"demo|{small}"]()
    digests = {key.partition("|")[2] for key in prepared if key.partition("|")[0] in ("gaps", "decisive", "spread")}
    assert len(digests) == 1
    assert {key.partition("|")[0] for key in prepared} == {"demo", "gaps", "decisive", "spread"}


def test_who_is_out_on_a_lateral_is_prepared_of_a_network_that_is_not_large(small, monkeypatch):
    now = compute(open_study(workspace.root() / small), "trips")
    prepared: list[str] = []
    monkeypatch.setattr(background, "prepare", lambda key, work: prepared.append(key))
    trips_panel.prepare(now, 1)
    trips_panel.prepare(now, 0)
    monkeypatch.setattr(trips_panel, "TRIPS_PREPARED_AT_MOST", 3)
    trips_panel.prepare(now, 1)
    assert prepared == ["trips|trips|1", "trips|trips|0"]
    trips_panel.begin(now, 1)               # what the panel waits for at the end of its page
    assert background.result("trips|trips|1", lambda: None, "what trips").scenarios


def test_what_a_page_does_not_wait_for_begins_when_it_stands_or_when_something_is_waited_for(monkeypatch):
    monkeypatch.setattr(background, "HELD_SECONDS", 60.0)
    begun = [threading.Event() for _ in range(2)]
    with background.page_runs():
        held = background.ask("held|first", lambda: begun[0].set() or "first", background.LONG, waits=False)
        assert not begun[0].wait(0.3)
    assert held.result(timeout=30) == "first"
    with background.page_runs():
        held = background.ask("held|second", lambda: begun[1].set() or "second", waits=False)
        assert not begun[1].wait(0.3)
        # what a page waits for queues behind it on the same worker
        assert background.ask("held|waited for", lambda: "waited for").result(timeout=30) == "waited for"
        assert held.result(timeout=30) == "second"


def test_a_page_that_follows_what_is_held_lets_it_begin(monkeypatch):
    monkeypatch.setattr(background, "HELD_SECONDS", 60.0)
    begun = threading.Event()
    with background.page_runs():
        held = background.ask("held|followed", begun.set, background.LONG, waits=False)
        while background.under_way("held|followed") is None and not held.done():     # its worker may still be busy
            time.sleep(0.01)
        assert not begun.wait(0.3)
        assert background.under_way("held|followed", waits=True) is held
        assert begun.wait(30)


def test_what_is_held_begins_in_a_page_that_never_ends(monkeypatch):
    monkeypatch.setattr(background, "HELD_SECONDS", 0.1)
    with background.page_runs():
        assert background.ask("held|long page", lambda: "done", waits=False).result(timeout=30) == "done"
