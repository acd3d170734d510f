"""One outage under two ids, inside or around another, and steps of one event: found, listed, counted once."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.findings import messages
from reliability.history.observed import tally
from reliability.history.outages import Records, read_records
from reliability.history.recorded_faults import recorded_faults
from tests.history.records import TWO_FEEDERS, outage, study

DAY = "2023-06-01T"


def at(event: str, begin: str, end: str, customers: int, section: str = "A1", **cells) -> dict:
    return outage(event, f"{DAY}{begin}", f"{DAY}{end}", customers, section, **cells)


def sums(*rows: dict, **values) -> tuple[float, float]:
    """Customer interruptions and customer-minutes."""
    total = tally(read_records(study(list(rows), **values)))
    return total["interruptions"].sum(), total["customer_minutes"].sum()


def codes(records: Records) -> dict[str, list[int]]:
    return {f.code: f.rows.tolist() for f in records.findings}


LATERAL = at("one", "10:00", "12:00", 250)


@pytest.mark.parametrize("again", [
    at("two", "10:00", "12:00", 250),
    at("two", "10:30", "11:30", 250),       # more customers than there are
    at("two", "10:00", "12:00", 250, cause="other"),
])
def test_an_outage_under_two_ids_counts_once(again):
    assert sums(LATERAL, again) == (250, 250 * 120)
    records = read_records(study([LATERAL, again]))
    assert codes(records) == {"repeated_event": [3]}
    assert len(recorded_faults(records)) == 1
    (line,) = messages(records.findings, "outages.csv")
    assert "two (row 3) as one (row 2)" in line


@pytest.mark.parametrize(("first", "second", "twice"), [
    (at("a", "10:00", "12:00", 40), at("b", "10:05", "15:00", 40), True),        # begin within five minutes
    (at("a", "10:00", "12:00", 40), at("b", "11:00", "12:05", 40), True),        # end within five minutes
    (at("a", "10:00", "12:00", 40), at("b", "10:06", "12:06", 40), False),       # may be other customers
    (at("a", "10:00", "12:00", 40), at("b", "10:00", "12:00", 41), False),
    (at("a", "10:00", "12:00", 250), at("b", "12:00", "13:00", 250), False),     # one after the other
    (at("a", "10:00", "12:00", 150), at("b", "10:00", "12:00", 150, "A2"), False),
    (at("a", "10:00", "12:00", 40), at("b", "10:00", "12:00", 40, planned="true"), False),
    (at("a", "10:00:00", "10:05:00", 40), at("b", "10:00:00", "10:05:01", 40), False),
    (at("a", "10:00:00", "10:00:30", 40), at("b", "10:00:00", "10:00:30", 40), True),
    (at("a", "10:00", "12:00", 40), at("a", "10:00", "12:00", 40, cause="x"), False),   # steps of one outage
])
def test_what_is_one_outage_under_two_ids(first, second, twice):
    assert ("repeated_event" in codes(read_records(study([first, second])))) == twice


def test_three_ids_of_one_outage_count_once_and_steps_go_with_their_event():
    steps = [at(event, "10:00", end, n) for event in ("one", "two", "three")
             for end, n in (("11:00", 200), ("12:00", 50))]
    assert sums(*steps) == (250, 200 * 60 + 50 * 120)
    assert codes(read_records(study(steps)))["repeated_event"] == [4, 5, 6, 7]


def test_a_short_record_between_hides_no_later_one():
    rows = [at("a", "10:00", "15:00", 40), at("b", "10:10", "11:00", 40), at("c", "14:00", "15:01", 40)]
    assert codes(read_records(study(rows))) == {"repeated_event": [4]}


@pytest.mark.parametrize(("rows", "minutes"), [
    ([LATERAL, at("two", "11:30", "14:00", 250)], 240),
    ([LATERAL, at("two", "11:54", "12:01", 250)], 120),      # ends near: left out
    ([at("a", "10:00", "11:00", 250), at("b", "10:30", "12:00", 250), at("c", "11:30", "13:00", 250)], 180),
    ([at("a", "10:00", "11:00", 250), at("b", "10:30", "12:00", 200), at("b", "10:30", "13:00", 50)], 60 + 12 + 60),
])
def test_what_lasts_longer_at_one_place_goes_on_where_the_earlier_ends(rows, minutes):
    """By hand: whoever is off cannot be interrupted again, and is off until the last of the records ends."""
    assert sums(*rows) == pytest.approx((250, 250 * minutes))
    assert len(recorded_faults(read_records(study(rows)))) == 1
    assert sums(*rows, count_duplicates_once=False)[0] == sum(row["customers"] for row in rows)
    counted = "repeated_event_counted" if minutes == 120 else "goes_on_counted"
    assert counted in codes(read_records(study(rows, count_duplicates_once=False)))


def test_steps_of_one_event_that_follow_each_other_are_no_more_customers_than_there_are():
    """By hand: feeder A's 1000 are off for an hour, then 600 of them again for half of one."""
    steps = [at("x", "10:00", "11:00", 1000, "A"),
             at("x", "11:30", "12:00", 600, "A"),
             at("x", "12:00", "12:30", 900, "A")]
    records = read_records(study(steps))
    assert records.findings == ()
    assert records.steps["customers"].tolist() == [1000, 600, 900]
    over = read_records(study([*steps, at("x", "10:59", "11:20", 1000, "A")]))
    assert over.steps["customers"].tolist() == [500, 300, 450, 500]      # two at a time: all are reduced in proportion
    assert [f.code for f in over.findings] == ["overlapping_steps"]


