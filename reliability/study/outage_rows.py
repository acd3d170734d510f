"""Rows of outages.csv as text, their numbers by the same rule as those of every table."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from reliability.schema.columns import OUTAGES
from reliability.schema.problems import Problems
from reliability.study.cells import explain
from reliability.study.decimals import in_doubt
from reliability.study.headers import TextTable
from reliability.study.timestamps import Timestamps, read_timestamps
from reliability.study.unread_times import report_unused, too_many

TIME_COLUMNS = ("started", "restored")
_CUSTOMERS = next(c for c in OUTAGES if c.name == "customers")
# Thousands by a sign that is no decimal sign where it stands so: left out, the largest outages would be missing.
_SPACED = re.compile(r"[1-9]\d{0,2}(?:[' \u00a0\u202f\u2009’]\d{3})+")
_WITH_COMMAS = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+")


def report_doubtful_customers(table: TextTable, problems: Problems) -> None:
    """Note numbers of customers in which a sign may separate thousands; what else is no number is a finding later."""
    texts = table.cells.get(_CUSTOMERS.name, [])
    separated = (_SPACED,) if table.decimal_comma else (_SPACED, _WITH_COMMAS)
    doubtful = [i for i, text in enumerate(texts) if not text.isdigit() and (
        in_doubt(text, table.doubtful) or any(pattern.fullmatch(text) for pattern in separated))]
    problems.each(doubtful, lambda i: table.problem(i, _CUSTOMERS.name, texts[i], *explain(texts[i], _CUSTOMERS)))


def outage_times(frame: pd.DataFrame, row: np.ndarray, file: str, date_order: str, zone: str, problems: Problems
                 ) -> list[Timestamps]:
    """Start and restoration of each row of outage records; a problem where a key must say how to read them, or where
    too many cannot be read. row: (n,) spreadsheet rows. date_order, zone: as `read_timestamps` has them."""
    timestamps, doubtful = read_timestamps([frame[name] for name in TIME_COLUMNS], date_order, file, row, zone)
    problems.add(*doubtful)
    report_unused({name: (frame[name].tolist(), times) for name, times in zip(TIME_COLUMNS, timestamps, strict=True)
                   if too_many(times.status)}, file, row.tolist(), problems)
    return timestamps


def outage_frame(table: TextTable) -> pd.DataFrame:
    """Outage records as text columns of `columns.OUTAGES`, "" where blank, and `row`, the spreadsheet row.

    A comma that is the file's decimal sign is a point in the number of customers.
    """
    blank = [""] * len(table)
    frame = pd.DataFrame({c.name: pd.Series(table.cells.get(c.name, blank), dtype="str") for c in OUTAGES})
    if table.decimal_comma:
        single = frame["customers"].str.count(",") == 1
        frame["customers"] = frame["customers"].where(~single, frame["customers"].str.replace(",", "."))
    frame["row"] = np.array(table.rows, int)
    return frame
