"""An output folder that is whole or does not look it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def complete_folder(target: str | Path, seal: str) -> Iterator[Path]:
    """A folder to write into, whose files stand in `target` once everything has been written.

    Nothing appears in `target` if the body raises. Where `target` exists its files of the
    same names are replaced and others left alone; the file `seal` goes first and comes last,
    so that a folder with it is complete.
    """
    target = Path(target)
    target.parent.mkdir(parents=True, exist_ok=True)
    draft = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    try:
        yield draft
        target.mkdir(exist_ok=True)
        (target / seal).unlink(missing_ok=True)
        for file in sorted(draft.iterdir(), key=lambda f: f.name == seal):
            os.replace(file, target / file.name)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
