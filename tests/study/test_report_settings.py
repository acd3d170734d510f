"""[report] of study.toml: what stands on the face of a report, benchmarks, and plans of earlier reports."""

from __future__ import annotations

import pandas as pd
import pytest

from reliability.study import Study, StudyError
from reliability.study.report_settings import EarlierPlan, benchmarks
from reliability.study.settings import read_settings
from reliability.study.toml import read_toml

SECTIONS = pd.DataFrame([
    {"section_id": "A", "parent_id": "", "device": "breaker", "customers": 60, "length_km": 5.0},
    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 20, "length_km": 2.0},
    {"section_id": "A2", "parent_id": "A", "device": "fuse", "customers": 20, "length_km": 2.0}])
PLAN = {"name": "Pilot", "year": 2022, "promised": "two laterals", "done": "one", "cost": 900, "laterals": ["A1"]}
CONVERTED = {"conversions": {"A1": "2022-06-01"}}


def read(text: str):
    toml = read_toml("study.toml", ('name = "x"\n[report]\n' + text).encode())
    return read_settings(toml), [str(p) for p in toml.problems.listed]


def test_every_key_is_read():
    found, problems = read('reporting_year = 2025\ndate = 2026-03-31\nprepared_by = "A"\napproved_by = "B"\n'
                           'first_year = 2027\nbenchmark_saifi = 1\nbenchmark_maifi_e = 5.5\nbenchmark_source = "C"\n'
                           'benchmark_excludes_major_events = false')
    assert problems == []
    values = found.values
    assert (values["reporting_year"], values["date"], values["first_year"]) == (2025, "2026-03-31", 2027)
    assert (values["prepared_by"], values["approved_by"], values["benchmark_source"]) == ("A", "B", "C")
    assert benchmarks(values) == {"saifi": 1.0, "maifi_e": 5.5}
    assert values["benchmark_excludes_major_events"] is False


@pytest.mark.parametrize(("text", "wanted"), [
    ("reporting_yer = 2025", "row 3, column report.reporting_yer: 'reporting_yer': unknown key; did you mean "
                             "'reporting_year'?"),
    ("plan = []", "did you mean 'plans'?"),
    ("reporting_year = '2025'", "row 3, column report.reporting_year: '2025': must be a number"),
    ("reporting_year = 25", "must lie between 1950 and 2099"),
    ("date = '31 March'", "row 3, column report.date: '31 March': not a day; write it like 2026-03-31"),
    ("date = '2026-02-30'", "not a day"),
    ("prepared_by = 3", "must be text"),
    ("benchmark_saifi = { low = 1, likely = 2, high = 3 }", "may not be a range"),
    ("reporting_year = 2025\nfirst_year = 2025", "column report.first_year: '2025': must come after reporting_year "
                                                 "(2025); write first_year = 2026, or a later year"),
    ("plans = 3", "plans must be a list of tables; write [[report.plans]] above each"),
    ("plans = [3]", "column report.plans[1]: '3': a plan must be a table"),
])
def test_what_is_wrong_is_placed_and_remedied(text, wanted):
    problem, = read(text)[1]
    assert wanted in problem


def test_a_plan_has_every_problem_at_once_each_with_its_row():
    found, problems = read('[[report.plans]]\nname = "ok"\nyear = 2020\npromised = "p"\n'
                           '[[report.plans]]\nnam = "x"\nyear = "2022"\npromised = ""\ncost = -1\n'
                           'laterals = 3\ndone = 1')
    assert [plan.name for plan in found.plans] == ["ok"]
    assert len(problems) == 7
    for row, column, words in (
            (7, "plans[2]", "the plan has no name"), (8, "plans[2].nam", "did you mean 'name'?"),
            (9, "plans[2].year", "must be a year from 1950 to 2099"), (10, "plans[2].promised", "must be text"),
            (11, "plans[2].cost", "0 or more"), (12, "plans[2].laterals", "a list of section ids"),
            (13, "plans[2].done", "must be text")):
        assert any(f"row {row}, column report.{column}:" in p and words in p for p in problems), (row, column)


def test_plans_are_kept_through_changes_and_read_from_python():
    study = Study.from_frames(SECTIONS, report={"plans": [PLAN, {**PLAN, "laterals": "all"}]}, history=CONVERTED)
    assert study.plans == (EarlierPlan("Pilot", 2022, "two laterals", "one", 900.0, ("A1",), 1),
                           EarlierPlan("Pilot", 2022, "two laterals", "one", 900.0, "all", 2))
    assert study.with_assumptions(discount_rate=0.05).plans == study.plans
    assert study.with_scenario("Some", ["A2"]).plans == study.plans
    assert study.with_assumptions(plans=[]).plans == ()


@pytest.mark.parametrize(("plan", "history", "wanted"), [
    ({"laterals": ["A1", "A3"]}, CONVERTED, "'A3': not a lateral of history.conversions; list it with its day"),
    ({"laterals": ["a1"]}, CONVERTED, "'a1': not a lateral of history.conversions; did you mean 'A1'?"),
    ({"laterals": "all"}, {}, "history.conversions names no lateral"),
])
def test_a_plans_laterals_are_those_of_the_conversions(plan, history, wanted):
    with pytest.raises(StudyError) as caught:
        Study.from_frames(SECTIONS, report={"plans": [{**PLAN, "laterals": []}, PLAN | plan]}, history=history)
    line, = caught.value.lines()
    assert wanted in line
    assert "plans[2].laterals" in line
