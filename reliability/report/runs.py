"""Runs on record: inputs, seed, version and every result, so that a figure can be reproduced years later."""

from __future__ import annotations

import io
import json
import re
import secrets
import shutil
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from reliability.indices.definitions import INDICES
from reliability.indices.progress import Progress
from reliability.pipeline import analyse
from reliability.report import columns_listed
from reliability.report.output import write_results
from reliability.report.result_files import LIST, list_of_files
from reliability.study.archive import ARCHIVE, changing, is_held, locked
from reliability.study.folder import open_study
from reliability.study.save import ChangedElsewhere, read_inputs
from reliability.study.study import Study

TIMESTAMP = "%Y%m%d-%H%M%S"
RUNS, INPUTS, RESULTS_FOLDER, SUMMARY_FILE, CHANGES = "runs", "inputs", "results", "summary.json", "changes.json"
PARAGRAPHS_FILE = "report_summary.html"               # beside the results: what the app shows of the report
_LOCK = ".making"                                # beside a run in the making: held by who makes it
_DRAFT = re.compile(r"\.\d{8}-\d{6}-[0-9a-f]+")   # name of a run in the making


@dataclass(frozen=True)
class Change:
    """Inputs of one run that are not those of the study: files that are others, names of those that are not there.

    words: each change in a few words.
    """

    files: Mapping[str, bytes]
    gone: Sequence[str] = ()
    words: Sequence[str] = ()


@dataclass(frozen=True)
class Run:
    """A recorded run: its folder, and what summary.json says.

    changes: each change of the inputs against the study of inputs `changes_of`, in words; none for a run of the study
    as it stood. paragraphs: those of the report's summary as HTML, "" where they were not recorded.
    """

    folder: Path
    summary: dict[str, Any]
    changes: tuple[str, ...] = ()
    changes_of: str = ""
    paragraphs: str = ""

    @property
    def name(self) -> str:
        """When it was made, as its folder is named."""
        return self.folder.name

    @property
    def made(self) -> str:
        """The same for a reader."""
        return f"{datetime.strptime(self.name[:15], TIMESTAMP):%Y-%m-%d %H:%M:%S}"

    @property
    def results(self) -> list[Path]:
        """Result files in the order of their names."""
        return sorted(f for f in (self.folder / RESULTS_FOLDER).iterdir() if f.is_file())

    @property
    def inputs(self) -> dict[str, bytes]:
        """Input files as they were."""
        return {f.name: f.read_bytes() for f in sorted((self.folder / INPUTS).iterdir()) if f.is_file()}


def record(study: Study, on_progress: Progress | None = None, on_stage: Callable[[str], None] = lambda s: None,
           change: Change | None = None) -> Run:
    """Compute a study of a folder and record inputs and results there; a run that is stopped leaves nothing.

    on_stage: called with a few words for what begins. change: what of the inputs is another one for this run alone;
    StudyError where it leaves the study with a problem. Raises ChangedElsewhere where the folder no longer holds the
    study that is given.
    """
    if study.folder is None:
        raise ValueError("only a study that lies in a folder can be recorded")
    inputs = read_inputs(study.folder)
    with _draft(study.folder) as draft:
        _write_inputs(draft, inputs)
        given, study = study.inputs_sha256, open_study(draft / INPUTS)
        if study.inputs_sha256 != given:
            raise ChangedElsewhere("the study's folder")
        if change is not None:
            remaining = {name: content for name, content in inputs.items() if name not in change.gone}
            _write_inputs(draft, {**remaining, **change.files})
            (draft / CHANGES).write_text(json.dumps({"of": given, "words": list(change.words)}), encoding="utf-8")
            study = open_study(draft / INPUTS)
        results = analyse(study, on_progress=on_progress, on_stage=on_stage)
        on_stage("report and workbook")
        paragraphs = write_results(results, draft / RESULTS_FOLDER, docx=find_spec("docx") is not None)
        (draft / PARAGRAPHS_FILE).write_text(paragraphs, encoding="utf-8")
        return _run(_into_record(draft, study.inputs_sha256[:8]))


