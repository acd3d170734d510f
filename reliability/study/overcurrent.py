"""Overcurrent settings of reclosing devices and curves by points, read from their tables and checked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from reliability.formats import count, exact
from reliability.schema.columns import CURVES, DELAYED, FAST, SETTINGS, ColumnRule
from reliability.schema.curves import CLEARING, INVERSE, MELTING
from reliability.schema.nearest import Names
from reliability.schema.problems import Problems, shorten
from reliability.study.cells import choice_column, number_column, require, text_column
from reliability.study.headers import TextTable
from reliability.study.links import written_link
from reliability.study.reclosing import on_reclosing_devices

_OTHER = {MELTING: CLEARING, CLEARING: MELTING}
_NAMED = 3   # so many devices are named in a note


def read_curves(table: TextTable, problems: Problems) -> pd.DataFrame:
    """Curves of a table of `columns.CURVES`, a row a point, in the order of the file.

    Case and spaces make no difference to a name; that of a link's own curve is written as "65K melting". Reported:
    cells that cannot be read, names of built-in curves, links that cannot be read, currents that do not rise, curves
    of one point, links with one of their two curves, links that clear before they melt. Every row that has a name is
    returned, so that settings are not reported for a curve that has a problem of its own.
    """
    typed, sound = _typed(table, CURVES, problems)
    texts = text_column(table, "curve")
    first: dict[str, str] = {}
    names = np.array([_curve_name(text, first) for text in texts], dtype=object)
    _report_names(table, texts, names, problems)
    frame = pd.DataFrame({"curve": names, "current_a": typed["current_a"], "time_s": typed["time_s"]})
    rows = {str(name): np.asarray(at) for name, at in frame.groupby("curve").indices.items()
            if name and name not in INVERSE}
    for name, at in rows.items():
        if sound[at].all():
            _report_points(table, name, at, frame, problems)
    _report_pairs(table, rows, frame, sound, problems)
    return frame[names != ""].reset_index(drop=True)


def read_overcurrent_settings(table: TextTable, curves: Iterable[str] | None, sections: pd.DataFrame | None,
                              problems: Problems) -> pd.DataFrame:
    """Settings of a table of `columns.SETTINGS` with blanks filled, a row for each device, element and operation.

    curves: names of the curves by points. sections: `section_id` and `device` of each section. None each where they
    could not be read. Reported: cells that cannot be read or are out of bounds, sections that are not there or whose
    device does not reclose, unknown curves, a built-in curve without a dial, and what is given twice. Rows with a
    problem are left out.
    """
    typed, sound = _typed(table, SETTINGS, problems)
    names, by_points = _curves_used(table, curves, problems)
    blank = np.isnan(typed["time_dial"]) & sound
    without = blank & np.isin(names, list(INVERSE))
    problems.each(np.flatnonzero(without), lambda i: table.problem(
        i, "time_dial", "", f"{names[i]} needs a time dial",
        "write the dial or multiplier; for definite the time in s"))
    typed["time_dial"] = np.where(blank & by_points, 1.0, typed["time_dial"])
    typed["added_time_s"] = np.nan_to_num(typed["added_time_s"])
    typed["curve"] = names
    frame = pd.DataFrame({c.name: typed[c.name] for c in SETTINGS})
    placed = on_reclosing_devices(table, sections, problems) if sections is not None else np.ones(len(table), bool)
    again = _report_repeated(table, frame, problems)
    return frame[sound & ~without & (names != "") & placed & ~again].reset_index(drop=True)


def links_with_curves(curves: pd.DataFrame) -> tuple[str, ...]:
    """Links that have curves of their own in a frame of `read_curves`, whether in the reference table or not."""
    names = set(curves["curve"])
    return tuple(name.removesuffix(f" {MELTING}") for name in dict.fromkeys(curves["curve"])
                 if name.endswith(f" {MELTING}") and f"{name.removesuffix(MELTING)}{CLEARING}" in names)


def rising_notes(curves: pd.DataFrame, file: str = "curves.csv") -> tuple[str, ...]:
    """The note on curves by points whose time rises from one current to the next, as no overcurrent device's does."""
    up = curves.groupby("curve", sort=False)["time_s"].diff().to_numpy() > 0.0
    first = curves[up].drop_duplicates("curve")
    if first.empty:
        return ()
    at = [f"{name} at {exact(float(a))} A" for name, a in zip(first["curve"], first["current_a"], strict=True)]
    return (f"{file}: {count(len(first), 'curve')} with a time that rises with the current ({_some(at)}): look at "
            "these points.",)


