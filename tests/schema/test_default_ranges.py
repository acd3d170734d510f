"""Default ranges: which assumptions have one, and where it lies."""

from __future__ import annotations

import pytest

from reliability.indices.simulation import STRUCTURAL
from reliability.schema.assumption_types import OURS, bounds_of
from reliability.schema.assumptions import ASSUMPTIONS, BY_KEY, defaults
from reliability.schema.default_ranges import DEFAULT_RANGES, default_range

DISPERSION = ("yearly_cv", "cv")
SETTLED_TABLES = ("application", "finance", "choice", "simulation", "history", "records", "report", "inspection")


def test_only_numbers_that_are_no_rule_no_decision_and_no_dispersion_have_one():
    for key in DEFAULT_RANGES:
        assert BY_KEY[key].kind == "number", key
        assert BY_KEY[key].table not in SETTLED_TABLES, key
        assert key not in (*STRUCTURAL, *DISPERSION), key


def test_each_says_why_and_after_which_source():
    for key, known in DEFAULT_RANGES.items():
        assert 0.0 < known.spread < 1.0, key
        assert known.reason.endswith("."), key
        assert known.source in (OURS, "common practice, no source") or "from memory" in known.source, key


@pytest.mark.parametrize("key", sorted(DEFAULT_RANGES))
def test_it_lies_evenly_around_the_value_within_the_bounds_and_has_it_as_its_mean(key):
    low, high = bounds_of(BY_KEY[key])
    for part in (0.001, 0.2, 0.5, 0.9, 0.999):
        value = low + part * (min(high, low + 10.0) - low)
        known = default_range(key, value)
        assert low < known.low < value < known.high < high
        assert known.likely == value
        assert known.mean == pytest.approx(value, rel=1e-12)
        assert value - known.low == pytest.approx(known.high - value)


def test_a_share_is_known_better_towards_its_ends_and_at_them_exactly():
    widths = [known.high - known.low for known in (default_range("temporary_fraction", x) for x in (0.5, 0.75, 0.99))]
    assert widths == pytest.approx([0.4, 0.2, 0.008])
    assert default_range("temporary_fraction", 1.0) is None
    assert default_range("reclosing_off_share", 0.0) is None


def test_whole_numbers_blanks_words_and_what_has_no_range_stay_fixed():
    assert default_range("patrol_reclosing_off_hours", None) is None
    for a in ASSUMPTIONS:
        if a.key not in DEFAULT_RANGES:
            assert default_range(a.key, defaults()[a.key]) is None
