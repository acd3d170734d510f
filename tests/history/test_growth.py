"""Customers served in earlier years: records of twice the customers in years of twice the customers are the same."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reliability.history.history import read_history
from tests.history.records import TWO_FEEDERS, outage, study

NAMES = [str(s["section_id"]) for s in TWO_FEEDERS]
BELOW = dict(zip(NAMES, (1000, 250, 50, 150, 1000), strict=True))
SHARES = (0.2, 0.5, 0.8, 1.0)


def rows(seed: int, times: int) -> list[dict]:
    """Blinks, outages in one step or two, copies and outages inside others, close together; customers × times."""
    rng = np.random.default_rng(seed)
    found = []
    for day in range(60):
        at = np.datetime64("2022-01-01T00:00:00") + np.timedelta64(12 * day, "D")
        for k in range(int(rng.integers(1, 5))):
            section = str(rng.choice([*NAMES, ""]))
            customers = int(BELOW.get(section, 400) * rng.choice(SHARES)) * times
            start = at + np.timedelta64(int(rng.integers(0, 900)), "s")
            for step in range(int(rng.integers(1, 3))):
                seconds = int(rng.choice([30, 200, 3600, 20_000])) + step
                found.append(outage(f"e{day}-{k}", str(start), str(start + np.timedelta64(seconds, "s")), customers,
                                    section))
    return found


def history(seed: int, times: int):
    served = {"customers_served": {"2022": 2000 * times, "2023": 2000 * times}}
    return read_history(study(rows(seed, times), extra=served, records_from="2022-01-01", records_to="2023-12-31"))


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("times", [2, 3])
def test_everything_per_customer_is_as_where_as_many_are_served_as_today(seed, times):
    one, more = history(seed, 1), history(seed, times)
    assert [(f.code, f.count) for f in more.records.findings] == [(f.code, f.count) for f in one.records.findings]
    for of in ("years", "customers"):
        now, then = (getattr(h.every_event, of).drop(columns="customer_minutes", errors="ignore") for h in (more, one))
        pd.testing.assert_frame_equal(now, then, check_exact=False, rtol=1e-9)