def settings_notes(settings: pd.DataFrame, file: str = "settings.csv") -> tuple[str, ...]:
    """Notes on checked settings: devices of which only fast rows are stated."""
    fast = (settings["operation"] == FAST).groupby(settings["section_id"], sort=False).all()
    only_fast = fast.index[fast].astype(str).to_list()
    if not only_fast:
        return ()
    return (f"{file}: {len(only_fast)} of {len(fast)} devices with {FAST} rows only ({_some(only_fast)}): their "
            f"{DELAYED} operations use the fast curves, and fuses beyond them rarely melt.",)


def fast_slower_notes(section_ids: Sequence[str], current_a: np.ndarray, file: str = "settings.csv") -> tuple[str, ...]:
    """The note on devices whose fast rows are slower than their delayed ones at a fault current of their zone.

    current_a: such a current (A) of each device, NaN where there is none.
    """
    at = np.flatnonzero(~np.isnan(current_a)).tolist()
    if not at:
        return ()
    named = _some([f"{section_ids[i]} at {exact(float(f'{current_a[i]:.3g}'))} A" for i in at])
    return (f"{file}: {len(at)} of {len(section_ids)} devices with fast rows that are slower than the delayed ones at "
            f"fault currents of their zone ({named}): a fast operation clears there by the delayed rows.",)


def later_notes(section_ids: Sequence[str], current_a: np.ndarray, file: str = "settings.csv") -> tuple[str, ...]:
    """The note on lateral reclosers that clear no sooner than a fast operation of the device above them.

    current_a: the highest such current (A) of each that has settings, NaN where there is none.
    """
    at = np.flatnonzero(~np.isnan(current_a)).tolist()
    if not at:
        return ()
    named = _some([f"{section_ids[i]} at {exact(float(f'{current_a[i]:.3g}'))} A" for i in at])
    return (f"{file}: {len(at)} of {count(len(section_ids), 'lateral recloser')} with settings "
            f"{'clears' if len(at) == 1 else 'clear'} no sooner than a fast operation of the device above at fault "
            f"currents of their zone ({named}): each is taken to clear first all the same.",)


def _typed(table: TextTable, columns: tuple[ColumnRule, ...], problems: Problems) -> tuple[dict[str, np.ndarray],
                                                                                           np.ndarray]:
    """Columns under their types, and where a record is sound: nothing in it is wrong or missing, (records,) bool."""
    typed: dict[str, np.ndarray] = {}
    sound = np.full(len(table), not table.missing)
    for column in columns:
        if column.kind == "number":
            typed[column.name], wrong = number_column(table, column, problems)
            blank = np.isnan(typed[column.name])
        else:
            texts = choice_column(table, column, problems) if column.choices else text_column(table, column.name)
            typed[column.name] = np.array(texts, object)
            blank, wrong = typed[column.name] == "", np.zeros(len(table), bool)
        if column.required:
            require(table, (column.name,), problems)
            wrong = wrong | blank
        sound &= ~wrong
    return typed, sound


def _curve_name(text: str, first: dict[str, str]) -> str:
    """The one way of writing a curve's name; of others than a link's and built-in ones, as first written."""
    link, _, which = " ".join(text.split()).rpartition(" ")
    if which.casefold() in _OTHER and (written := written_link(link)):
        return f"{written} {which.casefold()}"
    return first.setdefault(_fold(text), _built_in(text) or text)


def _fold(text: str) -> str:
    return " ".join(text.casefold().split())


def _built_in(text: str) -> str | None:
    folded = _fold(text).replace(" ", "_").replace("-", "_")
    return folded if folded in INVERSE else None


def _report_names(table: TextTable, texts: list[str], names: np.ndarray, problems: Problems) -> None:
    problems.each(np.flatnonzero(np.isin(names, list(INVERSE))), lambda i: table.problem(
        i, "curve", texts[i], "this is the name of a built-in curve", "give the curve by points a name of its own"))
    unreadable = [i for i, name in enumerate(names) if _fold(name).rpartition(" ")[2] in _OTHER
                  and not written_link(name.rpartition(" ")[0])]
    problems.each(unreadable, lambda i: table.problem(
        i, "curve", texts[i], "not readable as the curve of a fuse link",
        f"write rating and type before it, like 65K {MELTING}, or give the curve another name"))


