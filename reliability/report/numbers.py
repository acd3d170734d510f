"""Numbers as they leave the program: what does not exist is null, never 0 or infinity."""

from __future__ import annotations

import math
from typing import Any

import numpy as np


def none_for_nan(value: Any) -> Any:
    """The same value, nested dicts and lists included, with None for NaN and infinities and plain numbers."""
    if isinstance(value, dict):
        return {key: none_for_nan(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [none_for_nan(v) for v in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
