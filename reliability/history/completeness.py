"""How complete the outage records are: rows that lack a time, a number of customers, a place or a cause."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.history.findings import Finding
from reliability.history.outages import Records
from reliability.study.study import Study

NOT_TOLD = ("", "unknown", "undetermined", "not known", "n/a", "none")      # causes that tell nothing
_CODES = {
    "started": ("missing_started", "started_not_a_date", "started_far_year"),
    "restored": ("missing_restored", "restored_not_a_date", "restored_far_year", "restored_before_started"),
    "customers": ("missing_customers", "customers_not_a_number"),
    "section_id": ("blank_section", "unknown_section"),
}


def completeness(study: Study, records: Records) -> pd.DataFrame:
    """Rows of the outage records without a usable value: rows, share (of all rows); index: the column.

    Of a cause and a kind of fault also what is recorded as unknown.
    """
    outages = study.outages
    total = 0 if outages is None else len(outages)
    counts = {name: len(_rows(records.findings, codes)) for name, codes in _CODES.items()}
    for name in ("cause", "fault_kind"):
        column = None if outages is None or name not in outages else outages[name].astype(str).str.strip()
        counts[name] = total if column is None else int(column.str.casefold().isin(NOT_TOLD).sum())
    rows = np.array(list(counts.values()), dtype=float)
    return pd.DataFrame({"rows": rows, "share": rows / total if total else np.full(len(rows), np.nan)},
                        index=pd.Index(list(counts), name="column"))


def _rows(findings: tuple[Finding, ...], codes: tuple[str, ...]) -> set[int]:
    return {int(row) for finding in findings if finding.code in codes for row in finding.rows}
