"""What the cells of a table say about its columns: guesses that do not fit are dropped, words and times are found."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pandas as pd

from reliability.intake.kinds import (
    CURVE_ROWS,
    CUSTOMERS,
    DEVICE_ROWS,
    FIELDS,
    OPERATION_ROWS,
    OUTAGE_ROWS,
    SEGMENTS,
    SETTINGS_ROWS,
    SOURCES,
    Field,
)
from reliability.intake.words import known_meaning, link_in, phases_of, suggestion
from reliability.network.fuse_links import link_name

FITS, MOST_WORDS = 0.9, 200     # share of cells, and distinct words, by which a column is known (our choice)
HALF_OF_CELLS = 0.5             # share of cells by which a column that names planned work is known (our choice)
NUMBERED = 0.8                  # share of ids that have digits (our choice); a row of totals has none
MOST_CODES = 30                 # more distinct words with digits are no code of kinds (our choice)
LINKS = 0.1                     # share of fuse links by which a column is of them, beside ratings (our choice)
MOST_STATES = 4                 # so many distinct codes may be what a position of a switch is (our choice)
SAMPLE = 2000                   # so many cells of a column are looked at
# Words in the names of files and layers; our collection, common practice, no source.
_FILE_WORDS: dict[str, str] = {
    SEGMENTS: r"segment|conductor|primary|\bline|span|cable|feeder.?line",
    DEVICE_ROWS: r"device|protect|switch|fuse|recloser|breaker",
    CUSTOMERS: r"customer|transformer|xfmr|meter|premise|service",
    SOURCES: r"source|substation|feeder.?head|supply",
    OUTAGE_ROWS: r"outage|oms|incident|interruption|trouble",
    OPERATION_ROWS: r"operation|counter|reading", SETTINGS_ROWS: r"setting|relay", CURVE_ROWS: r"curve|\btcc",
}
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d\d(:\d\d(\.\d+)?)?\s*([ap]\.?m\.?)?|([01]\d|2[0-3])[0-5]\d|\d{1,2}\.\d\d",
                          re.IGNORECASE)
_SHORTENED = re.compile(r"([01]?\d|2[0-3])[0-5]\d|[0-5]?\d")       # 0210 as a spreadsheet's number
_DATE = re.compile(r"\d{1,4}[-/. ]*(\d{1,2}|[a-z]{3,9}\.?)[-/., ]*\d{1,4}|[a-z]{3,9}\.? \d{1,2},? \d{2,4}",
                   re.IGNORECASE)
_RATING = re.compile(r"\d+(\.\d+)?\s*(a|amps?)?", re.IGNORECASE)
_DECIMAL, _CLOCK = re.compile(r"\d*[.,]\d+$"), re.compile(r"\d{1,2}:\d\d")
_FRACTION = re.compile(r"\d+[.,](?!0+$)\d{1,2}")
_TIMES = ("started", "restored")
_OFF_ON = (re.compile(r"off|out|start|beg|from|intrpt|interr", re.IGNORECASE),
           re.compile(r"on\b|in\b|end|rest|back|till", re.IGNORECASE))


def named_as(kind: str, name: str) -> bool:
    """Whether the name of a file or layer holds a word of a kind."""
    return bool(re.search(_FILE_WORDS[kind], re.sub(r"[\W_\d]+", " ", name.casefold())))


def _sample(cells: np.ndarray) -> np.ndarray:
    """Cells with text, evenly over the column."""
    given = cells[:: max(len(cells) // SAMPLE, 1)]
    return np.asarray(given[given != ""])


def share_that_fits(of: Field, cells: np.ndarray) -> float:
    """Share of the cells with text whose word means something for a column of words; 0 where there are too many."""
    codes, words = pd.factorize(_sample(cells))
    if not len(words) or len(words) > MOST_WORDS:
        return 0.0
    fits = np.array([_means(of, str(w)) for w in words], bool)
    return float(fits[codes].mean())


def _means(of: Field, word: str) -> bool:
    if of.name == "phases":
        return phases_of(word) is not None
    if known_meaning(of, word) is not None:
        return True
    return bool(re.search(r"[^\W\d]", word)) and suggestion(of, word) is not None


def contradicted(fields: Mapping[str, Field], name: str, header: str, columns: Mapping[str, np.ndarray],
                 ids: Collection[str]) -> bool:
    """Whether the cells of a header speak against what its name suggests. ids: of the table's rows, as text."""
    cells = columns[header]
    of = fields.get(name)
    given = _sample(cells)
    if of is None or not len(given):
        return False
    if of.word and name not in ("status", "phases"):
        codes = name == "normal_state" and len(set(given.tolist())) <= MOST_STATES      # asked for, never left aside
        return share_that_fits(of, cells) < 0.5 and not codes
    if of.column.kind in ("number", "whole") and are_links(cells):
        return True
    if of.column.kind == "whole":
        return sum(bool(_FRACTION.fullmatch(str(c))) for c in given) > 0.5 * len(given)
    if name == "parent_id" and ids:
        return sum(str(c) in ids for c in given) < 0.5 * len(given)
    return name == "status" and "normal_state" in fields and share_that_fits(fields["normal_state"], cells) >= FITS


