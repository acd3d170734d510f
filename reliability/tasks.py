"""Work cut into parts that others may do: processes of this machine, or many machines. Results come in the order of
the parts, so that no digit depends on who did them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future
from dataclasses import dataclass
from typing import Any, TypeVar

AHEAD = 3       # parts for each worker handed out before the first is collected

T = TypeVar("T")


@dataclass(frozen=True)
class Workers:
    """Who does the parts: an executor that runs so many at once, or, without one, the process itself."""

    executor: Executor | None = None
    at_once: int = 1

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

    def in_order(self, parts: Iterable[Callable[[], T]]) -> Iterator[T]:
        """Results of the parts in their order; few are under way at a time."""
        if self.executor is None:
            yield from (part() for part in parts)
            return
        waiting: deque[Future[T]] = deque()
        try:
            for part in parts:
                waiting.append(self.executor.submit(part))
                if len(waiting) > AHEAD * self.at_once:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


HERE = Workers()
