"""What lies beside a study's inputs under `.kept`, one change at a time, and reading in between changes.

A change takes effect when its files lie under `.kept/pending`. From then on they are moved to their places, by whoever
made the change or, after a crash, by whoever looks next. A lock of the operating system, which ends with the process
that holds it, admits one thread of one process at a time.
"""

from __future__ import annotations

import errno
import os
import secrets
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

from filelock import FileLock, Timeout

from reliability.schema.problems import Problem, StudyError

ARCHIVE = ".kept"                  # what is stored beside a study's inputs; open_study does not look into it
PENDING = "pending"
REMOVE = ".remove"                 # a staged name with this ending takes the file away
_LOCK, _GENERATION = ".lock", ".generation"
_WAIT_SECONDS, _POLL_SECONDS = 60.0, 0.01
_TRIES = 3
_HALF = f"{ARCHIVE}/{PENDING}"
_locks: dict[str, FileLock] = {}
_locks_guard = threading.Lock()
_T = TypeVar("_T")


@contextmanager
def changing(folder: str | Path) -> Iterator[Path]:
    """The archive of a study's folder, held alone; what an earlier change left half moved is completed first.

    The same thread may hold it more than once. Raises OSError where it cannot be written, or somebody else holds it
    for a minute; StudyError where what was left half moved is of no change.
    """
    archive = Path(folder) / ARCHIVE
    if archive.exists() and not archive.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, f"{ARCHIVE} is a file, and a folder is needed there", str(archive))
    archive.mkdir(exist_ok=True)
    with locked(archive / _LOCK):
        _complete(archive)
        yield archive


@contextmanager
def locked(file: Path) -> Iterator[None]:
    """Hold a lock file alone, over threads and processes; OSError where somebody else does for a minute."""
    with _locks_guard:
        lock = _locks.setdefault(str(file.absolute()), FileLock(file, _WAIT_SECONDS, thread_local=True,
                                                                poll_interval=_POLL_SECONDS))
    try:
        lock.acquire()
    except Timeout as error:
        raise OSError(errno.EBUSY, f"{file.parent} is being changed by somebody else", str(file)) from error
    try:
        yield
    finally:
        lock.release()


def is_held(file: Path) -> bool:
    """Whether somebody holds a lock file, in this process or another; one that is not there is not held."""
    if not file.exists():
        return False
    try:
        with FileLock(file, 0.0):
            return False
    except Timeout:
        return True


def mark_change(staged: Path) -> None:
    """Write what tells the state after a staged change from the one before it, so that making the change writes nothing
    more: a disk that is full stops it before or not at all."""
    write(staged / _GENERATION, secrets.token_bytes(16))


def commit(folder: str | Path, staged: Path) -> None:
    """Have a change take effect whose files lie staged in the archive, marked; within `changing`."""
    archive = Path(folder) / ARCHIVE
    os.rename(staged, archive / PENDING)     # from here on the change is made, whatever happens
    _complete(archive)


def finish(folder: str | Path) -> None:
    """Complete a change that was interrupted; does nothing where there is none.

    Raises StudyError where that cannot be done, so that a study half changed is never read.
    """
    pending = Path(folder) / ARCHIVE / PENDING
    if not _there(pending):
        return
    try:
        with changing(folder):
            pass
    except OSError as error:
        rule = f"a change of this study was interrupted, and cannot be completed ({error.strerror or error})"
        raise StudyError([Problem(_HALF, rule, "open the study once where its folder may be written")]) from error


def consistent(folder: str | Path, read: Callable[[], _T]) -> _T:
    """What `read` gives of a folder, every file of it from after the same change.

    `read` is called again where somebody changed the study meanwhile.
    """
    folder = Path(folder)
    for _ in range(_TRIES):
        before = _generation(folder)
        finish(folder)
        try:
            result = read()
        except (StudyError, OSError):
            if _generation(folder) == before:
                raise
            continue
        if _generation(folder) == before:
            return result
    with changing(folder):
        return read()


def write_archived(folder: str | Path, name: str, content: bytes) -> Path:
    """Write a file that is no input (pinned states, drafts) under `.kept`, atomically."""
    with changing(folder) as archive:
        _replace(archive / plain(name), content)
        return archive / name


def plain(name: str) -> str:
    """The name; ValueError for one that is more than a file's name."""
    if not name or name != Path(name).name or name.startswith(".") or "\\" in name:
        raise ValueError(f"not a plain file name: {name!r}")
    return name


def write(path: Path, content: bytes) -> None:
    """Write a file and have it on disk."""
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _complete(archive: Path) -> None:
    """Move what is pending to its place; within the lock.

    The generation changes after the change can be seen to be pending and before anything is moved. So whoever finds
    the same one before and after reading, and nothing pending in between, has read no file moved meanwhile.
    """
    pending = archive / PENDING
    if not _there(pending):
        return
    _check(pending)
    if (pending / _GENERATION).is_file():
        os.replace(pending / _GENERATION, archive / _GENERATION)
    else:
        _replace(archive / _GENERATION, secrets.token_bytes(16))
    for file in sorted(pending.iterdir()):
        if file.name.endswith(REMOVE):
            (archive.parent / file.name.removesuffix(REMOVE)).unlink(missing_ok=True)
            file.unlink(missing_ok=True)
        else:
            os.replace(file, archive.parent / file.name)
    pending.rmdir()
    _sync(archive.parent)


def _check(pending: Path) -> None:
    """Raise StudyError where something is pending that no change has written."""
    strange = pending.name
    if pending.is_dir() and not pending.is_symlink():
        strange = next((f.name for f in sorted(pending.iterdir())
                        if f.is_symlink() or not f.is_file() or "\\" in f.name
                        or (f.name.startswith(".") and f.name != _GENERATION)), "")
    if strange:
        raise StudyError([Problem(_HALF, f"'{strange}' is of no change that this program made",
                                  f"move it out of {ARCHIVE}")])


def _generation(folder: Path) -> bytes:
    """What differs after every change of a folder; empty before the first."""
    with suppress(OSError, ValueError):
        return (folder / ARCHIVE / _GENERATION).read_bytes()
    return b""


def _there(path: Path) -> bool:
    with suppress(OSError, ValueError):
        return path.exists() or path.is_symlink()
    return False


def _replace(path: Path, content: bytes) -> None:
    handle, draft = tempfile.mkstemp(prefix=".draft-", dir=path.parent)
    os.close(handle)
    write(Path(draft), content)
    os.replace(draft, path)


def _sync(folder: Path) -> None:
    """Have the renames on disk; systems that cannot open a folder do without."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)
