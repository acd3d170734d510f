"""Learned rates: coverage and error on drawn records, closed-form posteriors, what counts as a fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import openpyxl
import pytest
from reliability.history.empirical_bayes import LEVEL, beta_binomial, gamma_poisson
from scipy import stats

from reliability.history.outages import read_records
from reliability.history.rates import learn_rates, learned_study
from reliability.history.recorded_faults import NOWHERE, recorded_faults
from reliability.pipeline import records_of
from reliability.schema.assumptions import Range
from reliability.schema.problems import StudyError
from reliability.study import open_study
from tests.history.records import TWO_FEEDERS, outage, study
from tests.networks import study_of

LATERALS, YEARS = 200, 6


def drawn(seed: int, shape: float = 2.0, mean: float = 0.3, fraction: tuple[float, float] = (6.0, 2.0)):
    """A study of 200 laterals with six years of records from known rates, and the rates and fractions."""
    rng = np.random.default_rng(seed)
    length = rng.uniform(0.3, 5.0, LATERALS)
    rate = rng.gamma(shape, mean / shape, LATERALS)
    temporary = rng.beta(*fraction, LATERALS)
    sections = [{"section_id": "F", "parent_id": "", "device": "breaker", "customers": 100, "length_km": 10.0}]
    sections += [{"section_id": f"L{i}", "parent_id": "F", "device": "fuse", "customers": 20, "length_km": length[i]}
                 for i in range(LATERALS)]
    rows = []
    for i in range(LATERALS):
        for second in rng.integers(0, YEARS * 365 * 86400, rng.poisson(rate[i] * length[i] * YEARS)):
            start = np.datetime64("2018-01-01T00:00:00") + second
            rows.append(outage(f"e{len(rows)}", str(start), str(start + 5000), 20, f"L{i}",
                               fault_kind="temporary" if rng.random() < temporary[i] else "permanent"))
    made = study(rows, sections, records_from="2018-01-01", records_to="2023-12-31")
    return made, rate, temporary


def learned(made):
    """The study with the rates that its records tell."""
    return learned_study(made, records_of(made))


def laterals(made):
    units = learn_rates(made, read_records(made)).units
    return units[units["group"] == "laterals"]


@pytest.fixture(scope="module")
def coverage():
    """Share of true values inside their interval and squared errors, of ten sets of records."""
    rows = []
    for seed in range(10):
        made, rate, temporary = drawn(seed)
        units = laterals(made)
        rows.append((
            ((units["rate_low"] <= rate) & (rate <= units["rate_high"])).mean(),
            ((units["fraction_low"] <= temporary) & (temporary <= units["fraction_high"])).mean(),
            ((units["rate_per_km"] - rate) ** 2).mean(), ((units["observed_rate_per_km"] - rate) ** 2).mean()))
    return np.array(rows)


@pytest.mark.slow
def test_intervals_cover_the_truth_as_often_as_they_claim(coverage):
    """Theory: 2000 intervals at 90 %; four standard errors are 2.7 points, hyperparameters add a little."""
    assert coverage[:, 0].mean() == pytest.approx(LEVEL, abs=0.027)
    assert coverage[:, 1].mean() == pytest.approx(LEVEL, abs=0.027)


def test_posterior_means_are_nearer_the_truth_than_raw_rates(coverage):
    assert (coverage[:, 2] < coverage[:, 3]).all()
    assert coverage[:, 2].mean() < 0.7 * coverage[:, 3].mean()


@pytest.mark.slow
@pytest.mark.parametrize(("shape", "mean"), [(4.0, 0.1), (10.0, 0.1), (1.0, 0.1)])
def test_intervals_of_thin_records_cover_the_truth_too(shape, mean):
    """With the hyperparameters held fixed these would cover some 75 %, and 20 % at worst."""
    covered = []
    for seed in range(25):
        rng = np.random.default_rng(seed)
        exposure = YEARS * rng.uniform(0.3, 2.0, LATERALS)
        rate = rng.gamma(shape, mean / shape, LATERALS)
        posterior = gamma_poisson(rng.poisson(rate * exposure), exposure)
        covered.append(((posterior.low <= rate) & (rate <= posterior.high)).mean())
    assert 0.87 < np.mean(covered) < 0.96
    assert min(covered) > 0.6


class TestGammaPoisson:
    def test_hyperparameters_are_those_of_the_distribution_drawn_from(self):
        rng = np.random.default_rng(1)
        exposure = rng.uniform(1, 20, 20_000)
        posterior = gamma_poisson(rng.poisson(rng.gamma(3.0, 0.1, 20_000) * exposure), exposure)
        assert posterior.a == pytest.approx(3.0, rel=0.05)
        assert posterior.b == pytest.approx(10.0, rel=0.05)

    def test_they_maximise_the_likelihood(self):
        """Theory: against scipy's negative binomial, on a grid about the estimate."""
        rng = np.random.default_rng(2)
        exposure = rng.uniform(1, 20, 100)
        count = rng.poisson(rng.gamma(2.0, 0.15, 100) * exposure)
        posterior = gamma_poisson(count, exposure)

        def likelihood(a, b):
            return stats.nbinom.logpmf(count, a, b / (b + exposure)).sum()

        best = likelihood(posterior.a, posterior.b)
        assert all(likelihood(posterior.a * f, posterior.b * g) < best for f in (0.97, 1, 1.03) for g in (0.97, 1, 1.03)
                   if (f, g) != (1, 1))

    def test_posterior_mean_is_between_the_raw_rate_and_the_prior_and_moves_with_exposure(self):
        count, exposure = np.array([2, 20, 0, 0, 1, 30, 3, 9]), np.array([1, 10, 1, 30, 5, 10, 10, 10.0])
        posterior = gamma_poisson(count, exposure)
        np.testing.assert_allclose(posterior.mean, (posterior.a + count) / (posterior.b + exposure))
        raw = count / exposure
        assert ((posterior.mean - raw) * (posterior.prior_mean - raw) >= 0).all()
        assert abs(posterior.mean[0] - raw[0]) > abs(posterior.mean[1] - raw[1])    # same raw rate, less exposure
        assert ((posterior.low < posterior.mean) & (posterior.mean < posterior.high)).all()

    def test_counts_with_no_spread_beyond_chance_are_pooled(self):
        posterior = gamma_poisson(np.array([3, 3, 3, 3]), np.array([10.0, 10, 10, 10]))
        assert posterior.pooled
        np.testing.assert_allclose(posterior.mean, 0.3)

    def test_no_events_at_all(self):
        """Theory: Jeffreys prior, Gamma(½, E)."""
        posterior = gamma_poisson(np.zeros(3), np.full(3, 10.0))
        np.testing.assert_allclose(posterior.mean, 0.5 / 30)
        np.testing.assert_allclose(posterior.high, stats.gamma.ppf(0.95, 0.5, scale=1 / 30))

    def test_one_unit(self):
        posterior = gamma_poisson(np.array([4]), np.array([10.0]))
        assert posterior.mean[0] == pytest.approx(0.4)
        assert posterior.low[0] < 0.4 < posterior.high[0]


