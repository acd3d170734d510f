"""A whole study from checked input to results: only calls, no arithmetic of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from typing import TypeAlias, TypeVar

import numpy as np
import pandas as pd

from reliability import forked
from reliability.business import unknowns
from reliability.business.calibrated import Calibrated, CalibrationFactors, calibrated
from reliability.business.cashflow import assess
from reliability.business.chosen_checks import USUAL
from reliability.business.constraints import fast_settings, limits_of
from reliability.business.costs import INTERRUPTION
from reliability.business.drivers import drivers_frame
from reliability.business.event_costs import InterruptionCost
from reliability.business.frontier import YearlyLimits, frontier, programme
from reliability.business.options import Options, build_options
from reliability.business.proposal import choice_of_scenario, named_proposal, renamed, scenario_of
from reliability.business.selection import Choice, choose
from reliability.business.stability import Stability, stability, with_stability
from reliability.business.zero_capital import zero_capital_scenarios
from reliability.faults.outcomes import OutcomeTable, build_outcomes
from reliability.history import History, LearnedRates, learn_rates, learned_study, read_history
from reliability.history.calibration import Calibration
from reliability.history.model_days import ModelDays, simulate_days
from reliability.history.operations import read_operations
from reliability.history.outages import Records, records_of
from reliability.history.rates import check_rates
from reliability.indices.expected import Expected, expected_values, feeder_indices
from reliability.indices.progress import Progress
from reliability.indices.simulation import Simulated, SimulationInput, needs_own_tables, simulate
from reliability.memory import give_back
from reliability.network.application import ApplicationChecks, check_laterals, settle_scenarios
from reliability.network.model import Model
from reliability.results import Plan, Results
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import Scenario, proposed_position
from reliability.study.arguments import check_assumptions
from reliability.study.ranges import LEARNED
from reliability.study.study import Study
from reliability.tasks import HERE, Workers

T = TypeVar("T")

FRONTIER_POINTS = 30
WithinLimits: TypeAlias = tuple[pd.DataFrame, pd.DataFrame, str]   # frontier, programme by year and a note on it


def learned_rates(study: Study, records: Records | None, on_progress: Callable[[int, int], None] | None = None,
                  workers: Workers = HERE) -> LearnedRates:
    """What the records of a study tell of its fault rates. Raises StudyError where there is nothing to learn from."""
    return learn_rates(study, records, read_operations(study, records) if records else None, on_progress, workers)


def with_rates(study: Study, records: Records | None = None, learned: LearnedRates | None = None) -> Study:
    """The study with the fault rates it asks for: as stated, or learned from its records.

    records: those of the study, learned: what they tell, where that is known already. Raises StudyError where
    rates = "learned" and there are no records to learn from.
    """
    if study.values["rates"] != LEARNED:
        return study
    return learned_study(study, learned or learned_rates(study, records or records_of(study)))


@dataclass(frozen=True)
class ProposedChoice:
    """What a study proposes: a choice among options, and the scenario that carries it out, None where it is nothing.

    named: whether it is a scenario that the study names, and the options nothing but what that does.
    """

    options: Options
    choice: Choice
    scenario: Scenario | None
    named: bool = False


def decide(study: Study, applicable_only: bool = True, workers: Workers = HERE) -> ProposedChoice:
    """The scenario that `[choice] proposed` names, else the best choice within the limits of the table [choice].

    applicable_only, workers: see `options_of`.
    """
    study = _settled(study)
    values, named = study.values, named_proposal(study.scenarios, study.values["proposed"])
    if named is not None:
        options, choice = choice_of_scenario(study.model, study.cost_table, named, values["objective"], study.currency)
        return ProposedChoice(options, choice, renamed(named), True)
    options = options_of(study, applicable_only, workers)
    choice = choose(options, limits_of(study), values["objective"])
    return ProposedChoice(options, choice, scenario_of(choice))


def with_alternatives(study: Study, decision: ProposedChoice | None = None) -> Study:
    """The study with what it proposes, and the scenarios that need no capital, after its own.

    decision: what it proposes, where that is known already.
    """
    proposed, own = (decision or decide(study)).scenario, study.scenarios
    if proposed is not None and proposed_position(own) is None:
        own = (*own, proposed)
    return replace(study, scenarios=(*own, *zero_capital_scenarios(study)))


def _settled(study: Study) -> Study:
    """The study with the laterals that a scenario with `applicable_only` converts named."""
    return replace(study, scenarios=settle_scenarios(study.model, study.scenarios))


def expect(study: Study) -> Results:
    """Network, outcome table, expected values and the business case of a study, without simulation.

    Which laterals a scenario with `applicable_only` converts is decided here, once, at the mean values. A study that
    asks for rates of its records has them learned, unless that was done (`with_rates`). Raises StudyError where there
    is nothing to learn from.
    """
    return _expect(_settled(study if study.rate_draws is not None else with_rates(study)))


def _expect(study: Study) -> Results:
    """The same of a study that is settled."""
    return assemble(study, build_outcomes(study.model, study.scenarios),
                    check_laterals(study.model, scenario_to_check(study)))


def assemble(study: Study, table: OutcomeTable, application: ApplicationChecks,
             expected: tuple[Expected, ...] | None = None) -> Results:
    """Expected values and business case of a study on an outcome table of its sections and scenarios.

    expected: where they are known already.
    """
    expected = expected_values(table, study.values) if expected is None else expected
    business = assess(table, expected, study.values, study.cost_table, study.currency)
    return Results(study, table, expected, business, application)


def scenario_to_check(study: Study) -> Scenario:
    """The scenario whose sectionalizers the application checks judge: the study's first that installs any."""
    return next((s for s in study.scenarios if s.device == SECTIONALIZER), USUAL)