FEEDER = at("feeder", "10:00", "12:00", 1000, "A")


def test_an_outage_inside_that_of_the_feeder_adds_only_what_lasts_longer():
    """By hand: A1's 250 are off with the feeder until noon; the record of A1 ends at 11:00, or at 13:00."""
    assert sums(FEEDER, at("in", "10:30", "11:00", 250)) == (1000, 1000 * 120)
    assert sums(FEEDER, at("in", "10:30", "13:00", 250)) == (1000, 1000 * 120 + 250 * 60)
    records = read_records(study([FEEDER, at("in", "10:30", "13:00", 250)]))
    assert codes(records) == {"inside_another": [3]}
    assert "in (row 3) inside feeder (row 2)" in messages(records.findings, "outages.csv")[0]
    assert sorted(recorded_faults(records)["section"]) == [0, 1]


@pytest.mark.parametrize(("inner", "feeder", "total"), [
    (("10:00", "12:00", 250), ("11:00", "13:00", 1000), (1000, 250 * 120 + 1000 * 120 - 250 * 60)),
    (("10:00", "15:00", 250), ("11:00", "13:00", 1000), (1000, 250 * 300 + 750 * 120)),     # the feeder is back first
    (("10:00", "12:00", 250), ("11:00", "13:00", 750), (1000, 250 * 120 + 750 * 120)),      # without those who are off
    (("10:00", "12:00", 250), ("11:00", "13:00", 900), (1000, 250 * 120 + 900 * 120 - 150 * 60)),
    (("10:00", "12:00", 250), ("12:00", "13:00", 1000), (1250, 250 * 120 + 1000 * 60)),     # one after the other
])
def test_an_outage_of_the_feeder_adds_nobody_who_is_off_already(inner, feeder, total):
    """By hand: of the feeder's 1000 the 250 of A1 are off when it opens."""
    rows = [at("in", *inner), at("feeder", *feeder, "A")]
    assert sums(*rows) == pytest.approx(total)
    assert sums(*rows, count_duplicates_once=False)[0] == inner[2] + feeder[2]


def test_outages_of_two_laterals_before_that_of_the_feeder():
    """By hand: 250 off until 12:00 and 150 until 14:00 when the feeder's 1000 open from 11:00 to 13:00."""
    rows = [at("in", "10:00", "12:00", 250), at("other", "10:30", "14:00", 150, "A2"),
            at("feeder", "11:00", "13:00", 1000, "A")]
    assert sums(*rows) == pytest.approx((1000, 250 * 120 + 150 * 210 + 1000 * 120 - 250 * 60 - 150 * 120))
    assert codes(read_records(study(rows)))["around_another"] == [4]


def test_what_begins_when_the_feeder_is_back_counts_in_full():
    assert sums(FEEDER, at("in", "12:00", "13:00", 250)) == (1250, 1000 * 120 + 250 * 60)


