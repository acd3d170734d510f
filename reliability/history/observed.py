"""Indices from records (IEEE Std 1366-2012, clause 3; from memory): by year, feeder, cause and day.

A customer-minute belongs to the day on which its event began, however long it lasted; so do
the interruptions. Each step counts its own customers for its own duration; those who were off
already under another record (see `found_twice`) are not interrupted again, and count from when
that one ended.
"""

from __future__ import annotations

import calendar

import numpy as np
import pandas as pd

from reliability.history.momentary import momentary_customers
from reliability.history.outages import Records
from reliability.indices.definitions import caidi_minutes

OBSERVED_INDICES = ("saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e")
OBSERVED_SUMS = ("interruptions", "customer_minutes", "momentary_interruptions", "momentary_events")


def tally(records: Records) -> pd.DataFrame:
    """What each step (n,) adds to the yearly sums, with its year, day, feeder and cause.

    Columns: year, day (datetime64[s]), feeder (position in `network.feeder_ids`, −1 unknown),
    cause (code into `records.causes`), and customer interruptions, customer-minutes, momentary
    interruptions and momentary events, each weighted by customers.
    """
    steps = records.steps
    customers = np.where(steps["counted"], steps["customers"], 0.0)
    sustained = steps["sustained"].to_numpy()
    section = steps["section"].to_numpy()
    minutes = np.nan_to_num(steps["seconds"].to_numpy()) / 60.0
    off, off_minutes = steps["already_off"].to_numpy(), steps["off_seconds"].to_numpy() / 60.0
    return pd.DataFrame({
        "year": steps["year"], "day": steps["day"], "cause": steps["cause"],
        "feeder": np.where(section >= 0, records.network.feeder[section], -1),
        "interruptions": np.where(sustained, customers - off, 0.0),
        "customer_minutes": np.where(sustained, customers * minutes - off * off_minutes, 0.0),
        "momentary_interruptions": np.where(sustained, 0.0, customers),
        "momentary_events": momentary_customers(records),
    })


def minutes_of_year(years: np.ndarray) -> np.ndarray:
    """Minutes of each calendar year (y,): of 8760 h, or 8784 h in a leap year."""
    return np.array([1440.0 * (366 if calendar.isleap(int(y)) else 365) for y in years])


def yearly_indices(sums: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Indices of the system: a row a year covered, columns OBSERVED_INDICES."""
    years = records.years
    total = _sum(sums, sums["year"].to_numpy() - years[0], len(years))
    return _indices(total, records.served.total, minutes_of_year(years), pd.Index(years, name="year"))


def feeder_indices(sums: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Indices of the feeders: a row a year and feeder_id, columns OBSERVED_INDICES."""
    years, feeders = records.years, records.network.feeder_ids
    known = sums[sums["feeder"] >= 0]
    code = (known["year"].to_numpy() - years[0]) * len(feeders) + known["feeder"].to_numpy()
    total = _sum(known, code, len(years) * len(feeders))
    index = pd.MultiIndex.from_product([years, feeders], names=["year", "feeder_id"])
    return _indices(total, records.served.by_feeder.ravel(), np.repeat(minutes_of_year(years), len(feeders)), index)


def cause_indices(sums: pd.DataFrame, records: Records) -> pd.DataFrame:
    """What each cause adds to the system's indices: a row a year and cause, OBSERVED_SUMS and OBSERVED_INDICES.

    Causes sum to the system's SAIFI, SAIDI, MAIFI and MAIFI_E. A blank cause is "".
    """
    years, causes = records.years, records.causes
    code = (sums["year"].to_numpy() - years[0]) * len(causes) + sums["cause"].to_numpy()
    total = _sum(sums, code, len(years) * len(causes))
    index = pd.MultiIndex.from_product([years, causes], names=["year", "cause"])
    result = _indices(total, np.repeat(records.served.total, len(causes)),
                      np.repeat(minutes_of_year(years), len(causes)), index)
    return pd.concat([pd.DataFrame(total, index=index), result], axis=1)


def daily_indices(sums: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Days on which an event began, ascending: interruptions, customer_minutes, saidi_min, year."""
    day, code = np.unique(sums["day"].to_numpy().astype("datetime64[D]"), return_inverse=True)
    total = _sum(sums, code, len(day))
    year = day.astype("datetime64[Y]").astype(int) + 1970
    served = records.served.total[year - records.years[0]]
    return pd.DataFrame({
        "year": year, "interruptions": total["interruptions"], "customer_minutes": total["customer_minutes"],
        "saidi_min": _over(total["customer_minutes"], served),
    }, index=pd.Index(day.astype("datetime64[s]"), name="day"))


def _sum(sums: pd.DataFrame, code: np.ndarray, size: int) -> dict[str, np.ndarray]:
    return {name: np.bincount(code, weights=sums[name], minlength=size) for name in OBSERVED_SUMS}


def _over(total: np.ndarray, served: np.ndarray) -> np.ndarray:
    return np.divide(total, served, out=np.full(len(total), np.nan), where=served > 0)


def _indices(total: dict[str, np.ndarray], served: np.ndarray, minutes: np.ndarray, index: pd.Index) -> pd.DataFrame:
    saifi, saidi = _over(total["interruptions"], served), _over(total["customer_minutes"], served)
    return pd.DataFrame({
        "saifi": saifi, "saidi_min": saidi, "caidi_min": caidi_minutes(saidi, saifi), "asai": 1.0 - saidi / minutes,
        "maifi": _over(total["momentary_interruptions"], served), "maifi_e": _over(total["momentary_events"], served),
    }, index=index)
