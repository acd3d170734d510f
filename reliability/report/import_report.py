"""The report of an import: a table of everything that was noticed, and the outline for a terminal."""

from __future__ import annotations

import pandas as pd

from reliability.cells import csv_text
from reliability.formats import count, shown
from reliability.intake.findings import STATES
from reliability.intake.outcome import REPORT_TABLE, Imported


def report_table(imported: Imported) -> pd.DataFrame:
    """Every line of the report: part, state, key, what, count, quantity, unit, ids."""
    report = imported.report
    rows: list[dict[str, object]] = []
    for m in report.matched.itertuples():
        rows.append({"part": "matched", "state": m.state, "key": m.key, "what": m.what, "count": m.matched, "of": m.of,
                     "share": m.share, "ids": ""})
    for b in report.balance.itertuples():
        rows.append({"part": "balance", "state": "green", "key": b.quantity, "what": f"{b.quantity}: in, out and listed",
                     "count": b.out, "of": b[2], "share": float("nan"), "ids": f"listed {b.listed!r}"})
    for noted in report.findings.noted:
        rows.append({"part": noted.part, "state": noted.state, "key": noted.key, "what": noted.title,
                     "count": noted.count, "of": float("nan"), "share": float("nan"), "customers": noted.customers,
                     "km": noted.km, "customer_minutes": noted.minutes, "ids": "; ".join(noted.ids)})
    return pd.DataFrame(rows)


def report_files(imported: Imported) -> dict[str, bytes]:
    """Files of the report by name."""
    return {REPORT_TABLE: csv_text(report_table(imported)).encode()}


def report_outline(imported: Imported) -> str:
    """The report in a few lines of text."""
    report = imported.report
    whole = report.totals.iloc[-1]
    lines = [f"{count(int(whole['sections']), 'section')}, {shown(whole['km'], 'amount')} km, "
             f"{count(int(whole['customers']), 'customer')}, {count(len(report.totals) - 1, 'feeder')}, "
             f"{count(int(whole['laterals']), 'lateral')}"]
    lines += [f"{m.state}: {m.what}: {shown(m.share, 'share')}" for m in report.matched.itertuples() if m.of]
    for state in reversed(STATES):
        lines += [f"{state}: {n.title}: {n.count}" for n in report.findings.noted if n.state == state and state != "green"]
    return "\n".join(lines)