def _report_points(table: TextTable, name: str, at: np.ndarray, frame: pd.DataFrame, problems: Problems) -> None:
    """Rules of one curve whose cells are all sound; at: its records."""
    if len(at) < 2:
        problems.add(table.problem(int(at[0]), "curve", name, "a curve needs two points or more", "add a row a point"))
    current = frame["current_a"].to_numpy()[at]
    problems.each(at[1:][np.diff(current) <= 0.0], lambda i: table.problem(
        i, "current_a", f"{frame['current_a'][i]:g}",
        f"the currents of '{shorten(name, 40)}' must rise from row to row",
        "put the points in order, each current once"))


def _report_pairs(table: TextTable, rows: dict[str, np.ndarray], frame: pd.DataFrame, sound: np.ndarray,
                  problems: Problems) -> None:
    """A link has both its curves, and never clears before it melts."""
    for name, at in rows.items():
        link, _, which = name.rpartition(" ")
        if which not in _OTHER or not written_link(link):
            continue
        other = rows.get(f"{link} {_OTHER[which]}")
        if other is None:
            problems.add(table.problem(int(at[0]), "curve", name, "a link needs both its curves",
                                       f"add the points of '{link} {_OTHER[which]}'"))
        elif which == CLEARING and sound[at].all() and sound[other].all():
            rule, remedy = f"{link} would clear here before it melts", f"correct this point or those of its {MELTING}"
            for i in at[_clears_early(frame.iloc[other], frame.iloc[at])].tolist():
                problems.add(table.problem(i, "time_s", f"{frame['time_s'][i]:g}", rule, remedy))


def _clears_early(melting: pd.DataFrame, clearing: pd.DataFrame) -> np.ndarray:
    """Points of a clearing curve that lie under the melting curve; nothing where a curve's currents do not rise."""
    current, time = (melting[name].to_numpy() for name in ("current_a", "time_s"))
    if (np.diff(current) <= 0.0).any():
        return np.zeros(len(clearing), bool)
    at = clearing["current_a"].to_numpy()
    melts = np.exp(np.interp(np.log(at), np.log(current), np.log(time)))
    # a point may lie on the other curve, to rounding
    return (at < current[0]) | (clearing["time_s"].to_numpy() < melts * (1.0 - 1e-9))


def _curves_used(table: TextTable, curves: Iterable[str] | None, problems: Problems) -> tuple[np.ndarray, np.ndarray]:
    """Each record's curve by its one name, "" where unknown, and where it is one by points."""
    by_points = {_fold(name): name for name in curves or ()}
    texts = text_column(table, "curve")
    found = {text: _built_in(text) or by_points.get(_fold(_curve_name(text, {})), "") for text in set(texts)}
    names = Names([*by_points.values(), *INVERSE])
    unknown = [i for i, text in enumerate(texts) if text and not found[text] and curves is not None]
    problems.each(unknown, lambda i: table.problem(
        i, "curve", texts[i], "unknown curve",
        names.suggest(texts[i], f"write one of {', '.join(INVERSE)}, or add its points to the curves' table")))
    used = np.array([found[text] for text in texts], object)
    return used, np.isin(used, list(by_points.values()))


def _report_repeated(table: TextTable, frame: pd.DataFrame, problems: Problems) -> np.ndarray:
    """Where a record repeats the device, element and operation of an earlier one, (records,) bool; all reported."""
    keys = ["section_id", "element", "operation"]
    whole = (frame[keys] != "").all(axis=1).to_numpy(bool)
    again = frame.duplicated(keys).to_numpy() & whole
    first: dict[tuple[object, ...], int] = {}
    if again.any():
        for i, key in enumerate(frame[keys].itertuples(index=False, name=None)):
            first.setdefault(key, i)
    problems.each(np.flatnonzero(again), lambda i: table.problem(
        i, "section_id", str(frame["section_id"][i]),
        f"its {frame['element'][i]} element has a row for {frame['operation'][i]} operations already in row "
        f"{table.rows[first[tuple(str(frame[key][i]) for key in keys)]]}", "leave one of the two"))
    return again


def _some(names: list[str]) -> str:
    """A few names for a note."""
    return ", ".join(shorten(name, 40) for name in names[:_NAMED]) + (", …" if len(names) > _NAMED else "")
