"""What `run` writes into its folder, all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection
from contextlib import ExitStack
from pathlib import Path

import pandas as pd

from reliability import forked
from reliability.cells import write_csv
from reliability.memory import give_back
from reliability.output_folder import COMPLETION_MARKERS, complete_folder
from reliability.pipeline import Results
from reliability.report.content import content_of
from reliability.report.documents import report, sections
from reliability.report.page import labelled, page
from reliability.report.picture import load
from reliability.report.results_geojson import RESULTS_FILE as RESULTS_GEOJSON
from reliability.report.results_geojson import results_geojson
from reliability.report.summary import sections_frame, summary
from reliability.report.word import require_docx, write_docx
from reliability.report.work_pack import write_work_pack
from reliability.report.work_pack_of_results import work_pack_of
from reliability.report.workbook import write_workbook
from reliability.tasks import HERE, Workers

RUN_MARKER = COMPLETION_MARKERS["run"]
PLANNED = ("selection.csv", "programme.csv", "frontier.csv", "drivers.csv")
# Every file a run may write: what an earlier run left and this one does not write is removed.
RUN_FILES = (RUN_MARKER, "report.html", "report.docx", "workbook.xlsx", "sections.csv", "laterals.csv",
             "cashflow.csv", "application.csv", *PLANNED, "work_pack.csv", "work_pack.html", RESULTS_GEOJSON)

FEW_SHEETS = 100     # with maps, which one process draws while another writes the report; of more all draw

# What may be asked for by itself; summary.json is always written, as it marks a folder that is complete.
SUMMARY, TABLES, REPORT, WORKBOOK, WORK_PACK = DOCUMENTS = ("summary", "tables", "report", "workbook", "work_pack")
DRAWN = {REPORT, WORK_PACK}     # with charts


def write_results(results: Results, target: str | Path, *, docx: bool = False, only: Collection[str] = DOCUMENTS,
                  workers: Workers = HERE) -> str:
    """Write the result files; summary.json comes last, so a folder with it is complete and of one run.

    Gives the labelled paragraphs of the report's summary as HTML, "" where the report is not written.

    docx: write report.docx too; raises DocxMissing, with nothing written, where python-docx is missing. only: which of
    DOCUMENTS. workers: those forked from this process write files beside each other.
    """
    if docx:
        require_docx()
    with complete_folder(target, RUN_MARKER, RUN_FILES) as folder, ExitStack() as begun:
        def meanwhile(work: Callable[[], object]) -> None:
            written.append(begun.enter_context(forked.Work(work, workers.forks)))

        written: list[forked.Work[object]] = []
        paragraphs = ""
        results.laterals  # noqa: B018  once, for all who write beside each other
        give_back()
        if TABLES in only:
            meanwhile(lambda: _write_tables(results, folder))
        if workers.forks and DRAWN & set(only):
            load()                                  # while the tables are written
        pack = work_pack_of(results) if WORK_PACK in only else None
        # maps take time to draw, sketches little
        apart = pack is not None and (pack.view is None or len(pack.with_sheet) <= FEW_SHEETS)
        if pack is not None and apart:
            meanwhile(lambda: write_work_pack(folder, pack))
        if {REPORT, WORKBOOK} & set(only):
            content = content_of(results, pack)
            made = sections(content)
            if WORKBOOK in only:
                meanwhile(lambda: write_workbook(content, folder / "workbook.xlsx", made))
            if REPORT in only:
                document = report(content, made)
                if docx:
                    meanwhile(lambda: write_docx(document, folder / "report.docx"))
                (folder / "report.html").write_text(page(document, workers), encoding="utf-8")
                paragraphs = labelled(made[0])
            found = content.summary
        else:
            found = summary(results, pack)
        if pack is not None and not apart:
            write_work_pack(folder, pack, workers)
        for one in written:
            one.result()
        text = json.dumps(found, indent=2, ensure_ascii=False, allow_nan=False)
        (folder / RUN_MARKER).write_text(text + "\n", encoding="utf-8")
    return paragraphs


def _write_tables(results: Results, folder: Path) -> None:
    for name, frame in tables(results).items():
        write_csv(frame, folder / name)
    if results.study.routes is not None:
        (folder / RESULTS_GEOJSON).write_text(results_geojson(results), encoding="utf-8")


def tables(results: Results) -> dict[str, pd.DataFrame]:
    """The CSV files of a run by name."""
    frames = {
        "sections.csv": sections_frame(results),
        "laterals.csv": results.laterals,
        "cashflow.csv": results.cashflow,
        "application.csv": results.application,
    }
    if results.plan:
        frames |= dict(zip(PLANNED, (results.plan.choice.selection, results.plan.programme, results.plan.frontier,
                                     results.plan.drivers), strict=True))
    return frames
