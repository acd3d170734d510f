"""Before and after: counts and windows by hand, drawn effects, what decides and where there is no verdict."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.history.conversions import before_after
from reliability.history.outages import read_records
from tests.history.records import outage, study


def network(laterals: int, feeders: int = 1):
    """Laterals on feeders F, F1, F2 …, as many on each, those of a feeder beside each other."""
    sections = [{"section_id": f"F{f or ''}", "parent_id": "", "device": "breaker", "customers": 100,
                 "length_km": 10.0} for f in range(feeders)]
    return sections + [{"section_id": f"L{i}", "parent_id": f"F{i * feeders // laterals or ''}", "device": "fuse",
                        "customers": 20, "length_km": 2.0} for i in range(laterals)]


def drawn(seed: int, rates: np.ndarray, converted: np.ndarray, effect: float, trend: float = 1.0,
          day: str = "2021-01-01"):
    """Records of 2018 … 2023; from `day` on all rates × trend, converted ones × effect too."""
    rng = np.random.default_rng(seed)
    rows = []
    for i, rate in enumerate(rates):
        for second in rng.integers(0, 6 * 365 * 86400, rng.poisson(6 * rate * max(1.0, trend))):
            start = np.datetime64("2018-01-01T00:00:00") + second
            later = start >= np.datetime64(day)
            keep = (trend * (effect if converted[i] else 1.0) if later else 1.0) / max(1.0, trend)
            if rng.random() < keep:
                rows.append(outage(f"e{len(rows)}", str(start), str(start + 5000), 20, f"L{i}"))
    return rows


def compared(rows, laterals: int, converted: np.ndarray, expected: float = 0.3, day: str = "2021-01-01",
             feeders: int = 1, **history: str):
    extra = {"conversions": {f"L{i}": day for i in np.flatnonzero(converted)}}
    made = study(rows, network(laterals, feeders), extra=extra, records_from="2018-01-01", records_to="2023-12-31",
                 **history)
    return before_after(read_records(made), expected)


def test_an_effect_is_found_and_a_change_common_to_all_is_taken_out():
    converted = np.arange(100) < 50
    found = compared(drawn(1, np.full(100, 2.0), converted, 0.4, 1.5), 100, converted)
    row = found.measures.loc["sustained_interruptions"]
    assert row["rate_ratio"] == pytest.approx(0.4, abs=0.08)
    assert row["low"] < 0.4 < row["high"] < 0.6
    assert row["p_value"] < 1e-6
    assert row["others_after"] > 1.3 * row["others_before"]
    assert (found.converted, found.others) == (50, 50)


def test_a_conversion_that_the_sections_do_not_have_is_told():
    rows = drawn(3, np.full(4, 2.0), np.zeros(4, bool), 1.0)
    sections = [row | ({"device": "sectionalizer"} if row["section_id"] == "L0" else {}) for row in network(4)]
    made = study(rows, sections, extra={"conversions": {"L0": "2021-01-01", "L1": "2021-01-01"}})
    assert ("1 converted lateral has a fuse in the sections: whether a conversion was made there is to be looked at."
            in before_after(read_records(made), 0.3).notes)
    made = study(rows, sections, extra={"conversions": {"L0": "2021-01-01"}})
    assert not any("in the sections" in note for note in before_after(read_records(made), 0.3).notes)


def test_counts_by_hand():
    converted = np.array([True, False])
    rows = [outage("a", "2020-12-31T23:00", "2021-01-01T01:00", 5, "L0"),
            outage("b", "2021-01-01T02:00", "2021-01-01T03:00", 5, "L0"),
            outage("c", "2021-05-01T00:00", "2021-05-01T00:01", 5, "L0"),
            outage("d", "2022-05-01T00:00", "2022-05-01T01:00", 5, "L1"),
            outage("d", "2022-05-01T00:00", "2022-05-01T02:00", 5, "L1"),
            outage("e", "2022-06-01T00:00", "2022-06-01T02:00", 5, "L1", planned="true"),
            outage("f", "2022-07-01T00:00", "2022-07-01T02:00", 5, "F")]
    table = compared(rows, 2, converted).measures
    counts = ["converted_before", "converted_after", "others_before", "others_after"]
    assert table.loc["sustained_interruptions", counts].tolist() == [1, 1, 0, 1]
    assert table.loc["callouts", counts].tolist() == [1, 1, 0, 1]
    assert table.loc["momentary_events", counts].tolist() == [0, 1, 0, 0]


def test_days_between_the_first_and_last_conversion_are_left_out():
    rows = drawn(2, np.full(10, 2.0), np.zeros(10, bool), 1.0)
    made = study(rows, network(10), extra={"conversions": {"L0": "2020-01-01", "L1": "2021-01-01"}},
                 records_from="2018-01-01", records_to="2023-12-31")
    found = before_after(read_records(made), 0.3)
    assert found.years_left_out == pytest.approx(366 / 365.25)
    outside = [r for r in rows if not "2020-01-01" <= r["started"] < "2021-01-01"]
    counts = ["converted_before", "converted_after", "others_before", "others_after"]
    assert found.measures.loc["callouts", counts].sum() == len(outside)


def test_without_a_comparison_group_there_is_a_ratio_but_no_verdict_interval_or_p_value():
    converted = np.ones(50, bool)
    found = compared(drawn(1, np.full(50, 2.0), converted, 0.5), 50, converted)
    row = found.measures.loc["callouts"]
    assert row["rate_ratio"] == pytest.approx(0.5, abs=0.12)
    assert row["verdict"] is row["raw_verdict"] is row["predictive_verdict"] is None
    assert row[["low", "high", "p_value", "corrected_ratio", "corrected_p_value"]].isna().all()
    assert any("All laterals are converted" in n for n in found.notes)


def test_others_without_events_are_no_comparison_group():
    converted = np.arange(20) < 10
    found = compared(drawn(1, np.where(converted, 2.0, 0.0), converted, 0.3), 20, converted)
    row = found.measures.loc["sustained_interruptions"]
    assert row["verdict"] is None
    assert np.isnan(row["p_value"])
    assert any("No event is recorded on other laterals" in n for n in found.notes)


@pytest.mark.parametrize(("chosen_by", "decides", "of_momentary"), [
    ("records", "predictive", "both"), ("earlier_records", "raw", "raw"), ("other", "both", "both")])
def test_how_laterals_were_chosen_settles_what_decides(chosen_by, decides, of_momentary):
    """A fall from a bad time before to what the counts of others let expect: fewer by raw alone."""
    rng = np.random.default_rng(5)
    converted = np.arange(100) < 30
    rows = [outage(f"{year}-{i}-{k}-{end}", f"{year}-06-01T0{k}:00", f"{year}-06-01T0{k}:{end}", 20, f"L{i}")
            for i in range(100) for year in range(2018, 2024) for end in ("02", "40")
            for k in range(3 if converted[i] and year < 2021 else 2 if converted[i] else int(rng.random() < 0.8))]
    row = compared(rows, 100, converted, chosen_by=chosen_by).measures
    assert (row["raw_verdict"] == "fewer").all()
    sustained = row.loc["sustained_interruptions"]
    assert sustained["decides"] == decides
    assert sustained["verdict"] == {"raw": "fewer", "predictive": sustained["predictive_verdict"],
                                    "both": "no difference shown"}[decides]
    assert sustained["predictive_verdict"] != "fewer"
    assert row.loc["momentary_events", "decides"] == of_momentary


def test_days_that_served_the_choice_are_left_out_of_the_time_before():
    converted = np.arange(20) < 5
    rows = drawn(2, np.full(20, 2.0), converted, 1.0)
    found = compared(rows, 20, converted, chosen_by="earlier_records", chosen_from="2015-01-01",
                     chosen_to="2018-12-31")
    assert found.years_before == pytest.approx(2.0, abs=0.01)
    counts = found.measures.loc["callouts", ["converted_before", "others_before"]]
    assert counts.sum() == sum("2019" <= r["started"] < "2021" for r in rows)


def test_laterals_converted_before_or_after_the_records_belong_to_neither_group():
    rows = drawn(2, np.full(10, 2.0), np.zeros(10, bool), 1.0)
    made = study(rows, network(10), extra={"conversions": {"L0": "2021-01-01", "L1": "2015-01-01", "L2": "2030-01-01"}},
                 records_from="2018-01-01", records_to="2023-12-31")
    found = before_after(read_records(made), 0.3)
    assert (found.converted, found.others, found.years_before) == (1, 7, pytest.approx(3.0, abs=0.01))
    here = [r for r in rows if r["section_id"] not in ("L1", "L2")]
    counts = ["converted_before", "converted_after", "others_before", "others_after"]
    assert found.measures.loc["callouts", counts].sum() == len(here)
    assert any("neither group: 2" in n for n in found.notes)


def test_the_spread_of_lateral_years_widens_and_is_said():
    rng = np.random.default_rng(3)
    converted = np.arange(60) < 15

    def rows(own):
        return [outage(f"{year}-{i}-{k}", f"{year}-06-{1 + k // 20:02}T{k % 20:02}:00",
                       f"{year}-06-{1 + k // 20:02}T{k % 20:02}:30", 20, f"L{i}")
                for i in range(60) for year in range(2018, 2024) for k in range(rng.poisson(3 * own()))]

    alike, apart = (compared(rows(own), 60, converted) for own in (lambda: 1.0, lambda: rng.gamma(1.0, 1.0)))
    cv = [found.measures.loc["callouts", "lateral_year_cv"] for found in (alike, apart)]
    assert cv[0] < 0.4
    assert cv[1] == pytest.approx(1.0, abs=0.2)
    for low, high in (("low", "high"), ("corrected_low", "corrected_high")):
        narrow, wide = (np.log(f.measures.loc["callouts", high] / f.measures.loc["callouts", low])
                        for f in (alike, apart))
        assert wide > 1.3 * narrow
    assert any("differ beyond chance" in n and "callouts" not in n for n in apart.notes)


def test_years_of_feeders_of_their_own_widen_where_whole_feeders_are_converted_and_are_said():
    rng = np.random.default_rng(4)
    weather = rng.gamma(2.0, 0.5, (10, 6))      # by feeder and year
    rows = [outage(f"{year}-{i}-{k}", f"{year}-06-{1 + k // 20:02}T{k % 20:02}:00",
                   f"{year}-06-{1 + k // 20:02}T{k % 20:02}:30", 20, f"L{i}")
            for i in range(100) for year in range(2018, 2024)
            for k in range(rng.poisson(3 * weather[i // 10][year - 2018]))]
    whole, spread = np.arange(100) < 20, np.arange(100) % 5 == 0
    on_two, on_all = (compared(rows, 100, converted, feeders=10) for converted in (whole, spread))
    for found, apart in ((on_two, 0.6), (on_all, 0.0)):
        row = found.measures.loc["callouts"]
        assert row["feeder_year_cv"] == pytest.approx(0.5 ** 0.5, abs=0.25)
        assert row["feeders_apart"] == pytest.approx(apart, abs=0.05)
        assert any("Years of one feeder differ beyond chance" in note for note in found.notes)
    for low, high in (("low", "high"), ("corrected_low", "corrected_high")):
        wide, narrow = (np.log(f.measures.loc["callouts", high] / f.measures.loc["callouts", low])
                        for f in (on_two, on_all))
        assert wide > 1.5 * narrow
    assert on_two.measures.loc["callouts", "years_needed"] > on_all.measures.loc["callouts", "years_needed"]
    assert not any("no interval or verdict allows for that" in note for note in (*on_two.notes, *on_all.notes))


def test_where_the_others_are_on_one_feeder_alone_its_years_cannot_be_told():
    converted = np.arange(20) < 10
    rows = drawn(6, np.full(20, 2.0), converted, 0.5)
    assert any("no interval or verdict allows for that" in n for n in compared(rows, 20, converted, feeders=2).notes)
    assert not any("verdict allows for that" in n for n in compared(rows, 20, converted).notes)


def test_no_time_after_gives_no_ratio():
    converted = np.arange(10) < 5
    row = compared(drawn(1, np.full(10, 2.0), converted, 0.5), 10, converted, day="2024-06-01").measures.loc["callouts"]
    assert np.isnan(row["rate_ratio"])


def test_no_conversions_no_result():
    assert before_after(read_records(study([outage("a", "2023-05-01T10:00", "2023-05-01T11:00", 5)])), 0.3) is None


def test_years_needed_are_fewer_for_a_larger_effect_and_none_without():
    converted = np.arange(100) < 30
    rows = drawn(1, np.full(100, 1.0), converted, 1.0)
    years = [compared(rows, 100, converted, ratio).measures.loc["callouts", "years_needed"] for ratio in (0.4, 0.6)]
    assert 0 < years[0] < years[1]
    for ratio in (1.0, 0.0, 0.97):
        assert np.isnan(compared(rows, 100, converted, ratio).measures.loc["callouts", "years_needed"])
