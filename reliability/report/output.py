"""What `run` writes into its folder, all of it or nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from reliability.business.cashflow import cashflow_frame
from reliability.business.laterals import laterals_frame
from reliability.cells import write_csv
from reliability.network.application import application_frame
from reliability.output_folder import COMPLETION_MARKERS, complete_folder
from reliability.pipeline import Results
from reliability.report.content import content_of
from reliability.report.documents import report, sections
from reliability.report.page import page
from reliability.report.results_geojson import FILE as RESULTS_GEOJSON
from reliability.report.results_geojson import results_geojson
from reliability.report.summary import sections_frame
from reliability.report.word import require_docx, write_docx
from reliability.report.work_pack import write_work_pack
from reliability.report.work_pack_jobs import WorkPack, checks_of_selection, work_pack
from reliability.report.workbook import write_workbook

COMPLETION_MARKER = COMPLETION_MARKERS["run"]
PLANNED = ("selection.csv", "programme.csv", "frontier.csv", "drivers.csv")
# Every file a run may write: what an earlier run left and this one does not write is removed.
OWNED = (COMPLETION_MARKER, "report.html", "report.docx", "workbook.xlsx", "sections.csv", "laterals.csv",
         "cashflow.csv", "application.csv", *PLANNED, "work_pack.csv", "work_pack.html", RESULTS_GEOJSON)


def write_results(results: Results, target: str | Path, *, docx: bool = False) -> None:
    """Write every result file; summary.json comes last, so a folder with it is complete and of one run.

    docx: write report.docx too; raises DocxMissing, with nothing written, where python-docx is missing.
    """
    if docx:
        require_docx()
    content = content_of(results)
    made = sections(content)
    document = report(content, made)
    with complete_folder(target, COMPLETION_MARKER, OWNED) as folder:
        (folder / "report.html").write_text(page(document), encoding="utf-8")
        write_workbook(content, folder / "workbook.xlsx", made)
        if docx:
            write_docx(document, folder / "report.docx")
        for name, frame in tables(results).items():
            write_csv(frame, folder / name)
        write_work_pack(folder, _for_the_crews(results))
        if results.study.routes is not None:
            (folder / RESULTS_GEOJSON).write_text(results_geojson(results), encoding="utf-8")
        text = json.dumps(content.summary, indent=2, ensure_ascii=False, allow_nan=False)
        (folder / COMPLETION_MARKER).write_text(text + "\n", encoding="utf-8")


def tables(results: Results) -> dict[str, pd.DataFrame]:
    """The CSV files of a run by name."""
    frames = {
        "sections.csv": sections_frame(results),
        "laterals.csv": laterals_frame(results.business, results.break_even),
        "cashflow.csv": cashflow_frame(results.business),
        "application.csv": application_frame(results.checks),
    }
    if results.plan:
        frames |= dict(zip(PLANNED, (results.plan.choice.selection, results.plan.programme, results.plan.frontier,
                                     results.plan.drivers), strict=True))
    return frames


def _for_the_crews(results: Results) -> WorkPack:
    """The work of what is proposed; none without a plan."""
    study, plan = results.study, results.plan
    if plan is None:
        return work_pack(results.checks, None, study_name=study.name)
    selection = plan.choice.selection
    return work_pack(checks_of_selection(study.model, selection), selection, plan.programme, study_name=study.name,
                     view=results.plan_view, miles=study.in_miles)
