"""A study in Python: the same checks, words and figures as for files, short reprs, and the README's example."""

from __future__ import annotations

import pickle
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings

import reliability
from reliability import Results, Scenario, Study, StudyError, analyse, expect, open_study
from reliability.formats import count
from reliability.network.application import application_frame
from reliability.report.output import tables
from reliability.report.summary import summary
from reliability.schema.assumption_types import Range
from tests.networks import random_studies

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data/demo"
SECTIONS = pd.DataFrame({
    "section_id": ["main", "tap", "end"], "parent_id": [None, "main", "main"], "device": ["breaker", "fuse", None],
    "length_km": [2.0, 1.0, 1.0], "customers": [10, 5, 3]})


def refused(call) -> list[str]:
    """The problems that a call raises, a line each."""
    with pytest.raises(StudyError) as caught:
        call()
    return [str(problem) for problem in caught.value.problems]


def write(folder: Path, sections: pd.DataFrame, toml: str = "") -> Path:
    """A study folder of a frame."""
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text('name = "Study"\n' + toml, encoding="utf-8")
    sections.to_csv(folder / "sections.csv", index=False)
    return folder


def problem_parts(problem, table: str = "") -> tuple:
    """What a problem says, without the names of files and tables and without lines of study.toml."""
    row = problem.row if problem.file.startswith("sections") else None
    column = (problem.column or "").removeprefix(f"{table}.").removeprefix("scenarios[1].")
    return row, column, problem.value, problem.rule, problem.remedy


BROKEN = {
    "a length of -1": (SECTIONS.assign(length_km=[2, -1, 1]), "", {}),
    "an unknown device": (SECTIONS.assign(device=["breaker", "fuze", None]), "", {}),
    "a cycle": (SECTIONS.assign(parent_id=[None, "end", "tap"]), "", {}),
    "a misspelt assumption": (SECTIONS, "[costs]\ncrew_rte_per_hour = 3", {"crew_rte_per_hour": 3}),
    "an assumption out of bounds": (SECTIONS, "[costs]\ncrew_rate_per_hour = -3.5", {"crew_rate_per_hour": -3.5}),
    "a range out of order": (SECTIONS, "[costs]\ncrew_rate_per_hour = { low = 3, likely = 2, high = 4 }",
                             {"crew_rate_per_hour": (3, 2, 4)}),
    "shares that do not sum": (SECTIONS, "[costs]\nclearing_shares = [0.5, 0.4, 0.3]".replace("costs", "faults"),
                               {"clearing_shares": np.array([0.5, 0.4, 0.3])}),
    "a day that is none": (SECTIONS, '[history]\nrecords_from = "soon"', {"records_from": "soon"}),
    "a lateral that is none": (SECTIONS, '[[scenarios]]\nname = "A"\nlaterals = ["top"]\n',
                               {"scenarios": [{"name": "A", "laterals": ["top"]}]}),
    "fast operations that the backup does not admit": (
        SECTIONS.assign(operations_to_lockout=[2, None, None], fast_operations=[1, None, None]),
        '[[scenarios]]\nname = "A"\nfast_operations = { main = 2 }\n',
        {"scenarios": [Scenario("A", fast_operations={"main": 2})]}),
    "two problems at once": (SECTIONS.assign(length_km=[2, -1, 1]), "[costs]\ncrew_rte_per_hour = 3",
                             {"crew_rte_per_hour": 3}),
    "a column missing": (SECTIONS.drop(columns="customers").assign(custmers=1), "", {}),
    "a blank that is required": (SECTIONS.assign(length_km=[2.0, np.nan, np.inf]), "", {}),
    "half a customer": (SECTIONS.assign(customers=[10.5, 5, 3]), "", {}),
}


@pytest.mark.parametrize("name", BROKEN)
def test_frames_are_refused_in_the_same_words_as_files(name, tmp_path):
    sections, toml, arguments = BROKEN[name]
    folder = write(tmp_path / "study", sections, toml)
    with pytest.raises(StudyError) as of_files:
        open_study(folder)
    with pytest.raises(StudyError) as of_frames:
        Study.from_frames(sections, **arguments)
    table = next(iter(tomllib.loads(toml)), "")
    found, expected = ([problem_parts(p, table) for p in e.value.problems] for e in (of_frames, of_files))
    assert found == expected
    assert not any(p.file == "study.toml" or p.file.endswith(".csv") for p in of_frames.value.problems)


