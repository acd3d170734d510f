"""Chains of the learned rates as short as they go, for tests of what is told and written and not of learned figures."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from reliability.history import device_fit, estimate
from reliability.history.posterior import Length

SHORTEST = Length(iterations=40, burn_in=20, kept=20)
WHOLE = Length(iterations=60, burn_in=40, kept=20)       # goes on from where the shortest ended


@contextmanager
def short_chains() -> Iterator[None]:
    """Every chain begun meanwhile is SHORTEST or WHOLE, also in copies of this process."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(estimate, "FULL_LENGTH", WHOLE)
        patch.setattr(estimate, "SHORT", SHORTEST)
        patch.setattr(device_fit, "SHORTER", SHORTEST)
        yield
