"""Data gaps: what is left open, by how far it moves the proposal; and what would have to differ for one."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from reliability.business import forms
from reliability.data_gaps import IMPORT, IN_ASSUMPTIONS, data_gaps, needed_for_a_proposal, stated
from reliability.study import Study, open_study, write_template
from reliability.tasks import HERE, Workers
from reliability.what_if import ScenarioResults, compute, moved_study


@pytest.fixture
def study(tmp_path: Path) -> Study:
    folder = tmp_path / "study"
    write_template(folder)
    return open_study(folder).with_assumptions(sectionalizer_cost=900.0, objective="npv")


def npv_at(now: ScenarioResults, key: str, value: float) -> float:
    moved = compute(moved_study(now.results.study, {key: value}, now), key, [now])
    return float(moved.money[moved.names.index("Proposed")]["npv"])


def test_a_gap_is_as_large_as_the_proposal_moves_over_it(study):
    now = compute(study.with_assumptions(crew_rate_per_hour=(100.0, 150.0, 220.0)), "")
    gaps = {g.key: g for g in data_gaps(now, 40)}
    crew = gaps["crew_rate_per_hour"]
    assert (crew.low, crew.high) == (pytest.approx(npv_at(now, "crew_rate_per_hour", 100.0)),
                                     pytest.approx(npv_at(now, "crew_rate_per_hour", 220.0)))
    assert crew.place == IN_ASSUMPTIONS
    assert [g.swing for g in gaps.values()] == sorted((g.swing for g in gaps.values()), reverse=True)
    assert len(data_gaps(now)) == 3


def test_what_is_stated_as_certain_is_no_gap(study):
    now = compute(study.with_assumptions(crew_rate_per_hour=(160.0, 160.0, 160.0), discount_rate=0.08), "")
    assert stated(now.results.study, "crew_rate_per_hour")
    keys = {g.key for g in data_gaps(now, 40)}
    assert not keys & {"crew_rate_per_hour", "discount_rate"}
    without = compute(study.with_assumptions(crew_rate_per_hour=None, discount_rate=None), "")
    assert {"crew_rate_per_hour", "discount_rate"} <= {g.key for g in data_gaps(without, 40)}


def test_a_value_without_a_range_is_a_gap_over_its_default_one(study):
    study = study.with_assumptions(crew_rate_per_hour=160.0)
    crew = {g.key: g for g in data_gaps(compute(study, ""), 40)}["crew_rate_per_hour"]
    assert crew.open == "stated as 160 USD per h, without a range; 136 to 184 USD per h is taken by default"
    assert crew.filled_by == "State its range"
    known = study.uncertain["crew_rate_per_hour"]
    now = compute(study, "")
    assert (crew.low, crew.high) == (pytest.approx(npv_at(now, "crew_rate_per_hour", known.low)),
                                     pytest.approx(npv_at(now, "crew_rate_per_hour", known.high)))
    off = compute(study.with_assumptions(default_ranges=False), "")
    assert "crew_rate_per_hour" not in {g.key for g in data_gaps(off, 40)}


def test_without_records_the_fault_rate_is_to_be_brought_by_them(study):
    now = compute(study.with_assumptions(line_fault_rate_per_km=(0.1, 0.2, 0.4)), "")
    gaps = {g.key: g for g in data_gaps(now, 40)}
    assert gaps["line_fault_rate_per_km"].place == IMPORT


def test_without_a_proposal_it_is_said_what_would_have_to_be_different(study):
    now = compute(study.with_assumptions(sectionalizer_cost=9_000.0, lateral_recloser_cost=90_000.0), "")
    assert now.decision.scenario is None
    assert data_gaps(now) == []
    name, npv, needed = needed_for_a_proposal(now)
    assert name in set(now.results.network.names)
    assert npv < 0.0
    assert len(needed) == 3
    for one in needed:
        beyond = one.turn * (1.02 if one.turn > one.value else 0.98)
        again = compute(study.with_assumptions(**{"sectionalizer_cost": 9_000.0, "lateral_recloser_cost": 90_000.0,
                                                  one.key: beyond}), "")
        assert again.decision.scenario is not None, one
    assert np.all(np.diff([abs(np.log(n.turn / n.value)) for n in needed]) >= 0.0)


def test_what_would_have_to_be_different_is_found_on_sums_that_are_made_once_by_all_workers(study, monkeypatch):
    now, made = compute(study.with_assumptions(sectionalizer_cost=9000.0), ""), []
    whole = forms.closed_form

    def counted(*parts, workers, **options):
        made.append(workers)
        return whole(*parts, workers=workers, **options)

    monkeypatch.setattr(forms, "closed_form", counted)
    alone = needed_for_a_proposal(now)
    with ThreadPoolExecutor(2) as pool:
        threads = Workers(pool, 2)
        assert needed_for_a_proposal(now, workers=threads) == alone
    assert made == [HERE, threads]