def test_every_problem_comes_at_once_and_is_shown():
    with pytest.raises(StudyError) as caught:
        Study.from_frames(SECTIONS.assign(length_km=[2, -1, 1], device=["breaker", "fuze", None]),
                          crew_rte_per_hour=3, scenarios=[{"name": "A", "laterals": ["top"]}])
    lines = ["assumptions: column crew_rte_per_hour: 'crew_rte_per_hour': unknown key; "
             "did you mean 'crew_rate_per_hour'?",
             "sections: row 3, column device: 'fuze': unknown device; did you mean 'fuse'?",
             "sections: row 3, column length_km: '-1': must not be negative; "
             "correct it: length_km (km): Length; or length_mi.",
             "scenario 'A': column laterals: 'top': no section has this id; did you mean 'tap'?"]
    assert caught.value.lines() == lines
    assert str(caught.value) == "4 problems:\n  " + "\n  ".join(lines)
    assert repr(caught.value) == f"StudyError: {caught.value}"
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


@pytest.mark.parametrize(("arguments", "wanted"), [
    ({}, "sections: the table is missing"),
    ({"sections": "sections.csv"}, "sections: must be a data frame, not str"),
    ({"sections": pd.DataFrame()}, "sections: the table is empty"),
    ({"sections": SECTIONS.iloc[:0]}, "sections: there is no section"),
    ({"feeders": SECTIONS}, "laterals: the table is missing; add it: feeders alone are no network"),
    ({"sections": SECTIONS, "feeders": SECTIONS}, "sections: there are both sections and feeders or laterals"),
    ({"sections": SECTIONS, "name": " "}, "assumptions: column name: '': name must be text"),
    ({"sections": SECTIONS, "nonsense": 1}, "assumptions: column nonsense: 'nonsense': unknown key or table"),
    ({"sections": SECTIONS, "costs": 3}, "assumptions: column costs: '3': costs must be a table"),
    ({"sections": SECTIONS, "costs": 3, "crew_rate_per_hour": 3}, "assumptions: column costs: '3': costs must be a"),
    ({"sections": SECTIONS, "crew_rte_per_hour": None}, "did you mean 'crew_rate_per_hour'?"),
    ({"sections": SECTIONS, "crew_rate_per_hour": SECTIONS}, "column crew_rate_per_hour: 'section_id"),
    ({"sections": SECTIONS, "columns": "x"}, "assumptions: column columns: 'x': columns must hold a table"),
    ({"sections": SECTIONS, "scenarios": [3]}, "scenario 1: '3': a scenario must be a table"),
    ({"sections": SECTIONS, "interruption_costs": "own.csv"}, "there is no study folder that could hold this file"),
])
def test_what_only_a_call_can_get_wrong(arguments, wanted):
    assert any(wanted in line for line in refused(lambda: Study.from_frames(**arguments)))


def assert_same(one: Study, other: Study) -> None:
    """Same sections, assumptions and scenarios, and the same figures to the last digit."""
    pd.testing.assert_frame_equal(one.sections, other.sections, check_exact=True)
    assert (one.values, one.uncertain, one.scenarios, one.notes) == (other.values, other.uncertain, other.scenarios,
                                                                     other.notes)
    pd.testing.assert_frame_equal(expect(one).indices, expect(other).indices, check_exact=True)


def test_the_demo_as_frames_gives_the_figures_of_its_files(demo):
    toml = tomllib.loads((DEMO / "study.toml").read_text(encoding="utf-8"))
    frames = {name: pd.read_csv(DEMO / f"{name}.csv") for name in ("sections", "outages", "settings", "curves")}
    study = Study.from_frames(**frames, **toml)
    assert_same(study, demo)
    pd.testing.assert_frame_equal(study.outages, demo.outages)


@settings(max_examples=10)
@given(study=random_studies(20))
def test_frames_written_to_files_open_as_the_same_study(study, tmp_path_factory):
    of_frames = Study.from_frames(study.sections)
    assert_same(of_frames, open_study(write(tmp_path_factory.mktemp("study"), study.sections)))


