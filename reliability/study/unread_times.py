"""Times that are written and cannot be used: why, how to write them, and from when on they are too many to be left out.

The one rule for records, exports and their checks: such times are reported and left out; where most of a column are,
whoever reads the table is stopped, as what is left would be years without outages.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from reliability.schema.problems import Problem, Problems
from reliability.study.time_forms import FORMS, NO_FORM, reasons_not_read
from reliability.study.timestamps import BLANK_TIME, FAR, GOOD, Timestamps

MOST_UNREAD = 0.5      # share of the times of a column up to which those that cannot be used are left out (our choice)
SHORT_REMEDY = "write it like 2024-04-03 10:05, or leave the cell blank where it is not known"


def unused(status: np.ndarray) -> np.ndarray:
    """Times (n,) bool that are written and cannot be used. status: of `Timestamps`."""
    return np.asarray((status != GOOD) & (status != BLANK_TIME))


def too_many(status: np.ndarray) -> bool:
    """Whether a larger share than `MOST_UNREAD` of a column's written times cannot be used, too many to leave out."""
    bad, written = int(unused(status).sum()), int((status != BLANK_TIME).sum())
    return bad > MOST_UNREAD * written


def why_unused(texts: Sequence[str], status: Sequence[int]) -> list[str]:
    """Why each of some times cannot be used, in a few words."""
    return ["the year is before 1950 or after 2099" if code == FAR and why == NO_FORM else
            f"not readable as a date and time: {why}"
            for why, code in zip(reasons_not_read(texts), status, strict=True)]


def report_unused(columns: Mapping[str, tuple[Sequence[str], Timestamps]], file: str, row: Sequence[int],
                  problems: Problems) -> None:
    """Report each time that cannot be used; the first names every form that is read.

    columns: header → its cells (n,) and how they were read. row: (n,) as a spreadsheet counts.
    """
    of = list(columns.items())
    bad = sorted((int(row[k]), place, k) for place, (_, (_, times)) in enumerate(of)
                 for k in np.flatnonzero(unused(times.status)).tolist())

    def problem(at: int) -> Problem:
        number, place, k = bad[at]
        header, (cells, times) = of[place]
        why, = why_unused([cells[k]], [int(times.status[k])])
        return Problem(file, why, SHORT_REMEDY if at else FORMS, number, header, cells[k])
    problems.each(range(len(bad)), problem)
