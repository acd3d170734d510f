"""Monte Carlo over trials of one horizon each: year-to-year variation and uncertain assumptions, kept separate.

All scenarios see the same faults: an event is a place, a kind, a trial-year and a severity,
and only what protection makes of it differs. Work is cut into fixed blocks, each with its
own child of one seed, so the digits depend neither on who computes them nor on memory.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, partial
from itertools import pairwise
from typing import Any

import numpy as np

from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable, build_outcomes, row_rates
from reliability.faults.times import Term, hours_of
from reliability.formats import count
from reliability.indices.draws import draw_uncertain, one_trial, values_of_trials, yearly_multipliers
from reliability.indices.events import Block, TrialSums, TrialTimes, YearWeights, simulate_block, year_weights
from reliability.indices.late import DRAWN_TERMS, MAX_ROWS_CACHED, LateBlock, simulate_late
from reliability.indices.measures import (
    COUNTED_MEASURES,
    TIMED,
    WALK_OR_OWN,
    Coefficients,
    ExtraMeasure,
    Factor,
    amounts_of,
    coefficients,
)
from reliability.indices.precision import TrialsSeen, precise_enough, with_more_trials
from reliability.indices.progress import Progress, Reporter
from reliability.indices.rate_classes import RateClass, rate_multiplier, rate_parts
from reliability.indices.unit_events import ROWS_PER_BLOCK, UnitBlock, UnitRows, simulate_unit_block, unit_blocks
from reliability.network.model import Model
from reliability.network.rate_draws import RateDraws
from reliability.network.tree import Network
from reliability.schema.assumption_types import Range
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions, drawn
from reliability.tasks import HERE, Workers

# Fixed sizes: with the seed they settle every digit, so changing one changes results.
YEARS_PER_CHUNK = 8_000            # trial-years drawn together
EVENTS_PER_BLOCK = 400_000         # expected events of one block of rows in a chunk of trial-years

# Where the number of trials is left to the simulation; our assumptions.
TRIALS_AT_LEAST = 200              # before the standard error, itself an estimate, is believed
LOOK_AGAIN = 1.1                   # times the trials of the last look: many looks would stop on a lucky one
TRIALS_AT_MOST = 20_000
MEMORY_BYTES = 2e9                 # for the totals of all trials and what is made of them
ARRAYS_OF_TOTALS = 2.5             # totals, and the indices derived from them, at their peak
EVENTS_AT_MOST = 2e9               # about a minute of two cores
# Assumptions that change what protection does, so that each of their draws needs its own table.
STRUCTURAL = ("fast_clearing_time_s", "phases_involved", "load_margin", "cold_load_factor", "fault_current_factor",
              "fuse_melting_factor", "fuse_arcing_time_s", "actuating_ratio")
CHUNKS_AT_ONCE = 8                 # of one trial each, done by one process

PickedRates = Callable[[UnitBlock], np.ndarray]
# draws and totals of a chunk of trials
_Chunk = tuple[dict[str, np.ndarray], dict[str, np.ndarray]]


@dataclass(frozen=True)
class Simulated:
    """Totals of S scenarios in every year of every trial.

    totals: by measure, (S, trials, years): COUNTED_MEASURES and TIMED of indices/measures, and extra measures asked
    for. draws: (trials,) value of each uncertain assumption. precise: whether the standard error sought was reached;
    None where trials were fixed. limited: whether fewer trials were run than asked for, to stay within the memory
    bound.
    """

    scenarios: tuple[str, ...]
    trials: int
    years: int
    seed: int
    totals: dict[str, np.ndarray]
    draws: dict[str, np.ndarray] = field(default_factory=dict)
    precise: bool | None = None
    limited: bool = False

    def __repr__(self) -> str:
        return (f"Simulated: {count(self.trials, 'trial')} of {count(self.years, 'year')}, "
                f"{count(len(self.scenarios), 'scenario')}, seed {self.seed}")


@dataclass(frozen=True)
class SimulationInput:
    """What to simulate: a network, the assumptions and the scenarios, with their outcome table.

    extra: further measures by name (see indices/measures). rate_draws: of rates learned from records, one a trial.
    known: the outcome table, where it is made already.
    """

    model: Model
    uncertain: Mapping[str, Range]
    scenarios: Sequence[Scenario]
    extra: Mapping[str, ExtraMeasure] = field(default_factory=dict)
    rate_draws: RateDraws | None = None
    known: OutcomeTable | None = None

    def table(self, values: Assumptions) -> OutcomeTable:
        """Outcome table at the given values."""
        return build_outcomes(self.model.with_values(values), self.scenarios)

    @cached_property
    def expected_table(self) -> OutcomeTable:
        """Outcome table at the values."""
        return self.table(self.values) if self.known is None else self.known

    @cached_property
    def prepared(self) -> _Prepared | None:
        """What all trials share, made once for however many simulations; None where each needs a table of its own."""
        if needs_own_tables(self):
            return None
        table = self.expected_table
        return _prepare(self, table, self.values, self.uncertain, self.large)

    @property
    def large(self) -> bool:
        """Whether the table is too large for the coefficients of all its blocks at a time; see `late`."""
        return len(self.expected_table) > MAX_ROWS_CACHED

    @property
    def network(self) -> Network:
        """The sections as arrays."""
        return self.model.network

    @property
    def values(self) -> Assumptions:
        """Every assumption by key, an uncertain one at its mean."""
        return self.model.values


def simulate(inputs: SimulationInput, *, seed: int, trials: int | None = None, executor: Executor | None = None,
             workers: int = 1, on_progress: Progress | None = None, memory_bytes: float = MEMORY_BYTES) -> Simulated:
    """Simulate trials of `horizon_years` years each.

    seed: any integer ≥ 0; with the inputs and `trials` it fixes every digit. trials: how many; None: until the
    standard error of every scenario's SAIDI difference to the first (of SAIDI, where there is one scenario) is under
    1 % of it, and TRIALS_AT_LEAST; but never more than TRIALS_AT_MOST, of a large network fewer. executor: any
    `concurrent.futures.Executor`; None computes here, or in so many `workers` forked from this process. workers: how
    many tasks run at once. memory_bytes: bound on the memory of the totals; trials that would not fit are not run
    (`limited`). on_progress(done, total, seconds left) is called after every block, or every chunk from another
    process; what it raises stops the simulation.
    """
    years = int(inputs.values["horizon_years"])
    per_chunk = 1 if inputs.prepared is None else max(1, YEARS_PER_CHUNK // years)
    fitting = _fitting(inputs, years, memory_bytes)
    cap = min(trials or most_trials(row_rates(inputs.expected_table, inputs.values).sum() * years), fitting)
    chunks: list[_Chunk] = []
    done, precise, seen = 0, None if trials else False, TrialsSeen()
    look_at: float = TRIALS_AT_LEAST
    run = _Run(inputs, inputs.prepared, years, Workers(executor, workers), Reporter(on_progress, cap))
    if run.prepared is not None and executor is not None and not run.workers.threads:   # others know coefficients only
        made = tuple(b.made() if isinstance(b, LateBlock) else b for b in run.prepared.blocks)
        run = replace(run, prepared=replace(run.prepared, blocks=made), sent=tuple(map(run.workers.shared, made)))
    with closing(_chunks(run, seed, cap, per_chunk)) as found:
        for chunk in found:
            chunks.append(chunk)
            done += chunk[1]["customer_hours"].shape[1]
            if trials is None:
                seen = with_more_trials(seen, chunk[1]["customer_hours"])
                if done >= min(look_at, cap):
                    precise, look_at = precise_enough(seen), LOOK_AGAIN * done
                    if precise:
                        break
    return Simulated(
        tuple(s.name for s in inputs.scenarios), done, years, seed,
        {name: np.concatenate([totals[name] for _, totals in chunks], axis=1) for name in chunks[0][1]},
        {key: np.concatenate([draws[key] for draws, _ in chunks]) for key in chunks[0][0]}, precise,
        limited=trials is not None and trials > fitting,
    )


@dataclass(frozen=True)
class _Prepared:
    """Blocks of a table, the classes of their multipliers, and the assumptions at which both hold."""

    blocks: tuple[Block | LateBlock | UnitBlock, ...]
    classes: tuple[RateClass, ...]
    values: Assumptions


@dataclass(frozen=True)
class _Run:
    """What all chunks of a simulation share; prepared: None where every trial needs a table of its own.

    sent: the blocks of `prepared`, as the workers know them.
    """

    inputs: SimulationInput
    prepared: _Prepared | None
    years: int
    workers: Workers
    report: Reporter
    sent: tuple[Any, ...] = ()


def _chunks(run: _Run, seed: int, cap: int, per_chunk: int) -> Generator[_Chunk]:
    """Chunks of trials one after another, `cap` trials; where there are several, each from a process of its own."""
    jobs = [(np.random.SeedSequence(seed, spawn_key=(number,)), min(per_chunk, cap - first))
            for number, first in enumerate(range(0, cap, per_chunk))]
    if not run.workers.forks or len(jobs) < 2:
        yield from (_chunk(run, *job) for job in jobs)
        return
    alone, at_once = replace(run, workers=HERE, report=Reporter(None, cap)), 1 if per_chunk > 1 else CHUNKS_AT_ONCE
    batches = (jobs[k:k + at_once] for k in range(0, len(jobs), at_once))
    for some in run.workers.in_order((partial(_chunks_of, alone, batch) for batch in batches), alike=True):
        for draws, totals in some:
            run.report.start(1, totals["customer_hours"].shape[1])
            run.report.block_done()
            yield draws, totals


def _chunks_of(run: _Run, jobs: Sequence[tuple[np.random.SeedSequence, int]]) -> list[_Chunk]:
    return [_chunk(run, *job) for job in jobs]


def _chunk(run: _Run, seed: np.random.SeedSequence, trials: int) -> _Chunk:
    """Draws and totals of a chunk of trials, {measure: (S, trials, years)}."""
    inputs, prepared, years = run.inputs, run.prepared, run.years
    own, events = seed.spawn(2)
    rng = np.random.default_rng(own)
    draws = draw_uncertain(rng, inputs.uncertain, trials)
    values = values_of_trials(inputs.values, draws)
    uncertain = inputs.uncertain
    if prepared is None:
        # the chunk is one trial with its own table, in which nothing is uncertain any more
        of_trial, uncertain = one_trial(values, 0), {}
        prepared, values = _prepare(inputs, inputs.table(of_trial), of_trial, uncertain), of_trial
    yearly = yearly_multipliers(rng, drawn(values, "yearly_cv"), trials, years)
    sigma = np.sqrt(np.log1p(np.square(np.asarray(drawn(values, "cv"), dtype=float))))
    sigma = np.repeat(sigma, years) if sigma.ndim else sigma[None]
    multipliers = [np.asarray(rate_multiplier(c, values, prepared.values)) for c in prepared.classes]
    times = TrialTimes(sigma, {term: np.repeat(np.broadcast_to(hours_of(term, values), trials), years)
                               for term in _uncertain_terms(prepared)})
    tasks = _tasks(prepared, run.sent or prepared.blocks, multipliers, yearly, times,
                   _picked_rates(inputs.rate_draws, rng, trials), events.spawn(len(prepared.blocks)))

    totals = {name: np.zeros((len(inputs.scenarios), trials * years)) for name in (*COUNTED_MEASURES, *TIMED,
                                                                                   *inputs.extra)}
    run.report.start(len(prepared.blocks), trials)

    @cache
    def scale(factor: Factor) -> np.ndarray:
        """What sums are multiplied by in each trial-year, (T,)."""
        drawn_ = drawn(values, factor) if isinstance(factor, str) else hours_of(factor, values)
        return np.repeat(np.broadcast_to(drawn_, trials), years)

    for block, sums_of in zip(prepared.blocks, run.workers.in_order(tasks, small=True), strict=True):
        for each, sums in zip(_coefficients_of(block) or [s.of for s in sums_of if s.of], sums_of, strict=True):
            _add(totals, each, sums, scale)
        run.report.block_done()
    return draws, {name: total.reshape(-1, trials, years) for name, total in totals.items()}


def _add(totals: Mapping[str, np.ndarray], of: Coefficients, sums: TrialSums,
         scale: Callable[[Factor], np.ndarray]) -> None:
    """Add a block's sums to totals (S, T)."""
    years = slice(None) if sums.of_years is None else sums.of_years
    for keys, columns, by_year in ((of.count_keys, of.count_column, sums.counted),
                                   (of.severity_keys, of.severity_column, sums.timed)):
        by_column = np.ascontiguousarray(by_year.T)     # each column in one piece of memory
        for (name, scenario, factor), column in zip(keys, columns.tolist(), strict=True):
            amount = by_column[column]
            totals[name][scenario][years] += amount if factor is None else amount * scale(factor)[years]
    if of.bent is not None:
        by_column = np.ascontiguousarray(sums.beyond.T)
        for (name, scenario), column in zip(of.bent.keys, of.bent.column.tolist(), strict=True):
            totals[name][scenario][years] += by_column[column]
    if of.own is not None and sums.own is not None:
        by_column = np.ascontiguousarray(sums.own.T)
        for (name, scenario), column in zip(of.own.keys, of.own.column.tolist(), strict=True):
            totals[name][scenario][years] += by_column[column]