def test_cells_of_every_type_are_read_as_text_would_be():
    sections = SECTIONS.assign(section_id=[1, 2, 3], parent_id=[np.nan, 1.0, 1.0]).astype(
        {"device": "category", "customers": "Int64"}).set_index("section_id")
    study = Study.from_frames(sections)
    assert study.sections["section_id"].tolist() == ["1", "2", "3"]
    assert study.sections["parent_id"].tolist() == ["", "1", "1"]
    assert study.sections["customers"].tolist() == [10, 5, 3]
    with_blank_rows = pd.concat([SECTIONS.iloc[:1], pd.DataFrame([{}]), SECTIONS.iloc[1:]])
    assert_same(Study.from_frames(with_blank_rows), Study.from_frames(SECTIONS))
    outages = pd.DataFrame({"event_id": [7], "section_id": ["tap"], "started": [pd.Timestamp("2024-03-01 10:00")],
                            "restored": [pd.Timestamp("2024-03-01 12:00")], "customers": [5], "planned": [False]})
    row = Study.from_frames(SECTIONS, outages).outages.iloc[0]
    assert (row["event_id"], row["started"], row["planned"], row["row"]) == ("7", "2024-03-01T10:00:00", "false", 2)


def test_feeders_and_laterals_headers_and_costs_may_be_frames_too():
    feeders = pd.DataFrame({"feeder_id": ["F"], "customers": [20], "main_length_km": [3.0]})
    laterals = pd.DataFrame({"lateral_id": ["L"], "feeder_id": ["F"], "customers": [5], "length_km": [1.5]})
    assert Study.from_frames(feeders=feeders, laterals=laterals).sections["customers"].tolist() == [15, 5]
    mapped = Study.from_frames(SECTIONS.rename(columns={"section_id": "Tap No"}).assign(remark="x"),
                               columns={"sections": {"section_id": "Tap No", "ignore": ["remark"]}})
    assert_same(mapped, Study.from_frames(SECTIONS))
    costs = pd.DataFrame([[name, 1.0, 2, 3, 4, 5, 6] for name in ("residential", "small_ci", "large_ci")],
                         columns=["customer_class", "momentary", "min_30", "h_1", "h_4", "h_8", "h_16"])
    assert Study.from_frames(SECTIONS, interruption_costs=costs).cost_table.momentary.tolist() == [1.0] * 3
    changed = Study.from_frames(SECTIONS).with_assumptions(interruption_costs=costs)
    assert changed.cost_table.momentary.tolist() == [1.0] * 3
    assert changed.with_assumptions(interruption_costs=None).cost_table.momentary.tolist() != [1.0] * 3
    assert "must not be negative" in refused(lambda: changed.with_assumptions(
        interruption_costs=costs.assign(momentary=-1)))[0]


def test_assumptions_may_be_ranges_tables_and_the_users_own_keys():
    study = Study.from_frames(SECTIONS, crew_rate_per_hour=(100, 150, 300), repair_hours=Range(1, 2, 3),
                              switching_hours={"low": 1, "likely": 1, "high": 2}, customers_served={2024: 18},
                              clearing_shares=[(0.7, 0.8, 0.9), 0.1, 0.1], history={"time_zone": "Etc/GMT+6"})
    assert study.stated_ranges == {"crew_rate_per_hour": Range(100, 150, 300), "repair_hours": Range(1, 2, 3),
                                   "switching_hours": Range(1, 1, 2), "clearing_shares.0": Range(0.7, 0.8, 0.9)}
    assert study.with_assumptions(default_ranges=False).uncertain == study.stated_ranges
    assert study.values["time_zone"] == "Etc/GMT+6"
    assert study.extra["customers_served"] == {"2024": 18}
    changed = study.with_assumptions(causes={"Tree": "temporary"}, clearing_shares=(0.8, 0.1, 0.1), repair_hours=4)
    assert set(changed.stated_ranges) == {"crew_rate_per_hour", "switching_hours"}
    assert changed.values["repair_hours"] == 4.0
    assert changed.extra["customers_served"] == {"2024": 18}
    assert changed.extra["causes"] == {"Tree": "temporary"}
    assert changed.values["time_zone"] == "Etc/GMT+6"


