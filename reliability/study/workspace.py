"""The folder that holds the studies; nothing outside it is opened."""

from __future__ import annotations

import os
import re
import unicodedata
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from reliability.study.files import COMPANIONS
from reliability.study.save import SAVED_TABLES, create

ENVIRONMENT = "RELIABILITY_WORKSPACE"
_HOME = Path(__file__).parents[2]
LONGEST_NAME = 60


@dataclass(frozen=True)
class Demo:
    """An invented study that comes with the program. source: its folder. title: its name. shows: one sentence."""

    source: Path
    title: str
    shows: str


# Demos by their names in the workspace, in the order in which they are offered.
DEMOS = {
    "wooded-town": Demo(_HOME / "data" / "wooded_town", "Wooded town", "A clear case: a wooded town that blows its "
                        "fuses at every fault, where converting the laterals in the woods pays back within a few "
                        "years."),
    "demo": Demo(_HOME / "data" / "demo", "Rural cooperative", "The hard case: a rural cooperative where protection "
                 "saves many fuses already, converting every lateral loses money, and only a few conversions pay."),
}
DEMO = "wooded-town"   # what is shown until another one is chosen


def root() -> Path:
    """The workspace: the folder that the environment names, else `workspace` beside app.py."""
    return Path(os.environ.get(ENVIRONMENT) or _HOME / "workspace")


def studies() -> list[str]:
    """Names of the studies of the workspace, the demos first; they are added where they are missing."""
    _add_demos()
    names = sorted((f.name for f in root().iterdir()
                    if f.is_dir() and not f.is_symlink() and not f.name.startswith(".")), key=str.casefold)
    return [*(name for name in DEMOS if name in names), *(name for name in names if name not in DEMOS)]


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


def demo_files(source: Path) -> dict[str, bytes]:
    """Input files of a demo study."""
    return {name: (source / name).read_bytes() for name in ("study.toml", *SAVED_TABLES, *COMPANIONS)
            if (source / name).is_file()}


def _add_demos() -> None:
    root().mkdir(parents=True, exist_ok=True)
    for name, demo in DEMOS.items():
        if not (root() / name).exists():
            with suppress(FileExistsError):    # another session was quicker
                create(root() / name, demo_files(demo.source))
