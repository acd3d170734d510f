"""What of one state of a study serves another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.pipeline import options_of
from reliability.what_if import options_at
from tests.business.cases import GAINFUL, feeders_of_laterals


def _moved(study, **values):
    return replace(study, values=study.values | values)


@pytest.mark.parametrize("moves", [
    {"temporary_fraction": 0.5, "crew_rate_per_hour": 90.0, "repair_hours": 6.0}, {"reclosing_off_share": 0.4},
    {"wrong_link_share": 0.3}, {"fuse_failure": 0.0}, {"line_fault_rate_per_km": 0.9, "discount_rate": 0.01},
    {"sectionalizer_cost": 10.0, "horizon_years": 7}, {"momentary_cost_factor": 0.2, "cv": 0.1}], ids=str)
@pytest.mark.parametrize("perspective", ["utility", "society"])
def test_options_are_used_again_where_only_rates_times_and_prices_differ(moves, perspective):
    before = feeders_of_laterals(8, 3, perspective=perspective, **GAINFUL)
    now = _moved(before, **moves)
    found, wanted = options_at(options_of(before), before, now), options_of(now)
    assert found is not None
    assert list(found.rows.columns) == list(wanted.rows.columns)
    for name in wanted.rows:
        if wanted.rows[name].dtype.kind == "f":
            assert found.rows[name].to_numpy() == pytest.approx(wanted.rows[name].to_numpy(), rel=1e-9, abs=1e-6,
                                                                nan_ok=True)
        else:
            assert (found.rows[name] == wanted.rows[name]).all()


@pytest.mark.parametrize("moves", [{"perspective": "society"}, {"fast_clearing_time_s": 0.2}, {"load_margin": 2.0},
                                   {"fast_operations": 1}], ids=str)
def test_what_changes_protection_or_what_is_summed_needs_options_of_its_own(moves):
    before = feeders_of_laterals(4, 3)
    assert options_at(options_of(before), before, _moved(before, **moves)) is None


def test_other_rates_of_sections_need_options_of_their_own():
    before = feeders_of_laterals(4, 3)
    now = before.with_section_values({"equipment_fault_rate": np.ones(len(before.network))})
    assert options_at(options_of(before), before, now) is None