def test_other_assumptions_keep_the_network_and_what_was_not_named(demo):
    study = demo.with_assumptions(crew_rate_per_hour=200, budget=1e6)
    assert study.network is demo.network
    assert {k for k in demo.values if study.values[k] != demo.values[k]} == {"crew_rate_per_hour", "budget"}
    assert set(demo.stated_ranges) - set(study.stated_ranges) == {"crew_rate_per_hour"}
    assert (study.scenarios, study.currency) == (demo.scenarios, demo.currency)
    assert study.inputs_sha256 != demo.inputs_sha256
    back = study.with_assumptions(budget=None)
    assert back.values["budget"] is None


def test_a_scenario_more_is_that_of_the_file(demo):
    study = Study.from_frames(SECTIONS).with_scenario("All", laterals="all", device="sectionalizer", counts=2)
    study = study.with_scenario("One", laterals=["tap"]).with_scenario("Fast", fast_operations=0)
    assert study.scenarios[1:] == (
        Scenario("All", None, "sectionalizer", 2), Scenario("One", ("tap",), "sectionalizer"),
        Scenario("Fast", (), None, None, 0))
    assert demo.with_scenario("More", counts=2, applicable_only=True).scenarios == (
        *demo.scenarios, Scenario("More", None, "sectionalizer", 2, None, True))


def test_what_a_scenario_cannot_have_is_noted():
    study = Study.from_frames(SECTIONS.assign(operations_to_lockout=[3, None, None])).with_scenario("A", counts=3)
    assert any(note.startswith("Scenario A: 1 lateral (tap): counts are lowered") for note in study.notes)


@pytest.mark.parametrize(("call", "wanted"), [
    (lambda s: s.with_assumptions(crew_rate_per_hour="200"), "column crew_rate_per_hour: '200': must be a number"),
    (lambda s: s.with_assumptions(name="B"), "assumptions: column name: 'name': no assumption has this key"),
    (lambda s: s.with_assumptions(tempory_fraction=0.5), "did you mean 'temporary_fraction'?"),
    (lambda s: s.with_assumptions(fast_operations=4), "sections: row 2, column fast_operations: '': fast operations"),
    (lambda s: s.with_scenario("all"), "scenario 'all': column name: 'all': two scenarios have this name"),
    (lambda s: s.with_scenario("B", laterals=["main"]), "'main': the device of this section cannot be converted"),
    (lambda s: s.with_scenario("B", device="fuze"), "column device: 'fuze': unknown device of a lateral"),
    (lambda s: s.with_scenario("B", fast_operations=5), "must be below operations to lockout of section main (4)"),
    (lambda s: analyse(s, trials=0), "assumptions: column trials: '0': must lie between"),
    (lambda s: analyse(s, seed=-1), "assumptions: column seed: '-1': must lie between"),
])
def test_changes_are_checked_like_files(call, wanted):
    study = Study.from_frames(SECTIONS).with_scenario("All", counts=2)
    assert any(wanted in line for line in refused(lambda: call(study)))


@pytest.fixture(scope="module")
def results(demo) -> Results:
    """A run of the demo, few trials."""
    return analyse(demo, trials=5, workers=2)


def test_results_are_the_tables_of_the_files(results):
    files = tables(results)
    for name, frame in (("laterals", results.laterals), ("cashflow", results.cashflow),
                        ("selection", results.selection), ("application", results.application),
                        ("drivers", results.sensitivity)):
        pd.testing.assert_frame_equal(frame, files[f"{name}.csv"])
    assert len(results.application) == len(application_frame(results.checks))
    mine = results.selection
    mine["capex"] = 0.0
    assert (results.selection["capex"] > 0).all()


def test_indices_are_those_of_the_summary(results):
    scenarios = summary(results)["scenarios"]
    assert results.indices["scenario"].tolist() == [s["name"] for s in scenarios]
    for row, scenario in zip(results.indices.to_dict("records"), scenarios, strict=True):
        expected, simulated = scenario["expected"], scenario["simulated"]
        for name in ("saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e", "ens_mwh"):
            assert row[name] == expected[name]
        for name in ("saifi", "saidi_min", "caidi_min", "maifi", "maifi_e", "ens_mwh", "callouts"):
            assert [row[f"{name}_{k}"] for k in ("mean", "se", "p10", "p50", "p90")] == [
                simulated[name][k] for k in ("mean", "se", "p10", "p50", "p90")]
        for kind, number in expected["callouts"].items():
            assert row[f"{kind}_callouts"] == number
            assert row[f"{kind}_callouts_mean"] == simulated[f"callouts_{kind}"]["mean"]
        assert row["callouts"] == pytest.approx(sum(expected["callouts"].values()))