def modelled_days(results: Results) -> ModelDays:
    """Days of the study as built, to compare with its records: a simulation of its own, with a fixed seed."""
    feeders = pd.DataFrame.from_dict(feeder_indices(results.expected[0]), orient="index")[["saifi", "saidi_min"]]
    return simulate_days(results.table, results.study.values, feeders)


def simulation_input(results: Results) -> SimulationInput:
    """Input of a study's simulation, customers' interruption costs included whatever the perspective."""
    study = results.study
    extra = {INTERRUPTION: InterruptionCost(results.network, results.costs)}
    inputs = SimulationInput(Model(results.network, study.values), study.uncertain, study.scenarios, extra,
                             study.rate_draws)
    # where each trial needs a table of its own, this one would only go along to the workers
    return inputs if needs_own_tables(inputs) else replace(inputs, known=results.table)


def options_of(study: Study, applicable_only: bool = True, workers: Workers = HERE) -> Options:
    """Every conversion that passes the application checks of its lateral, and the settings that may change.

    applicable_only: False for the conversions that fail them too. workers: do parts of the work.
    """
    return build_options(study.model, study.cost_table, fast_settings(study.values), applicable_only=applicable_only,
                         currency=study.currency, workers=workers)


def plan(results: Results, decision: ProposedChoice, history: History | None = None, workers: Workers = HERE) -> Plan:
    """What is proposed, its programme, the frontier and the drivers, within the limits of the study's table [choice].

    The limits are those of a choice: a scenario that is named as the proposal is carried out whole, in its years.
    history: whose calibration the proposal is seen at too.
    """
    planned = _planned(decision, _within_limits(results.study, decision),
                       *_over_draws(results.study, decision, workers))
    return replace(planned, calibrated=_calibrated(results.study, decision, history))


def _planned(decision: ProposedChoice, within_limits: WithinLimits, sure: Stability, drivers: pd.DataFrame) -> Plan:
    """What of a plan does not ask the records, from its parts."""
    return Plan(decision.options, with_stability(decision.choice, sure), *within_limits, drivers, sure)


def _within_limits(study: Study, decision: ProposedChoice) -> WithinLimits:
    """The frontier of the choice, and what is proposed by year. study: with what is proposed, settled."""
    front = frontier(options_of(study) if decision.named else decision.options, FRONTIER_POINTS,
                     replace(limits_of(study), budget=None))        # what more money would buy too
    return front, *_programme(study, decision)


def _over_draws(study: Study, decision: ProposedChoice, workers: Workers,
                apart: bool = False) -> tuple[Stability, pd.DataFrame]:
    """How sure the choice is, and the drivers of its NPV.

    study: with what is proposed, settled. apart: whether in a process of its own, to which the sums of the options are
    of no use any more once it is known how sure the choice is.
    """
    sure = stability(study, decision.options, decision.choice, limits_of(study), decision.named, workers)
    if apart:
        decision.options.effects.forget()
        give_back()
    return sure, drivers_frame(study, study.network, study.cost_table, workers=workers)


def _calibrated(study: Study, decision: ProposedChoice, history: History | None) -> Calibrated | None:
    """The choice where rates and times are as the records have them."""
    found = history.calibration if history is not None else None
    return None if found is None else calibrated(study, decision.options, decision.choice, limits_of(study),
                                                 _factors(found), decision.named)


def _factors(found: Calibration) -> CalibrationFactors:
    """What is offered; where nothing is, what the records show all the same."""
    rate, time = found.rate_factor, found.time_factor
    if np.isfinite([rate, time]).any():
        return CalibrationFactors(rate, time, True)
    return CalibrationFactors(found.decisive.rate[0], found.decisive.time[0], False)


def _programme(study: Study, decision: ProposedChoice) -> tuple[pd.DataFrame, str]:
    """What is proposed by year, and a sentence on it."""
    values = study.values
    return programme(decision.options, decision.choice.chosen, values["programme_years"],
                     YearlyLimits(values["yearly_budget"], values["yearly_units"]), values["objective"])


