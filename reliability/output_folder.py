"""An output folder that is whole or does not look it."""

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
SEALS = {"run": "summary.json", "history": "history.json"}  # the file that makes a command's results whole
UNFINISHED = ".unfinished"  # stands in a folder while its files are replaced


@contextlib.contextmanager
def complete_folder(target: str | Path, seal: str, owned: Collection[str] = ()) -> Iterator[Path]:
    """A folder to write into, whose files stand in `target` once everything has been written.

    Nothing appears in `target` if the body raises. Where `target` exists its files of the
    same names are replaced; those of the names `owned` that were not written this time come
    from an earlier run and are removed; others are left alone. The file `seal` goes first and
    comes last, so that a folder with it is complete and of one run.
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
        (target / seal).unlink(missing_ok=True)
        for name in owned:
            if not (draft / name).exists() and (target / name).is_file():
                (target / name).unlink()
        for file in sorted(draft.iterdir(), key=lambda f: f.name == seal):
            os.replace(file, target / file.name)
        (target / UNFINISHED).unlink(missing_ok=True)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def not_ours(target: str | Path, owned: Collection[str]) -> list[str]:
    """Files in `target` of the names `owned` that no earlier run wrote, as no seal is there."""
    target = Path(target)
    if any((target / name).exists() for name in (*SEALS.values(), UNFINISHED)):
        return []
    return [name for name in owned if (target / name).exists()]


def _sweep(target: Path) -> None:
    """Remove drafts of earlier runs into `target` that were killed; one of today may be at work still."""
    for draft in target.parent.glob(f".{glob.escape(target.name)}-{'[a-z0-9_]' * 8}"):
        with contextlib.suppress(OSError):  # another run may sweep too
            if time.time() - draft.stat().st_mtime > STALE_SECONDS:
                shutil.rmtree(draft, ignore_errors=True)
