"""Indices over twelve months that end with each month, and means over several years."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from reliability.history.outages import Records
from reliability.indices.definitions import caidi_minutes

MONTHS = 12
_OF = {"saifi": "interruptions", "saidi_min": "customer_minutes", "maifi_e": "momentary_events"}


def rolling_months(sums: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Indices of the twelve months that end with each month: saifi, saidi_min, caidi_min, maifi_e; index: "2024-03".

    sums: of the steps that count, see `observed.tally`; an event belongs to the month in which it began. A month's sum
    is divided by the customers served in its year, so that the twelve months to December are the year's index. Only
    months covered in full count; no row where there are fewer than twelve.
    """
    first = records.first_day.astype("datetime64[M]")
    first = first if records.first_day == first.astype("datetime64[D]") else first + 1
    after = (records.last_day + 1).astype("datetime64[M]")
    months = np.arange(first, after)
    if len(months) < MONTHS:
        return pd.DataFrame({name: np.zeros(0) for name in (*_OF, "caidi_min")}, index=pd.Index([], name="month"))
    at = (sums["day"].to_numpy().astype("datetime64[M]") - first).astype(int)
    inside = (at >= 0) & (at < len(months))
    served = records.served.total[months.astype("datetime64[Y]").astype(int) + 1970 - int(records.years[0])]
    result = {}
    for index, name in _OF.items():
        total = np.bincount(at[inside], sums[name].to_numpy()[inside], len(months))
        monthly = np.divide(total, served, out=np.full(len(months), np.nan), where=served > 0)
        result[index] = np.convolve(monthly, np.ones(MONTHS), "valid")
    result["caidi_min"] = caidi_minutes(result["saidi_min"], result["saifi"])
    return pd.DataFrame(result, index=pd.Index(months[MONTHS - 1:].astype(str), name="month"))


def means_of_years(years: pd.DataFrame, span: int, partial: Collection[int] = ()) -> pd.DataFrame:
    """Means over `span` years that end with each year, from `observed.yearly_indices`; index: the last year.

    partial: years that may not enter. CAIDI is the ratio of the means. No row where one of the years is partial.
    """
    names = [c for c in years.columns if c != "caidi_min"]
    mean = years[names].rolling(span).mean()
    mean.insert(2, "caidi_min", caidi_minutes(mean["saidi_min"].to_numpy(), mean["saifi"].to_numpy()))
    part = years.index.isin(list(partial)).astype(float)
    whole = pd.Series(part, index=years.index).rolling(span).sum() == 0
    return mean[whole.to_numpy()]