def test_what_was_restored_first_may_fail_again():
    """By hand: 700 are back at 10:30 and 300 at noon. At 10:45 the 250 of A1 may be of the 700; at 10:15 not."""
    feeder = [at("feeder", "10:00", "10:30", 700, "A"), at("feeder", "10:00", "12:00", 300, "A")]
    base = 700 * 30 + 300 * 120
    assert sums(*feeder, at("in", "10:45", "13:00", 250)) == (1250, base + 250 * 135)
    assert sums(*feeder, at("in", "10:15", "13:00", 250)) == (1000, base + 250 * 60)


def test_only_customers_that_must_be_in_both_are_taken_out():
    """By hand: 800 of the 1000 and 250: 50 must be in both."""
    assert sums(at("feeder", "10:00", "12:00", 800, "A"), at("in", "10:30", "11:00", 250)) == (
        1000, 800 * 120 + 200 * 30)
    assert sums(at("feeder", "10:00", "12:00", 750, "A"), at("in", "10:30", "11:00", 250)) == (
        1000, 750 * 120 + 250 * 30)


def test_other_feeders_and_other_branches_are_not_inside():
    assert codes(read_records(study([FEEDER, at("b", "10:30", "11:00", 900, "B")]))) == {}
    assert codes(read_records(study([at("a", "10:00", "12:00", 250), at("b", "10:30", "11:00", 150, "A2")]))) == {}


def test_a_feeder_outage_named_at_the_fault_is_the_feeders():
    assert sums(at("feeder", "10:00", "12:00", 1000, "A2"), at("in", "10:30", "11:00", 250)) == (1000, 1000 * 120)


def test_customers_served_then_decide_and_not_those_of_today():
    rows = [at("feeder", "10:00", "12:00", 600, "A"), at("in", "10:30", "11:00", 250)]
    assert sums(*rows)[0] == 850
    assert sums(*rows, extra={"customers_served": {"2023": 1200}})[0] == 600     # feeder A had 600 then


def test_both_can_be_counted_as_recorded():
    rows = [LATERAL, at("two", "10:00", "12:00", 250), at("feeder", "09:00", "13:00", 1000, "A")]
    assert sums(*rows, count_duplicates_once=False) == (1500, 500 * 120 + 1000 * 240)
    assert sums(*rows) == (1000, 1000 * 240)
    found = codes(read_records(study(rows, count_duplicates_once=False)))
    assert found == {"repeated_event_counted": [3], "inside_another_counted": [2]}


def test_random_records_agree_with_a_pair_by_pair_search():
    """Customers off already, found pair by pair from the text of the rule."""
    rng = np.random.default_rng(5)
    below = {"A": 1000, "A1": 250, "A1x": 50, "A2": 150, "B": 1000}
    up = {"A1": "A", "A1x": "A1", "A2": "A"}
    rows = []
    for i in range(300):
        section = str(rng.choice(list(below)))
        begin = np.datetime64("2023-06-01T00:00:00") + int(rng.integers(0, 40 * 86_400))
        rows.append(outage(f"e{i}", str(begin), str(begin + int(rng.integers(301, 30_000))),
                           int(rng.integers(below[section] * 0.6, below[section] + 1)), section))
    records = read_records(study(rows, TWO_FEEDERS))
    steps = list(records.steps.itertuples())

    def reached(section: str, customers: int) -> str:
        while below[section] < customers and section in up:
            section = up[section]
        return section

    def above(section: str) -> list[str]:
        return [up[section], *above(up[section])] if section in up else []

    tops = [reached(str(records.network.ids[s.section]), s.customers) for s in steps]
    inside = around = 0
    within = {}
    for s, top in zip(steps, tops, strict=True):
        still = [(o, t) for o, t in zip(steps, tops, strict=True) if t in above(top)
                 and o.started <= s.started < o.started + np.timedelta64(int(o.seconds), "s")]
        shared = max([0, *(s.customers + o.customers - below[t] for o, t in still)])
        inside += shared > 0
        within[s.Index] = min(shared, s.customers)
    for s, top in zip(steps, tops, strict=True):
        off = sum(o.customers - within[o.Index] for o, t in zip(steps, tops, strict=True) if top in above(t)
                  and o.started < s.started < o.started + np.timedelta64(int(o.seconds), "s"))
        shared = within[s.Index] or min(max(0, s.customers + off - below[top]), off, s.customers)
        around += shared > within[s.Index]
        assert s.already_off == pytest.approx(shared)
    assert inside > 5
    assert around > 5
