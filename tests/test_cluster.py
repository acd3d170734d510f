"""A run on workers of a Dask scheduler: the same bytes, also where one of them dies on the way; problems are named."""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Callable
from dataclasses import replace

import pytest

from reliability import cluster
from reliability.__main__ import main
from reliability.indices import simulation
from reliability.pipeline import analyse
from reliability.report.summary import summary
from reliability.schema.assumption_types import Range
from reliability.study import Study
from tests.history import records
from tests.history.test_reported import SECTIONS, rows_of

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def two():
    """A scheduler with two worker processes."""
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as made:
        yield made


def text_of(study: Study, scheduler: str | None, on_progress: Callable[..., None] | None = None) -> str:
    """Everything that a run computes, as text."""
    results = analyse(study, trials=400, scheduler=scheduler, on_progress=on_progress)
    plan = results.plan
    return "\n".join([json.dumps(summary(results), default=str), plan.drivers.to_csv(), plan.choice.selection.to_csv(),
                      results.indices.to_csv()])


@pytest.mark.slow
def test_a_run_on_two_workers_of_which_one_is_killed_gives_the_same_bytes(two, monkeypatch):
    """Learned rates, blocks of the simulation, sensitivity and searches at single draws all go there."""
    monkeypatch.setattr(simulation, "EVENTS_PER_BLOCK", 5_000)
    study = replace(records.study(rows_of(1), sections=SECTIONS, rates="learned", budget=1000.0), stated_ranges={
        "refuse_hours": Range(1.0, 1.5, 2.5), "sectionalizer_cost": Range(100.0, 200.0, 400.0)})
    wanted = text_of(study, None)
    killed: list[int] = []
    sent: set[str] = set()
    submit = cluster._Cluster.submit
    monkeypatch.setattr(cluster._Cluster, "submit",
                        lambda self, part: sent.add(part.func.__name__) or submit(self, part))

    def kill_one(*_: object) -> None:
        if not killed:
            killed.append(two.workers[0].pid)
            os.kill(killed[0], signal.SIGKILL)

    assert text_of(study, two.scheduler_address, kill_one) == wanted
    assert killed
    assert sent == {"until", "simulate_unit_block", "_moved_by", "_searched"}
    assert two.workers[0].pid != killed[0]


def test_workers_that_cannot_be_used_are_a_problem_with_its_remedy(tmp_path, two, monkeypatch, capsys):
    def tried(address: str) -> str:
        assert main(["run", "data/demo", "--out", str(tmp_path / "out"), "--scheduler", address]) == 2
        assert not (tmp_path / "out").exists()
        return capsys.readouterr().err

    monkeypatch.setattr(cluster, "SECONDS_TO_CONNECT", 1)
    assert "no scheduler answers" in tried("tcp://127.0.0.1:9")
    assert "no scheduler answers" in tried("nowhere")
    own = cluster.versions()
    monkeypatch.setattr(cluster, "versions", lambda: own if os.getpid() != here else ("another", *own[1:]))
    here = os.getpid()
    assert "2 of its 3 processes" in tried(two.scheduler_address)

    def missing() -> tuple[str, ...]:
        if os.getpid() != here:
            raise ModuleNotFoundError("No module named 'reliability'")
        return own

    monkeypatch.setattr(cluster, "versions", missing)
    told = tried(two.scheduler_address)
    assert "cannot use the package reliability" in told
    assert "dask_worker ADDRESS" in told
