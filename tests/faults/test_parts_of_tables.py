"""Tables in parts by groups of trees, and rows of whole numbers told apart."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.faults import alike
from reliability.faults.consequences import Shares, consequences
from reliability.faults.outcomes import build_outcomes, outcomes_in_parts
from reliability.network.packed import distinct, packed
from reliability.study import Study
from tests.benchmarks.synthetic import SCENARIOS, synthetic_study, with_settings
from tests.networks import random_study, study_of

COLUMNS = ("section", "kinds", "width", "part", "off_from", "off_to")
BY_SCENARIO = ("off", "opened", "openings")


@pytest.mark.parametrize(("sections", "parts"), [(1, 6), (51, 3), (1000, 1)])
def test_parts_have_the_rows_of_the_whole_in_their_order(sections, parts):
    study = with_settings(synthetic_study(300))
    whole = build_outcomes(study.model, SCENARIOS)
    found = list(outcomes_in_parts(study.model, SCENARIOS, sections))
    assert len(found) == parts
    for one in found:
        low, high = one.section.min(), one.section.max()
        rows = np.flatnonzero((whole.section >= low) & (whole.section <= high))
        for name in COLUMNS:
            assert np.array_equal(getattr(one, name), getattr(whole, name)[rows]), name
        for name in BY_SCENARIO:
            assert np.array_equal(getattr(one, name), getattr(whole, name)[:, rows]), name
        assert np.array_equal(one.tally, whole.tally[rows])
    assert sum(map(len, found)) == len(whole)


@pytest.mark.parametrize("spread", [3, 10_000_000])
def test_rows_of_whole_numbers_are_told_apart_in_their_order(spread):
    rows = np.random.default_rng(spread).integers(0, [spread, 4, 2], (200, 3))
    wanted, at = np.unique(rows, axis=0, return_inverse=True)
    found, index = distinct(packed(list(rows.T)))
    assert len(found) == len(wanted)
    assert np.array_equal(index, at.ravel())
    assert np.array_equal(distinct(found)[0], found)


@pytest.mark.parametrize("at_once", [100_000, 20])
@pytest.mark.parametrize("seed", range(5))
def test_rows_that_end_alike_have_the_consequences_of_one_of_them(monkeypatch, seed, at_once):
    monkeypatch.setattr(alike, "ALIKE_ROWS_AT_ONCE", at_once)
    end_alike(random_study(np.random.default_rng(seed), 30, True))


def test_a_lockout_at_once_ends_as_one_with_reclosing_off_but_for_the_walk():
    """Without any reclosing both are one opening; only with reclosing off is the line walked before it is closed."""
    end_alike(study_of([{"section_id": "main", "device": "breaker", "length_km": 2.0, "customers": 50},
                        {"section_id": "tap", "parent_id": "main", "device": "fuse", "length_km": 1.0, "customers": 9}],
                       operations_to_lockout=1, fast_operations=0, reclosing_off_share=0.4))


def end_alike(study: Study) -> None:
    """Check that rows of a study's table that are found alike have the consequences of one of them."""
    table, seen, fewer = build_outcomes(study.model, study.scenarios), [], 0
    for rows, here in alike.rows_by_sections(table):
        assert set(table.section[rows]) <= set(range(here.start, here.stop))
        seen.append(rows)
        for s in range(len(study.scenarios)):
            one, like = alike.alike_rows(table, s, rows)
            fewer += len(rows) - len(one)
            found, wanted = (vars(consequences(table, s, study.values, at)) for at in (one, rows))
            for name, column in wanted.items():
                for part in vars(column) if isinstance(column, Shares) else [None]:
                    a, b = (vars(of[name])[part] if part else of[name] for of in (found, wanted))
                    assert np.array_equal(a[like], b, equal_nan=True), name
    assert fewer
    assert np.array_equal(np.sort(np.concatenate(seen)), np.arange(len(table)))
