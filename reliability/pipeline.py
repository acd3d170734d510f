"""A whole study from checked input to results: only calls, no arithmetic of its own."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import pandas as pd

from reliability.business.cashflow import Business, assess
from reliability.business.constraints import check_constraints, fast_settings, limits_of
from reliability.business.cost_table import CostTable, read_cost_table
from reliability.business.costs import INTERRUPTION, SOCIETY, InterruptionCost
from reliability.business.drivers import drivers_frame
from reliability.business.frontier import frontier, programme
from reliability.business.options import Options, build_options
from reliability.business.rivals import rival_scenarios
from reliability.business.selection import Choice, choose
from reliability.faults.outcomes import OutcomeTable, build_outcomes
from reliability.history import History, learned_study, read_history
from reliability.history.outages import read_records
from reliability.history.settings import read_settings
from reliability.indices.expected import Expected, expected_values, feeder_indices
from reliability.indices.simulation import Progress, Question, Simulated, simulate
from reliability.network.application import ApplicationChecks, check_laterals, settle_scenarios
from reliability.network.tree import Network, build_network
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.problems import Problem, Problems, StudyError
from reliability.schema.scenarios import Scenario
from reliability.study.save import SETTINGS_FILE
from reliability.study.study import Study
from reliability.study.toml import line_of

FRONTIER_POINTS = 30


@dataclass(frozen=True)
class Plan:
    """What is worth converting: every option, the best choice within the study's limits, and its surroundings.

    frontier: the largest SAIDI reduction at each budget. programme: the choice spread over
    years, with programme_note in words. drivers: what the scenarios' worth hangs on.
    """

    options: Options
    choice: Choice
    frontier: pd.DataFrame
    programme: pd.DataFrame
    programme_note: str
    drivers: pd.DataFrame


@dataclass(frozen=True)
class Results:
    """Everything a run computes; scenarios in the order of `study.scenarios`."""

    study: Study
    network: Network
    table: OutcomeTable
    expected: tuple[Expected, ...]
    costs: CostTable
    business: Business
    application: ApplicationChecks
    simulated: Simulated | None = None
    plan: Plan | None = None
    history: History | None = None


def verify(study: Study) -> None:
    """Look through every door further in: cost table, outage records, laterals forced in or out.

    Raises StudyError with the problems behind all of them, before anything is computed.
    """
    problems = Problems()
    for door in (_constraints, _records, read_cost_table):
        try:
            door(study)
        except StudyError as error:
            problems.take(error)
    problems.kept = [_with_line(problem, study) for problem in problems.kept]
    problems.raise_if_any(dict.fromkeys(p.file for p in problems.kept))


def _constraints(study: Study) -> None:
    if study.extra.get("laterals"):  # the network is not built for nothing
        check_constraints(study, build_network(study.sections))


def _with_line(problem: Problem, study: Study) -> Problem:
    if problem.file != SETTINGS_FILE or problem.row is not None:
        return problem
    return replace(problem, row=line_of(study.lines, problem.column or ""))


def _records(study: Study) -> None:
    if study.values["rates"] == "learned":
        learned_study(study)
    elif study.outages is not None and len(study.outages):
        read_records(study)
    else:
        read_settings(study)


def with_rates(study: Study) -> Study:
    """The study with the fault rates it asks for: as stated, or learned from its outage records.

    Raises StudyError where rates = "learned" and there is nothing to learn from.
    """
    return learned_study(study) if study.values["rates"] == "learned" else study


def with_rivals(study: Study) -> Study:
    """The study with the scenarios that need no capital beside its own."""
    return replace(study, scenarios=(*study.scenarios, *rival_scenarios(study)))


def expect(study: Study, network: Network | None = None) -> Results:
    """Network, outcome table, expected values and the business case of a study; answers at once.

    network: of the same sections, where it has been built before. Which laterals a scenario with
    `applicable_only` converts is settled here, once, at the mean values.
    """
    network = network or build_network(study.sections)
    study = replace(study, scenarios=settle_scenarios(network, study.values, study.scenarios))
    return assemble(study, build_outcomes(network, study.values, study.scenarios), read_cost_table(study),
                    check_laterals(network, study.values, scenario_to_check(study)))


def assemble(study: Study, table: OutcomeTable, costs: CostTable, application: ApplicationChecks) -> Results:
    """Expected values and business case of a study on an outcome table of its sections and scenarios."""
    expected = expected_values(table, study.values)
    business = assess(table, expected, study.values, costs, study.currency)
    return Results(study, table.network, table, expected, costs, business, application)


def scenario_to_check(study: Study) -> Scenario:
    """The scenario whose sectionalizers the application checks look at: the study's first that has any."""
    usual = Scenario("Sectionalizers", None, SECTIONALIZER)
    return next((s for s in study.scenarios if s.device == SECTIONALIZER), usual)


def modelled_by_feeder(results: Results) -> pd.DataFrame:
    """SAIFI and SAIDI of today's protection by feeder_id, for calibration against the records."""
    return pd.DataFrame.from_dict(feeder_indices(results.expected[0]), orient="index")[["saifi", "saidi_min"]]


def question(results: Results) -> Question:
    """What the simulation of a study is asked; customers' costs only where the perspective counts them."""
    study, extra = results.study, {}
    if study.values["perspective"] == SOCIETY:
        extra = {INTERRUPTION: InterruptionCost(results.network, results.costs)}
    return Question(results.network, study.values, study.uncertain, study.scenarios, extra)


def options_of(results: Results) -> Options:
    """Every conversion that works at its lateral, and the settings that may change; StudyError for a wrong input."""
    check_constraints(results.study, results.network)
    values = results.study.values
    return build_options(results.network, values, results.costs, fast_settings(values), applicable_only=True,
                         currency=results.study.currency)


def plan(results: Results) -> Plan:
    """Choice, frontier, programme and drivers of a study, within the limits of its table [choice]."""
    study, values, limits = results.study, results.study.values, limits_of(results.study)
    options = options_of(results)
    years, note = programme(options, int(values["programme_years"]), values["yearly_budget"], values["yearly_units"],
                            limits, values["objective"])
    return Plan(options, choose(options, limits, values["objective"]), frontier(options, FRONTIER_POINTS, limits),
                years, note, drivers_frame(study, results.network, results.costs))


def analyse(study: Study, *, trials: int | None = None, seed: int | None = None, executor: Executor | None = None,
            workers: int = 1, on_progress: Progress | None = None,
            on_stage: Callable[[str], None] = lambda stage: None) -> Results:
    """All of a run: expected values and business case, the simulation (see `simulate`), plan and history.

    trials, seed: override the study's. on_stage: told in a few words what begins.
    Raises StudyError with everything that `verify` finds, before the work.
    """
    on_stage("inputs")
    verify(study)
    on_stage("expected values")
    results = expect(with_rivals(with_rates(study)))
    values = results.study.values
    on_stage("simulation")
    simulated = simulate(
        question(results), seed=values["seed"] if seed is None else seed,
        trials=values["trials"] if trials is None else trials,
        executor=executor, workers=workers, on_progress=on_progress,
    )
    on_stage("outage records")
    history = None
    if study.outages is not None and len(study.outages):
        history = read_history(study, modelled_by_feeder(results))
    on_stage("choice, frontier and drivers")
    return replace(results, simulated=simulated, plan=plan(results), history=history)
