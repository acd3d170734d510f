"""Chains of the learned rates as short as they go, for tests of what is told and written and not of learned figures."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from reliability.history import device_fit, estimate
from reliability.history.posterior import Length

SHORTEST = Length(iterations=40, burn_in=20, kept=20)


@contextmanager
def short_chains() -> Iterator[None]:
    """Every chain begun meanwhile has the length SHORTEST, also in copies of this process."""
    with pytest.MonkeyPatch.context() as patch:
        for module, names in ((estimate, ("FULL", "SHORT")), (device_fit, ("SHORT", "SHORTER"))):
            for name in names:
                patch.setattr(module, name, SHORTEST)
        yield
