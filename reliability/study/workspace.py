"""The folder that holds the studies; nothing outside it is opened."""

from __future__ import annotations

import os
import re
import unicodedata
from contextlib import suppress
from pathlib import Path

from reliability.study.files import COMPANIONS
from reliability.study.save import TABLES, create

ENVIRONMENT = "RELIABILITY_WORKSPACE"
_HOME = Path(__file__).parents[2]
DEMO_SOURCE = _HOME / "data" / "demo"
DEMO = "demo"
LONGEST_NAME = 60


def root() -> Path:
    """The workspace: the folder that the environment names, else `workspace` beside app.py."""
    return Path(os.environ.get(ENVIRONMENT) or _HOME / "workspace")


def studies() -> list[str]:
    """Names of the studies of the workspace, the demo first; the demo is added where it is missing."""
    _add_demo()
    names = sorted((f.name for f in root().iterdir()
                    if f.is_dir() and not f.is_symlink() and not f.name.startswith(".")), key=str.casefold)
    return sorted(names, key=lambda name: name != DEMO)


def folder_of(name: str) -> Path:
    """Folder of a study of the workspace; KeyError for any other name, whatever it spells."""
    if name not in studies():
        raise KeyError(name)
    return root() / name


def folder_name(title: str) -> str:
    """A folder's name out of what somebody calls a study; "" where nothing is left of it."""
    ascii_text = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", ascii_text.casefold()).strip("-")[:LONGEST_NAME].strip("-")


def free_name(title: str) -> str:
    """A name for a new study that no other one has."""
    name, taken = folder_name(title) or "study", set(studies())
    return next(n for n in (name, *(f"{name}-{k}" for k in range(2, len(taken) + 3))) if n not in taken)


def demo_files() -> dict[str, bytes]:
    """Input files of the demo study."""
    return {name: (DEMO_SOURCE / name).read_bytes() for name in ("study.toml", *TABLES, *COMPANIONS)
            if (DEMO_SOURCE / name).is_file()}


def _add_demo() -> None:
    root().mkdir(parents=True, exist_ok=True)
    if not (root() / DEMO).exists():
        with suppress(FileExistsError):    # another session was quicker
            create(root() / DEMO, demo_files())