def are_ids(of: Field, cells: np.ndarray) -> bool:
    """Whether cells are names of single things, such as F-1022, and no words of a column: they have digits other than
    those of a fuse link, and nearly all differ, or there are many that mean nothing."""
    given = list(map(str, _sample(cells)))
    numbered = sum(bool(re.search(r"\d", text)) and not link_in(text) for text in given)
    if len(given) < 2 or numbered < NUMBERED * len(given):
        return False
    return len(set(given)) >= FITS * len(given) or (len(set(given)) > MOST_CODES and share_that_fits(of, cells) < 0.5)


def words_found(kind: str, headers: Sequence[str], columns: Mapping[str, np.ndarray], taken: Collection[str]
                ) -> dict[str, str]:
    """Header → column of words that its cells are, among headers whose names say nothing."""
    found: dict[str, str] = {}
    free = [f for f in FIELDS[kind] if f.word and f.name not in taken and f.name != "status"]
    for header in headers:
        shares = {f.name: share_that_fits(f, columns[header]) for f in free if f.name not in found.values()
                  and not are_ids(f, columns[header])}
        best = max(shares, key=lambda n: shares[n], default="")
        if best and shares[best] >= (HALF_OF_CELLS if best == "planned" and _names_plans(columns[header]) else FITS):
            found[header] = best
    return found


def id_found(headers: Sequence[str], columns: Mapping[str, np.ndarray]) -> str:
    """The one header, of those whose names say nothing, whose cells are all names that differ; "" for none."""
    found = [h for h in headers if _are_names(columns[h])]
    return found[0] if len(found) == 1 else ""


def _are_names(cells: np.ndarray) -> bool:
    """Whether every cell has a text of its own, with digits and no date, time, decimal part or link."""
    given = [str(c) for c in cells.tolist()]
    sample = [str(c) for c in _sample(cells)]
    return len(given) > 1 and len(set(given)) == len(given) and "" not in given and all(
        re.search(r"\d", c) and not link_in(c) and not any(form.match(c) for form in (_DECIMAL, _DATE, _CLOCK))
        for c in sample)


def are_links(cells: np.ndarray) -> bool:
    """Whether cells are fuse links of the table, as 65K: all that have a letter, and so many that they are no chance;
    plain ratings of other devices may stand between them."""
    given = [str(c) for c in _sample(cells)]
    worded = [c for c in given if not _RATING.fullmatch(c.strip())]
    return bool(worded) and len(worded) >= LINKS * len(given) and all(link_name(c) for c in set(worded))


def links_found(kind: str, headers: Sequence[str], columns: Mapping[str, np.ndarray], taken: Collection[str]
                ) -> dict[str, str]:
    """The one header, of those whose names say nothing, whose cells are fuse links; none where several are."""
    if "fuse_link" in taken or all(f.name != "fuse_link" for f in FIELDS[kind]):
        return {}
    found = [h for h in headers if are_links(columns[h])]
    return {found[0]: "fuse_link"} if len(found) == 1 else {}


def _names_plans(cells: np.ndarray) -> bool:
    """Whether a word of a column speaks of planned work, which is not to be counted as faults by oversight."""
    return any(re.search(r"plan|sched|prearr", str(word), re.IGNORECASE) for word in pd.unique(_sample(cells)))


def times_of_day(dated: Mapping[str, str], headers: Sequence[str], columns: Mapping[str, np.ndarray]) -> dict[str, str]:
    """Column of times → header with the time of day, where its own header has the date alone.

    dated: column → header. Which of two times of day belongs to the start is told by the header's words.
    """
    clocks = [h for h in headers if _all_match(_TIME_OF_DAY, columns[h])
              or (re.search(r"time", h, re.IGNORECASE) and _all_match(_SHORTENED, columns[h])
                  and any(len(str(c)) > 2 for c in columns[h]))]
    pairs: dict[str, str] = {}
    for name, words in zip(_TIMES, _OFF_ON, strict=True):
        if name in dated and _all_match(_DATE, columns[dated[name]]):
            named = [h for h in clocks if words.search(h.replace("_", " "))]
            if len(named) == 1 or (named and len(clocks) == 1):
                pairs[name] = named[0]
                clocks.remove(named[0])
    return pairs


def _all_match(pattern: re.Pattern[str], cells: np.ndarray) -> bool:
    given = _sample(cells)
    return len(given) > 0 and all(pattern.fullmatch(str(c).strip()) for c in given)
