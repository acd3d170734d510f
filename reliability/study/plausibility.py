"""Questions about units: what of a study is outside of what is usual, see `schema/plausible.py`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import pandas as pd

from reliability.formats import exact
from reliability.network.rates import fault_rates
from reliability.schema.assumptions import BY_KEY
from reliability.schema.columns import COUNTER, PHASE
from reliability.schema.curves import DEFINITE
from reliability.schema.plausible import (
    ANY_CELL,
    BIL_OVER_VOLTAGE,
    DEFINITE_S,
    DIAL,
    FEEDER_CUSTOMERS,
    FEEDER_KM,
    FEEDER_KW,
    KVA_A_CUSTOMER,
    KW_A_CUSTOMER,
    MOST_FAULTS,
    MOST_STEPS,
    RANGES,
    SERVED_OVER_CUSTOMERS,
    Plausible,
)
from reliability.schema.problems import StudyError, shorten
from reliability.schema.values import Assumptions
from reliability.study.header_names import in_both_units
from reliability.study.headers import TextTable
from reliability.study.study import Study

_SETTINGS = ("pickup_a", "added_time_s")
_CURVES = ("current_a", "time_s")


def unit_notes(study: Study, settings_file: str = "study.toml") -> tuple[str, ...]:
    """A note for each quantity of a study that is outside of what is usual, with what may be meant and what to do.

    settings_file: how messages call what states the assumptions.
    """
    return (*_of_sections(study.sections, study.section_tables), *_of_totals(study.sections),
            *_of_assumptions(study.values, settings_file),
            *_of_frame("settings.csv", study.settings, _SETTINGS), *_of_dials(study.settings),
            *_of_pickups(study), *_of_frame("curves.csv", study.curves, _CURVES), *_of_counters(study),
            *_of_served(study, settings_file))


def check_number_of_faults(study: Study) -> None:
    """Raise StudyError where a horizon has more faults than can be simulated, and than any utility has."""
    rates, years = fault_rates(study.model), float(study.values["horizon_years"])
    if (faults := float(rates.sum()) * years) <= MOST_FAULTS:
        return
    worst = int(np.argmax(rates))
    expected, here = (exact(float(f"{number:.2g}")) for number in (faults, rates[worst]))
    raise StudyError([study.section_problem(
        int(study.network.row[worst]), "length_km", f"{study.network.column['length_km'][worst]:g}",
        f"{expected} faults are expected in {years:g} years, more than {exact(MOST_FAULTS)} simulated; most on this "
        f"section, {here} a year", "look at the units of lengths and fault rates")])


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


def _of_sections(sections: pd.DataFrame, tables: tuple[TextTable, ...]) -> Iterator[str]:
    """Medians of the columns of each table that the sections come from."""
    at = 0
    for table in tables or (TextTable("sections", {}, [0] * len(sections), {}),):
        rows = sections.iloc[at:at + len(table)]
        at += len(table)
        for name, usual in RANGES.items():
            median = _median(rows[name].to_numpy(dtype=float)) if name in rows else None
            if median is None:
                continue
            header = shorten(next((table.headers[n] for n in in_both_units(name) if n in table.headers), name), 40)
            if _outside(median, usual):
                yield _asked(table.file, f"the median of {header}", median, usual)
            elif name not in ANY_CELL:
                yield from _of_cells(table.file, header, rows["section_id"].tolist(), rows[name].to_numpy(float), usual)


def _of_cells(file: str, header: str, ids: list[str], numbers: np.ndarray, usual: Plausible) -> Iterator[str]:
    """Single cells of a column whose median is usual, as where the rows of one district are in another unit."""
    given = numbers > 0
    outside = np.flatnonzero(given & ((numbers < usual.low) | (numbers > usual.high)))
    if outside.size:
        at = outside[0]
        more = f" (and of {outside.size - 1} more of {given.sum()})" if outside.size > 1 else ""
        yield _asked(file, f"{header} of {shorten(ids[at], 40)}{more}", float(numbers[at]), usual)


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
    kva = sections["connected_kva"].to_numpy(float)
    beside = float(sections["customers"].to_numpy(float)[kva > 0].sum())
    if beside > 0 and _outside(ratio := float(kva[kva > 0].sum()) / beside, KVA_A_CUSTOMER):
        yield _asked("sections", f"the {KVA_A_CUSTOMER.name}", ratio, KVA_A_CUSTOMER)


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


def _of_dials(settings: pd.DataFrame | None) -> Iterator[str]:
    """The times of definite elements, and where they stand the dials of others."""
    if settings is None:
        return
    definite = (settings["curve"] == DEFINITE).to_numpy(bool)
    for where, usual, kind in ((definite, DEFINITE_S, "definite"), (~definite, DIAL, "other")):
        median = _median(settings["time_dial"].to_numpy(dtype=float)[where])
        if median is not None and _outside(median, usual):
            yield _asked("settings.csv", f"the median time_dial of {kind} elements", median, usual)


def _of_pickups(study: Study) -> Iterator[str]:
    """Phase elements that the load alone would trip."""
    if study.settings is None:
        return
    load = study.sections.set_index("section_id")["peak_load_a"]
    phase = study.settings[study.settings["element"] == PHASE]
    low = phase[phase["pickup_a"].to_numpy(float) < load.reindex(phase["section_id"]).to_numpy(float)]
    if len(low):
        yield (f"settings.csv: the pickup of a phase element is below the peak load of its section at "
               f"{_named(low['section_id'])}. Is it in amperes of the relay, or is the load of another unit?")


def _of_counters(study: Study) -> Iterator[str]:
    """Devices whose counters made more steps in a year than a device does."""
    if study.operations is None:
        return
    rows = study.operations[(study.operations["kind"] == COUNTER).to_numpy(bool)]
    years = (rows["to"] - rows["from"]).dt.total_seconds() / (365.25 * 86_400)
    sums = pd.DataFrame({"steps": rows["operations"], "years": years}).groupby(rows["section_id"], sort=False).sum()
    many = sums.index[(sums["steps"] > MOST_STEPS * np.maximum(sums["years"], 1 / 12)).to_numpy(bool)]
    if len(many):
        yield (f"operations.csv: more than {exact(MOST_STEPS)} steps a year at {_named(many)}. Are they the counter's "
               "readings, in place of its steps between two of them?")


def _named(ids: Iterable[str]) -> str:
    """Some sections by their ids, each once."""
    distinct = list(dict.fromkeys(ids))
    return shorten(str(distinct[0]), 40) + (f" and {len(distinct) - 1} more" if len(distinct) > 1 else "")


def _of_served(study: Study, file: str) -> Iterator[str]:
    customers = float(study.sections["customers"].sum())
    for year, served in study.extra.get("customers_served", {}).items():
        if customers > 0 and isinstance(served, int | float) and _outside(served / customers, SERVED_OVER_CUSTOMERS):
            yield _asked(file, f"history.customers_served.{year} over the customers of the sections",
                         served / customers, SERVED_OVER_CUSTOMERS)
