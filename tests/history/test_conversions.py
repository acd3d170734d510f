"""Before and after: exact tests against other programs' answers, drawn effects, regression to the mean."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reliability.history.conversions import before_after, conditional_ratio, years_needed
from reliability.history.outages import read_records
from tests.history.records import outage, study


class TestConditionalRatio:
    def test_interval_is_that_of_fishers_exact_test(self):
        """Against scipy.stats.contingency.odds_ratio, conditional interval."""
        distribution = conditional_ratio(20, 7, (50, 60))
        expected = stats.contingency.odds_ratio([[7, 20], [60, 50]], kind="conditional").confidence_interval(0.90)
        assert distribution.interval() == pytest.approx((expected.low, expected.high), rel=1e-6)

    def test_tails_are_those_of_the_hypergeometric_distribution(self):
        distribution = conditional_ratio(20, 7, (50, 60))
        assert distribution.tails(0.0)[0] == pytest.approx(stats.hypergeom(137, 27, 67).cdf(7))
        assert distribution.tails(np.log(0.4))[1] == pytest.approx(stats.nchypergeom_fisher(137, 27, 67, 0.4).sf(6))

    def test_without_others_the_interval_is_clopper_and_pearsons(self):
        """Against scipy.stats.binomtest."""
        low, high = conditional_ratio(20, 7).interval()
        exact = stats.binomtest(7, 27).proportion_ci(0.90, method="exact")
        assert (low / (1 + low), high / (1 + high)) == pytest.approx((exact.low, exact.high))

    def test_ends_of_the_range(self):
        assert conditional_ratio(5, 0, (10, 10)).interval()[0] == 0
        assert np.isinf(conditional_ratio(0, 5, (10, 10)).interval()[1])
        assert conditional_ratio(0, 0, (10, 10)).interval() == (0, np.inf)
        assert conditional_ratio(0, 0, (10, 10)).p_value() == 1

    def test_no_effect_is_seen_no_more_often_than_the_level(self):
        """Theory: an exact test at 10 % rejects at most so often; 4 standard errors are 3.8 points."""
        rng = np.random.default_rng(1)
        p = [conditional_ratio(*rng.poisson(15, 2), tuple(rng.poisson([60, 90]))).p_value() for _ in range(1000)]
        # both groups' times after differ alike here: 15 to 15 against 60 to 90 is an odds of 2/3
        q = [conditional_ratio(*rng.poisson([15, 22.5]), tuple(rng.poisson([60, 90]))).p_value() for _ in range(1000)]
        assert np.mean(np.array(q) < 0.1) < 0.1 + 0.038
        assert np.mean(np.array(p) < 0.1) > np.mean(np.array(q) < 0.1)


def network(laterals: int):
    sections = [{"section_id": "F", "parent_id": "", "device": "breaker", "customers": 100, "length_km": 10.0}]
    return sections + [{"section_id": f"L{i}", "parent_id": "F", "device": "fuse", "customers": 20, "length_km": 2.0}
                       for i in range(laterals)]


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


def compared(rows, laterals: int, converted: np.ndarray, expected: float = 0.3, day: str = "2021-01-01"):
    made = study(rows, network(laterals), extra={"conversions": {f"L{i}": day for i in np.flatnonzero(converted)}},
                 records_from="2018-01-01", records_to="2023-12-31")
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


@pytest.mark.slow
def test_regression_to_the_mean_is_corrected():
    """The worst tenth of 400 laterals by its past, nothing done: the raw ratio flatters, the corrected one less so."""
    raw, corrected = [], []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        rates = rng.gamma(2.0, 0.25, 400)
        rows = drawn(seed, rates, np.zeros(400, bool), 1.0)
        past = np.zeros(400)
        for r in rows:
            past[int(r["section_id"][1:])] += r["started"] < "2021-01-01"
        chosen = past >= np.sort(past)[-40]
        row = compared(rows, 400, chosen).measures.loc["sustained_interruptions"]
        raw.append(row["rate_ratio"])
        corrected.append(row["corrected_ratio"])
        assert row["corrected_low"] < row["corrected_ratio"] < row["corrected_high"]
    assert np.mean(raw) < 0.8
    assert np.mean(corrected) == pytest.approx(1.0, abs=0.1)


def test_days_between_the_first_and_last_conversion_are_left_out():
    rows = drawn(2, np.full(10, 2.0), np.zeros(10, bool), 1.0)
    made = study(rows, network(10), extra={"conversions": {"L0": "2020-01-01", "L1": "2021-01-01"}},
                 records_from="2018-01-01", records_to="2023-12-31")
    found = before_after(read_records(made), 0.3)
    assert found.years_left_out == pytest.approx(366 / 365.25)
    outside = [r for r in rows if not "2020-01-01" <= r["started"] < "2021-01-01"]
    counts = ["converted_before", "converted_after", "others_before", "others_after"]
    assert found.measures.loc["callouts", counts].sum() == len(outside)


def test_all_converted_is_compared_with_itself_and_says_so():
    converted = np.ones(50, bool)
    found = compared(drawn(1, np.full(50, 2.0), converted, 0.5), 50, converted)
    assert found.measures.loc["callouts", "rate_ratio"] == pytest.approx(0.5, abs=0.12)
    assert any("All laterals are converted" in n for n in found.notes)


def test_no_time_after_gives_no_ratio():
    converted = np.arange(10) < 5
    row = compared(drawn(1, np.full(10, 2.0), converted, 0.5), 10, converted, day="2024-06-01").measures.loc["callouts"]
    assert np.isnan(row["rate_ratio"])


def test_no_conversions_no_result():
    assert before_after(read_records(study([outage("a", "2023-05-01T10:00", "2023-05-01T11:00", 5)])), 0.3) is None


class TestYearsNeeded:
    def test_so_many_years_give_the_power(self):
        """Simulated power of the exact test at the years stated; the normal distribution is an approximation."""
        before, rate, others_before, others_rate, ratio = 40.0, 12.0, 150.0, 45.0, 0.5
        years = years_needed(ratio, before, rate, others_before, others_rate)
        rng = np.random.default_rng(1)
        hits = []
        for _ in range(1500):
            a, b = rng.poisson(before), rng.poisson(rate * ratio * years)
            c = tuple(rng.poisson([others_before, others_rate * years]))
            # times before and after differ by the same factor in both groups, so the odds are the rate ratio
            hits.append(conditional_ratio(a, b, c).p_value() < 0.1)
        assert np.mean(hits) == pytest.approx(0.8, abs=0.07)

    def test_more_faults_need_fewer_years(self):
        assert years_needed(0.5, 80, 20, 150, 45) < years_needed(0.5, 40, 10, 150, 45)

    def test_none_suffice_where_the_past_is_too_short_or_no_effect_is_expected(self):
        assert np.isnan(years_needed(0.8, 10, 3, 150, 45))
        assert np.isnan(years_needed(1.0, 40, 12, 150, 45))
        assert np.isnan(years_needed(0.0, 40, 12, 150, 45))
