"""Indices from records: the standard's example, steps, momentary events, single customers."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.history import read_history
from reliability.history.momentary import momentary_customers, window_starts
from reliability.history.observed import (
    OBSERVED_SUMS,
    cause_indices,
    daily_indices,
    feeder_indices,
    tally,
    yearly_indices,
)
from reliability.history.outages import read_records
from tests.history.records import TWO_FEEDERS, outage, study

CIRCUIT = ({"section_id": "C", "parent_id": "", "device": "breaker", "customers": 2000, "length_km": 10.0},)


def indices(rows, year: int = 2023, **kwargs) -> dict[str, float]:
    records = read_records(study(rows, **kwargs))
    return yearly_indices(tally(records), records).loc[year].to_dict()


def minutes(event: str, customers: int, duration: float, section: str = "C", day: str = "2023-03-01") -> dict:
    start = np.datetime64(f"{day}T08:00:00")
    end = start + np.timedelta64(round(duration * 60), "s")
    return outage(event, str(start), str(end), customers, section)


def test_published_example_of_the_standard():
    """IEEE Std 1366-2012, example of a circuit of 2000 customers, one year; recomputed from its stated inputs."""
    rows = [minutes(f"e{i}", c, m, day=f"2023-{i + 1:02d}-05") for i, (c, m) in enumerate(
        [(200, 8.17), (600, 71.3), (25, 30.3), (90, 267.2), (700, 120), (1500, 10), (100, 40)])]
    found = indices(rows, sections=CIRCUIT)
    assert round(found["saifi"], 2) == 1.61
    assert round(found["saidi_min"], 2) == 86.11
    assert round(found["caidi_min"], 2) == 53.57
    assert round(found["asai"], 6) == 0.999836
    assert found["maifi"] == found["maifi_e"] == 0


def test_published_momentary_example():
    """IEEE Std 1366-2012, a fault beyond a sectionalizer set to two counts; recomputed, figures from memory."""
    sections = ({"section_id": "R", "parent_id": "", "device": "recloser", "customers": 1750, "length_km": 10.0},
                {"section_id": "S", "parent_id": "R", "device": "sectionalizer", "customers": 250, "length_km": 1.0})
    rows = [outage("e", "2023-06-01T10:00:00", "2023-06-01T10:00:02", 750, "R"),
            outage("e", "2023-06-01T10:00:12", "2023-06-01T10:00:14", 750, "R"),
            outage("e", "2023-06-01T10:00:12", "2023-06-01T11:00:00", 250, "S")]
    found = indices(rows, sections=sections)
    assert (found["saifi"], found["maifi"], found["maifi_e"]) == (0.125, 0.75, 0.375)


def test_leap_year_has_8784_hours():
    assert indices([minutes("a", 2000, 8784, day="2024-03-01")], 2024, sections=CIRCUIT)["asai"] == pytest.approx(
        1 - 8784 / (8784 * 60))


def test_each_step_counts_its_own_customers_for_its_own_time():
    """By hand: 300 customers, of which 100 wait 10 min, 150 wait 60 min and 50 are back in 3 min."""
    rows = [minutes("a", 100, 10), minutes("a", 150, 60), minutes("a", 50, 3)]
    found = indices(rows, sections=CIRCUIT)
    assert found["saifi"] == 250 / 2000
    assert found["saidi_min"] == (100 * 10 + 150 * 60) / 2000
    assert found["caidi_min"] == pytest.approx(10_000 / 250)
    assert found["maifi_e"] == 50 / 2000


def test_customers_served_by_year_divide_that_year():
    rows = [minutes("a", 100, 60, day="2022-03-01"), minutes("b", 100, 60, day="2023-03-01")]
    records = read_records(study(rows, sections=CIRCUIT, extra={"customers_served": {"2022": 1000}}))
    table = yearly_indices(tally(records), records)
    assert table["saifi"].tolist() == [0.1, 0.05]


def test_a_year_without_interruptions_has_no_caidi():
    found = indices([minutes("a", 1, 60, day="2021-01-05"), minutes("b", 1, 60, day="2023-01-05")], 2022,
                    sections=CIRCUIT)
    assert found["saifi"] == found["saidi_min"] == 0
    assert np.isnan(found["caidi_min"])
    assert found["asai"] == 1


def random_records(seed: int, n: int = 400, **kwargs):
    rng = np.random.default_rng(seed)
    start = np.datetime64("2020-01-01T00:00:00") + np.sort(rng.integers(0, 4 * 365 * 86400, n))
    length = np.where(rng.random(n) < 0.4, rng.integers(0, 301, n), rng.integers(301, 40_000, n))
    rows = [outage(f"e{i - rng.integers(0, 2)}", str(s), str(s + d), int(rng.integers(0, 50)),
                   str(rng.choice(["A", "A1", "A1x", "A2", "B", "", "?"])), cause=str(rng.choice(["tree", "wind", ""])))
            for i, (s, d) in enumerate(zip(start, length.astype("timedelta64[s]"), strict=True))]
    return read_records(study(rows, **kwargs))


def test_parts_sum_to_the_whole():
    """Causes and days sum to the system; feeders do too where each has half of the customers, less unknown places."""
    records = random_records(3)
    sums = tally(records)
    years = yearly_indices(sums, records)
    causes = cause_indices(sums, records)
    days = daily_indices(sums, records)
    for name in ("saifi", "saidi_min", "maifi", "maifi_e"):
        np.testing.assert_allclose(causes.groupby("year")[name].sum(), years[name])
    np.testing.assert_allclose(days.groupby("year")["saidi_min"].sum(), years["saidi_min"])
    placed = sums[sums["feeder"] >= 0]
    feeders = feeder_indices(sums, records).groupby("year")["saifi"].mean()
    np.testing.assert_allclose(feeders, yearly_indices(placed, records)["saifi"])
    assert len(placed) < len(sums)


def slow_tally(records) -> np.ndarray:
    """OBSERVED_SUMS over all years, row by row."""
    total = dict.fromkeys(OBSERVED_SUMS, 0.0)
    for step in records.steps.itertuples():
        if step.counted and step.seconds > 300:
            total["interruptions"] += step.customers
            total["customer_minutes"] += step.customers * step.seconds / 60
        elif step.counted:
            total["momentary_interruptions"] += step.customers
    for _, place in records.steps[records.steps["counted"]].groupby("place"):
        short = place[~place["sustained"]].sort_values("started", kind="stable")
        windows: list[list] = []
        for step in short.itertuples():
            if windows and (step.started - windows[-1][0].started).total_seconds() <= 300:
                windows[-1].append(step)
            else:
                windows.append([step])
        for window in windows:
            by_start: dict = {}
            for step in window:
                by_start[step.started] = by_start.get(step.started, 0) + step.customers
            over = max(s.started.timestamp() + s.seconds for s in window)
            after = sum(s.customers for s in place[place["sustained"]].itertuples()
                        if s.started > window[0].started and s.started.timestamp() <= over + 300)
            total["momentary_events"] += max(max(by_start.values()) - after, 0)
    return np.array([total[name] for name in OBSERVED_SUMS])


@pytest.mark.parametrize("seed", range(5))
def test_sums_equal_a_row_by_row_count(seed):
    rng = np.random.default_rng(seed)
    seconds = np.sort(rng.integers(0, 20_000, 300))
    start = np.datetime64("2023-06-01T00:00:00") + seconds
    length = np.where(rng.random(300) < 0.8, rng.integers(0, 60, 300), rng.integers(290, 900, 300))
    rows = [outage(f"e{i}", str(s), str(s + d), int(rng.integers(0, 40)), str(rng.choice(["A", "A1", "", "?"])))
            for i, (s, d) in enumerate(zip(start, length.astype("timedelta64[s]"), strict=True))]
    records = read_records(study(rows))
    sums = tally(records)
    np.testing.assert_allclose(sums[list(OBSERVED_SUMS)].sum(), slow_tally(records))
    assert 0 < sums["momentary_events"].sum() < sums["momentary_interruptions"].sum()


class TestMomentaryEvents:
    def events(self, *rows: dict) -> float:
        return float(momentary_customers(read_records(study(rows))).sum())

    def blink(self, event: str, second: int, customers: int, section: str = "A", lasts: int = 2) -> dict:
        start = np.datetime64("2023-06-01T10:00:00") + second
        return outage(event, str(start), str(start + lasts), customers, section)

    def test_within_five_minutes_of_the_first_is_one_event(self):
        assert self.events(self.blink("a", 0, 100), self.blink("b", 300, 100)) == 100
        assert self.events(self.blink("a", 0, 100), self.blink("b", 301, 100)) == 200

    def test_a_window_runs_from_its_first_interruption(self):
        assert self.events(*(self.blink(str(s), s, 100) for s in (0, 200, 400, 600))) == 200

    def test_other_places_are_other_events(self):
        assert self.events(self.blink("a", 0, 100), self.blink("a", 10, 100, "B")) == 200

    def test_steps_that_start_together_are_other_customers(self):
        assert self.events(self.blink("a", 0, 100), self.blink("a", 0, 60, lasts=30)) == 160

    def test_what_precedes_a_sustained_interruption_is_no_event_for_those_who_suffer_it(self):
        lockout = self.blink("b", 60, 100, lasts=3600)
        assert self.events(self.blink("a", 0, 100), lockout) == 0
        assert self.events(self.blink("a", 0, 160), lockout) == 60
        late = self.blink("b", 303, 100, lasts=3600)   # the blink is over at second 2
        assert self.events(self.blink("a", 0, 100), late) == 100
        assert self.events(self.blink("a", 0, 100, "B"), lockout) == 100

    def test_nor_is_it_where_the_sustained_record_stands_at_another_place(self):
        """By hand: feeder A blinks, all 1000 of it; 40 s later the fuse of A1 is found open with its 250."""
        fuse = self.blink("b", 40, 250, "A1", lasts=3600)
        assert self.events(self.blink("a", 0, 1000), fuse) == 750
        assert self.events(self.blink("a", 0, 1000), fuse, self.blink("c", 302, 150, "A2", lasts=3600)) == 600
        assert self.events(self.blink("a", 0, 1000), self.blink("b", 303, 250, "A1", lasts=3600)) == 1000
        assert self.events(self.blink("a", 0, 1000), self.blink("b", 40, 250, "B", lasts=3600)) == 1000

    def test_only_customers_that_must_be_in_both_records_are_taken_out(self):
        """750 blinked and 250 stayed out: together the 1000 that are there, so the blink may leave those out."""
        fuse = self.blink("b", 0, 250, "A1", lasts=3600)
        assert self.events(self.blink("a", 0, 750), fuse) == 750
        assert self.events(self.blink("a", 0, 800), fuse) == 750

    def test_a_lockout_further_up_takes_all_of_them_out(self):
        lockout = self.blink("b", 40, 1000, "A", lasts=3600)
        assert self.events(self.blink("a", 0, 250, "A1"), lockout) == 0
        assert self.events(self.blink("a", 0, 250, "A1"), self.blink("b", 40, 900, "A", lasts=3600)) == 100

    def test_a_blink_recorded_where_the_fault_was_is_its_devices(self):
        """1000 customers named at A1, which has 250: feeder A opened."""
        assert self.events(self.blink("a", 0, 1000, "A1"), self.blink("b", 40, 150, "A2", lasts=3600)) == 850

    def test_momentary_interruptions_count_whatever_follows(self):
        records = read_records(study([self.blink("a", 0, 100), self.blink("b", 60, 100, lasts=3600)]))
        assert tally(records)["momentary_interruptions"].sum() == 100


def test_windows_of_nothing():
    assert window_starts(np.array([], dtype=int), np.array([], dtype=int)).size == 0


class TestExperience:
    def shares(self, *rows: dict, year: int = 2023):
        return read_history(study(rows)).every_event.customers.loc[(year, "")]

    def hours(self, event: str, section: str, customers: int, hours: float = 1.0) -> dict:
        return minutes(event, customers, 60 * hours, section, f"2023-{len(event):02d}-02")

    def test_whole_subtrees_are_counted_exactly(self):
        """By hand: of 2000 customers, A (1000) once, A1 (250) twice, A1x (50) three times."""
        found = self.shares(self.hours("e", "A", 1000), self.hours("ee", "A1", 250), self.hours("eee", "A1x", 50))
        assert found[["cemi_1", "cemi_2", "cemi_3", "cemi_4"]].tolist() == [0.5, 0.125, 0.025, 0]

    def test_a_share_of_customers_is_a_chance(self):
        """By hand: two events of half of A2's 150 customers each: 3/4 suffer one or more, 1/4 both."""
        found = self.shares(self.hours("e", "A2", 75), self.hours("ee", "A2", 75))
        assert found["cemi_1"] == pytest.approx(0.75 * 150 / 2000)
        assert found["cemi_2"] == pytest.approx(0.25 * 150 / 2000)

    def test_more_customers_than_below_are_taken_further_up(self):
        assert self.shares(self.hours("e", "A1x", 250))["cemi_1"] == pytest.approx(250 / 2000)

    def test_counts_add_to_the_interruptions_of_known_place(self):
        """Theory: with fewer than six interruptions a customer, the shares of n or more sum to SAIFI."""
        rows = [self.hours("e" * i, s, c) for i, (s, c) in enumerate(
            [("A", 700), ("A1", 100), ("A1x", 20), ("B", 400), ("A2", 10)], start=1)]
        history = read_history(study(rows))
        cemi = history.every_event.customers.loc[(2023, ""), [f"cemi_{n}" for n in range(1, 7)]]
        assert cemi.sum() == pytest.approx(history.every_event.years.loc[2023, "saifi"])
        by_feeder = history.every_event.customers.loc[(2023, "A"), [f"cemi_{n}" for n in range(1, 7)]]
        assert by_feeder.sum() == pytest.approx(history.every_event.feeders.loc[(2023, "A"), "saifi"])

    @pytest.mark.parametrize("served", [100, 1000, 8000])
    def test_shares_are_of_the_customers_served_in_the_year(self, served):
        """Everybody is out once and a tenth twice, however many were served then."""
        rows = [outage("a", "2022-05-01T10:00", "2022-05-01T16:00", served, "A"),
                outage("b", "2022-06-01T10:00", "2022-06-01T16:00", served // 5, "A1"),
                outage("c", "2023-06-01T10:00", "2023-06-01T16:00", 200, "A1")]
        made = study(rows, sections=TWO_FEEDERS[:2], extra={"customers_served": {"2022": served}})
        found = read_history(made).every_event.customers.loc[(2022, "")]
        assert found["cemi_1"] == pytest.approx(1.0)
        assert found["cemi_2"] == pytest.approx(served // 5 / served, rel=1e-9)

    def test_long_interruptions(self):
        found = self.shares(self.hours("e", "A1", 250, 4), self.hours("ee", "A2", 150, 3.99))
        assert found["celid_4"] == pytest.approx(250 / 2000)
        assert found["celid_8"] == 0

    def test_seven_interruptions_are_six_or_more(self):
        found = self.shares(*(self.hours("e" * i, "B", 1000) for i in range(1, 8)))
        assert found["cemi_6"] == 0.5


def test_worst_laterals_come_first():
    rows = [minutes("a", 10, 60, "A2"), minutes("b", 10, 60, "A1x", "2023-04-01"),
            minutes("c", 10, 60, "A1", "2023-05-01"), minutes("d", 10, 2, "A2", "2023-06-01"),
            minutes("e", 10, 60, "B", "2023-06-01")]
    table = read_history(study(rows)).worst_laterals
    assert table.index.tolist() == ["A1", "A2"]
    assert table["events"].tolist() == [2, 1]
    assert table["customer_minutes"].tolist() == [1200, 600]


def test_planned_work_makes_no_offender():
    rows = [outage("a", "2023-03-01T10:00", "2023-03-01T12:00", 20, planned="true"),
            outage("b", "2023-04-01T10:00", "2023-04-01T12:00", 20, "A2")]
    assert read_history(study(rows)).worst_laterals.index.tolist() == ["A2"]