def _coefficients_of(block: Block | LateBlock | UnitBlock) -> list[Coefficients]:
    """Those of each part of a block, none of one whose are made later."""
    if isinstance(block, LateBlock):
        return []
    return [block.coefficients] if isinstance(block, Block) else [part.coefficients for part in block.parts]


def _uncertain_terms(prepared: _Prepared) -> set[Term]:
    """Times of the bent columns that differ between trials."""
    if any(isinstance(block, LateBlock) for block in prepared.blocks):
        return DRAWN_TERMS
    each = [c for block in prepared.blocks for c in _coefficients_of(block)]
    return {d.term for c in each if c.bent is not None for d in c.bent.durations if d.term is not None} | {
        WALK_OR_OWN for c in each if c.own is not None}


def _picked_rates(draws: RateDraws | None, rng: np.random.Generator, trials: int) -> PickedRates | None:
    """Gives the relative rates (groups, trials) of a block, one joint draw a trial."""
    if draws is None:
        return None
    picked = rng.integers(len(draws), size=trials)
    return lambda block: draws.of_groups(block.unit, block.permanent, picked)


def _tasks(prepared: _Prepared, sent: Sequence[Any], multipliers: Sequence[np.ndarray],
           yearly: np.ndarray, times: TrialTimes, picked_rates: PickedRates | None,
           seeds: Sequence[np.random.SeedSequence]) -> Iterator[Callable[[], list[TrialSums]]]:
    """What gives the sums of each part of each block.

    sent: the blocks as the workers know them. multipliers: () or (trials,) of each class. yearly: (trials, years).
    picked_rates: of learned rates, None without.
    """
    weights: list[YearWeights] = []
    if picked_rates is None:
        plain = [b for b in prepared.blocks if not isinstance(b, UnitBlock)]
        expected = np.bincount([b.multiplier_class for b in plain], [b.rates.sum() for b in plain], len(multipliers))
        weights = [year_weights((m * yearly.T).T.ravel(), e) for m, e in zip(multipliers, expected, strict=True)]
    for block, known, seed in zip(prepared.blocks, sent, seeds, strict=True):
        if not isinstance(block, UnitBlock):
            yield partial(_simulated, known, weights[block.multiplier_class], times, seed)
            continue
        rates = np.ones((len(block.unit), len(yearly))) if picked_rates is None else picked_rates(block)
        of_parts = [np.array(np.broadcast_arrays(*(np.atleast_1d(multipliers[c]) for c in part.classes)))
                    for part in block.parts]
        yield partial(simulate_unit_block, known, rates, yearly, of_parts, times, seed)


