"""What each file of a run is, and the list of files with checksums that goes with them."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping

from reliability.report.columns_listed import COLUMNS_FILE, WHAT

# by name: what it is, in the order in which somebody opens them
FILES = {
    "report.html": "Report, to read and to print",
    "report.docx": "Report for a word processor",
    "workbook.xlsx": "Workbook with every table, and the proposal as live formulas",
    "work_pack.html": "Work pack for the crews, a sheet a lateral, to print",
    "work_pack.csv": "Work pack, a row a sheet, with fields to fill in",
    "selection.csv": "Laterals converted and settings changed by the proposal",
    "programme.csv": "The proposal by year, with running sums",
    "frontier.csv": "Largest SAIDI reduction for each budget",
    "drivers.csv": "Sensitivity of the NPV, a row a scenario and assumption",
    "laterals.csv": "Effects, cost and NPV, a row a lateral and scenario",
    "sections.csv": "Interruptions and hours seen, a row a section and scenario",
    "cashflow.csv": "Cash flow, a row a scenario and year",
    "application.csv": "Application checks, a row a lateral",
    "results.geojson": "The laterals with their results, for a map",
    "summary.json": "Every figure of the report, for other programs; written last",
}
INPUT_FILE_WORDS = "Input of the run, as it was"
LIST = "contents.csv"


def about(name: str) -> str:
    """What a result file is, in a few words; "" for one that no run writes."""
    return WHAT if name == COLUMNS_FILE else FILES.get(name, "")


def list_of_files(files: Mapping[str, bytes], inputs: str) -> bytes:
    """contents.csv: file, what it is, bytes and SHA-256 of each file, by its path; those below `inputs` are inputs."""
    text = io.StringIO()
    writer = csv.writer(text, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerow(("file", "what", "bytes", "sha256"))
    for path, content in files.items():
        what = INPUT_FILE_WORDS if path.startswith(f"{inputs}/") else about(path.rpartition("/")[2])
        writer.writerow((path, what, len(content), hashlib.sha256(content).hexdigest()))
    return text.getvalue().encode()
