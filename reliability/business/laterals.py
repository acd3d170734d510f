"""laterals.csv: what the faults on each lateral do under each scenario, and what converting it is worth."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.business.break_even import BREAK_EVEN, BreakEven
from reliability.business.cashflow import Business, present_worth
from reliability.business.costs import grouped, total_money, unit_prices
from reliability.faults.consequences import CALLOUTS
from reliability.network.place_names import field_columns
from reliability.schema.devices import DEVICES
from reliability.schema.units import MINUTES_PER_HOUR


def laterals_frame(business: Business, break_even: BreakEven) -> pd.DataFrame:
    """A row a lateral and scenario; amounts a year, of the faults on the lateral. break_even: of the same scenarios.

    cost: money a year under the study's perspective. capex, npv, rank: of converting this
    lateral, blank where the scenario does not; rank 1 has the highest NPV of its scenario.
    Changed backup settings are shared by the laterals of a zone and charged to none of them.
    device_id, location: of the lateral's head, where the study states any.
    break_even_reclosing_off_share: share of faults while reclosing is off at which the scenario's gain in
    customer-minutes here is nil, blank where it keeps its sign.
    """
    network, values = business.network, business.values
    heads, index = network.candidates, network.candidate_index
    price = unit_prices(values)
    frames, as_built_cost = [], np.zeros(len(heads))
    for s, name in enumerate(business.scenarios):
        amounts = grouped(business.by_section[s], index, len(heads))
        cost = total_money(amounts, values, business.customers_served)
        if s == 0:
            as_built_cost = cost
        device, converted = business.protections[s].device[heads], business.protections[s].converted[heads]
        units = network.phases[heads]
        capex = units * price[device]
        worth = present_worth(values, as_built_cost - cost, capex, units * values["inspection_cost_per_year"])
        npv = np.where(converted, worth, np.nan)
        frames.append(pd.DataFrame({
            "lateral_id": network.ids[heads], "scenario": name, "feeder_id": network.feeder_ids[network.feeder[heads]],
            **field_columns(network.text, heads),
            "device": [DEVICES[d] for d in device], "customers": network.customers_below[heads],
            "customer_interruptions": amounts["ci"],
            "customer_minutes": MINUTES_PER_HOUR * amounts["customer_hours"],
            "momentary_events": amounts["momentary_events"],
            "callouts": sum((amounts[c] for c in CALLOUTS), start=np.zeros(())),
            **{f"{c}_callouts": amounts[c] for c in CALLOUTS},
            "cost": cost, "capex": np.where(converted, capex, np.nan), "npv": npv,
            "rank": pd.Series(npv).rank(ascending=False, method="first").astype("Int64"),
            BREAK_EVEN: break_even.by_lateral[s],
        }))
    return pd.concat(frames, ignore_index=True)
