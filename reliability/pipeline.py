"""A whole study from checked input to results: only calls, no arithmetic of its own."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass

import pandas as pd

from reliability.faults.outcomes import OutcomeTable, build_outcomes
from reliability.history import learned_study
from reliability.indices.expected import Expected, expected_values, feeder_indices
from reliability.indices.simulation import Progress, Question, Simulated, simulate
from reliability.network.tree import Network, build_network
from reliability.study.study import Study


@dataclass(frozen=True)
class Results:
    """Everything a run computes; scenarios in the order of `study.scenarios`."""

    study: Study
    network: Network
    table: OutcomeTable
    expected: tuple[Expected, ...]
    simulated: Simulated | None = None


def with_rates(study: Study) -> Study:
    """The study with the fault rates it asks for: as stated, or learned from its outage records.

    Raises StudyError where rates = "learned" and there is nothing to learn from.
    """
    return learned_study(study) if study.values["rates"] == "learned" else study


def expect(study: Study) -> Results:
    """Network, outcome table and expected values of a study; answers at once."""
    network = build_network(study.sections)
    table = build_outcomes(network, study.values, study.scenarios)
    return Results(study, network, table, expected_values(table, study.values))


def modelled_by_feeder(results: Results) -> pd.DataFrame:
    """SAIFI and SAIDI of today's protection by feeder_id, for calibration against the records."""
    return pd.DataFrame.from_dict(feeder_indices(results.expected[0]), orient="index")[["saifi", "saidi_min"]]


def question(results: Results) -> Question:
    """What the simulation of a study is asked."""
    study = results.study
    return Question(results.network, study.values, study.uncertain, study.scenarios)


def analyse(study: Study, *, trials: int | None = None, seed: int | None = None, executor: Executor | None = None,
            workers: int = 1, on_progress: Progress | None = None) -> Results:
    """All of a run: expected values, then the simulation (see `simulate`).

    trials, seed: override the study's.
    """
    results = expect(with_rates(study))
    study = results.study
    simulated = simulate(
        question(results), seed=study.values["seed"] if seed is None else seed,
        trials=study.values["trials"] if trials is None else trials,
        executor=executor, workers=workers, on_progress=on_progress,
    )
    return Results(study, results.network, results.table, results.expected, simulated)
