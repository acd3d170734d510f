"""Questions about units: what of a study is outside of what is usual, see `schema/plausible.py`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from reliability.formats import exact
from reliability.schema.assumptions import BY_KEY
from reliability.schema.curves import DEFINITE
from reliability.schema.plausible import (
    BIL_OVER_VOLTAGE,
    DEFINITE_S,
    FEEDER_CUSTOMERS,
    FEEDER_KM,
    FEEDER_KW,
    KW_A_CUSTOMER,
    RANGES,
    SERVED_OVER_CUSTOMERS,
    Plausible,
)
from reliability.schema.problems import shorten
from reliability.schema.values import Assumptions
from reliability.study.header_names import in_both_units
from reliability.study.headers import Table
from reliability.study.study import Study

_SETTINGS = ("pickup_a", "added_time_s")
_CURVES = ("current_a", "time_s")


def unit_notes(study: Study, settings_file: str = "study.toml") -> tuple[str, ...]:
    """A note for each quantity of a study that is outside of what is usual, with what may be meant and what to do.

    settings_file: how messages call what states the assumptions.
    """
    return (*_of_sections(study.sections, study.section_tables), *_of_totals(study.sections),
            *_of_assumptions(study.values, settings_file),
            *_of_frame("settings.csv", study.settings, _SETTINGS), *_of_definite(study.settings),
            *_of_frame("curves.csv", study.curves, _CURVES), *_of_served(study, settings_file))


def _asked(where: str, what: str, number: float, usual: Plausible) -> str:
    """The note on a number outside of what is usual."""
    reason = f" ({usual.reason})" if usual.reason else ""
    unit = f" {usual.unit}" if usual.unit != "0–1" else ""
    return (f"{where}: {what} is {exact(float(f'{number:.3g}'))}{unit}; usual are {exact(usual.low)} to "
            f"{exact(usual.high)}{unit}{reason}. Is it in {usual.other}? Convert it, or leave it where it is right.")


def _outside(number: float, usual: Plausible) -> bool:
    return not usual.low <= number <= usual.high


def _median(numbers: np.ndarray) -> float | None:
    """Median of the numbers above 0, None where there is none."""
    given = numbers[np.isfinite(numbers) & (numbers > 0)]
    return float(np.median(given)) if given.size else None


def _of_sections(sections: pd.DataFrame, tables: tuple[Table, ...]) -> Iterator[str]:
    """Medians of the columns of each table that the sections come from."""
    at = 0
    for table in tables or (Table("sections", {}, [0] * len(sections), {}),):
        rows = sections.iloc[at:at + len(table)]
        at += len(table)
        for name, usual in RANGES.items():
            median = _median(rows[name].to_numpy(dtype=float)) if name in rows else None
            if median is not None and _outside(median, usual):
                header = next((table.headers[n] for n in in_both_units(name) if n in table.headers), name)
                yield _asked(table.file, f"the median of {shorten(header, 40)}", median, usual)


def _of_totals(sections: pd.DataFrame) -> Iterator[str]:
    """Totals of each feeder, the largest and the smallest; and load a customer."""
    feeders = sections.groupby("feeder_id", sort=False)[["length_km", "customers", "load_kw"]].sum()
    for name, usual in (("length_km", FEEDER_KM), ("customers", FEEDER_CUSTOMERS), ("load_kw", FEEDER_KW)):
        total = feeders[name][feeders[name] > 0]
        outside = total[(total < usual.low) | (total > usual.high)]
        if len(outside):
            more = f" (and of {len(outside) - 1} more)" if len(outside) > 1 else ""
            yield _asked("sections", f"the {usual.name} {shorten(str(outside.index[0]), 40)}{more}",
                         float(outside.iloc[0]), usual)
    customers, load = float(feeders["customers"].sum()), float(feeders["load_kw"].sum())
    if customers > 0 and load > 0 and _outside(load / customers, KW_A_CUSTOMER):
        yield _asked("sections", f"the {KW_A_CUSTOMER.name}", load / customers, KW_A_CUSTOMER)


def _of_assumptions(values: Assumptions, file: str) -> Iterator[str]:
    numbers: Mapping[str, object] = values
    for name, usual in RANGES.items():
        value = numbers.get(name)
        if isinstance(value, int | float) and value and _outside(value, usual):
            yield _asked(file, f"{BY_KEY[name].table}.{name}", value, usual)
    ratio = values["bil_kv"] / values["system_kv"]
    if _outside(ratio, BIL_OVER_VOLTAGE):
        yield _asked(file, f"{BIL_OVER_VOLTAGE.name}", ratio, BIL_OVER_VOLTAGE)


def _of_frame(file: str, frame: pd.DataFrame | None, names: tuple[str, ...]) -> Iterator[str]:
    for name in names if frame is not None else ():
        median = _median(frame[name].to_numpy(dtype=float))     # type: ignore[index]
        if median is not None and _outside(median, RANGES[name]):
            yield _asked(file, f"the median of {name}", median, RANGES[name])


def _of_definite(settings: pd.DataFrame | None) -> Iterator[str]:
    """The times of definite elements, which stand where others have a dial."""
    if settings is None:
        return
    median = _median(settings["time_dial"][settings["curve"] == DEFINITE].to_numpy(dtype=float))
    if median is not None and _outside(median, DEFINITE_S):
        yield _asked("settings.csv", "the median time_dial of definite elements", median, DEFINITE_S)


def _of_served(study: Study, file: str) -> Iterator[str]:
    customers = float(study.sections["customers"].sum())
    for year, served in study.extra.get("customers_served", {}).items():
        if customers > 0 and isinstance(served, int | float) and _outside(served / customers, SERVED_OVER_CUSTOMERS):
            yield _asked(file, f"history.customers_served.{year} over the customers of the sections",
                         served / customers, SERVED_OVER_CUSTOMERS)
