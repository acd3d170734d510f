"""What a fault leaves in the records, by hand from the rules of model §3, for networks of one or two sections.

Each section has one fault a year at the assumed rates. Of temporary faults 0.7 clear in dead time 1, 0.2 in dead time
2 and 0.1 in dead time 3; a device that recloses has four operations.
"""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.protection_then import Spell
from reliability.history.recording import Entries, Recording, TimeSpans, recording
from reliability.history.units import units_of
from reliability.network.devices import RECLOSES
from tests.networks import study_of

BREAKER = {"section_id": "A", "parent_id": "", "device": "breaker"}
FUSE = {"section_id": "L", "parent_id": "A", "device": "fuse", "length_km": 1.0, "customers": 1}
FIRST = np.datetime64("2020-01-01", "s")
YEAR = np.timedelta64(int(365.25 * 86_400), "s")
VALUES = {"line_fault_rate_per_km": 1.0, "clearing_shares": (0.7, 0.2, 0.1), "fuse_failure": 0.0,
          "wrong_link_share": 0.0,
          "sectionalizer_failure": 0.0, "reclosing_off_share": 0.0, "operations_to_lockout": 4, "fast_operations": 0}
ALWAYS, NEVER = ((0.0, 2.0),), ()
Parts = tuple[tuple[float, float], ...]


def shows(*rows: dict, years: float = 1.0, monitored: Parts = ALWAYS, read: Parts = ALWAYS,
          **values: object) -> Recording:
    """Of a network with one reclosing device or more, whose logs and counters work from and to so many years after the
    first."""
    model = study_of(rows, **(VALUES | values)).model
    network = model.network
    devices = np.flatnonzero(RECLOSES[network.device])
    start = np.full(len(network), FIRST)

    def spans(parts: Parts) -> TimeSpans:
        rows = [(d, FIRST + (since * YEAR), FIRST + until * YEAR) for d in devices for since, until in parts]
        return TimeSpans(np.array([r[0] for r in rows], dtype=int), *(np.array([r[i] for r in rows], "datetime64[s]")
                                                                      for i in (1, 2)))

    return recording(units_of(model, ""), [Spell(model, start, start + years * YEAR)], spans(monitored), spans(read),
                     (FIRST, FIRST + years * YEAR))


def of(entries: Entries) -> list[tuple[int, int, float, float]]:
    """Rows of unit, place, temporary and permanent."""
    return [(int(u), int(p), pytest.approx(float(t)), pytest.approx(float(q))) for u, p, t, q in zip(
        entries.unit, entries.place, entries.temporary, entries.permanent, strict=True)]


def test_a_fuse_without_fast_tripping_shows_every_fault_and_nothing_opens_before_it():
    found = shows(BREAKER, FUSE)
    assert of(found.at_unit) == [(0, 0, 1.0, 1.0)]
    for entries in (found.at_device, found.alone, found.beside, found.steps, found.squares, found.steps_at_unit):
        assert of(entries) == []


def test_a_fuse_with_fast_tripping_shows_what_does_not_clear_in_its_dead_times():
    """Two fast operations: 0.7 and 0.2 clear after one and two openings, 0.1 and permanent faults melt the fuse on the
    first delayed one, after two openings."""
    found = shows(BREAKER, FUSE, fast_operations=2)
    assert of(found.at_unit) == [(0, 0, 0.1, 1.0)]
    assert of(found.alone) == [(0, 0, 0.9, 0.0)]
    assert of(found.beside) == [(0, 0, 0.1, 1.0)]
    assert of(found.steps) == [(0, 0, 0.7 + 2 * 0.2, 0.0)]
    assert of(found.squares) == [(0, 0, 0.7 + 4 * 0.2, 0.0)]
    assert of(found.steps_at_unit) == [(0, 0, 2 * 0.1, 2.0)]
    assert of(found.at_device) == []


def test_above_the_saving_ceiling_fuse_and_device_open_together():
    high = FUSE | {"fault_current_source_a": 5000.0, "fault_current_end_a": 5000.0, "saving_ceiling_a": 1000.0}
    found = shows(BREAKER, high, fast_operations=2)
    assert of(found.at_unit) == [(0, 0, 1.0, 1.0)]
    assert of(found.beside) == [(0, 0, 1.0, 1.0)]
    assert of(found.steps_at_unit) == [(0, 0, 1.0, 1.0)]
    assert of(found.alone) == []


def test_a_sectionalizer_rides_through_what_clears_before_its_count():
    """Two counts: it opens in dead time 2, whether or not the fault clears in it."""
    found = shows(BREAKER, FUSE | {"device": "sectionalizer", "counts": 2.0})
    assert of(found.at_unit) == [(0, 0, 0.3, 1.0)]
    assert of(found.alone) == [(0, 0, 0.7, 0.0)]
    assert of(found.steps) == [(0, 0, 0.7, 0.0)]
    assert of(found.steps_at_unit) == [(0, 0, 0.6, 2.0)]


def test_counters_may_be_read_over_more_time_than_the_records_cover():
    """A year of records, readings of the two years before and in it: records of one year, steps of three."""
    model = study_of((BREAKER, FUSE), **(VALUES | {"fast_operations": 2})).model
    device, start = np.array([0]), np.full(2, FIRST - 2 * YEAR)
    none = TimeSpans(device[:0], np.array([], "datetime64[s]"), np.array([], "datetime64[s]"))
    read = TimeSpans(device, start[:1], np.array([FIRST + YEAR]))
    found = recording(units_of(model, ""), [Spell(model, start, start + 3 * YEAR)], none, read, (FIRST, FIRST + YEAR))
    assert of(found.at_unit) == [(0, 0, 0.1, 1.0)]
    assert of(found.steps) == [(0, 0, 3 * (0.7 + 2 * 0.2), 0.0)]
    assert of(found.steps_at_unit) == [(0, 0, 3 * 2 * 0.1, 3 * 2.0)]