@contextmanager
def _draft(folder: Path) -> Iterator[Path]:
    """A folder for a run in the making, gone afterwards; those of processes that were killed are removed first.

    The lock file beside it is held as long as the run is made, and is free once its process has ended.
    """
    with changing(folder) as archive:
        home = archive / RUNS
        home.mkdir(exist_ok=True)
        _sweep(home)
        draft = home / f".{datetime.now():{TIMESTAMP}}-{secrets.token_hex(8)}"
        draft.mkdir()
        held = ExitStack()
        held.enter_context(locked(draft.with_suffix(_LOCK)))
    with held:
        try:
            yield draft
        finally:
            shutil.rmtree(draft, ignore_errors=True)
            draft.with_suffix(_LOCK).unlink(missing_ok=True)


def _sweep(home: Path) -> None:
    """Remove runs in the making that nobody makes any longer."""
    for left in home.iterdir():
        if _DRAFT.fullmatch(left.name) and not is_held(left.with_suffix(_LOCK)):
            shutil.rmtree(left, ignore_errors=True)
            left.with_suffix(_LOCK).unlink(missing_ok=True)


def _write_inputs(draft: Path, files: Mapping[str, bytes]) -> None:
    shutil.rmtree(draft / INPUTS, ignore_errors=True)
    (draft / INPUTS).mkdir()
    for name, content in files.items():
        (draft / INPUTS / name).write_bytes(content)


def _into_record(draft: Path, mark: str) -> Path:
    """Move a finished run to its place, under a name that no other run of the same second has."""
    with changing(draft.parents[2]):
        name = f"{datetime.now():{TIMESTAMP}}-{mark}"
        place = next(p for p in (draft.with_name(name + more) for more in ("", *(f"-{k}" for k in range(2, 10_000))))
                     if not p.exists())
        return draft.rename(place)


def runs(folder: Path) -> list[Run]:
    """Runs on record of a study's folder, the newest first."""
    return [run for place in _places(folder) if (run := _read(place)) is not None]


def unreadable(folder: Path) -> list[str]:
    """Names of what lies among the runs on record of a study's folder and cannot be read as one."""
    return [place.name for place in _places(folder) if _read(place) is None]


def _places(folder: Path) -> list[Path]:
    home = folder / ARCHIVE / RUNS
    found = sorted(home.iterdir(), reverse=True) if home.is_dir() else []
    return [place for place in found if not place.name.startswith(".")]


def zipped(run: Run) -> bytes:
    """Inputs and results of a run in one file, with a list of their columns, and one of files with checksums."""
    content = io.BytesIO()
    files = {f"{part}/{file.name}": file.read_bytes() for part in (INPUTS, RESULTS_FOLDER)
             for file in sorted((run.folder / part).iterdir())}
    files[columns_listed.COLUMNS_FILE] = columns_listed.columns_listed(files, INPUTS)
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, stored in (files | {LIST: list_of_files(files, INPUTS)}).items():
            archive.writestr(f"{run.name}/{path}", stored)
    return content.getvalue()


def _run(folder: Path) -> Run:
    summary = json.loads((folder / RESULTS_FOLDER / SUMMARY_FILE).read_text(encoding="utf-8"))
    paragraphs = (folder / PARAGRAPHS_FILE).read_text(encoding="utf-8") if (folder / PARAGRAPHS_FILE).is_file() else ""
    if not (folder / CHANGES).is_file():
        return Run(folder, summary, paragraphs=paragraphs)
    changes = json.loads((folder / CHANGES).read_text(encoding="utf-8"))
    return Run(folder, summary, tuple(map(str, changes["words"])), str(changes["of"]), paragraphs)


def _read(folder: Path) -> Run | None:
    """A recorded run; None for what is none, as somebody may have put it there by hand."""
    try:
        run = _run(folder)
        return run if run.made and run.inputs and _is_whole(run.summary) else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _is_whole(summary: Mapping[str, Any]) -> bool:
    """Whether a summary has what is shown of a run; some other error where it is of another form altogether."""
    numbers = [summary.get("trials"), summary.get("trial_years")]
    for scenario in summary["scenarios"]:
        expected, simulated, money = (scenario.get(k) or {} for k in ("expected", "simulated", "business"))
        numbers += [*(expected[index.key] for index in INDICES if index.simulated), *expected["callouts"].values(),
                    *(v for spread in simulated.values() for v in spread.values()), money.get("npv")]
    named = all(isinstance(scenario["name"], str) for scenario in summary["scenarios"])
    return named and bool(summary["scenarios"]) and all(n is None or isinstance(n, int | float) for n in numbers)