def _simulated(block: Block | LateBlock, weights: YearWeights, times: TrialTimes,
               seed: np.random.SeedSequence) -> list[TrialSums]:
    if isinstance(block, LateBlock):
        return [simulate_late(block, weights, times, seed)]
    return [simulate_block(block, weights, times, seed)]


def needs_own_tables(inputs: SimulationInput) -> bool:
    """Whether a draw of the unknowns may change what protection does, so that each trial needs a table of its own."""
    keys = {key.partition(".")[0] for key in inputs.uncertain}
    # a study's share of faults with reclosing off may come before or after one that a device states
    stated = np.isfinite(inputs.network.column["reclosing_off_share"]).any()
    return bool(keys & set(STRUCTURAL)) or ("reclosing_off_share" in keys and bool(stated))


def _prepare(inputs: SimulationInput, table: OutcomeTable, values: Assumptions,
             uncertain: Mapping[str, Range], late: bool = False) -> _Prepared:
    """Cut a table into blocks of rows that share the multiplier of their rates; late: see `late`."""
    part_rows, part_rates, part_class, classes = rate_parts(table, values, {key.partition(".")[0] for key in uncertain})
    # Rows of one make side by side: their coefficients have fewer distinct columns, and where
    # nothing stays open in any scenario no severity need be drawn.
    alike = np.ones(len(table), dtype=bool)
    for opened, openings in zip(table.opened[1:], table.openings[1:], strict=True):     # one at a time: less memory
        alike &= (opened == table.opened[0]) & (openings == table.openings[0])
    make = (table.kinds.astype(np.int32) * 2 + (table.opened.max(axis=0) >= 0)) * 2 + alike
    amounts = amounts_of(table.network)

    def added(rows: np.ndarray) -> Coefficients:
        return coefficients(table, values, rows, uncertain, inputs.extra, amounts)

    if inputs.rate_draws is not None:
        unit = inputs.rate_draws.unit_of[table.section[part_rows]]
        of_units = UnitRows(part_rows, part_rates, part_class, make[part_rows], unit,
                            table.kinds[part_rows] == PERMANENT_BIT)
        return _Prepared(tuple(unit_blocks(of_units, added)), classes, values)
    of_part = part_class.astype(np.int32) * 64 + make[part_rows]
    order = np.argsort(of_part, kind="stable")
    rows, rates, cls, of_part = part_rows[order], part_rates[order], part_class[order], of_part[order]
    del order, part_rows, part_rates, part_class
    at = [(slice(start, stop), int(cls[start])) for start, stop in block_bounds(rates, of_part)]
    blocks = [LateBlock(rates[one], rows[one], which, added) if late else Block(rates[one], added(rows[one]), which)
              for one, which in at]
    return _Prepared(tuple(blocks), classes, values)