def test_the_main_rides_through_or_locks_out():
    found = shows(BREAKER | {"length_km": 1.0})
    assert of(found.at_device) == [(0, 0, 0.0, 1.0)]
    assert of(found.alone) == [(0, 0, 1.0, 0.0)]
    assert of(found.steps) == [(0, 0, 0.7 + 2 * 0.2 + 3 * 0.1, 0.0)]
    assert of(found.steps_at_device) == [(0, 0, 0.0, 4.0)]
    assert of(found.at_unit) == of(found.beside) == of(found.steps_at_unit) == []


def test_two_operations_lock_out_what_clears_later():
    found = shows(BREAKER | {"length_km": 1.0, "operations_to_lockout": 2.0})
    assert of(found.at_device) == [(0, 0, 0.3, 1.0)]
    assert of(found.alone) == [(0, 0, 0.7, 0.0)]
    assert of(found.steps_at_device) == [(0, 0, 0.6, 2.0)]


def test_a_lateral_recloser_answers_for_its_own_lateral():
    """Unit 0 is the lateral, device 1 its recloser: the breaker above sees nothing of its faults."""
    found = shows(BREAKER | {"length_km": 1.0}, FUSE | {"device": "lateral_recloser"})
    assert of(found.at_device) == [(0, 1, 0.0, 1.0), (1, 0, 0.0, 1.0)]
    assert of(found.alone) == [(0, 1, 1.0, 0.0), (1, 0, 1.0, 0.0)]
    assert of(found.at_unit) == []


@pytest.mark.parametrize(("trip", "at_unit", "locked"), [("delayed", 1.0, 0.0), ("fast", 0.6, 0.4)])
def test_with_reclosing_off_a_fast_operation_locks_out(trip, at_unit, locked):
    """0.4 of the faults: on a delayed operation the fuse melts, on a fast one the device opens and stays open."""
    found = shows(BREAKER, FUSE, reclosing_off_share=0.4, reclosing_off_trip=trip)
    assert of(found.at_unit) == [(0, 0, at_unit, at_unit)]
    assert of(found.at_device) == ([(0, 0, locked, locked)] if locked else [])
    assert of(found.steps_at_device) == ([(0, 0, locked, locked)] if locked else [])


def test_a_fuse_that_fails_leaves_the_fault_to_the_device():
    found = shows(BREAKER, FUSE, fuse_failure=0.25)
    assert of(found.at_unit) == [(0, 0, 0.75, 0.75)]
    assert of(found.at_device) == [(0, 0, 0.0, 0.25)]
    assert of(found.alone) == [(0, 0, 0.25, 0.0)]


def test_sustained_records_have_all_of_the_time_events_and_counters_their_own():
    found = shows(BREAKER, FUSE, fast_operations=2, years=2.0, monitored=((0.25, 0.75), (1.5, 1.75)),
                  read=((1.0, 3.0),))
    assert of(found.at_unit) == [(0, 0, 0.2, 2.0)]
    assert of(found.alone) == [(0, 0, 0.75 * 0.9, 0.0)]
    assert of(found.beside) == [(0, 0, 0.75 * 0.1, 0.75)]
    assert of(found.steps) == [(0, 0, 1.1, 0.0)]
    assert of(found.steps_at_unit) == [(0, 0, 0.2, 2.0)]


def test_a_device_that_is_not_monitored_shows_no_event_and_no_step():
    found = shows(BREAKER, FUSE, fast_operations=2, monitored=NEVER, read=NEVER)
    assert of(found.at_unit) == [(0, 0, 0.1, 1.0)]
    assert of(found.alone) == of(found.beside) == of(found.steps) == of(found.steps_at_unit) == []


def test_faults_of_one_unit_at_one_place_are_one_entry():
    """A lateral of two sections under two counts of the same network: what is expected adds up."""
    found = shows(BREAKER, FUSE, {"section_id": "M", "parent_id": "L", "device": "", "length_km": 2.0, "customers": 1})
    assert of(found.at_unit) == [(0, 0, 3.0, 3.0)]


class TestSpans:
    SPANS = TimeSpans(np.array([0, 0, 3]), *(np.array([FIRST + y * YEAR for y in years]) for years in (
        (0.0, 2.0, 1.0), (1.0, 4.0, 2.0))))

    def test_years_within(self):
        device = np.array([0, 0, 0, 3, 1, 0])
        start = np.array([FIRST + y * YEAR for y in (0.5, 0.0, 3.0, 0.0, 0.0, 1.0)])
        end = np.array([FIRST + y * YEAR for y in (3.0, 9.0, 2.0, 1.5, 9.0, 2.0)])
        np.testing.assert_allclose(self.SPANS.years_within(device, start, end), [1.5, 3.0, 0.0, 0.5, 0.0, 0.0],
                                   atol=1e-6)

    def test_no_spans(self):
        none = TimeSpans(np.array([], int), np.array([], "datetime64[s]"), np.array([], "datetime64[s]"))
        assert none.years_within(np.array([0]), np.array([FIRST]), np.array([FIRST + YEAR])).tolist() == [0.0]
