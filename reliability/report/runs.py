"""Runs on record: inputs, seed, version and every result, so that a figure can be reproduced years later."""

from __future__ import annotations

import io
import json
import secrets
import shutil
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from reliability.indices.simulation import Progress
from reliability.pipeline import analyse
from reliability.report.output import write_results
from reliability.study.folder import open_study
from reliability.study.save import ARCHIVE, input_files
from reliability.study.study import Study

TIMESTAMP = "%Y%m%d-%H%M%S"
RUNS, INPUTS, RESULTS, SUMMARY, CHANGES = "runs", "inputs", "results", "summary.json", "changes.json"


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
    as it stood.
    """

    folder: Path
    summary: dict[str, Any]
    changes: tuple[str, ...] = ()
    changes_of: str = ""

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
        return sorted(f for f in (self.folder / RESULTS).iterdir() if f.is_file())

    @property
    def inputs(self) -> dict[str, bytes]:
        """Input files as they were."""
        return {f.name: f.read_bytes() for f in sorted((self.folder / INPUTS).iterdir()) if f.is_file()}


def record(study: Study, on_progress: Progress | None = None, on_stage: Callable[[str], None] = lambda s: None,
           change: Change | None = None) -> Run:
    """Compute a study of a folder and record inputs and results there; a run that is stopped leaves nothing.

    on_stage: called with a few words for what begins. change: what of the inputs is another one for this run alone;
    StudyError where it leaves the study with a problem.
    """
    if study.folder is None:
        raise ValueError("only a study that lies in a folder can be recorded")
    home = study.folder / ARCHIVE / RUNS
    home.mkdir(parents=True, exist_ok=True)
    draft = home / f".{datetime.now():{TIMESTAMP}}-{secrets.token_hex(4)}"
    try:
        (draft / INPUTS).mkdir(parents=True)
        for file in input_files(study.folder):
            shutil.copy2(file, draft / INPUTS / file.name)
        if change is not None:
            for name in change.gone:
                (draft / INPUTS / name).unlink()
            for name, content in change.files.items():
                (draft / INPUTS / name).write_bytes(content)
            (draft / CHANGES).write_text(json.dumps({"of": study.inputs_sha256, "words": list(change.words)}),
                                         encoding="utf-8")
            study = open_study(draft / INPUTS)
        name = f"{datetime.now():{TIMESTAMP}}-{study.inputs_sha256[:8]}"
        results = analyse(study, on_progress=on_progress, on_stage=on_stage)
        on_stage("report and workbook")
        write_results(results, draft / RESULTS, docx=find_spec("docx") is not None)
        draft.rename(home / name)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return _run(home / name)


def runs(folder: Path) -> list[Run]:
    """Runs on record of a study's folder, the newest first."""
    home = folder / ARCHIVE / RUNS
    folders = sorted((f for f in home.iterdir() if f.is_dir() and not f.name.startswith(".")), reverse=True) \
        if home.is_dir() else []
    return [run for f in folders if (run := _read(f)) is not None]


def zipped(run: Run) -> bytes:
    """Inputs and results of a run in one file."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in (INPUTS, RESULTS):
            for file in sorted((run.folder / part).iterdir()):
                archive.write(file, f"{run.name}/{part}/{file.name}")
    return content.getvalue()


def _run(folder: Path) -> Run:
    summary = json.loads((folder / RESULTS / SUMMARY).read_text(encoding="utf-8"))
    if not (folder / CHANGES).is_file():
        return Run(folder, summary)
    changes = json.loads((folder / CHANGES).read_text(encoding="utf-8"))
    return Run(folder, summary, tuple(map(str, changes["words"])), str(changes["of"]))


def _read(folder: Path) -> Run | None:
    try:
        return _run(folder)
    except (OSError, ValueError, KeyError, TypeError):
        return None
