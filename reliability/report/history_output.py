"""What `history` writes into its folder, all of it or nothing."""

from __future__ import annotations

import json
from pathlib import Path

from reliability.cells import write_csv
from reliability.history.history import History, read_history
from reliability.history.model_days import ModelDays
from reliability.history.outages import Records
from reliability.history.rates import LearnedRates
from reliability.output_folder import COMPLETION_MARKERS, complete_folder
from reliability.report.content import RecordedContent
from reliability.report.documents import outage_history
from reliability.report.history_summary import history_summary, rates_table
from reliability.report.page import page
from reliability.study.study import Study

HISTORY_MARKER = COMPLETION_MARKERS["history"]
HISTORY_FILES = (HISTORY_MARKER, "rates.csv", "report.html")


def write_history(study: Study, out_folder: str | Path, modelled: ModelDays | None = None,
                  records: Records | None = None, learned: LearnedRates | None = None) -> History:
    """What the outage records of `study` say, as files in `out_folder`; returns it too.

    modelled, records, learned: see `read_history`. Raises StudyError, with nothing written, where the records
    cannot be read. Files are written aside and moved into place at the end.
    """
    history = read_history(study, modelled, records, learned)
    text = json.dumps(history_summary(history), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    html = page(outage_history(RecordedContent(study, history)))
    with complete_folder(out_folder, HISTORY_MARKER) as folder:
        (folder / HISTORY_MARKER).write_text(text, encoding="utf-8", newline="\n")
        write_csv(rates_table(history), folder / "rates.csv")
        (folder / "report.html").write_text(html, encoding="utf-8", newline="\n")
    return history
