"""States of a study as somebody may move it in the app, and their results by the long way: nothing serves again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reliability.pipeline import decide
from reliability.study.study import Study
from reliability.what_if import Asked, ScenarioResults, compute, moved_study, with_limits

MOVES = {
    "temporary_fraction": [0.0, 0.4, 0.61, 0.9, 1.0], "fault_rate_factor": [0.25, 0.8, 1.35, 3.0],
    "existing_fast_operations": [0, 1, 3], "reclosing_off_share": [0.002, 0.05, 0.3],
    "fault_current_factor": [1.4, 2.5], "momentary_cost_factor": [0.0, 0.5], "share_converted": [0.0, 0.35, 0.7],
    "counts": [1, 2, 3], "fast_tripping": [0, 2], "sectionalizer_failure": [0.02, 0.2],
    "repair_hours": [1.0, 4.25], "crew_rate_per_hour": [50.0, 230.0], "sectionalizer_cost": [900.0, 2500.0],
    "horizon_years": [8, 30]}
LIMITS = {
    "budget": [0.0, 4_000.0, 20_000.0], "objective": ["saidi"], "backup_settings": ["may_change"],
    "added_maifi_e": [0.0, 0.3], "saidi_reduction_minutes": [1.0, 1e5], "applicable_only": [False],
    "programme_years": [3], "yearly_budget": [5_000.0]}


def random_asked(rng: np.random.Generator, laterals: list[str]) -> Asked:
    """Up to four sliders, up to three limits and at times the other perspective. laterals: that may be forced."""
    moves = {key: _one(rng, MOVES[key]) for key in rng.choice(list(MOVES), rng.integers(0, 5), replace=False).tolist()}
    limits = {key: _one(rng, LIMITS[key])
              for key in rng.choice(list(LIMITS), rng.integers(0, 4), replace=False).tolist()}
    if rng.random() < 0.3:
        limits[str(rng.choice(["forced_in", "forced_out"]))] = (str(rng.choice(laterals)),)
    return Asked(dict(sorted(moves.items())), dict(sorted(limits.items())),
                 "society" if rng.random() < 0.25 else None)


def _one(rng: np.random.Generator, values: list) -> object:
    return values[int(rng.integers(len(values)))]


def results_of(study: Study, asked: Asked) -> ScenarioResults:
    """Results of a state, computed for itself alone."""
    under = with_limits(study, asked.limits)
    base = compute(under, "base", (), decide(under, asked.limits.get("applicable_only") is not False))
    moved = moved_study(under, asked.moves, base) if asked.moves else under
    if asked.perspective:
        moved = replace(moved, values={**moved.values, "perspective": asked.perspective})
    return compute(moved, "state", (), base.decision)