class TestBetaBinomial:
    def test_hyperparameters_are_those_of_the_distribution_drawn_from(self):
        rng = np.random.default_rng(1)
        trials = rng.poisson(12, 40_000)
        posterior = beta_binomial(rng.binomial(trials, rng.beta(6.0, 2.0, 40_000)), trials)
        assert posterior.a == pytest.approx(6.0, rel=0.04)
        assert posterior.b == pytest.approx(2.0, rel=0.04)

    def test_they_maximise_the_likelihood(self):
        rng = np.random.default_rng(2)
        trials = rng.poisson(6, 150)
        hits = rng.binomial(trials, rng.beta(3.0, 2.0, 150))
        posterior = beta_binomial(hits, trials)

        def likelihood(a, b):
            return stats.betabinom.logpmf(hits, trials, a, b).sum()

        best = likelihood(posterior.a, posterior.b)
        assert all(likelihood(posterior.a * f, posterior.b * g) < best for f in (0.97, 1, 1.03) for g in (0.97, 1, 1.03)
                   if (f, g) != (1, 1))

    def test_a_unit_without_trials_has_the_prior(self):
        posterior = beta_binomial(np.array([0, 9, 1, 5, 0]), np.array([0, 10, 10, 10, 8]))
        assert posterior.mean[0] == pytest.approx(posterior.prior_mean)

    def test_all_temporary(self):
        """Theory: Jeffreys prior, Beta(N + ½, ½)."""
        posterior = beta_binomial(np.array([3, 2]), np.array([3, 2]))
        assert posterior.pooled
        np.testing.assert_allclose(posterior.mean, 5.5 / 6)


