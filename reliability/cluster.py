"""Workers of a Dask scheduler, on one machine or many; the package `distributed` is loaded only when asked for."""

from __future__ import annotations

import platform
import sys
from collections.abc import Iterator, Mapping
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from contextlib import contextmanager
from functools import partial
from importlib.metadata import version
from typing import Any, TypeVar

from reliability.tasks import Workers

INSTALL_DISTRIBUTED = "pip install distributed"
# run as modules, so that they find the package in the folder where they are started
SCHEDULER = ".venv/bin/python -m distributed.cli.dask_scheduler"
WORKER = ".venv/bin/python -m distributed.cli.dask_worker ADDRESS"
SECONDS_TO_CONNECT = 10
LARGE_MESSAGE = 10 ** 12        # bytes of a message above which Dask would warn; what is sent is known here
SAME = ("numpy", "pandas", "scipy")

T = TypeVar("T")


class ClusterError(Exception):
    """Workers that cannot be used; remedy: what to do about it."""

    def __init__(self, rule: str, remedy: str) -> None:
        super().__init__(rule)
        self.rule, self.remedy = rule, remedy


@contextmanager
def cluster(address: str) -> Iterator[Workers]:
    """The workers of the scheduler at `address`, such as "tcp://10.0.0.5:8786".

    A part whose worker dies is done again by another. Raises ClusterError where the package is missing, nobody answers,
    there are no workers, or they would compute with other versions, and BrokenExecutor where workers are lost for good.
    """
    try:
        import dask
        import distributed
    except ImportError as error:
        raise ClusterError("the optional package distributed is not installed", INSTALL_DISTRIBUTED) from error
    with dask.config.set({"distributed.admin.large-graph-warning-threshold": LARGE_MESSAGE}):
        try:
            client = distributed.Client(address, timeout=SECONDS_TO_CONNECT, set_as_default=False)
        except (OSError, ValueError) as error:
            raise ClusterError("no scheduler answers there",
                               f"start one in the project's folder with: {SCHEDULER}") from error
        with client:
            _check(client)
            try:
                yield Workers(_Cluster(client), sum(client.nthreads().values()))
            except (distributed.KilledWorker, CancelledError, OSError) as error:
                if isinstance(error, OSError) and client.status == "running":
                    raise
                raise BrokenExecutor(str(error)) from error


class _Cluster(Executor):
    """An executor on a Dask client; parts are `functools.partial`s whose arguments may be things sent ahead."""

    def __init__(self, client: Any) -> None:
        self._client = client
        self._inner = client.get_executor(pure=False)

    def submit(self, fn: Any, /, *args: Any, **keywords: Any) -> Future[Any]:
        if isinstance(fn, partial):
            fn, args, keywords = fn.func, (*fn.args, *args), {**fn.keywords, **keywords}
        found: Future[Any] = self._inner.submit(fn, *args, **keywords)
        return found

    def shared(self, thing: Any) -> Any:
        """The result of a task that gives the thing back: the scheduler can have it made again where it is lost."""
        return self._client.submit(_itself, thing, pure=False)


def _itself(thing: T) -> T:
    return thing


def _check(client: Any) -> None:
    """Raise ClusterError unless there are workers, and they and the scheduler have this process's versions."""
    if not client.nthreads():
        raise ClusterError("it has no workers", f"start some in the project's folder with: {WORKER}")
    try:
        found: Mapping[str, tuple[str, ...]] = {**client.run(versions), "scheduler": client.run_on_scheduler(versions)}
    except Exception as error:  # what a process there raised comes back in a form of its own
        raise ClusterError(f"its processes cannot use the package reliability ({error})",
                           f"start them in the project's folder with: {SCHEDULER}; {WORKER}") from error
    own = versions()
    if others := sorted(place for place, theirs in found.items() if theirs != own):
        raise ClusterError(f"{len(others)} of its {len(found)} processes ({others[0]} …) have other versions of "
                           f"Python, of {', '.join(SAME)} or of this package",
                           "install the same requirements.txt everywhere")


def versions() -> tuple[str, ...]:
    """What decides digits: the machine type, and versions of Python, the arrays and this package."""
    own = str(sys.modules[__name__.partition(".")[0]].__version__)
    return platform.machine(), platform.python_version(), *map(version, SAME), own
