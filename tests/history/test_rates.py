"""Learned rates: units, exposure and counts, the study with them, what is told, what cannot be learned from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import openpyxl
import pytest

from reliability.history.outages import read_records, records_of
from reliability.history.rates import LearnedRates, learn_rates, learned_study
from reliability.network.rates import fault_rates
from reliability.pipeline import analyse, expect, learned_rates
from reliability.schema.assumption_types import Range
from reliability.schema.problems import StudyError
from reliability.study import open_study
from reliability.study.study import Study
from tests.history.recorded_fleets import Fleet, fleet
from tests.history.records import TWO_FEEDERS, outage, study
from tests.networks import study_of

PERIOD = {"records_from": "2021-01-01", "records_to": "2023-12-31"}
YEARS = 1095 / 365.25
ROWS = (outage("a", "2021-05-03T10:00", "2021-05-03T11:00", 10, "A1x"),
        outage("b", "2022-05-03T10:00", "2022-05-03T11:00", 10, "A1"),
        outage("c", "2022-06-03T10:00", "2022-06-03T11:00", 10, "A"),
        outage("d", "2022-07-03T10:00", "2022-07-03T11:00", 10, ""))
FEEDER = {"section_id": "A", "parent_id": "", "device": "breaker", "customers": 600, "length_km": 5.0}
LATERAL = {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 200, "length_km": 2.0}


def learned(made: Study) -> LearnedRates:
    return learned_rates(made, records_of(made))


def with_learned(made: Study) -> Study:
    """The study with the rates that its records tell."""
    return learned_study(made, learned(made))


@pytest.fixture(scope="module")
def small() -> LearnedRates:
    return learned(study(ROWS, **PERIOD))


def test_units_without_exposure_tell_nothing_of_the_others():
    """Records of laterals without length are no faults of a rate, however many; they are listed all the same."""
    bare = [LATERAL | {"section_id": f"Z{k}", "length_km": 0.0, "customers": 10} for k in range(3)]
    sections = (*TWO_FEEDERS, *bare)
    days = [f"2021-{1 + k % 12:02d}-{1 + k // 12:02d}T" for k in range(60)]
    many = [outage(f"z{k}", f"{day}10:00", f"{day}11:00", 10, f"Z{k % 3}") for k, day in enumerate(days)]
    placed = ROWS[:3]
    with_them = learned(study([*placed, *many], sections, **PERIOD))
    without = learned(study(placed, sections, **PERIOD))
    assert with_them.priors["shape"].tolist() == without.priors["shape"].tolist()
    seen = with_them.units["rate_per_km"].notna().to_numpy()
    assert seen.sum() == 4
    assert with_them.units["rate_per_km"][seen].tolist() == without.units["rate_per_km"][seen].tolist()
    assert with_them.units.set_index("unit")["faults"][["Z0", "Z1", "Z2"]].tolist() == [20, 20, 20]


def test_a_study_in_which_nothing_can_fail_runs_with_learned_rates():
    sections = tuple(s | {"length_km": 0.0} for s in TWO_FEEDERS)
    results = analyse(study(ROWS, sections, rates="learned", **PERIOD), trials=5)
    assert (results.indices["saifi"] == 0.0).all()
    assert results.simulated.totals["ci"].sum() == 0.0


@pytest.fixture(scope="module")
def drawn() -> tuple[Fleet, LearnedRates]:
    made = fleet(3, feeders=3, laterals=20)
    return made, learn_rates(made.study, made.records, made.operations)


class TestUnits:
    def test_a_lateral_has_all_below_its_head_and_a_main_the_rest(self, small):
        """The fault recorded at breaker A is listed with the main in which it stands."""
        units = small.units.set_index("unit")
        assert units["faults"].to_dict() == {"A1": 2, "A2": 0, "A": 1, "B": 0}
        assert units["exposure_km_years"].to_dict() == pytest.approx(
            {"A1": 3 * YEARS, "A2": 3 * YEARS, "A": 5 * YEARS, "B": 8 * YEARS})
        assert units["group"].to_dict() == {"A1": "laterals", "A2": "laterals", "A": "main", "B": "main"}

    def test_what_the_records_cannot_place_is_told(self, small):
        assert any("1 sustained event without a known section: they are taken" in n for n in small.notes)
        assert any("from 3 recorded faults on 4 laterals and mains" in n for n in small.notes)

    def test_momentary_events_are_told_and_count_for_no_unit(self):
        blinks = [outage(f"m{d}", f"2022-08-0{d}T10:00", f"2022-08-0{d}T10:01", 900, "A") for d in (1, 2, 3)]
        found = learned(study([*ROWS, *blinks], momentary="all", **PERIOD))
        assert found.units["faults"].tolist() == [2, 0, 1, 0]
        assert any("3 recorded faults and 3 momentary events" in n for n in found.notes)
        assert not any("No momentary event" in n for n in found.notes)

    def test_records_without_a_fault_say_that_there_was_none(self):
        planned = outage("p", "2022-08-01T10:00", "2022-08-01T12:00", 5, "A1", planned="true")
        nothing, one = (learned(study([planned, *rows], **PERIOD)).units["relative_rate"]
                        for rows in ((), (outage("f", "2022-08-02T10:00", "2022-08-02T12:00", 5, "A1"),)))
        assert (nothing < one.max()).all()
        assert (nothing < 1).all()

    def test_records_none_of_which_names_a_section_are_no_ground_for_rates(self):
        rows = [outage("u", "2022-08-02T10:00", "2022-08-02T12:00", 5, "")]
        with pytest.raises(StudyError, match="none of 1 sustained rows names a section"):
            learned(study(rows, rates="learned", **PERIOD))
        found = learned(study(rows, **PERIOD))
        assert any("1 sustained event and none at a known section" in note for note in found.notes)
        assert (found.units["relative_rate"] < 1).all()

    def test_momentary_events_that_name_no_section_are_told(self):
        blinks = [outage(f"m{d}", f"2022-08-0{d}T10:00", f"2022-08-0{d}T10:01", 900, "A" if d < 3 else "")
                  for d in (1, 2, 3)]
        found = learned(study([*ROWS, *blinks], momentary="all", **PERIOD))
        assert any("without a known section: 1 of 3. They are taken" in n for n in found.notes)

    def test_where_nothing_shows_momentary_events_that_is_told(self, small):
        assert any("No momentary event or counter reading" in n for n in small.notes)

    @pytest.mark.parametrize(("by", "name"), [
        ("phases", "laterals of 1 phase"), ("customer_class", "laterals mostly residential"),
        ("device", "laterals with fuse"), ("feeder", "laterals of A")])
    def test_groups(self, by, name):
        found = learned(study(ROWS, prior_groups=by, **PERIOD))
        assert found.units.set_index("unit").loc["A1", "group"] == name
        assert found.priors["units"].sum() == 4

    def test_underground_laterals_are_a_group_of_their_own(self):
        sections = [FEEDER, LATERAL | {"construction": "underground"}]
        assert learned(study(ROWS[1:3], sections, **PERIOD)).units["group"].tolist() == ["laterals, underground",
                                                                                        "main"]

    def test_equipment_keeps_its_proportion_to_the_line(self):
        """By hand: 0.1 faults a year of equipment and 0.2 of line, and what is learned of both together."""
        sections = [FEEDER, LATERAL | {"length_km": 1.0, "equipment_fault_rate": 0.1}]
        made = study(ROWS[1:3], sections, line_fault_rate_per_km=0.2, **PERIOD)
        found = learned(made)
        new = learned_study(made, found).sections.set_index("section_id").loc["A1"]
        factor = found.units.set_index("unit").loc["A1", "relative_rate"]
        assert new["line_fault_rate_per_km"] == pytest.approx(0.2 * factor)
        assert new["equipment_fault_rate"] == pytest.approx(0.1 * factor)

    def test_a_converted_lateral_is_observed_all_the_time(self):
        found = learned(study(ROWS, extra={"conversions": {"A1": "2022-01-01"}}, **PERIOD))
        units = found.units.set_index("unit")
        assert units.loc["A1", ["faults", "years"]].tolist() == pytest.approx([2, YEARS])
        assert any("what stood there until their conversion" in n for n in found.notes)


class TestStatedFaults:
    def test_a_count_at_the_head_is_that_of_the_whole_lateral_and_overrides_the_records(self):
        sections = [FEEDER, LATERAL | {"faults_observed": 7.0, "years_observed": 10.0},
                    {"section_id": "A1x", "parent_id": "A1", "device": "fuse", "customers": 10, "length_km": 1.0}]
        units = learned(study(ROWS[:3], sections, **PERIOD)).units.set_index("unit")
        assert units.loc["A1", ["faults", "exposure_km_years"]].tolist() == [7, 30]

    def test_counts_section_by_section_join_the_records_of_the_others(self):
        sections = [FEEDER, LATERAL | {"faults_observed": 7.0, "years_observed": 10.0}, *(
            {"section_id": name, "parent_id": "A1", "device": "", "customers": 10, "length_km": 1.0} | more
            for name, more in (("A1x", {"faults_observed": 1.0, "years_observed": 5.0}), ("A1y", {})))]
        rows = [outage("y", "2022-05-03T10:00", "2022-05-03T11:00", 10, "A1y"), *ROWS[:3]]
        units = learned(study(rows, sections, **PERIOD)).units.set_index("unit")
        assert units.loc["A1", "faults"] == 9
        assert units.loc["A1", "exposure_km_years"] == pytest.approx(20 + 5 + YEARS)

    def test_counts_alone_are_enough(self):
        """Without fast operations a fuse leaves a record of every fault but the few where it fails: 600 in 12 km
        and 1000 years are 0.05 a km and year, within three of their standard errors."""
        sections = [FEEDER, LATERAL | {"faults_observed": 600.0, "years_observed": 6000.0}]
        new = with_learned(study_of(sections, fast_operations=0, fuse_failure=0.0)).sections
        assert np.isnan(new["line_fault_rate_per_km"][0])
        assert new["line_fault_rate_per_km"][1] == pytest.approx(0.05, rel=3 / 600 ** 0.5)

    @pytest.mark.parametrize(("device", "at", "failure"), [
        ("fuse", "A", 0.01), ("lateral_recloser", "A1", 0.01), ("fuse", "A1", 1.0)])
    def test_counts_of_faults_that_open_a_reclosing_device_are_those_that_lock_it_out(self, device, at, failure):
        """Of a main, behind a lateral recloser or a fuse that never works, no fault leaves a record but at that
        device, where permanent ones lock it out: 600 in so many km and 6000 years, within three of their standard
        errors."""
        sections = [section | {"faults_observed": 600.0, "years_observed": 6000.0} if section["section_id"] == at
                    else section for section in (FEEDER, LATERAL | {"device": device})]
        found = learned(study_of(sections, fast_operations=0, fuse_failure=failure)).units.set_index("unit").loc[at]
        km = {"A": 5.0, "A1": 2.0}[at]
        assert found["faults"] == 600
        assert found["rate_per_km"] * (1.0 - found["temporary_fraction"]) == pytest.approx(
            600 / (6000 * km), rel=3 / 600 ** 0.5)

    def test_expected_values_are_those_of_the_learned_rates(self):
        stated = LATERAL | {"faults_observed": 600.0, "years_observed": 6000.0}
        made = study_of([FEEDER, stated], fast_operations=0, rates="learned")
        assert expect(made).indices.equals(expect(with_learned(made)).indices)
        assumed = study_of([FEEDER, stated], fast_operations=0)
        assert not expect(made).indices.equals(expect(assumed).indices)

    def test_they_are_left_to_the_records_where_there_are_any(self):
        stated = FEEDER | {"faults_observed": 7.0, "years_observed": 10.0}
        found, without = (learned(study(ROWS[:3], [main, LATERAL], **PERIOD)) for main in (stated, FEEDER))
        assert found.units.equals(without.units)
        assert [note for note in found.notes if note not in without.notes] == [
            "faults_observed of 1 section whose faults open a reclosing device: left out, as the outage records have "
            "them at that device."]


class TestLearnedStudy:
    def test_sections_carry_the_learned_values_and_the_rest_stays(self, drawn):
        made, found = drawn
        new, units = learned_study(made.study, found), found.units.set_index("unit")
        sections = new.sections.set_index("section_id")
        for name in ("F0L0", "F2L17"):
            assert sections.loc[name, "line_fault_rate_per_km"] == pytest.approx(units.loc[name, "rate_per_km"])
            assert sections.loc[name, "temporary_fraction"] == units.loc[name, "temporary_fraction"]
        # feeder_id of the sections of a main is its unit
        assert sections.loc["F1R", "line_fault_rate_per_km"] == pytest.approx(units.loc["F1", "rate_per_km"])
        untouched = [c for c in made.study.sections if c not in ("line_fault_rate_per_km", "temporary_fraction")]
        assert new.sections[untouched].equals(made.study.sections[untouched])
        assert made.study.sections["line_fault_rate_per_km"].isna().all()
        assert any("learned from" in n for n in new.notes)
        assert new.rate_draws is found.draws

    def test_own_rates_keep_their_proportion(self):
        sections = [FEEDER | {"line_fault_rate_per_km": 0.4}, {"section_id": "AM", "parent_id": "A", "device": "",
                                                               "customers": 0, "length_km": 5.0}]
        new = with_learned(study([ROWS[2]], sections, line_fault_rate_per_km=0.1, **PERIOD)).sections
        assert new["line_fault_rate_per_km"][0] == pytest.approx(4 * new["line_fault_rate_per_km"][1])

    def test_draws_have_the_mean_that_the_sections_take(self, drawn):
        _, found = drawn
        for draws in (found.draws.temporary, found.draws.permanent):
            np.testing.assert_allclose(draws.mean(axis=0), 1.0, rtol=1e-4)
        assert (found.units["rate_low"] < found.units["rate_per_km"]).all()
        assert (found.units["rate_per_km"] < found.units["rate_high"]).all()

    def test_rows_of_sections_in_any_order(self, drawn):
        """Units, and with them the random numbers, stand in the order of the network, whatever that of the rows."""
        made, found = drawn
        shuffled = made.study.with_sections(made.study.sections.sample(frac=1, random_state=1).reset_index(drop=True))
        again = learned(shuffled).units.set_index("unit")
        units = found.units.set_index("unit")
        assert again.loc[units.index, "faults"].equals(units["faults"])
        np.testing.assert_allclose(again.loc[units.index, "rate_per_km"], units["rate_per_km"], rtol=0.25)

    def test_blocking_fast_tripping_in_the_study_does_not_move_what_was_seen_to_happen(self, drawn):
        """The rates that a study with its reclosers' earlier settings learns are those of the study before."""
        made, found = drawn
        names = [f"F{f}{r}" for f in range(3) for r in ("", "R")]
        blocked = made.study.with_sections(made.study.sections.assign(
            fast_operations=made.study.sections["fast_operations"].where(made.study.sections["device"] == "fuse", 0.0)))
        until = {n: {"until": "2023-12-31", "fast_operations": 2} for n in names}
        again = learned(replace(blocked, extra={"earlier_settings": until}))
        rates = [fault_rates(learned_study(made.study, x).model).sum() for x in (found, again)]
        assert rates[1] == pytest.approx(rates[0], rel=0.04)

    def test_a_range_without_effect_is_told_with_its_key(self):
        made = replace(study([outage("a", "2023-05-03T10:00", "2023-05-03T11:00", 10)]), stated_ranges={
            "line_fault_rate_per_km": Range(0.1, 0.2, 0.3), "temporary_fraction": Range(0.5, 0.6, 0.7)})
        new = with_learned(made)
        assert any("faults.line_fault_rate_per_km has no effect on the 5 of 5 sections" in n for n in new.notes)
        assert any("one joint draw of the learned rates" in n for n in new.notes)

    def test_the_stated_range_of_the_fraction_is_its_prior(self):
        """One fault of unknown kind says nothing of the fraction: its mean is that of the range, its interval that of
        a group about it, whose logit is normal with 0.5."""
        made = study([outage("a", "2023-05-03T10:00", "2023-05-03T11:00", 10)], temporary_fraction=0.6)
        fraction = {}
        for name, limits in (("narrow", Range(0.59, 0.6, 0.61)), ("low", Range(0.1, 0.3, 0.4))):
            ranged = replace(made, stated_ranges={"temporary_fraction": limits},
                             values=made.values | {"temporary_fraction": limits.likely})
            fraction[name] = learned(ranged).priors.loc["main", "mean_fraction"]
        assert fraction["narrow"] == pytest.approx(0.59, abs=0.05)
        assert 0.2 < fraction["low"] < 0.38


class TestProblems:
    def test_nothing_to_learn_from_is_a_problem(self):
        with pytest.raises(StudyError) as error:
            learned(study_of([FEEDER]))
        assert "learned" in error.value.problems[0].rule

    def test_counts_without_years_are_a_problem_where_there_are_no_records(self):
        with pytest.raises(StudyError) as error:
            learned(study_of([FEEDER | {"faults_observed": 2.0}]))
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


def test_a_record_that_protection_does_not_allow_is_named():
    """A temporary fault recorded as sustained at a section whose device rides through all of them."""
    rows = [outage("a", "2022-05-03T10:00", "2022-05-03T12:00", 9, "A", fault_kind="temporary")]
    found = learned(study(rows, [FEEDER], clearing_shares=(1.0, 0.0, 0.0), **PERIOD))
    assert any("would not let leave a record at A:" in n for n in found.notes)


def test_records_need_not_be_read_twice():
    made = study(ROWS, **PERIOD)
    one, two = learn_rates(made, read_records(made)), learn_rates(made, read_records(made))
    assert one.units.equals(two.units)
