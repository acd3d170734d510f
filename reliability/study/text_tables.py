"""Tables of a study as frames of text that can be edited, and back to CSV."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd

from reliability.study.tables import read_rows


def rows_frame(name: str, content: bytes) -> pd.DataFrame:
    """Rows of a table as text, the index being the row in a spreadsheet; StudyError where it cannot be read."""
    rows = read_rows(name, content)
    headers, *records = rows.records
    return pd.DataFrame(records, columns=_distinct(headers), index=pd.Index(rows.numbers[1:], dtype=int, name="row"),
                        dtype="str")


def _distinct(headers: list[str]) -> list[str]:
    """Headers that differ, as a table on the screen needs them."""
    seen: dict[str, int] = {}
    result = []
    for header in headers:
        seen[header] = seen.get(header, 0) + 1
        result.append(header if seen[header] == 1 else f"{header} ({seen[header]})")
    return result


def frame_bytes(frame: pd.DataFrame) -> bytes:
    """A table of text as CSV; blank rows are left out."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(frame.columns)
    for row in frame.fillna("").astype(str).itertuples(index=False):
        if any(cell.strip() for cell in row):
            writer.writerow(row)
    return text.getvalue().encode()


def table_file(folder: Path, table: str) -> str | None:
    """Name of the file that holds a table of a study."""
    return next((f"{table}.{kind}" for kind in ("csv", "xlsx") if (folder / f"{table}.{kind}").is_file()), None)
