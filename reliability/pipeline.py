"""A whole study from checked input to results: only calls, no arithmetic of its own."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from reliability.business.break_even import BreakEven, break_even
from reliability.business.cashflow import Business, assess
from reliability.business.constraints import fast_settings, limits_of
from reliability.business.costs import INTERRUPTION, SOCIETY, InterruptionCost
from reliability.business.drivers import drivers_frame
from reliability.business.frontier import frontier, programme
from reliability.business.options import Options, build_options
from reliability.business.rivals import rival_scenarios
from reliability.business.selection import Choice, choose
from reliability.faults.outcomes import OutcomeTable, build_outcomes
from reliability.history import History, learned_study, read_history
from reliability.history.outages import Records, read_records
from reliability.indices.expected import Expected, expected_values, feeder_indices
from reliability.indices.simulation import Progress, Question, Simulated, simulate
from reliability.network.application import ApplicationChecks, check_laterals, settle_scenarios
from reliability.network.tree import Network
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import Scenario
from reliability.study.cost_table import CostTable
from reliability.study.study import Study

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
    table: OutcomeTable
    expected: tuple[Expected, ...]
    business: Business
    application: ApplicationChecks
    simulated: Simulated | None = None
    plan: Plan | None = None
    history: History | None = None

    @property
    def network(self) -> Network:
        """The study's sections as arrays."""
        return self.study.network

    @property
    def costs(self) -> CostTable:
        """Customers' cost of an interruption."""
        return self.study.cost_table

    @cached_property
    def break_even(self) -> BreakEven:
        """Where the gains in SAIDI of the scenarios turn; computed when it is first asked for."""
        return break_even(self.network, self.study.values, self.study.scenarios)


def records_of(study: Study) -> Records | None:
    """The outage records of a study, None where it has none. Raises StudyError for records that cannot be read."""
    return read_records(study) if study.outages is not None and len(study.outages) else None


def with_rates(study: Study, records: Records | None = None) -> Study:
    """The study with the fault rates it asks for: as stated, or learned from its outage records.

    records: those of the study, where they have been read. Raises StudyError where rates = "learned" and there is
    nothing to learn from.
    """
    if study.values["rates"] != "learned":
        return study
    return learned_study(study, records or records_of(study))


def with_rivals(study: Study) -> Study:
    """The study with the scenarios that need no capital beside its own."""
    return replace(study, scenarios=(*study.scenarios, *rival_scenarios(study)))


def expect(study: Study) -> Results:
    """Network, outcome table, expected values and the business case of a study; answers at once.

    Which laterals a scenario with `applicable_only` converts is settled here, once, at the mean values.
    """
    network = study.network
    study = replace(study, scenarios=settle_scenarios(network, study.values, study.scenarios))
    return assemble(study, build_outcomes(network, study.values, study.scenarios),
                    check_laterals(network, study.values, scenario_to_check(study)))


def assemble(study: Study, table: OutcomeTable, application: ApplicationChecks) -> Results:
    """Expected values and business case of a study on an outcome table of its sections and scenarios."""
    expected = expected_values(table, study.values)
    business = assess(table, expected, study.values, study.cost_table, study.currency)
    return Results(study, table, expected, business, application)


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
    """Every conversion that works at its lateral, and the settings that may change."""
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
    Raises StudyError for outage records that cannot be read, before the work.
    """
    on_stage("outage records")
    records = records_of(study)
    on_stage("expected values")
    results = expect(with_rivals(with_rates(study, records)))
    values = results.study.values
    on_stage("simulation")
    simulated = simulate(
        question(results), seed=values["seed"] if seed is None else seed,
        trials=values["trials"] if trials is None else trials,
        executor=executor, workers=workers, on_progress=on_progress,
    )
    on_stage("what the records say")
    history = None
    if records is not None:
        history = read_history(study, modelled_by_feeder(results), records)
    on_stage("choice, frontier and drivers")
    return replace(results, simulated=simulated, plan=plan(results), history=history)
