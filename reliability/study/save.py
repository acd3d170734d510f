"""Changes to a study's folder: all files of a change or none, the previous versions archived.

A change is staged beside the study and takes effect with one rename; what a crash leaves half moved is finished when
the folder is next looked at (`archive`). Nothing is overwritten that somebody else has changed in the meantime.
"""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
import time
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from reliability.schema import columns
from reliability.schema.problems import GEOMETRY
from reliability.study.archive import (
    ARCHIVE,
    REMOVE,
    changing,
    commit,
    consistent,
    finish,
    mark_change,
    plain,
    write,
    write_archived,
)
from reliability.study.files import SETTINGS_FILE, digest
from reliability.study.folder import open_study
from reliability.study.study import Study

VERSIONS = "versions"
_STAGED, _NEW = "staged-", ".new-"
_TIMESTAMP = "%Y%m%dT%H%M%S.%fZ"
_STALE_SECONDS = 24 * 3600
SAVED_TABLES = tuple(f"{name}.{kind}" for name in columns.COLUMN_TABLES for kind in ("csv", "xlsx"))


class ChangedElsewhere(Exception):
    """The study was changed by somebody else since it was read; nothing was written."""


def input_files(folder: str | Path) -> list[Path]:
    """Files of a study that its results may depend on, in the order of their names."""
    folder = Path(folder)
    return sorted(f for f in folder.iterdir() if f.is_file() and not f.name.startswith(".")
                  and f.suffix.casefold() in (".csv", ".xlsx", ".toml", GEOMETRY))


def read_inputs(folder: str | Path) -> dict[str, bytes]:
    """Content of every input file by its name, all from after the same change."""
    return consistent(folder, lambda: {file.name: file.read_bytes() for file in input_files(folder)})


def fingerprint(folder: str | Path) -> str:
    """The `digest` of every input file, which changes whenever one of them does."""
    return digest(read_inputs(folder))


def try_change(folder: str | Path, files: Mapping[str, bytes], remove: Iterable[str] = ()) -> Study:
    """The study as it would be after a change, checked in full; StudyError with its problems. Writes nothing there."""
    gone = set(remove)
    before = read_inputs(folder) if Path(folder).is_dir() else {}
    with tempfile.TemporaryDirectory(prefix="study-") as draft:
        for name, content in {**{n: c for n, c in before.items() if n not in gone}, **files}.items():
            (Path(draft) / plain(name)).write_bytes(content)
        return open_study(draft)


def save(folder: str | Path, files: Mapping[str, bytes], remove: Iterable[str] = (), seen: str | None = None) -> str:
    """Write the files of one change, atomically; returns the new fingerprint.

    remove: names taken away by the same change. seen: fingerprint of the folder when the change
    was begun; ChangedElsewhere where it is another one by now. The files that are replaced or
    removed are stored under `.kept/versions`. Raises OSError where the folder cannot be written.
    """
    folder, remove = Path(folder), list(remove)
    with changing(folder) as archive:
        if seen is not None and fingerprint(folder) != seen:
            raise ChangedElsewhere(folder.name)
        _sweep(archive)
        staged = Path(tempfile.mkdtemp(prefix=_STAGED, dir=archive))
        try:
            for name, content in files.items():
                write(staged / plain(name), content)
            for name in remove:
                if (folder / plain(name)).exists():
                    write(staged / (name + REMOVE), b"")
            mark_change(staged)
            _archive_previous(folder, [*files, *remove])
        except BaseException:
            shutil.rmtree(staged, ignore_errors=True)
            raise
        commit(folder, staged)
        return fingerprint(folder)


def create(folder: str | Path, files: Mapping[str, bytes]) -> None:
    """A new study folder with these files, whole or not at all; FileExistsError where there is one."""
    folder = Path(folder)
    folder.parent.mkdir(parents=True, exist_ok=True)
    _sweep_new(folder.parent)
    draft = Path(tempfile.mkdtemp(prefix=_NEW, dir=folder.parent))
    try:
        draft.chmod(0o755)
        for name, content in files.items():
            write(draft / plain(name), content)
        if folder.exists():
            raise FileExistsError(errno.EEXIST, "there is a study of this name", str(folder))
        os.rename(draft, folder)
    except BaseException as error:
        shutil.rmtree(draft, ignore_errors=True)
        if isinstance(error, OSError) and error.errno == errno.ENOTEMPTY:   # somebody else was quicker
            raise FileExistsError(errno.EEXIST, "there is a study of this name", str(folder)) from error
        raise


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
    return [Version(f, saved) for f in _versions(folder) if (saved := _saved(f)) is not None]


def strange_versions(folder: str | Path) -> list[str]:
    """Names of what lies among the previous versions and is none."""
    return [f.name for f in _versions(folder) if _saved(f) is None]


def _versions(folder: str | Path) -> list[Path]:
    archive = Path(folder) / ARCHIVE / VERSIONS
    return sorted(archive.iterdir(), reverse=True) if archive.is_dir() else []


def _saved(version: Path) -> datetime | None:
    """When the change was made that a version's folder is named after; None for what is none."""
    try:
        return datetime.strptime(version.name, _TIMESTAMP) if version.is_dir() else None
    except ValueError:
        return None


def _archive_previous(folder: Path, names: Iterable[str]) -> None:
    previous = [folder / name for name in dict.fromkeys(names) if (folder / name).is_file()]
    if not previous:
        return
    archive, when = folder / ARCHIVE / VERSIONS, datetime.now(UTC)
    while (archive / when.strftime(_TIMESTAMP)).exists():     # a clock that was set back
        when += timedelta(microseconds=1)
    archive.mkdir(exist_ok=True)
    draft = Path(tempfile.mkdtemp(prefix=_STAGED, dir=archive.parent))
    try:
        draft.chmod(0o755)
        for file in previous:
            shutil.copy2(file, draft / file.name, follow_symlinks=False)
        os.rename(draft, archive / when.strftime(_TIMESTAMP))       # a version is whole or not there
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def _sweep(archive: Path) -> None:
    """Remove what a killed process has left; whoever holds the folder alone knows that nobody writes these."""
    for left in (*archive.glob(f"{_STAGED}*"), *archive.glob(".draft-*")):
        if left.is_dir() and not left.is_symlink():
            shutil.rmtree(left, ignore_errors=True)
        else:
            left.unlink(missing_ok=True)


def _sweep_new(parent: Path) -> None:
    """Remove new folders whose making was killed; one of today may still be written."""
    for left in parent.glob(f"{_NEW}*"):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > _STALE_SECONDS:
                shutil.rmtree(left, ignore_errors=True)


__all__ = ["ARCHIVE", "SAVED_TABLES", "SETTINGS_FILE", "ChangedElsewhere", "Version", "create", "fingerprint", "finish",
           "input_files", "read_inputs", "save", "strange_versions", "try_change", "versions", "write_archived"]
