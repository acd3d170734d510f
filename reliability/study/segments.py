"""Segments that the sections were made from, by segment_sections.csv: names of the field, for whoever looks for one."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from reliability.formats import count
from reliability.schema.problems import Problem, Problems
from reliability.study.tables import Rows

SEGMENT_TABLE = "segment_sections"
SEGMENT_COLUMNS = ("segment_id", "section_id")


def read_segments(rows: Rows, section_ids: Sequence[str],
                  problems: Problems) -> tuple[pd.DataFrame | None, tuple[str, ...]]:
    """Text columns segment_id and section_id, in the order of the file, and a note on sections that there are not.

    section_ids: of the study. None where a column is missing, which is noted as a problem.
    """
    headers = [header.casefold() for header in rows.headers]
    missing = [name for name in SEGMENT_COLUMNS if name not in headers]
    for name in missing:
        problems.add(Problem(rows.file, "the column is missing", "have the importer write the file again",
                             rows.numbers[0], name))
    if missing:
        return None, ()
    frame = pd.DataFrame({name: rows.columns[headers.index(name)] for name in SEGMENT_COLUMNS}, dtype="str")
    known = frame["section_id"].isin(section_ids) & (frame["segment_id"] != "")
    lost = int((~known).sum())
    notes = (f"{rows.file}: {count(lost, 'row')} of sections that the study does not have, or without a segment: left "
             "out.",) if lost else ()
    return frame[known].reset_index(drop=True), notes
