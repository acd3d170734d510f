"""What `run` writes into its folder, all of it or nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from reliability.business.cashflow import cashflow_frame
from reliability.business.laterals import laterals_frame
from reliability.cells import write_csv
from reliability.network.application import application_frame
from reliability.output_folder import complete_folder
from reliability.pipeline import Results
from reliability.report.content import content_of
from reliability.report.page import page
from reliability.report.sections import sections
from reliability.report.summary import sections_frame
from reliability.report.word import require_docx, write_docx
from reliability.report.work_pack import write_work_pack
from reliability.report.workbook import write_workbook
from reliability.study.columns import SECTIONALIZER

SEAL = "summary.json"


def write_results(results: Results, target: str | Path, *, docx: bool = False) -> None:
    """Write every result file; summary.json comes last, so a folder with it is complete.

    docx: write report.docx too; raises DocxMissing, with nothing written, where python-docx is missing.
    """
    if docx:
        require_docx()
    content = content_of(results)
    made = sections(content)
    with complete_folder(target, SEAL) as folder:
        (folder / "report.html").write_text(page(content, made), encoding="utf-8")
        write_workbook(content, folder / "workbook.xlsx", made)
        if docx:
            write_docx(content, folder / "report.docx", made)
        for name, frame in tables(results).items():
            write_csv(frame, folder / name)
        chosen = chosen_sectionalizers(results)
        write_work_pack(folder, results.application, list(chosen), results.study.name, chosen)
        text = json.dumps(content.summary, indent=2, ensure_ascii=False, allow_nan=False)
        (folder / SEAL).write_text(text + "\n", encoding="utf-8")


def tables(results: Results) -> dict[str, pd.DataFrame]:
    """The CSV files of a run by name."""
    frames = {
        "sections.csv": sections_frame(results),
        "laterals.csv": laterals_frame(results.business),
        "cashflow.csv": cashflow_frame(results.business),
        "application.csv": application_frame(results.application),
    }
    if results.plan:
        frames |= {"selection.csv": results.plan.choice.selection, "programme.csv": results.plan.programme,
                   "frontier.csv": results.plan.frontier, "drivers.csv": results.plan.drivers}
    return frames


def chosen_sectionalizers(results: Results) -> dict[str, int]:
    """Laterals that the choice converts to sectionalizers, with their counts, for the work pack."""
    if results.plan is None:
        return {}
    selection = results.plan.choice.selection
    chosen = selection[selection["device"] == SECTIONALIZER]
    return dict(zip(chosen["section_id"].astype(str), chosen["counts"].astype(int), strict=True))
