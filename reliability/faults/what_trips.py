"""What stays open for a fault on some sections, and how many customers it takes, with reclosing on and off."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.faults.consequences import consequences
from reliability.faults.outcomes import PERMANENT_BIT, OutcomeTable, row_rates
from reliability.network.quantities import customers_of
from reliability.schema.values import Assumptions, as_assumptions

SHARE_KEY = "reclosing_off_share"


def what_trips(both: OutcomeTable, values: Assumptions, sections: np.ndarray) -> pd.DataFrame:
    """A row a state of reclosing, kind of fault, scenario and device that stays open, the likeliest first.

    both: a table of both states (`break_even.table_of_both_states`). sections: mask (n,) of those where the fault is.
    Columns off, permanent, scenario (position), opened (section whose device stays open, −1 for none), share (of the
    faults of that kind), customers (out, on average).
    """
    at, parts = np.flatnonzero(sections[both.section]), []
    some, customers = both.take(at), customers_of(both.network)
    for off in (False, True):
        rates = row_rates(some, as_assumptions({**values, SHARE_KEY: float(off)}))
        for s in range(len(some.scenarios)):
            effect = consequences(some, s, values)
            parts.append(pd.DataFrame({
                "off": off, "permanent": some.kinds == PERMANENT_BIT, "scenario": s, "opened": effect.opened,
                "share": rates, "customers": rates * effect.sustained(customers)})[rates > 0.0])
    keys = ["off", "permanent", "scenario"]
    found = pd.concat(parts).groupby([*keys, "opened"], as_index=False)[["share", "customers"]].sum()
    found["customers"] /= found["share"]
    found["share"] /= found.groupby(keys)["share"].transform("sum")
    return found.sort_values([*keys, "share"], ascending=[True, True, True, False], kind="stable", ignore_index=True)
