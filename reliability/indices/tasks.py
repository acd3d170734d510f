"""Blocks of a simulation, done here, by an executor or by processes forked from this one: always in their order."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from functools import partial
from typing import TypeAlias

from reliability import forked
from reliability.indices.events import Sums
from reliability.indices.measures import Coefficients

TASKS_AHEAD = 3         # tasks per worker handed out before the first is collected
GROUPS_PER_WORKER = 4   # of blocks, where each process does a group of them

# coefficients of each part of a block, and what gives the sums of each
Task: TypeAlias = tuple[tuple[Coefficients, ...], Callable[[], list[Sums]]]


def in_order(tasks: Iterator[Task], executor: Executor | None,
              workers: int) -> Iterator[tuple[tuple[Coefficients, ...], list[Sums]]]:
    """Coefficients and sums of the blocks in the order of the tasks; few tasks are under way at a time."""
    if executor is None and workers > 1 and forked.POSSIBLE:
        yield from _in_processes(list(tasks), workers)
        return
    if executor is None:
        yield from ((each, sums()) for each, sums in tasks)
        return
    waiting: deque[tuple[tuple[Coefficients, ...], Future[list[Sums]]]] = deque()
    try:
        for each, sums in tasks:
            waiting.append((each, executor.submit(sums)))
            if len(waiting) > TASKS_AHEAD * workers:
                first, future = waiting.popleft()
                yield first, future.result()
        while waiting:
            first, future = waiting.popleft()
            yield first, future.result()
    finally:
        for _, future in waiting:
            future.cancel()


def _in_processes(tasks: list[Task], workers: int) -> Iterator[tuple[tuple[Coefficients, ...], list[Sums]]]:
    """As `_in_order`, by processes forked from this one, each for a group of neighbouring blocks."""
    size = -(-len(tasks) // (GROUPS_PER_WORKER * workers)) if tasks else 1
    groups = [tasks[k:k + size] for k in range(0, len(tasks), size)]
    found = forked.in_order((partial(_sums_of, group) for group in groups), workers)
    for group, of_group in zip(groups, found, strict=True):
        yield from ((each, sums) for (each, _), sums in zip(group, of_group, strict=True))


def _sums_of(group: list[Task]) -> list[list[Sums]]:
    return [sums() for _, sums in group]