class TestFaults:
    def faults(self, *rows: dict, **kwargs) -> list[tuple[str, int]]:
        records = read_records(study(rows, **kwargs))
        table = recorded_faults(records)
        names = ["nowhere" if s == NOWHERE else records.network.ids[s] for s in table["section"]]
        return sorted(zip(names, table["kind"].tolist(), strict=True))

    BASE = ("2023-05-03T10:00", "2023-05-03T11:00", 10)

    def test_one_event_is_one_fault_however_many_steps(self):
        later = outage("a", "2023-05-03T10:00", "2023-05-03T12:00", 5)
        assert self.faults(outage("a", *self.BASE), later) == [("A1", -1)]

    def test_momentary_events_are_faults(self):
        assert self.faults(outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 10)) == [("A1", -1)]

    def test_planned_events_are_none(self):
        assert self.faults(outage("a", *self.BASE, planned="yes")) == []

    def test_rows_without_a_duration_or_customers_still_are(self):
        assert self.faults(outage("a", "2023-05-03T10:00", "", 10), outage("b", "2023-05-04T10:00", "", "")) == [
            ("A1", -1), ("A1", -1)]

    def test_openings_of_one_section_within_five_minutes_are_one_fault(self):
        rows = [outage(f"e{m}", f"2023-05-03T10:{m:02d}", f"2023-05-03T10:{m:02d}", 10) for m in (0, 1, 5)]
        assert len(self.faults(*rows)) == 1
        assert len(self.faults(*rows, outage("x", "2023-05-03T10:06", "2023-05-03T10:06", 10))) == 2

    def test_an_event_lies_at_the_furthest_section_it_names(self):
        assert self.faults(outage("a", "2023-05-03T10:00:00", "2023-05-03T10:00:02", 900, "A"),
                           outage("a", *self.BASE, "A1x", fault_kind="permanent"),
                           outage("a", *self.BASE, "A1")) == [("A1x", 1)]

    def test_what_a_device_of_the_main_rode_through_lies_nowhere_where_its_zone_holds_a_lateral(self):
        """Breaker A and recloser AR have laterals in their zones, recloser AT and breaker B have none."""
        sections = [*TWO_FEEDERS, {"section_id": "AR", "parent_id": "A", "device": "recloser"},
                    {"section_id": "AR1", "parent_id": "AR", "device": "fuse"},
                    {"section_id": "AM", "parent_id": "A", "device": ""},
                    {"section_id": "AT", "parent_id": "AM", "device": "recloser"}]
        rows = [outage(f"e{i}", f"2023-05-0{i + 1}T10:00", f"2023-05-0{i + 1}T10:01", 10, name)
                for i, name in enumerate(("A", "AR", "AM", "AT", "B"))]
        assert self.faults(*rows, sections=sections) == [
            ("AM", -1), ("AT", -1), ("B", -1), ("nowhere", -1), ("nowhere", -1)]

    def test_a_lockout_of_such_a_device_is_a_fault_of_the_main_with_the_blink_before_it(self):
        blink = outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 600, "A")
        assert self.faults(blink, outage("b", "2023-05-03T10:02", "2023-05-03T11:00", 600, "A")) == [("A", -1)]

    def test_a_blink_recorded_with_what_it_led_to_is_one_event(self):
        blink = outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 600, "A")
        assert self.faults(blink, outage("a", *self.BASE, "A2")) == [("A2", -1)]

    def test_a_lateral_recloser_answers_for_its_lateral_alone(self):
        sections = [TWO_FEEDERS[0], TWO_FEEDERS[1] | {"device": "lateral_recloser"}, *TWO_FEEDERS[2:]]
        blink = outage("a", "2023-05-03T10:00", "2023-05-03T10:01", 200)
        assert self.faults(blink, sections=sections) == [("A1", -1)]
        assert self.faults(blink, outage("b", "2023-05-03T10:01", "2023-05-03T11:00", 50, "A1x"),
                           sections=sections) == [("A1x", -1)]

    def test_a_cause_tells_the_kind_only_where_it_is_mapped_and_the_kind_is_blank(self):
        rows = [outage("a", *self.BASE, cause="Tree"),
                outage("b", "2023-06-03T10:00", "2023-06-03T11:00", 10, cause="tree", fault_kind="permanent"),
                outage("c", "2023-07-03T10:00", "2023-07-03T11:00", 10, cause="wind")]
        assert [k for _, k in self.faults(*rows)] == [-1, -1, 1]
        assert [k for _, k in self.faults(*rows, extra={"causes": {"tree": "temporary"}})] == [-1, 0, 1]


