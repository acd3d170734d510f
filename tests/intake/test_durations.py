"""Lengths of time with a colon, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.intake.durations import with_colons


@pytest.mark.parametrize(("text", "unit", "hours"), [
    ("1:35", "h", 95 / 60), ("1 day, 2:30", "h", 26.5), ("2 days, 0:00:36", "h", 48.01), ("1:35:20", "", 5720 / 3600),
    ("1:30", "min", 0.025), ("1:35", "", np.nan)])
def test_a_duration_has_its_hours(text, unit, hours):
    assert with_colons([text], unit)[1] == pytest.approx([hours], nan_ok=True)
