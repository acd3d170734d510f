"""The flat form: feeders and their laterals, two tables in place of sections."""

from __future__ import annotations

import numpy as np

from reliability.schema.columns import FEEDERS, LATERALS, SECTIONS
from reliability.schema.devices import BREAKER, FUSE
from reliability.schema.problems import Problem, Problems
from reliability.study.headers import TextTable
from reliability.study.records import CLASSES, TypedColumns, type_table

FEEDER_NAMES = {"section_id": "feeder_id", "length_km": "main_length_km", "parent_id": "feeder_id"}
LATERAL_NAMES = {"section_id": "lateral_id", "parent_id": "feeder_id"}


def flat_records(feeders: TextTable, laterals: TextTable, problems: Problems) -> TypedColumns:
    """Records of sections: a main a feeder, headed by a breaker, then a section a lateral below its main.

    `customers` and its classes are the feeder's totals; its main carries those that no lateral has.
    Everything else in a feeder's row belongs to the main.
    """
    if not len(feeders) and not feeders.missing:
        problems.add(Problem(feeders.file, "there is no feeder", "add a row a feeder below the header"))
    main = type_table(feeders, FEEDERS, problems)
    taps = type_table(laterals, LATERALS, problems)
    main.columns["section_id"] = main.columns["feeder_id"]
    main.columns["parent_id"] = np.full(len(main), "", object)
    main.columns["length_km"] = main.columns.pop("main_length_km")
    main.columns["device"] = np.where(main.columns["device"] == "", BREAKER, main.columns["device"])
    taps.columns["section_id"] = taps.columns.pop("lateral_id")
    taps.columns["parent_id"] = taps.columns["feeder_id"]
    taps.columns["device"] = np.where((taps.columns["device"] == "") & ~taps.wrong["device"], FUSE,
                                      taps.columns["device"])
    main.wrong["length_km"] = main.wrong.pop("main_length_km")
    _leave_the_rest(main, taps, problems)
    return _joined(main, taps)


def _leave_the_rest(main: TypedColumns, taps: TypedColumns, problems: Problems) -> None:
    """Take the laterals' customers from their feeder's.

    Where a feeder gives no classes, the customers of its main are all residential, whatever its laterals have.
    """
    place = {feeder: i for i, feeder in reversed(list(enumerate(main.columns["feeder_id"].tolist())))}
    feeder = np.array([place.get(f, -1) for f in taps.columns["feeder_id"].tolist()], int)
    known = feeder >= 0
    short = np.zeros(len(main), bool)
    cells = [main.tables[0].cells[c] for c in CLASSES if c in main.tables[0].cells]
    given = np.array([any(row) for row in zip(*cells, strict=True)] if cells else [False] * len(main), bool)

    def report(records: np.ndarray, name: str, on_laterals: np.ndarray) -> None:
        problems.each(records, lambda i: main.problem(
            i, name, None, f"its laterals have {on_laterals[i]:g} {name.replace('_', ' ')}, more than the whole feeder",
            f"{name} of a feeder includes those of its laterals"))

    for name in ("customers", *CLASSES):
        customers = np.nan_to_num(taps.columns[name])
        on_laterals = np.bincount(feeder[known], customers[known], len(main)) if known.any() else np.zeros(len(main))
        rest = main.columns[name] - on_laterals
        broken = (rest < 0) & ~main.unsure(name) & ~short & (given | (name == "customers"))
        short |= broken
        report(np.flatnonzero(broken), name, on_laterals)
        main.columns[name] = rest
    for k, name in enumerate(CLASSES):
        main.columns[name] = np.where(given, main.columns[name], main.columns["customers"] if k == 0 else 0.0)


def _joined(main: TypedColumns, taps: TypedColumns) -> TypedColumns:
    names = [c.name for c in SECTIONS if c.name in main.columns and c.name in taps.columns]
    columns = {n: np.concatenate([main.columns[n], taps.columns[n]]) for n in names}
    wrong = {n: np.concatenate([r.wrong.get(n, np.zeros(len(r), bool)) for r in (main, taps)]) for n in names}
    return TypedColumns(columns, wrong, main.tables + taps.tables, (FEEDER_NAMES, LATERAL_NAMES))