class TestUnits:
    def learn(self, rows, **kwargs):
        made = study(rows, **{"records_from": "2021-01-01", "records_to": "2023-12-31"} | kwargs)
        learned = learn_rates(made, read_records(made))
        return learned.units.set_index("unit"), learned

    ROWS = (outage("a", "2021-05-03T10:00", "2021-05-03T11:00", 10, "A1x"),
            outage("b", "2022-05-03T10:00", "2022-05-03T11:00", 10, "A1"),
            outage("c", "2022-06-03T10:00", "2022-06-03T11:00", 10, "A"),
            outage("d", "2022-07-03T10:00", "2022-07-03T11:00", 10, ""))

    def test_a_lateral_has_all_below_its_head_and_a_main_the_rest(self):
        units, _ = self.learn(self.ROWS)
        assert units["faults"].to_dict() == {"A1": 2, "A2": 0, "A": 1, "B": 0}
        years = 1095 / 365.25
        assert units["exposure_km_years"].to_dict() == pytest.approx(
            {"A1": 3 * years, "A2": 3 * years, "A": 5 * years, "B": 8 * years})
        assert units["group"].to_dict() == {"A1": "laterals", "A2": "laterals", "A": "main", "B": "main"}

    def test_what_the_records_cannot_place_counts_for_no_unit_and_is_told(self):
        blinks = [outage(f"m{d}", f"2022-08-0{d}T10:00", f"2022-08-0{d}T10:01", 900, "A", fault_kind="temporary")
                  for d in (1, 2, 3)]
        units, learned = self.learn([*self.ROWS, *blinks])
        assert units["faults"].to_dict() == {"A1": 2, "A2": 0, "A": 1, "B": 0}
        assert units["temporary"].sum() == 0
        assert any(n.startswith("3 momentary events recorded at a breaker or recloser") for n in learned.notes)
        assert not any("cannot be placed" in n for n in self.learn(self.ROWS)[1].notes)

    def test_groups_without_a_known_kind_are_named(self):
        rows = [self.ROWS[0] | {"fault_kind": "permanent"}, *self.ROWS[1:]]
        notes = self.learn(rows)[1].notes
        assert any("No fault of a known kind was recorded for main:" in n for n in notes)
        assert any("learned from the 1 fault of recorded kind" in n for n in notes)

    def test_groups_by_phases(self):
        units, learned = self.learn(self.ROWS, prior_groups="phases")
        assert units.loc["A1", "group"] == "laterals of 1 phase"
        assert learned.priors["units"].sum() == 4

    @pytest.mark.parametrize(("by", "name"), [("customer_class", "laterals mostly residential"),
                                              ("device", "laterals with fuse"), ("feeder", "laterals of A")])
    def test_other_groups(self, by, name):
        assert self.learn(self.ROWS, prior_groups=by)[0].loc["A1", "group"] == name

    def test_equipment_counts_as_length(self):
        """By hand: 0.1 faults a year at 0.2 a km and year are worth half a kilometre."""
        sections = [{"section_id": "A", "parent_id": "", "device": "breaker", "customers": 600, "length_km": 5.0},
                    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 200, "length_km": 0.0,
                     "equipment_fault_rate": 0.1}]
        rows = [outage("a", "2021-05-03T10:00", "2021-05-03T11:00", 10, "A1"),
                outage("b", "2021-06-03T10:00", "2021-06-03T11:00", 10, "A1")]
        made = study(rows, sections, records_from="2021-01-01", records_to="2023-12-31", line_fault_rate_per_km=0.2)
        units = learn_rates(made, read_records(made)).units.set_index("unit")
        assert units.loc["A1", "exposure_km_years"] == pytest.approx(0.5 * 1095 / 365.25)
        new = learned(made).sections.set_index("section_id")
        assert new.loc["A1", "equipment_fault_rate"] == pytest.approx(2 / (1095 / 365.25))

    def test_a_converted_lateral_is_observed_until_its_conversion(self):
        units, _ = self.learn(self.ROWS, extra={"conversions": {"A1": "2022-01-01"}})
        assert units.loc["A1", "faults"] == 1
        assert units.loc["A1", "years"] == pytest.approx(365 / 365.25)

    def test_counts_in_the_sections_override_the_records(self):
        sections = [{"section_id": "A", "parent_id": "", "device": "breaker", "customers": 600, "length_km": 5.0},
                    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 200, "length_km": 2.0,
                     "faults_observed": 7.0, "years_observed": 10.0},
                    {"section_id": "A1x", "parent_id": "A1", "device": "fuse", "customers": 10, "length_km": 1.0}]
        units, _ = self.learn(self.ROWS[:3], sections=sections)
        assert units.loc["A1", ["faults", "exposure_km_years"]].tolist() == [7, 30]
        assert units.loc["A", "faults"] == 1

    def test_counts_section_by_section_join_the_records_of_the_others(self):
        sections = [{"section_id": "A", "parent_id": "", "device": "breaker", "customers": 600, "length_km": 5.0},
                    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 200, "length_km": 2.0,
                     "faults_observed": 7.0, "years_observed": 10.0},
                    {"section_id": "A1x", "parent_id": "A1", "device": "", "customers": 10, "length_km": 1.0,
                     "faults_observed": 1.0, "years_observed": 5.0},
                    {"section_id": "A1y", "parent_id": "A1", "device": "", "customers": 10, "length_km": 1.0}]
        rows = [outage("y", "2022-05-03T10:00", "2022-05-03T11:00", 10, "A1y"), *self.ROWS[:3]]
        units, _ = self.learn(rows, sections=sections)
        assert units.loc["A1", "faults"] == 9
        assert units.loc["A1", "exposure_km_years"] == pytest.approx(20 + 5 + 1095 / 365.25)


