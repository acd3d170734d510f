"""Changes to a study's folder: all files of a change or none, the previous versions archived.

A change is staged beside the study and takes effect with one rename; what a crash leaves
half moved is finished when the folder is next looked at. Nothing is overwritten that
somebody else has changed in the meantime.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from reliability.schema import columns
from reliability.schema.problems import GEOMETRY
from reliability.study.files import SETTINGS_FILE, digest
from reliability.study.folder import open_study
from reliability.study.study import Study

ARCHIVE = ".kept"                  # what is stored beside a study's inputs; open_study does not look into it
VERSIONS = "versions"
_PENDING = "pending"
_TIMESTAMP = "%Y%m%dT%H%M%S.%fZ"
_REMOVE = ".remove"                # a staged name with this ending takes the file away
TABLES = tuple(f"{name}.{kind}" for name in columns.TABLES for kind in ("csv", "xlsx"))
_locks: dict[str, threading.RLock] = {}
_locks_guard = threading.Lock()


class ChangedElsewhere(Exception):
    """The study was changed by somebody else since it was read; nothing was written."""


def input_files(folder: str | Path) -> list[Path]:
    """Files of a study that its results may depend on, in the order of their names."""
    folder = Path(folder)
    return sorted(f for f in folder.iterdir() if f.is_file() and not f.name.startswith(".")
                  and f.suffix.casefold() in (".csv", ".xlsx", ".toml", GEOMETRY))


def fingerprint(folder: str | Path) -> str:
    """The `digest` of every input file, which changes whenever one of them does."""
    finish(folder)
    return digest({file.name: file.read_bytes() for file in input_files(folder)})


def try_change(folder: str | Path, files: Mapping[str, bytes], remove: Iterable[str] = ()) -> Study:
    """The study as it would be after a change, checked in full; StudyError with its problems. Writes nothing there."""
    folder = Path(folder)
    with tempfile.TemporaryDirectory(prefix="study-") as draft:
        for file in input_files(folder) if folder.is_dir() else ():
            if file.name not in files and file.name not in set(remove):
                shutil.copy2(file, Path(draft) / file.name, follow_symlinks=False)
        for name, content in files.items():
            (Path(draft) / _plain(name)).write_bytes(content)
        return open_study(draft)


def save(folder: str | Path, files: Mapping[str, bytes], remove: Iterable[str] = (), seen: str | None = None) -> str:
    """Write the files of one change, atomically; returns the new fingerprint.

    remove: names taken away by the same change. seen: fingerprint of the folder when the change
    was begun; ChangedElsewhere where it is another one by now. The files that are replaced or
    removed are stored under `.kept/versions`. Raises OSError where the folder cannot be written.
    """
    folder = Path(folder)
    with _lock(folder):
        if seen is not None and fingerprint(folder) != seen:
            raise ChangedElsewhere(folder.name)
        archive = folder / ARCHIVE
        archive.mkdir(exist_ok=True)
        staged = Path(tempfile.mkdtemp(prefix="staged-", dir=archive))
        try:
            for name, content in files.items():
                _write(staged / _plain(name), content)
            for name in remove:
                if (folder / _plain(name)).exists():
                    _write(staged / (name + _REMOVE), b"")
            _archive_previous(folder, [*files, *remove])
            os.rename(staged, archive / _PENDING)     # from here on the change is made, whatever happens
        except BaseException:
            shutil.rmtree(staged, ignore_errors=True)
            raise
        finish(folder)
        return fingerprint(folder)


def finish(folder: str | Path) -> None:
    """Complete a change that was interrupted; does nothing where there is none."""
    folder = Path(folder)
    pending = folder / ARCHIVE / _PENDING
    if not pending.is_dir():
        return
    with _lock(folder):
        for file in sorted(pending.iterdir()) if pending.is_dir() else ():
            if file.name.endswith(_REMOVE):
                (folder / file.name.removesuffix(_REMOVE)).unlink(missing_ok=True)
                file.unlink(missing_ok=True)
            else:
                os.replace(file, folder / file.name)
        if pending.is_dir():
            pending.rmdir()
        _sync(folder)


def create(folder: str | Path, files: Mapping[str, bytes]) -> None:
    """A new study folder with these files, whole or not at all; FileExistsError where there is one."""
    folder = Path(folder)
    folder.parent.mkdir(parents=True, exist_ok=True)
    draft = Path(tempfile.mkdtemp(prefix=".new-", dir=folder.parent))
    try:
        draft.chmod(0o755)
        for name, content in files.items():
            _write(draft / _plain(name), content)
        if folder.exists():
            raise FileExistsError(folder.name)
        os.rename(draft, folder)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def write_archived(folder: str | Path, name: str, content: bytes) -> Path:
    """Write a file that is no input (pinned states, drafts) under `.kept`, atomically."""
    archive = Path(folder) / ARCHIVE
    archive.mkdir(exist_ok=True)
    handle, draft = tempfile.mkstemp(prefix=".draft-", dir=archive)
    os.close(handle)
    _write(Path(draft), content)
    os.replace(draft, archive / _plain(name))
    return archive / name


@dataclass(frozen=True)
class Version:
    """What a change replaced or removed. saved: when the change was made, UTC."""

    folder: Path
    saved: datetime

    @property
    def files(self) -> dict[str, bytes]:
        """The files as they were, by name."""
        return {f.name: f.read_bytes() for f in sorted(self.folder.iterdir()) if f.is_file()}


def versions(folder: str | Path) -> list[Version]:
    """Previous versions of a study's files, the newest first."""
    archive = Path(folder) / ARCHIVE / VERSIONS
    folders = sorted((f for f in archive.iterdir() if f.is_dir()), reverse=True) if archive.is_dir() else []
    return [Version(f, datetime.strptime(f.name, _TIMESTAMP)) for f in folders]


def _archive_previous(folder: Path, names: Iterable[str]) -> None:
    previous = [folder / name for name in dict.fromkeys(names) if (folder / name).is_file()]
    if not previous:
        return
    target = folder / ARCHIVE / VERSIONS / datetime.now(UTC).strftime(_TIMESTAMP)
    target.mkdir(parents=True)
    for file in previous:
        shutil.copy2(file, target / file.name, follow_symlinks=False)


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


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


def _plain(name: str) -> str:
    if not name or name != Path(name).name or name.startswith(".") or "\\" in name:
        raise ValueError(f"not a plain file name: {name!r}")
    return name


def _lock(folder: Path) -> threading.RLock:
    with _locks_guard:
        return _locks.setdefault(str(folder.resolve()), threading.RLock())


__all__ = ["ARCHIVE", "SETTINGS_FILE", "TABLES", "ChangedElsewhere", "Version", "create", "fingerprint", "finish",
           "input_files", "save", "try_change", "versions", "write_archived"]
