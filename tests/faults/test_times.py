"""Times to restore: a term depends on every assumption that its hours change with."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.faults.times import SWITCHING, SWITCHING_OFF, WAITING, WALK_OR_OWN_REPAIR, Term, depends_on, hours_of
from reliability.schema.assumptions import ASSUMPTIONS, defaults

RESTORATION = [a.key for a in ASSUMPTIONS if a.table == "restoration" and a.kind == "number"]


@pytest.mark.parametrize("name", [*WAITING, SWITCHING, SWITCHING_OFF, WALK_OR_OWN_REPAIR])
def test_a_term_depends_on_what_its_hours_change_with(name):
    """Otherwise a simulation would draw the assumption and leave the hours as they are."""
    rng, term, found = np.random.default_rng(1), Term(name), set()
    for _ in range(200):
        values = defaults() | {key: float(rng.uniform(0.1, 0.9)) for key in RESTORATION}
        if rng.random() < 0.5:
            values["patrol_reclosing_off_hours"] = None
        for key in RESTORATION:
            if values[key] is not None and hours_of(term, values | {key: values[key] + 0.7}) != hours_of(term, values):
                found.add(key)
    assert found == {key for key in RESTORATION if depends_on(term, [key])}
