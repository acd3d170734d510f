"""An output folder that is complete, or can be seen not to be."""

from __future__ import annotations

import contextlib
import errno
import glob
import os
import shutil
import tempfile
import time
from collections.abc import Collection, Iterator
from pathlib import Path

STALE_SECONDS = 24 * 3600
# the file that marks the results of a command as complete
COMPLETION_MARKERS = {"run": "summary.json", "history": "history.json"}
# what stands in each, and hardly in a file of such a name that is somebody else's
_KEYS = {"run": b'"inputs_sha256"', "history": b'"major_events"'}
UNFINISHED = ".unfinished"  # stands in a folder while its files are replaced, with the name of their marker


@contextlib.contextmanager
def complete_folder(target: str | Path, completion_marker: str, owned: Collection[str] = ()) -> Iterator[Path]:
    """A folder to write into, whose files are moved to `target` once everything has been written.

    Nothing appears in `target` if the body raises. Where `target` exists its files of the same names are replaced;
    those of the names `owned` that were not written this time come from an earlier run and are removed; others are
    left alone. The file `completion_marker` is removed first and moved last, so that a folder with it is complete and
    of one run. Raises OSError where `target` cannot be written, and where it holds the results of another command.
    """
    target = Path(target)
    for command in results_of(target):
        if COMPLETION_MARKERS[command] != completion_marker:
            raise FileExistsError(errno.EEXIST, f"this folder holds the results of {command}", str(target))
    target.parent.mkdir(parents=True, exist_ok=True)
    _sweep(target)
    try:
        draft = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(target)) from error  # by the name that was asked for
    try:
        yield draft
        target.mkdir(exist_ok=True)
        (target / UNFINISHED).write_text(completion_marker, encoding="utf-8")
        (target / completion_marker).unlink(missing_ok=True)
        for name in owned:
            if not (draft / name).exists() and (target / name).is_file():
                (target / name).unlink()
        for file in sorted(draft.iterdir(), key=lambda f: f.name == completion_marker):
            os.replace(file, target / file.name)
        (target / UNFINISHED).unlink(missing_ok=True)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def refusal(target: str | Path) -> str:
    """Why nothing could be written into a folder, "" where nothing is seen that stands against it."""
    target = Path(target)
    if target.exists() and not target.is_dir():
        return "this is a file, not a folder"
    above = next(folder for folder in target.absolute().parents if folder.exists())
    if not above.is_dir():
        return f"{above} is a file, not a folder"
    beside = [above, target] if target.exists() else [above]     # a draft stands beside it while it is made
    closed = [folder for folder in beside if not os.access(folder, os.W_OK | os.X_OK)]
    return f"{closed[0]} may not be written into" if closed else ""


def results_of(target: str | Path) -> list[str]:
    """Commands whose results a folder holds, those of a command that was killed included."""
    target = Path(target)
    unfinished = _content(target / UNFINISHED).decode(errors="replace")
    return [command for command, marker in COMPLETION_MARKERS.items()
            if _KEYS[command] in _content(target / marker) or unfinished == marker]


def foreign_files(target: str | Path, owned: Collection[str], command: str) -> list[str]:
    """Files in `target` of the names `owned` that no earlier run of the same command wrote."""
    target = Path(target)
    killed = (target / UNFINISHED).exists() and not _content(target / UNFINISHED)   # by a version that named no marker
    if killed or command in results_of(target):
        return []
    return [name for name in owned if (target / name).exists()]


def _content(file: Path) -> bytes:
    """What a file holds, nothing where there is none that can be read."""
    try:
        return file.read_bytes() if file.is_file() else b""
    except OSError:
        return b""


def _sweep(target: Path) -> None:
    """Remove drafts of earlier runs into `target` that were killed; one of today may still be written."""
    for draft in target.parent.glob(f".{glob.escape(target.name)}-{'[a-z0-9_]' * 8}"):
        with contextlib.suppress(OSError):  # another run may sweep too
            if time.time() - draft.stat().st_mtime > STALE_SECONDS:
                shutil.rmtree(draft, ignore_errors=True)
