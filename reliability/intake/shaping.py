"""Geometry into nodes: end points that are near become one node, taps that touch a line split it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.intake.decisions import Decision
from reliability.intake.findings import Findings
from reliability.intake.recipe import Recipe
from reliability.intake.spans import Spans
from reliability.intake.typed import Typed


def shaped_segments(typed: Typed, recipe: Recipe, findings: Findings, decisions: list[Decision]
                    ) -> tuple[pd.DataFrame, list[np.ndarray | None] | None]:
    return typed.frame("segments"), None


def shaped_points(typed: Typed, kind: str, spans: Spans, recipe: Recipe, findings: Findings) -> pd.DataFrame:
    return typed.frame(kind)