class TestLearnedStudy:
    def test_sections_carry_the_learned_values_and_the_rest_stays(self):
        made, _, _ = drawn(3)
        units = learn_rates(made, read_records(made)).units.set_index("unit")
        new = learned(made)
        sections = new.sections.set_index("section_id")
        for name in ("L0", "L77", "F"):
            assert sections.loc[name, "line_fault_rate_per_km"] == units.loc[name, "rate_per_km"]
        assert sections.loc["L5", "temporary_fraction"] == units.loc["L5", "temporary_fraction"]
        untouched = [c for c in made.sections if c not in ("line_fault_rate_per_km", "temporary_fraction")]
        assert new.sections[untouched].equals(made.sections[untouched])
        assert made.sections["line_fault_rate_per_km"].isna().all()
        assert any("learned from" in n for n in new.notes)

    def test_rows_of_sections_in_any_order(self):
        made, _, _ = drawn(3)
        shuffled = made.with_sections(made.sections.sample(frac=1, random_state=1).reset_index(drop=True))
        columns = ["line_fault_rate_per_km", "temporary_fraction"]
        a, b = (learned(s).sections.set_index("section_id")[columns].sort_index() for s in (made, shuffled))
        np.testing.assert_allclose(a, b)

    def test_a_range_without_effect_is_told_with_its_key(self):
        """No kind is known here: the fractions stay assumed, and their range keeps its effect."""
        made = replace(study([outage("a", "2023-05-03T10:00", "2023-05-03T11:00", 10)]), uncertain={
            "line_fault_rate_per_km": Range(0.1, 0.2, 0.3), "temporary_fraction": Range(0.5, 0.6, 0.7)})
        notes = learned(made).notes
        assert any("faults.line_fault_rate_per_km has no effect on the 5 of 5 sections" in n for n in notes)
        assert not any("faults.temporary_fraction" in n for n in notes)
        assert any("takes learned values as known" in n for n in notes)

    def test_unknown_kinds_leave_the_fraction_to_the_assumption(self):
        made = study([outage("a", "2023-05-03T10:00", "2023-05-03T11:00", 10)])
        new = learned(made)
        assert new.sections["temporary_fraction"].isna().all()
        assert new.sections["line_fault_rate_per_km"].notna().all()
        assert any("does not show whether the fault was temporary" in n for n in new.notes)

    def test_counts_alone_are_enough(self):
        sections = [{"section_id": "A", "parent_id": "", "device": "breaker", "customers": 600, "length_km": 5.0},
                    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 200, "length_km": 2.0,
                     "faults_observed": 2.0, "years_observed": 6.0}]
        new = learned(study_of(sections)).sections["line_fault_rate_per_km"]
        assert np.isnan(new[0])
        assert new[1] == pytest.approx(2 / 12)

    def test_nothing_to_learn_from_is_a_problem(self):
        with pytest.raises(StudyError) as error:
            learned(study_of([{"section_id": "A", "parent_id": "", "device": "breaker", "length_km": 1.0}]))
        assert "learned" in error.value.problems[0].rule

    def test_counts_without_years_are_a_problem_where_there_are_no_records(self):
        sections = [{"section_id": "A", "parent_id": "", "device": "breaker", "length_km": 5.0, "faults_observed": 2.0}]
        with pytest.raises(StudyError) as error:
            learned(study_of(sections))
        assert error.value.problems[0].column == "years_observed"

    def test_they_are_placed_in_the_table_and_row_that_lack_them(self, tmp_path):
        """Laterals of the flat form, with a blank line and a header of the user's own."""
        (tmp_path / "study.toml").write_text('name = "x"\n[faults]\nrates = "learned"\n'
                                             '[columns.laterals]\nyears_observed = "Years"\n')
        (tmp_path / "feeders.csv").write_text("feeder_id,customers,main_length_km\nF,10,5\nG,10,5\n")
        (tmp_path / "laterals.csv").write_text("lateral_id,feeder_id,customers,length_km,faults_observed,Years\n"
                                               "L1,F,5,1,3,6\n\nL2,F,5,1,2,0\nL3,G,5,1,2,\n")
        with pytest.raises(StudyError) as error:
            learned(open_study(tmp_path))
        assert [(p.file, p.row, p.column, p.value) for p in error.value.problems] == [
            ("laterals.csv", 4, "Years", "0"), ("laterals.csv", 5, "Years", "")]

    def test_they_are_placed_in_a_workbook(self, tmp_path):
        book = openpyxl.Workbook()
        for row in (["section_id", "parent_id", "device", "length_km", "customers", "faults_observed"],
                    ["F", None, "breaker", 1, 5, None], ["L", "F", "fuse", 1, 5, 4]):
            book.active.append(row)
        book.save(tmp_path / "sections.xlsx")
        (tmp_path / "study.toml").write_text('name = "x"\n[faults]\nrates = "learned"\n')
        with pytest.raises(StudyError) as error:
            learned(open_study(tmp_path))
        assert str(error.value.problems[0]).startswith("sections.xlsx: row 3, column years_observed")
