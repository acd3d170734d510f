"""Problems of a study as a table, the same on every page."""

from __future__ import annotations

import pandas as pd

from reliability.study import Problem
from reliability.ui import figure


def problem_frame(problems: list[Problem]) -> pd.DataFrame:
    """Problems as a table."""
    return pd.DataFrame([{"file": p.file, "row": p.row, "column": p.column, "value": p.value, "rule": p.rule,
                          "remedy": p.remedy} for p in problems]).astype({"row": "Int64"})


def show_problems(problems: list[Problem], key: str) -> None:
    """Draw problems as a table."""
    figure.table(problem_frame(problems), "Problems", key, height=min(380, 76 + 35 * len(problems)))
