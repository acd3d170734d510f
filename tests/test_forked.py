"""Work of copies of this process: in its order, with what goes wrong, ended where nobody waits for it."""

from __future__ import annotations

import copyreg
import errno
import os
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import BrokenExecutor
from functools import partial
from pathlib import Path

import pytest

from reliability import forked
from reliability.tasks import Workers

pytestmark = pytest.mark.skipif(not forked.POSSIBLE, reason="no copies of a process here")


def _after(seconds: float, what: object) -> object:
    time.sleep(seconds)
    return what, os.getpid()


@pytest.mark.parametrize("processes", [1, 2, 3])
def test_results_come_in_the_order_of_the_work_whichever_is_ready_first(processes):
    found = list(forked.in_order([partial(_after, seconds, k) for k, seconds in enumerate((0.3, 0.0, 0.1, 0.0, 0.0))],
                                 processes))
    assert [k for k, _ in found] == [0, 1, 2, 3, 4]
    assert (os.getpid() in {pid for _, pid in found}) == (processes == 1)


@pytest.mark.parametrize("many", [0, 1, 7])
def test_small_parts_go_by_neighbours(many):
    found = list(Workers(None, 2).in_order([partial(_after, 0.0, k) for k in range(many)], small=True))
    assert [k for k, _ in found] == list(range(many))
    assert len({pid for _, pid in found}) == min(many, 2)


@pytest.mark.parametrize("many", [0, 1, 7])
def test_alike_parts_go_in_turns_and_each_copy_is_made_once(many):
    found = list(Workers(None, 2).in_order((partial(_after, 0.0, k) for k in range(many)), alike=True))
    assert [k for k, _ in found] == list(range(many))
    pids = [pid for _, pid in found]
    assert len(set(pids[::2]) | set(pids[1::2])) == min(many, 2)
    assert os.getpid() not in pids


def test_of_parts_in_turns_those_that_nobody_wants_are_ended(tmp_path):
    def work(k: int) -> int:
        (tmp_path / str(k)).touch()
        time.sleep(0.05)
        return k

    found = forked.in_turns([partial(work, k) for k in range(40)], 2)
    assert [next(found), next(found)] == [0, 1]
    found.close()
    begun = len(list(tmp_path.iterdir()))
    time.sleep(0.3)
    assert len(list(tmp_path.iterdir())) == begun < 40


@pytest.mark.parametrize("fails", [lambda: 1 // 0, lambda: os._exit(1)])
def test_parts_in_turns_tell_what_went_wrong(fails):
    found = forked.in_turns([partial(_after, 0.0, 0), partial(_after, 0.0, 1), fails, partial(_after, 30.0, 3)], 2)
    assert [next(found)[0], next(found)[0]] == [0, 1]
    begun = time.monotonic()
    with pytest.raises((ZeroDivisionError, BrokenExecutor)):
        next(found)
    assert time.monotonic() - begun < 10.0


def test_no_more_are_begun_than_may_be_ahead():
    begun = []

    def works():
        for k in range(50):
            begun.append(k)
            yield partial(_after, 0.2 if k == 0 else 0.0, k)

    found = forked.in_order(works(), 2)
    assert next(found)[0] == 0
    assert len(begun) <= 2 + forked.AHEAD * 2
    assert [k for k, _ in found] == list(range(1, 50))


def test_what_a_copy_raises_is_raised_here_and_the_others_end():
    begun = time.monotonic()
    with pytest.raises(ZeroDivisionError):
        list(forked.in_order([lambda: 1 // 0, partial(_after, 30.0, 1)], 2))
    assert time.monotonic() - begun < 10.0


def test_a_copy_that_dies_is_told():
    work = forked.Work(lambda: os._exit(1), apart=True)
    with pytest.raises(BrokenExecutor):
        work.result()


def test_copies_end_with_the_process_that_began_them(tmp_path):
    """Killed, it can end none, and a long work would go on for nobody."""
    code = ("import os, sys, time; from reliability.forked import Work\n"
            "def work():\n    open(sys.argv[1], 'w').write(str(os.getpid())); time.sleep(60)\n"
            "Work(work, apart=True); time.sleep(60)")
    written = tmp_path / "copy"
    with subprocess.Popen([sys.executable, "-c", code, str(written)]) as begun:
        wait_for(lambda: written.exists() and written.read_text())
        copy = int(written.read_text())
        begun.kill()
    wait_for(lambda: not running(copy))


def running(process: int) -> bool:
    """Whether a process is there and not only waits to be noticed as ended."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_for(condition: Callable[[], object], seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_work_that_nobody_waits_for_is_ended():
    with forked.Work(partial(_after, 30.0, 1), apart=True) as work:
        copy = work._copy.process
    assert not copy.is_alive()


def test_what_is_here_already_is_not_sent_back():
    large, other = [1, 2], [3]
    work = forked.Work(lambda: (large, other, {"again": large}), apart=True, known=(large,))
    first, second, again = work.result()
    assert first is large
    assert again["again"] is large
    assert second == other
    assert second is not other


def test_a_copy_may_wait_for_what_another_does():
    first = forked.Work(partial(_after, 0.1, "found"), apart=True)
    with forked.Work(lambda: first.result()[0], apart=True) as second:
        assert second.result() == "found"


def test_without_copies_the_work_is_done_when_asked_for(monkeypatch):
    monkeypatch.setattr(forked, "POSSIBLE", False)
    done = []
    work = forked.Work(lambda: done.append(os.getpid()), apart=True)
    assert done == []
    work.result()
    work.result()
    assert done == [os.getpid()]


def test_what_was_raised_is_told_in_words_where_it_cannot_be_sent():
    def fail() -> None:
        raise OSError(lambda: None)     # a function without a name of its own cannot be sent

    with pytest.raises(RuntimeError, match="OSError: <function"):
        forked.Work(fail, apart=True).result()


def test_what_was_raised_comes_back_though_libraries_send_its_way_there():
    """One that computes on many machines has every error sent with what it came from, which may not be sendable."""
    pickling = pytest.importorskip("tblib.pickling_support")

    def fail() -> None:
        try:
            raise KeyError(lambda: None)
        except KeyError as error:
            raise OSError(errno.ENOSPC, "No space left on device") from error

    before = dict(copyreg.dispatch_table)
    pickling.install()
    try:
        with pytest.raises(OSError, match="No space left") as caught:
            forked.Work(fail, apart=True).result()
    finally:
        copyreg.dispatch_table.clear()
        copyreg.dispatch_table.update(before)
    assert caught.value.errno == errno.ENOSPC