def block_bounds(rates: np.ndarray, group: np.ndarray) -> list[tuple[int, int]]:
    """Bounds of blocks: one group of rows, at most so many of them and of expected events."""
    if not len(rates):
        return []
    by_events = np.floor(np.cumsum(rates) * YEARS_PER_CHUNK / EVENTS_PER_BLOCK).astype(np.int32)
    change = (group[1:] != group[:-1]) | (by_events[1:] != by_events[:-1])
    change[ROWS_PER_BLOCK - 1::ROWS_PER_BLOCK] = True
    edges = [0, *(np.flatnonzero(change) + 1).tolist(), len(rates)]
    return list(pairwise(edges))


def most_trials(events_per_trial: float) -> int:
    """Trials at most, where their number is left to the simulation."""
    return int(max(2, min(TRIALS_AT_MOST, EVENTS_AT_MOST / max(events_per_trial, 1.0))))


def _fitting(inputs: SimulationInput, years: int, memory_bytes: float) -> int:
    """Trials whose totals fit into the memory bound, at least one."""
    measures = len(COUNTED_MEASURES) + len(TIMED) + len(inputs.extra)
    per_trial = ARRAYS_OF_TOTALS * 8 * measures * len(inputs.scenarios) * years
    return max(1, int(memory_bytes / per_trial))
