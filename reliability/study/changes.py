"""A change of a study that is open somewhere: checked, then saved or stored as a draft."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reliability.schema.problems import StudyError
from reliability.study.archive import ARCHIVE, changing, write_archived
from reliability.study.save import ChangedElsewhere, save, try_change

DRAFT_PREFIX = "draft-"                   # begins the names of changes that could not be saved
MOST_DRAFTS = 20                   # the oldest go
_WHEN = "%Y%m%dT%H%M%S%f"


@dataclass(frozen=True)
class Outcome:
    """What became of a change: one of the four.

    fingerprint: of the study where the change was saved. problems: what it would leave the study
    with. elsewhere: somebody else has changed the study. disk: why nothing could be written.
    """

    fingerprint: str | None = None
    problems: StudyError | None = None
    elsewhere: bool = False
    disk: OSError | None = None


def apply_change(folder: str | Path, files: Mapping[str, bytes], remove: Iterable[str], seen: str,
                 sound: bool) -> Outcome:
    """Check a change and save it.

    seen: fingerprint of the study when the change was begun. sound: the study has no problem now;
    a change that would leave it with one is stored as a draft, as is one of a study that was changed
    elsewhere. A study with problems may keep some of them.
    """
    remove = list(remove)
    if sound:
        try:
            try_change(folder, files, remove)
        except StudyError as error:
            return _stored(folder, files, Outcome(problems=error))
    try:
        return Outcome(save(folder, files, remove, seen=seen))
    except ChangedElsewhere:
        return _stored(folder, files, Outcome(elsewhere=True))
    except StudyError as error:       # of a change that was interrupted
        return Outcome(problems=error)
    except OSError as error:
        return Outcome(disk=error)


@dataclass(frozen=True)
class UnsavedChange:
    """A change that could not be saved: where it lies, when it was made, and the file of the study that it is of."""

    path: Path
    when: datetime
    file: str


def drafts(folder: str | Path) -> list[UnsavedChange]:
    """Changes of a study that could not be saved, the newest first."""
    found = []
    for path in (Path(folder) / ARCHIVE).glob(f"{DRAFT_PREFIX}*-*"):
        stamp, _, file = path.name.removeprefix(DRAFT_PREFIX).partition("-")
        with suppress(ValueError):          # of another name than ours
            found.append(UnsavedChange(path, datetime.strptime(stamp, _WHEN), file))
    return sorted(found, key=lambda draft: draft.when, reverse=True)


def _stored(folder: str | Path, files: Mapping[str, bytes], outcome: Outcome) -> Outcome:
    """The outcome, the files of the change being stored as drafts; why they could not be, where that is so."""
    try:
        with changing(folder) as archive:
            for name, content in files.items():
                write_archived(folder, f"{DRAFT_PREFIX}{datetime.now():{_WHEN}}-{name}", content)
            for oldest in sorted(archive.glob(f"{DRAFT_PREFIX}*"))[:-MOST_DRAFTS]:
                oldest.unlink(missing_ok=True)
    except StudyError as error:
        return Outcome(problems=error)
    except OSError as error:
        return Outcome(disk=error)
    return outcome