@pytest.mark.parametrize("name", ["indices", "laterals", "cashflow", "selection", "application", "sensitivity"])
def test_every_column_of_a_frame_is_documented(name, results):
    text = getattr(Results, name).__doc__
    words = set(re.findall(r"\w+", text))
    columns = getattr(results, name).columns
    checks = {check.kind.key for check in results.checks.checks} if name == "application" else set()
    bare = {re.sub(r"_(mean|se|p10|p50|p90)$", "", column) for column in columns}
    assert bare - checks <= words, sorted(bare - checks - words)


def test_without_a_plan_its_frames_say_so(demo):
    found = expect(demo)
    assert "saidi_min_mean" not in found.indices
    for name in ("selection", "sensitivity"):
        with pytest.raises(ValueError, match="analyse"):
            getattr(found, name)


def test_reprs_are_short_and_say_what_a_thing_is(demo, results):
    things = [demo, results, results.network, results.table, results.simulated, results.history, results.plan,
              demo.with_scenario("x" * 500, counts=2), Study.from_frames(SECTIONS, name="long " * 200)]
    for thing in things:
        assert len(repr(thing)) < 200
        assert repr(thing).startswith(type(thing).__name__)
        assert "\n" not in repr(thing)
    sections, rows = count(len(demo.sections), "section"), count(len(demo.outages), "row")
    assert re.fullmatch(rf"Study '.*': {sections}, \d+ feeders, \d scenarios, {rows} of outage records", repr(demo))
    assert repr(Study.from_frames(SECTIONS)) == "Study 'Study': 3 sections, 1 feeder, 1 scenario"
    network = results.network
    assert f"{count(len(network), 'section')}, {count(len(network.candidates), 'lateral')}" in repr(network)


def test_the_package_is_light_until_it_is_used():
    code = ("import sys, reliability; assert 'pandas' not in sys.modules; assert 'analyse' in dir(reliability); "
            "from reliability import *; assert analyse.__module__ == 'reliability.pipeline'; "
            "assert 'streamlit' not in sys.modules")
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)
    with pytest.raises(AttributeError, match="nothing_of_this_name"):
        _ = reliability.nothing_of_this_name


def test_the_package_finds_its_tables_wherever_it_stands(tmp_path):
    """The package alone, without the data beside it, used from another folder."""
    shutil.copytree(ROOT / "reliability", tmp_path / "elsewhere/reliability",
                    ignore=shutil.ignore_patterns("__pycache__"))
    write(tmp_path / "study", SECTIONS.assign(fuse_link=[None, "40T", None], peak_load_a=[90.0, 10.0, 5.0]),
          '[finance]\nperspective = "society"\n')
    (tmp_path / "there").mkdir()
    code = ("import reliability; from reliability import *; "
            "print(reliability.__file__); s = open_study('../study').with_scenario('All', counts=2); "
            "print(s.cost_table.momentary.sum() > 0, expect(s).application['rated_current_a'].notna().all())")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path / "there", capture_output=True, text=True,
                          env={"PYTHONPATH": str(tmp_path / "elsewhere"), "PATH": ""}, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [str(tmp_path / "elsewhere/reliability/__init__.py"), "True True"]


def test_the_readmes_example_runs_and_prints_what_it_says(monkeypatch, capsys):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    section = text.partition("\n## From Python\n")[2].partition("\n## ")[0]
    blocks = re.findall(r"```(python|text)\n(.*?)```", section, re.DOTALL)
    assert [kind for kind, _ in blocks] == ["python", "text", "python"]
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    exec(blocks[0][1], names)
    assert capsys.readouterr().out == blocks[1][1]
    exec(blocks[2][1], names)
    assert len(capsys.readouterr().out.splitlines()) > 5
