"""Defaults that decide the sign of what the proposal brings: keys that a study does not state, and where it turns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.formats import number, shown
from reliability.network.devices import FAST_BY_DEFAULT, RECLOSES
from reliability.schema.assumptions import BY_KEY
from reliability.schema.scenarios import proposed_position
from reliability.schema.values import number as value_of
from reliability.study import Study
from reliability.what_if import ScenarioResults, compute, moved_study

SAIFI, NPV_SIGN = "SAIFI", "NPV"
# Between what a study that states nothing may lie; our choice.
PLAUSIBLE_DEFAULTS: dict[str, tuple[float, float]] = {
    "fast_operations": (0, 2), "reclosing_off_share": (0.0, 0.1), "temporary_fraction": (0.5, 0.85)}
_SPOKEN = {"fast_operations": "fast operations", "reclosing_off_share": "the share of faults while reclosing is off",
           "temporary_fraction": "the temporary fraction"}
_TINY = 1e-9        # relative; a smaller gain is rounding


@dataclass(frozen=True)
class Turn:
    """A default at whose other plausible value the proposal's gain has another sign.

    key: of the assumption. everywhere: whether nothing in the study states another value. measure: SAIFI or NPV. taken,
    other: the default, and the plausible value at which the sign is another one. at: where it turns between the two.
    lost: whether a gain becomes a loss, or a loss a gain.
    """

    key: str
    everywhere: bool
    measure: str
    taken: float
    other: float
    at: float
    lost: bool


def share_on_default(study: Study, key: str) -> float:
    """Of the devices or sections that a key of PLAUSIBLE_DEFAULTS concerns, the share with the program's default."""
    if f"{BY_KEY[key].table}.{key}" in study.lines:
        return 0.0
    network = study.network
    concerned = {"fast_operations": FAST_BY_DEFAULT[network.device], "reclosing_off_share": RECLOSES[network.device],
                 "temporary_fraction": np.ones(len(network), dtype=bool)}[key]
    return float(np.isnan(network.column[key][concerned]).mean()) if concerned.any() else 0.0


def decisive_defaults(now: ScenarioResults) -> list[Turn]:
    """Where the proposal's gain in SAIFI or its NPV turns within the plausible values of what is not stated.

    now: results of the study's own state. What a default decides is linear in a share or fraction, so that two values
    give the turn; of fast operations the turn is the other number itself.
    """
    study, at = now.results.study, proposed_position(now.results.study.scenarios)
    if at is None:
        return []
    before, turns = _gains(now, at), []
    for key, values in PLAUSIBLE_DEFAULTS.items():
        taken, share = value_of(study.values, key), share_on_default(study, key)
        if not share:
            continue
        for other in values:
            if other == taken:
                continue
            moved = moved_study(study, {key: int(other) if BY_KEY[key].kind == "whole" else other}, now)
            after = _gains(compute(moved, f"{now.digest}|{key} {other}", [now]), at)
            for measure, gain in before.items():
                if gain * after[measure] < 0.0:
                    way = 1.0 if key == "fast_operations" else gain / (gain - after[measure])
                    turns.append(Turn(key, share == 1.0, measure, taken, other, taken + way * (other - taken),
                                      gain > 0.0))
    return turns


def _gains(now: ScenarioResults, at: int) -> dict[str, float]:
    """Gain in SAIFI, and NPV, of a scenario; 0 where it is rounding."""
    built, saifi = now.indices[0]["saifi"] or 0.0, now.indices[at]["saifi"] or 0.0
    gain = built - saifi
    return {SAIFI: gain if abs(gain) > _TINY * max(built, saifi) else 0.0, NPV_SIGN: float(now.money[at]["npv"])}


def sentences(turns: list[Turn]) -> list[str]:
    """A sentence a key: what is not stated, what is taken, and what turns where."""
    said = []
    for key in dict.fromkeys(t.key for t in turns):
        of_key = [t for t in turns if t.key == key]
        what = " and ".join(_effect(t) for t in of_key)
        which = "does not state" if of_key[0].everywhere else "states only in part"
        where = "" if of_key[0].everywhere else " elsewhere"
        said.append(f"The study {which} {_SPOKEN[key]}; {_value(key, of_key[0].taken)} is taken{where}: {what}.")
    return said


def _effect(turn: Turn) -> str:
    where = "with" if turn.key == "fast_operations" else "above" if turn.at > turn.taken else "below"
    what = {(SAIFI, True): "the proposal raises SAIFI", (SAIFI, False): "the proposal lowers SAIFI",
            (NPV_SIGN, True): "the proposal's NPV is below 0", (NPV_SIGN, False): "the proposal's NPV is above 0"}
    return f"{where} {_value(turn.key, turn.at)} {what[turn.measure, turn.lost]}"


def _value(key: str, value: float) -> str:
    if key == "fast_operations":
        return shown(value, "whole")
    return shown(value, "share_of_three_digits") if key == "reclosing_off_share" else number(value)
