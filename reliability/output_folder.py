"""An output folder that is complete, or can be seen not to be."""

from __future__ import annotations

import contextlib
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
UNFINISHED = ".unfinished"  # stands in a folder while its files are replaced


@contextlib.contextmanager
def complete_folder(target: str | Path, completion_marker: str, owned: Collection[str] = ()) -> Iterator[Path]:
    """A folder to write into, whose files are moved to `target` once everything has been written.

    Nothing appears in `target` if the body raises. Where `target` exists its files of the same names are replaced;
    those of the names `owned` that were not written this time come from an earlier run and are removed; others are
    left alone. The file `completion_marker` is removed first and moved last, so that a folder with it is complete and
    of one run. Raises OSError where `target` cannot be written.
    """
    target = Path(target)
    target.parent.mkdir(parents=True, exist_ok=True)
    _sweep(target)
    try:
        draft = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(target)) from error  # by the name that was asked for
    try:
        yield draft
        target.mkdir(exist_ok=True)
        (target / UNFINISHED).touch()
        (target / completion_marker).unlink(missing_ok=True)
        for name in owned:
            if not (draft / name).exists() and (target / name).is_file():
                (target / name).unlink()
        for file in sorted(draft.iterdir(), key=lambda f: f.name == completion_marker):
            os.replace(file, target / file.name)
        (target / UNFINISHED).unlink(missing_ok=True)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def foreign_files(target: str | Path, owned: Collection[str]) -> list[str]:
    """Files in `target` of the names `owned` that no earlier run wrote, as there is no completion marker."""
    target = Path(target)
    if any((target / name).exists() for name in (*COMPLETION_MARKERS.values(), UNFINISHED)):
        return []
    return [name for name in owned if (target / name).exists()]


def _sweep(target: Path) -> None:
    """Remove drafts of earlier runs into `target` that were killed; one of today may still be written."""
    for draft in target.parent.glob(f".{glob.escape(target.name)}-{'[a-z0-9_]' * 8}"):
        with contextlib.suppress(OSError):  # another run may sweep too
            if time.time() - draft.stat().st_mtime > STALE_SECONDS:
                shutil.rmtree(draft, ignore_errors=True)
