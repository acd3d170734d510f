"""Writes history.json, rates.csv and report.html, all of them or none."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path

import pandas as pd

from reliability.history.document import document, rates_table
from reliability.history.history import History, read_history
from reliability.history.page import page
from reliability.study.study import Study


def write_history(study: Study, out_folder: str | Path, modelled: pd.DataFrame | None = None) -> History:
    """What the outage records of `study` say, as files in `out_folder`; returns it too.

    modelled: see `read_history`. Raises StudyError, with nothing written, where the records
    cannot be read. Files are written aside and moved into place at the end.
    """
    history = read_history(study, modelled)
    content = {
        "history.json": json.dumps(document(history), indent=2, ensure_ascii=False, allow_nan=False) + "\n",
        "rates.csv": _safe(rates_table(history)).to_csv(index=False, lineterminator="\n"),
        "report.html": page(study, history),
    }
    out = Path(out_folder)
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=out.parent, prefix=f".{out.name}-") as aside:
        for name, text in content.items():
            (Path(aside) / name).write_text(text, encoding="utf-8", newline="\n")
        out.mkdir(exist_ok=True)
        for name in content:
            os.replace(Path(aside) / name, out / name)
    return history


def _safe(table: pd.DataFrame) -> pd.DataFrame:
    """Text that a spreadsheet would take for a formula gets an apostrophe in front."""
    table = table.copy()
    for name in ("section_id", "group"):
        text = table[name].astype("str")
        table[name] = text.where(~text.str.contains(r"^[=+\-@\t\r]"), "'" + text)
    return table
