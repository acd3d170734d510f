"""Constraints on a choice: the limits and the laterals forced in or out, from the table [choice] of study.toml."""

from __future__ import annotations

from reliability.business.limits import Limits
from reliability.business.zero_capital import usual_fast_operations
from reliability.schema.assumptions import MAY_CHANGE
from reliability.schema.scenarios import FORCED_IN, FORCED_OUT
from reliability.schema.values import Assumptions
from reliability.study.study import Study


def limits_of(study: Study) -> Limits:
    """The limits on a choice that the study states."""
    forced = study.extra.get("laterals", {})
    return Limits(
        budget=study.values["budget"], added_maifi_e=study.values["added_maifi_e"],
        added_maifi_e_feeder=study.values["added_maifi_e_feeder"],
        saidi_reduction_minutes=study.values["saidi_reduction_minutes"],
        forced_in=tuple(name for name, word in forced.items() if word == FORCED_IN),
        forced_out=tuple(name for name, word in forced.items() if word == FORCED_OUT),
    )


def fast_settings(values: Assumptions, may_change: bool | None = None) -> tuple[int, ...]:
    """Fast operations that a choice may set breakers and reclosers to; none where they stay as built.

    Either no fast operation or `usual_fast_operations`. may_change: in place of what the study states.
    """
    if may_change is None:
        may_change = values["backup_settings"] == MAY_CHANGE
    return (0, usual_fast_operations(values)) if may_change else ()