def analyse(study: Study, *, trials: int | None = None, seed: int | None = None, executor: Executor | None = None,
            workers: int = 1, scheduler: str | None = None, on_progress: Progress | None = None,
            on_stage: Callable[[str], None] = lambda stage: None,
            on_wait: Callable[[], None] = lambda: None) -> Results:
    """All of a run: expected values and business case, the simulation (see `simulate`), plan and history.

    trials, seed: override the study's. workers: processes that simulate; the result does not depend on it. executor:
    any `concurrent.futures.Executor` in their place, which runs so many tasks at once. scheduler: address of a Dask
    scheduler, whose workers stand in for both (see `cluster`). on_stage: called with the name of each stage as it
    begins. on_wait: called once while other processes have work, for what the caller needs afterwards. Raises
    StudyError for trials or a seed out of bounds and for outage records that cannot be read, before the work;
    ClusterError for workers that cannot be used.
    """
    check_assumptions({"trials": trials, "seed": seed})
    on_stage("outage records")
    records = records_of(study)
    with ExitStack() as begun:
        who = begun.enter_context(_workers(executor, workers, scheduler))
        # processes forked from this one do each a part of the run; others, what they are handed within a part
        within = HERE if who.forks else who

        def meanwhile(work: Callable[[], T], *known: object, apart: bool = who.forks) -> forked.Work[T]:
            return begun.enter_context(forked.Work(work, apart, (study, study.network, records, *known)))

        rated, learned = _rated(study, records, who, meanwhile, on_stage)
        on_stage("choice of laterals")
        decision = decide(rated, workers=who if who.forks else HERE)
        give_back()
        on_stage("expected values")
        proposing = _settled(with_alternatives(rated, decision))
        if who.forks and records is not None:
            unknowns.load()                         # both copies of this process that are made next draw from it
        over_draws = meanwhile(lambda: _over_draws(proposing, decision, within, apart=who.forks), decision,
                               decision.options, proposing, proposing.network)
        if who.forks and records is None:
            decision.options.effects.forget()       # large; the copy of this process has them, and nobody else asks
        results = _expect(proposing)
        values = results.study.values
        give_back()
        recorded = meanwhile(lambda: _recorded(study, results, decision, records, learned), decision, decision.options,
                             results.study, results.table, results.network)
        if who.forks:                               # others draw and read records meanwhile
            results.find_of_expected()
            on_wait()
        on_stage("simulation")
        simulated = _simulated(results, values["seed"] if seed is None else seed,
                               values["trials"] if trials is None else trials, who, on_progress)
        give_back()
        on_stage("frontier and drivers")
        planned = _planned(decision, _within_limits(results.study, decision), *over_draws.result())
        on_stage("history")
        history, at_records = recorded.result()
        whole = results.with_parts(simulated, replace(planned, calibrated=at_records), history)
        decision.options.effects.forget()           # large, and no document asks for them
        give_back()
        return whole


def _rated(study: Study, records: Records | None, who: Workers, meanwhile: Callable[..., forked.Work[LearnedRates]],
           on_stage: Callable[[str], None]) -> tuple[Study, Callable[[], LearnedRates | None]]:
    """The study with the fault rates that it asks for, and what gives those learned from its records, if it has any.

    meanwhile: begins work; rates that are only compared are learned beside the rest of a run.
    """
    stated = study.values["rates"] != LEARNED
    if records is None and stated:
        return study, lambda: None
    on_stage("fault rates from records")
    check_rates(study, records)
    apart = who.forks and stated
    learning = meanwhile(lambda: learned_rates(study, records, workers=HERE if apart else who), apart=apart)
    if not apart:
        learning.result()
    return study if stated else with_rates(study, records, learning.result()), learning.result


def _simulated(results: Results, seed: int, trials: int | None, who: Workers, on_progress: Progress | None
               ) -> Simulated:
    """The simulation while other processes draw and read records."""
    inputs = simulation_input(results)
    # where each takes much memory, the process that draws has the place of one that simulates
    at_once = max(who.at_once - 1, 1) if who.forks and inputs.large else who.at_once
    return simulate(inputs, seed=seed, trials=trials, executor=who.executor, workers=at_once, on_progress=on_progress)


def _recorded(study: Study, results: Results, decision: ProposedChoice, records: Records | None,
              learned: Callable[[], LearnedRates | None]) -> tuple[History | None, Calibrated | None]:
    """The history of a study, and the choice where rates and times are as its records have them."""
    if records is None:
        return None, None
    history = read_history(study, modelled_days(results), records, learned())
    return history, _calibrated(results.study, decision, history)


@contextmanager
def _workers(executor: Executor | None, workers: int, scheduler: str | None) -> Iterator[Workers]:
    """Those of a scheduler, the executor that is given, else processes for more than one; else this process."""
    if scheduler is not None:
        from reliability.cluster import cluster
        with cluster(scheduler) as found:
            yield found
        return
    if executor is not None or workers <= 1 or forked.POSSIBLE:
        yield Workers(executor, workers)
        return
    processes = ProcessPoolExecutor(workers)
    try:
        yield Workers(processes, workers)
    finally:
        processes.shutdown(cancel_futures=True)
