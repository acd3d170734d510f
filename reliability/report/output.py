"""What `run` writes into its folder, all of it or nothing."""

from __future__ import annotations

import json
from pathlib import Path

from reliability.pipeline import Results
from reliability.report.cells import write_csv
from reliability.report.folder import complete_folder
from reliability.report.summary import laterals_frame, sections_frame, summary

SEAL = "summary.json"


def write_results(results: Results, target: str | Path) -> None:
    """Write every result file; summary.json comes last, so a folder with it is complete."""
    with complete_folder(target, SEAL) as folder:
        text = json.dumps(summary(results), indent=2, ensure_ascii=False, allow_nan=False)
        (folder / SEAL).write_text(text + "\n", encoding="utf-8")
        write_csv(sections_frame(results), folder / "sections.csv")
        write_csv(laterals_frame(results), folder / "laterals.csv")
