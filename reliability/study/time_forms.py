"""Other ways of writing a date and time that have one reading, brought to the form that is read; why one is not read.

Year-first dates and those with a month by its name have one reading; so has a time before its date, a weekday, which
says nothing more, or digits alone that begin with the year. A year of two digits is read where its century is stated.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_CLOCK = r"\d{1,2}:\d\d(?::\d\d(?:[.,]\d+)?)?(?:\s*[ap]m)?"
# Each with what it becomes, in this order; our collection, common practice, no source.
_SAME: tuple[tuple[str, str], ...] = (
    (r"\b([ap])\. ?m\.", r"\1m"),                                                             # 10:05 a.m.
    (r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[.,]?\s+(?=\S)", ""),                            # Wed, 3 Apr 2024
    (rf"^({_MONTH}) +(\d{{1,2}}) +(\d{{1,2}}:\d\d(?::\d\d)?) +(\d{{4}})$", r"\1 \2 \4 \3"),   # Apr 3 10:05:07 2024
    (r"^(\d{1,2})(?:st|nd|rd|th)\b", r"\1"),                                                  # 3rd April 2024
    (rf"^({_MONTH} +\d{{1,2}})(?:st|nd|rd|th)\b", r"\1"),                                     # April 3rd, 2024
    (rf"^(\d{{1,2}})({_MONTH})(\d{{4}}|\d\d)(?::| |$)", r"\1-\2-\3 "),                        # 03APR2024:10:05:07
    (rf"^({_CLOCK})[ ,]+(\S.*\d{{4}}|\d{{4}}\S+)$", r"\2 \1"),                                # 10:05 3-Apr-2024
    (r"^(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)?$", r"\1-\2-\3 \4:\5:\6"),                      # 20240403100507
    (r"(?<=\d)(?:\s+at|,? -)\s+(?=\d{1,2}:)", " "),                                           # … at 10:05
    (r"(?<=\d)\s*(?:hrs|hours)\.?$", ""),                                                     # 22:05 hrs
    (rf"^(\d{{1,4}}[-/. ](?:\d{{1,2}}|{_MONTH})[-/. ]\d{{1,4}}) (\d\d?)(\d\d)$", r"\1 \2:\3"),  # 04/13/2024 1405
    (r"(?<=\d\d)[ \-](\d\d)\.(\d\d)\.(\d\d)(?:\.\d+)?$", r" \1:\2:\3"),                       # 2024-04-03-10.05.07
    (r":$", ""),
)
_SHORT_YEAR = re.compile(rf"^((?:\d{{1,2}}|{_MONTH})[ /.\-]+(?:\d{{1,2}}|{_MONTH})[ /.,\-]+)(\d\d)(?=$|[T ,])",
                         re.IGNORECASE)
FORMS = ("read are 2024-04-03 10:05 (and 2024/04/03, 20240403T1005, other ISO 8601, with seconds, AM or PM, or an "
         "offset from UTC), 3-Apr-2024 10:05, April 3, 2024 10:05 PM, and 04/13/2024 10:05 or 13.04.2024 10:05 where "
         "the order of day and month is stated or another date shows it; write them so, or have the export write them "
         "so")
NO_FORM = "no such form, or no such day or time"
_REASONS: tuple[tuple[str, str], ...] = (
    (r"\d{5}(?:[.,]\d+)?", "a spreadsheet's number of a day: have the column "
     "formatted as date and time there"), (r"\d{10}(?:\d{3})?", "seconds counted from a day"),
    (r".* \d{1,2}[.,]\d\d", "its time may be hours and minutes or a decimal part of an hour"),
    (_CLOCK, "a time of day without its date"), (rf".*{_CLOCK}\s*[a-z]{{3,5}}", "a time zone by letters"),
)


def same_forms(text: pd.Series, century: int | None = None) -> pd.Series:
    """Texts in the form that is read. century: 2000 where years of two digits are of 2000 to 2099."""
    for pattern, by in _SAME:
        text = text.str.replace(pattern, by, regex=True, flags=re.IGNORECASE)
    text = text.str.strip()
    if century is None:
        return text
    return text.str.replace(_SHORT_YEAR, lambda m: f"{m[1]}{century + int(m[2])}", regex=True)


def short_years(text: pd.Series) -> np.ndarray:
    """Whether dates end with a year of two digits, (n,) bool."""
    return same_forms(text).str.match(_SHORT_YEAR).to_numpy(dtype=bool)


def reasons_not_read(texts: Sequence[str]) -> list[str]:
    """Why each of some texts is not read as a date and time, in a few words."""
    if not len(texts):
        return []
    short = short_years(pd.Series(list(texts), dtype="str"))
    return ["its year has two digits" if two else _other_reason(text)
            for text, two in zip(texts, short.tolist(), strict=True)]


def _other_reason(text: str) -> str:
    found = next((why for pattern, why in _REASONS if re.fullmatch(pattern, text.strip(), re.IGNORECASE)), None)
    return found or NO_FORM


def not_read(text: str) -> str:
    """Why a text is not read as a date and time, in a few words."""
    return reasons_not_read([text])[0]
