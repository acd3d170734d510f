"""Work cut into parts that others may do: processes of this machine, or many machines. Results come in the order of
the parts, so that no digit depends on who did them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from reliability import forked

TASKS_AHEAD = 3           # parts for each worker handed out before the first is collected
GROUPS_EACH = 1     # groups of small parts for each process

T = TypeVar("T")


@dataclass(frozen=True)
class Workers:
    """Who does the parts: an executor that runs so many at once, or, without one, this process.

    Where it can be forked, more than one at once are copies of this process.
    """

    executor: Executor | None = None
    at_once: int = 1

    @property
    def forks(self) -> bool:
        """Whether parts are done by processes forked from this one."""
        return self.executor is None and self.at_once > 1 and forked.POSSIBLE

    @property
    def threads(self) -> bool:
        """Whether they are threads of this process, which have all that it has."""
        return isinstance(self.executor, ThreadPoolExecutor)

    @property
    def far(self) -> bool:
        """Whether they keep what is sent to them once for many parts, so that large things may go to them."""
        return hasattr(self.executor, "shared")

    def shared(self, thing: T) -> T:
        """What stands for a large thing among the arguments of `functools.partial`s given to `in_order`.

        The thing itself, except where it is sent ahead and kept.
        """
        share: Callable[[Any], Any] | None = getattr(self.executor, "shared", None)
        return thing if share is None else share(thing)

    def in_order(self, parts: Iterable[Callable[[], T]], small: bool = False, alike: bool = False) -> Iterator[T]:
        """Results of the parts in their order; few are under way at a time.

        small: parts that take less than it takes to fork a process; each then does a group of neighbours. alike: parts
        of one size, of which not all may be wanted; they are done in turns.
        """
        if self.forks and alike:
            yield from forked.in_turns(list(parts), self.at_once)
            return
        if self.forks:
            yield from self._groups_in_order(list(parts)) if small else forked.in_order(parts, self.at_once)
            return
        if self.executor is None:
            yield from (part() for part in parts)
            return
        waiting: deque[Future[T]] = deque()
        try:
            for part in parts:
                waiting.append(self.executor.submit(part))
                if len(waiting) > TASKS_AHEAD * self.at_once:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()

    def _groups_in_order(self, parts: Sequence[Callable[[], T]]) -> Iterator[T]:
        size = max(-(-len(parts) // (GROUPS_EACH * self.at_once)), 1)
        groups = (partial(_all, parts[k:k + size]) for k in range(0, len(parts), size))
        for found in forked.in_order(groups, self.at_once):
            yield from found


def _all(parts: Sequence[Callable[[], T]]) -> list[T]:
    return [part() for part in parts]


HERE = Workers()
