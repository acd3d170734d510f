"""Work done by copies of this process at the same time, without sending them what they work on.

A copy (`fork` of the operating system) has all that was computed before; what it finds is sent back. Results are taken
in the order of the work, so they do not depend on how many copies there are. Where the system has none (or they are
unsafe, as on macOS), everything is done here, one after another.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import signal
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor
from contextlib import suppress
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

T = TypeVar("T")

_SIGNAL_AT_PARENTS_DEATH = 1    # PR_SET_PDEATHSIG of Linux
AHEAD = 4       # results for each process that may wait for one before them

POSSIBLE = hasattr(os, "fork") and sys.platform.startswith("linux")


def cores() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Work(Generic[T]):
    """What a copy of this process does meanwhile (`apart`), else what is done here when its result is asked for.

    known: objects that are here already and are not sent back where they are part of the result.
    """

    def __init__(self, work: Callable[[], T], apart: bool, known: Sequence[object] = ()) -> None:
        self._work: Callable[[], T] | None = work
        self._found: T
        self._copy = _Copy([work], known) if apart and POSSIBLE else None

    def result(self) -> T:
        """What the work gives; raises what it raised, and BrokenExecutor where its process died."""
        if self._work is not None:
            self._found = self._work() if self._copy is None else self._copy.result()
            self._work = None
        return self._found

    @property
    def answer(self) -> Connection:
        """Where the result comes in."""
        if self._copy is None:
            raise ValueError("nothing is done apart")
        return self._copy.answer

    def stop(self) -> None:
        """End the work if it is under way."""
        if self._copy is not None:
            self._copy.stop()

    def __enter__(self) -> Work[T]:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


class _Copy(Generic[T]):
    """A copy that does works one after another; each `result` is that of the next."""

    def __init__(self, works: Sequence[Callable[[], T]], known: Sequence[object] = ()) -> None:
        self.known, self.begun_by, self.left = known, os.getpid(), len(works)
        import multiprocessing  # loaded where there is something to do apart

        context = multiprocessing.get_context("fork")
        self.answer, sent = context.Pipe(duplex=False)
        for stream in (sys.stdout, sys.stderr):
            stream.flush()                              # or a copy would write once more what waits
        self.process = context.Process(target=_work_and_send, daemon=True,
                                       args=(works, known, self.answer, sent, self.begun_by))
        gc.freeze()                                     # so that no collection of the copy goes over what is shared
        self.process.start()
        gc.unfreeze()
        sent.close()

    def result(self) -> T:
        try:
            message = self.answer.recv_bytes()
        except EOFError:
            self.stop()
            raise BrokenExecutor("a process died") from None
        received = _Unpickler(io.BytesIO(message))
        received.known = self.known
        good, found = received.load()
        self.left -= 1
        if not (good and self.left):
            if os.getpid() == self.begun_by:
                self.process.join()
            self.answer.close()
        if not good:
            raise found
        answer: T = found
        return answer

    def stop(self) -> None:
        if os.getpid() == self.begun_by:
            self.process.kill()
            self.process.join()
        self.answer.close()


class _Pickler(pickle.Pickler):
    places: Mapping[int, int]

    def persistent_id(self, obj: object) -> int | None:
        return self.places.get(id(obj))


class _Unpickler(pickle.Unpickler):
    known: Sequence[object]

    def persistent_load(self, pid: int) -> object:
        return self.known[pid]


def _message(good: bool, found: object, known: Sequence[object]) -> bytes:
    out = io.BytesIO()
    pickler = _Pickler(out, protocol=pickle.HIGHEST_PROTOCOL)
    pickler.places = {id(one): place for place, one in enumerate(known)}
    pickler.dump((good, found))
    return out.getvalue()


def _raised(error: Exception) -> bytes:
    """The message of what was raised, without its way there; in words where it cannot be sent."""
    error.__cause__ = error.__context__ = None          # some libraries have these sent with it
    error = error.with_traceback(None)
    try:
        return _message(False, error, ())
    except Exception:  # what it holds may be of any kind
        return _message(False, RuntimeError(f"{type(error).__name__}: {error}"), ())


def _end_with(process: int) -> None:
    """Have this copy end as soon as the process that began it does: one that is killed can tell nobody."""
    import ctypes

    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_SIGNAL_AT_PARENTS_DEATH, signal.SIGKILL)
    if os.getppid() != process:
        os._exit(1)


def _work_and_send(works: Sequence[Callable[[], object]], known: Sequence[object], answer: Connection,
                   sent: Connection, begun_by: int) -> None:
    """In the copy: the works, and the result of each or what the first to fail raised on the way back."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)        # who began it ends it
    _end_with(begun_by)
    answer.close()
    with suppress(BrokenPipeError):                     # nobody waits for it any more
        for work in works:
            try:
                message = _message(True, work(), known)
            except Exception as error:  # raised again where the result is asked for
                sent.send_bytes(_raised(error))
                return
            sent.send_bytes(message)


def in_turns(works: Sequence[Callable[[], T]], processes: int) -> Iterator[T]:
    """Results of works of about one size in their order; of P copies each does every P-th, so it is made only once.

    A copy is at most one work ahead of what was taken from it; where no more are wanted it is ended.
    """
    if processes < 2 or not POSSIBLE:
        for work in works:
            yield work()
        return
    copies = [_Copy(works[place::processes]) for place in range(min(processes, len(works)))]
    try:
        for place in range(len(works)):
            yield copies[place % processes].result()
    finally:
        for copy in copies:
            copy.stop()


def in_order(works: Iterable[Callable[[], T]], processes: int) -> Iterator[T]:
    """Results of the works in their order, so many of them under way at a time; what is begun too many is ended."""
    if processes < 2 or not POSSIBLE:
        for work in works:
            yield work()
        return
    coming, under_way, found, wanted = enumerate(works), dict[int, Work[T]](), dict[int, T](), 0
    try:
        while True:
            while len(under_way) < processes and len(found) < AHEAD * processes and (one := next(coming, None)):
                under_way[one[0]] = Work(one[1], apart=True)
            if wanted in found:
                yield found.pop(wanted)
                wanted += 1
            elif under_way:
                for place in _ready(under_way):
                    found[place] = under_way.pop(place).result()
            else:
                return
    finally:
        for unfinished in under_way.values():
            unfinished.stop()


def _ready(under_way: Mapping[int, Work[T]]) -> list[int]:
    """Places of those that can be collected without waiting, at least one."""
    from multiprocessing.connection import wait

    answers = {place: work.answer for place, work in under_way.items()}
    ready = wait(answers.values())
    return [place for place, answer in answers.items() if answer in ready]
