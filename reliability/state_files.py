"""Files of a study with what is moved written into them, so that a state can be saved, or run and reproduced."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from reliability.schema.assumption_types import Range
from reliability.schema.assumptions import AS_BUILT_SETTINGS, BY_KEY
from reliability.schema.scenarios import FORCED_IN, FORCED_OUT, UNCHANGED, Scenario, proposed_position
from reliability.study import toml_edit
from reliability.study.files import SETTINGS_FILE
from reliability.study.ranges import LEARNED
from reliability.study.restated import may_restate, restated_tables
from reliability.study.study import Study
from reliability.study.toml_scenarios import set_scenarios
from reliability.what_if import Asked, ScenarioResults, existing_fast_operations, with_limits

RATE_MOVED, FAST_MOVED = "fault_rate_factor", "existing_fast_operations"
OF_SCENARIOS = ("share_converted", "counts", "fast_tripping")       # moves that only change scenarios
_LEARNED_BY = ("faults", "protection")      # tables of assumptions that rates learned from records depend on
OFF_MOVED = "reclosing_off_share"                 # for the time to come; of the records it is stated apart
Moves = Mapping[str, float | int]


def not_written(study: Study, moves: Moves) -> list[str]:
    """Keys of the moves that no file of the study can say, those that only change scenarios among them.

    study: as its files state it.
    """
    learned, tables = study.values["rates"] == LEARNED, may_restate(study)
    out = {*OF_SCENARIOS} | ({RATE_MOVED, FAST_MOVED} if not tables else {RATE_MOVED} if learned else set())
    return [key for key in moves if key in out]


def not_reproduced(study: Study, moves: Moves) -> list[str]:
    """Keys of the moves with which a state cannot be run out of files: those that these cannot say.

    Where rates are learned from records, also those by which they are learned: other rates would be learned then.
    """
    learned = study.values["rates"] == LEARNED
    again = {FAST_MOVED, *(key for key,
                           a in BY_KEY.items() if a.table in _LEARNED_BY)} - {OFF_MOVED} if learned else set()
    return [key for key in moves if key in again or key in set(not_written(study, moves)) - {*OF_SCENARIOS}]


def with_moves(study: Study, files: Mapping[str, bytes], moves: Moves) -> tuple[dict[str, bytes], list[str]]:
    """Files that change where moves are written into a study, and names of those that go.

    study: as its files state it; files: their content by name. moves: see `moved_study`; those that only change
    scenarios are left out. A share of faults while reclosing is off is written for the time to come alone.
    """
    values: dict[str, float | int | Range | None] = {k: v for k, v in moves.items() if k in BY_KEY}
    if OFF_MOVED in moves and study.values["rates"] == LEARNED and study.values["recorded_reclosing_off_share"] is None:
        # the records are from a time at the share as it stood
        values["recorded_reclosing_off_share"] = study.values["reclosing_off_share"]
    columns: dict[str, np.ndarray] = {}
    if (factor := float(moves.get(RATE_MOVED, 1.0))) != 1.0:
        values["line_fault_rate_per_km"] = _times(study, factor)
        rates = {name: study.sections[name].to_numpy(dtype=float) for name in
                 ("line_fault_rate_per_km", "equipment_fault_rate")}
        columns |= {name: np.where(rate > 0.0, rate * factor, np.nan) for name, rate in rates.items()}
    if FAST_MOVED in moves:
        by_section = np.empty(len(study.network))
        by_section[study.network.row] = existing_fast_operations(study, int(moves[FAST_MOVED]))
        columns["fast_operations"] = by_section
    text = toml_edit.set_values(_settings(files), values)
    changed, gone = restated_tables(study, files, columns) if columns else ({}, [])
    return {**changed, SETTINGS_FILE: text.encode()}, gone


def with_state(study: Study, files: Mapping[str, bytes], asked: Asked, now: ScenarioResults,
               words: Sequence[str]) -> tuple[dict[str, bytes], list[str]]:
    """Files that change where a whole state is written, and names of those that go; its results are those of the state.

    What is proposed is written as the scenario of its name, where a choice at the moved values would be another one.
    now: results of the state. words: what is moved, for the study's name and a comment. See `with_moves`.
    """
    changed, gone = with_moves(study, files, asked.moves)
    values: dict[str, Any] = {key: value for key, value in asked.limits.items() if key in BY_KEY}
    if asked.perspective:
        values["perspective"] = asked.perspective
    forced = with_limits(study, asked.limits).extra["laterals"]
    if _fixed(asked) and not now.decision.named and proposed_position(now.results.study.scenarios) is None:
        # nothing is proposed, and a choice at the moved values may not change that
        values["backup_settings"] = AS_BUILT_SETTINGS
        forced = dict.fromkeys(study.network.ids[study.network.candidates].astype(str).tolist(), FORCED_OUT)
    text = toml_edit.set_values(changed[SETTINGS_FILE].decode(), values)
    if forced != study.extra.get("laterals", {}):
        text = toml_edit.set_forced(text, *([name for name, other in forced.items() if other == word]
                                            for word in (FORCED_IN, FORCED_OUT)))
    scenarios = _scenarios(study, asked, now)
    if scenarios is not None:
        text = set_scenarios(text, scenarios)
    said = " ".join("; ".join(words).split())
    text = toml_edit.set_values(toml_edit.set_name(text, f"{study.name} (what if)"), {"moved": said})
    comment = f"# Written from the study with inputs {study.inputs_sha256}, moved: {said}"
    return {**changed, SETTINGS_FILE: f"{comment}\n{text}".encode()}, gone


def _scenarios(study: Study, asked: Asked, now: ScenarioResults) -> list[Scenario] | None:
    """Scenarios of a state that its files must state, None where those of the study serve."""
    of_state = {s.name: s for s in now.results.study.scenarios}
    own, at = list(study.scenarios[1:]), proposed_position(now.results.study.scenarios)
    moved = not asked.moves.keys().isdisjoint(OF_SCENARIOS)
    if moved:
        own = [of_state[s.name] for s in own]
    if _fixed(asked) and at is not None and proposed_position((UNCHANGED, *own)) is None and not now.decision.named:
        return [*own, now.results.study.scenarios[at]]
    return own if moved else None


def _fixed(asked: Asked) -> bool:
    """Whether a choice of the files would be made at other values, or among other conversions, than the proposal."""
    return not asked.at_the_studys_inputs or asked.limits.get("applicable_only") is False


def _times(study: Study, factor: float) -> float | Range:
    """The line fault rate that the study states, times a factor."""
    key = "line_fault_rate_per_km"
    if (stated := study.stated_ranges.get(key)) is not None:
        return Range(*(_tidy(v * factor) for v in (stated.low, stated.likely, stated.high)))
    return _tidy(study.values["line_fault_rate_per_km"] * factor)


def _tidy(value: float) -> float:
    return float(f"{value:.12g}")


def _settings(files: Mapping[str, bytes]) -> str:
    return files[SETTINGS_FILE].decode("utf-8-sig")
