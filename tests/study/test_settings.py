"""study.toml: assumptions, scenarios and header maps, and everything that may be wrong with them."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from reliability.schema.assumption_types import Assumption, Range
from reliability.schema.assumptions import ASSUMPTIONS, defaults
from reliability.schema.free_tables import FREE_TABLES
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study import StudyError
from reliability.study.settings import read_settings
from reliability.study.template import toml_value
from reliability.study.toml import Toml, read_toml


def read(text: str):
    """Settings and problem lines of a study.toml."""
    toml = read_toml("study.toml", text.encode())
    return read_settings(toml), [str(p) for p in toml.problems.listed]


def settings(text: str):
    found, problems = read('name = "x"\n' + text)
    assert problems == []
    return found


def problem(text: str) -> str:
    """The only problem of a study.toml that is `text` below its name, which is line 1."""
    _, problems = read('name = "x"\n' + text)
    assert len(problems) == 1, problems
    return problems[0]


def test_a_name_is_all_it_needs():
    found = settings("")
    assert found.name == "x"
    assert found.currency == "USD"
    assert found.values == defaults()
    assert found.stated_ranges == {}
    assert found.scenarios == (Scenario(AS_BUILT),)


@pytest.mark.parametrize("text", ["", "name = 3", 'name = " "'])
def test_the_name_is_needed(text):
    assert "name" in read(text)[1][0]


@pytest.mark.parametrize("a", [a for a in ASSUMPTIONS if a.default is not None], ids=lambda a: a.key)
def test_every_assumption_is_read_at_its_default_and_refused_as_something_else(a: Assumption):
    assert settings(f"[{a.table}]\n{a.key} = {toml_value(a.default)}").values == defaults()
    assert f"row 3, column {a.table}.{a.key}" in problem(f"[{a.table}]\n{a.key} = [[1], 2]")


@pytest.mark.parametrize("a", [a for a in ASSUMPTIONS if a.kind in ("number", "whole")], ids=lambda a: a.key)
def test_every_number_keeps_its_bounds(a: Assumption):
    for good in {a.low, a.high} - {None}:
        found, problems = read(f'name = "x"\n[{a.table}]\n{a.key} = {good}')
        assert found.values[a.key] == good
        assert [p for p in problems if "must lie" in p] == []
    for bad in (a.low - 1, 2 * a.high + 1):
        assert "must lie between" in problem(f"[{a.table}]\n{a.key} = {bad}")


@pytest.mark.parametrize(("text", "wanted"), [
    ("[faults]\ntemporary_fraction = true", "row 3, column faults.temporary_fraction: 'true': must be a number; write "
                                            "temporary_fraction as a number (0–1)"),
    ("[faults]\ntemporary_fraction = '0.8'", "'0.8': must be a number"),
    ("[faults]\ntemporary_fraction = nan", "'nan': the number is not finite"),
    ("[faults]\ntemporary_fraction = inf", "'inf': the number is not finite"),
    ("[faults]\ntemporary_fraction = 1e400", "the number is not finite"),
    (f"[faults]\ntemporary_fraction = 1{'0' * 400}", "the number is not finite"),
    ("[faults]\ntemporary_fraction = 1.5", "'1.5': must lie between 0 and 1"),
    ("[faults]\ntemporary_fraction = 2024-01-02", "'2024-01-02': must be a number"),
    ("[protection]\noperations_to_lockout = 3.5", "must be a whole number"),
    ("[protection]\nfast_operations = { low = 1, likely = 2, high = 3 }", "may not be a range"),
    ("[finance]\nperspective = 'utilty'", "unknown perspective; did you mean 'utility'?"),
    ("[finance]\nperspective = 3", "unknown perspective; write one of"),
    ("[costs]\ninterruption_costs = 3", "must be text"),
    ("[history]\ninclude_planned = 'yes'", "must be true or false"),
    ("[faults]\nclearing_shares = [0.5, 0.5]", "must be a list of three shares"),
    ("[faults]\nclearing_shares = [0.5, 0.4, 0.2]", "the shares must sum to 1, not 1.1"),
    ("[faults]\nclearing_shares = [1.5, -0.5, 0]", None),
    ("[faults]\ntemporary_fraction = { low = 0.9, likely = 0.8, high = 1 }", "low ≤ likely ≤ high must hold"),
    ("[faults]\ntemporary_fraction = { low = 0.7, likely = 0.8 }", "a range needs high too"),
    ("[faults]\ntemporary_fraction = { low = 0.7, likely = 0.8, high = 0.9, hihg = 1 }",
     "column faults.temporary_fraction.hihg: 'hihg': unknown key of a range; did you mean 'high'?"),
    ("[faults]\ntemporary_fraction = { low = 0.7, likely = 0.8, high = 1.1 }",
     "column faults.temporary_fraction.high: '1.1': must lie between 0 and 1"),
    ("[fautls]\nyearly_cv = 0.1", "'fautls': unknown key or table; did you mean 'faults'?"),
    ("zzz = 1", "'zzz': unknown key or table; remove it"),
    ("yearly_cv = 0.1", "'yearly_cv': unknown key or table; move it under [faults]"),
    ("[costs]\nyearly_cv = 0.1", "unknown key in this table; move it under [faults]"),
    ("[costs]\ncrew_rate_per_hr = 100", "'crew_rate_per_hr': unknown key; did you mean 'crew_rate_per_hour'?"),
    ("costs = 3", "costs must be a table"),
    ("currency = 3", "currency must be text"),
    ("[protection]\nfast_operations = 4", "fast_operations (4) must be below operations_to_lockout (4); write "
                                          "fast_operations = 3 or less"),
    ("[protection]\noperations_to_lockout = 1", "write fast_operations = 0, or more operations to lockout"),
    ("[protection]\noperations_to_lockout = 2", "fast_operations (2) must be below operations_to_lockout (2)"),
    ("[history]\ncauses = 3", "must be a table"),
    ("[history.causes]\nTree = ['temporary']", "must be one value"),
    ("columns = 3", "columns must hold a table a file"),
    ("[columns.section]\nsection_id = 'a'", "unknown table; did you mean 'sections'?"),
    ("[columns]\nsections = 'a'", "must be a table"),
    ("[columns.sections]\nsectionid = 'a'", "unknown column; did you mean 'section_id'?"),
    ("[columns.sections]\nsection_id = 3", "must be a header of your file"),
    ("[columns.sections]\nsection_id = 'a'\nparent_id = 'A'", "the header is mapped twice"),
    ("[columns.sections]\nignore = 'a'", "must be a list of headers"),
])
def test_what_is_wrong_is_named(text, wanted):
    if wanted is None:
        assert len(read('name = "x"\n' + text)[1]) == 2  # both shares out of bounds
    else:
        assert wanted in problem(text)


def test_every_problem_is_named_at_once():
    _, problems = read("currency = 1\nzz = 1\n[faults]\nyearly_cv = -1\ntemporary_fraction = 2\n[[scenarios]]\nx = 1\n")
    assert len(problems) == 7


def test_a_range_stands_at_its_mean_and_is_remembered():
    found = settings("[faults]\nyearly_cv = { low = 0.1, likely = 0.2, high = 0.6 }")
    assert found.values["yearly_cv"] == pytest.approx(1.5 / 6)
    assert found.stated_ranges == {"yearly_cv": Range(0.1, 0.2, 0.6)}


def test_a_range_of_one_value_is_a_number():
    found = settings("[faults]\nyearly_cv = { low = 0.2, likely = 0.2, high = 0.2 }")
    assert found.values["yearly_cv"] == 0.2
    assert found.stated_ranges == {"yearly_cv": Range(0.2, 0.2, 0.2)}


def test_a_share_may_be_a_range_and_counts_with_its_mean():
    found = settings("[faults]\nclearing_shares = [{ low = 0.7, likely = 0.8, high = 0.9 }, 0.1, 0.1]")
    assert found.values["clearing_shares"] == pytest.approx((0.8, 0.1, 0.1))
    assert found.stated_ranges == {"clearing_shares.0": Range(0.7, 0.8, 0.9)}
    assert "counts with its mean" in problem(
        "[faults]\nclearing_shares = [{ low = 0.6, likely = 0.8, high = 0.8 }, 0.1, 0.1]")


def test_shares_may_miss_one_by_rounding():
    assert settings("[faults]\nphases_involved = [0.333333, 0.333333, 0.3333334]").stated_ranges == {}
    assert "must sum to 1" in problem("[faults]\nphases_involved = [0.3333, 0.3333, 0.3333]")


def test_whole_numbers_may_be_written_with_a_point():
    lockout = settings("[protection]\noperations_to_lockout = 5.0").values["operations_to_lockout"]
    assert lockout == 5
    assert isinstance(lockout, int)


def test_days_may_be_written_without_quotation_marks():
    found = settings("[history]\nrecords_from = 2019-01-01\nmajor_event_days = [2024-02-11, '2024-02-12']")
    assert found.values["records_from"] == "2019-01-01"
    assert found.values["major_event_days"] == "2024-02-11, 2024-02-12"


def test_tables_of_the_users_own_keys_are_kept():
    found = settings('[history.causes]\n"Tree contact" = "temporary"\n[history.customers_served]\n2024 = 15\n')
    assert found.extra == {"causes": {"Tree contact": "temporary"}, "customers_served": {"2024": 15},
                           "conversions": {}, "earlier_settings": {}}
    assert set(found.extra) == set(FREE_TABLES["history"])


def test_header_maps():
    found = settings('[columns.sections]\nsection_id = " Tap No"\nignore = ["Remarks"]')
    assert found.columns["sections"].names == {"section_id": "Tap No"}
    assert found.columns["sections"].ignore == ("Remarks",)


@pytest.mark.parametrize(("text", "wanted"), [
    ("name = 'n'", Scenario("n")),
    ("name = 'n'\ndevice = 'fuse'", Scenario("n", None, "fuse")),
    ("name = 'n'\nlaterals = 'all'\ndevice = 'lateral_recloser'", Scenario("n", None, "lateral_recloser")),
    ("name = 'n'\nlaterals = ['a', ' b', 'a']\ncounts = 3", Scenario("n", ("a", "b"), "sectionalizer", 3)),
    ("name = 'n'\nlaterals = []", Scenario("n", (), "sectionalizer")),
    ("name = 'n'\nfast_operations = 0", Scenario("n", (), None, None, 0)),
    ("name = 'n'\ndevice = 'sectionalizer'\ncounts = 2\nfast_operations = 1\napplicable_only = true",
     Scenario("n", None, "sectionalizer", 2, 1, True)),
])
def test_scenarios_are_read(text, wanted):
    assert settings(f"[[scenarios]]\n{text}").scenarios == (Scenario(AS_BUILT), wanted)


def test_as_built_may_be_listed_and_stands_first():
    found = settings("[[scenarios]]\nname = 'n'\n[[scenarios]]\nname = 'As built'")
    assert [s.name for s in found.scenarios] == ["As built", "n"]


@pytest.mark.parametrize(("text", "wanted"), [
    ("counts = 2", "row 2, column scenarios[1]: '': the scenario has no name"),
    ("name = 'n'\ndevise = 'fuse'", "row 4, column scenarios[1].devise: 'devise': unknown key of a scenario; did you "
                                    "mean 'device'?"),
    ("name = 'n'\ndevice = 'fuze'", "'fuze': unknown device of a lateral; did you mean 'fuse'?"),
    ("name = 'n'\ndevice = 'breaker'", "unknown device of a lateral"),
    ("name = 'n'\ndevice = 3", "unknown device of a lateral; write one of"),
    ("name = 'n'\ndevice = ['fuse']", "unknown device of a lateral; write one of"),
    ("name = 'n'\ncounts = 0", "must be a whole number from 1 to 3"),
    ("name = 'n'\ncounts = 4", "must be a whole number from 1 to 3"),
    ("name = 'n'\ncounts = 2.5", "must be a whole number from 1 to 3"),
    ("name = 'n'\ncounts = true", "must be a whole number from 1 to 3"),
    ("name = 'n'\ncounts = {low = 1, likely = 2, high = 3}", "must be a whole number from 1 to 3"),
    ("name = 'n'\nfast_operations = -1", "must be a whole number from 0 to 9"),
    ("name = 'n'\nfast_operations = nan", "must be a whole number from 0 to 9"),
    ("name = 'n'\napplicable_only = 1", "must be true or false"),
    ("name = 'n'\nlaterals = 'some'", 'laterals must be "all", a list of section ids, or a table of them'),
    ("name = 'n'\nlaterals = [7]", "a section id must be text"),
    ("name = 'as built'\nfast_operations = 0", "'As built' changes nothing"),
    ("name = 'n'\n[[scenarios]]\nname = 'N '", "row 5, column scenarios[2].name: 'N': two scenarios have this name"),
])
def test_what_is_wrong_with_a_scenario_is_named(text, wanted):
    assert wanted in problem(f"[[scenarios]]\n{text}")


def test_scenarios_must_be_a_list_of_tables():
    assert "scenarios must be a list of tables" in problem("scenarios = 3")
    assert "a scenario must be a table" in problem("scenarios = [3]")


@pytest.mark.parametrize(("content", "wanted"), [
    (b'name = "x"\n[faults\n', "study.toml: row 2: '[faults': not valid TOML"),
    (b'name = "x', "not valid TOML"),
    (b'name = "x"\nname = "y"\n', "row 2: 'name = \"y\"': not valid TOML"),
    (b'name = "\xe4"', "study.toml: row 1: the text is not UTF-8"),
    ('name = "x"'.encode("utf-16"), "not UTF-8"),
    (b"a = " + b"[" * 100_000, "nested too deeply"),
    (b"a = 1" + b"0" * 5000, "not valid TOML"),
    (b'name = "x"\n[restoration]\nrepair_hours = 3,5\n', "row 3: 'repair_hours = 3,5': not valid TOML"),
    (b"a = 0.07%", "numbers with a decimal point and without unit, per cent sign or signs between thousands"),
    (b"a\0 = 1", "not valid TOML"),
])
def test_what_is_no_toml_is_refused_with_its_line(content, wanted):
    with pytest.raises(StudyError) as caught:
        read_toml("study.toml", content).problems.raise_if_any()
    assert wanted in str(caught.value.problems[0])


def test_lines_that_are_no_toml_hide_no_other_problem():
    found, problems = read("""name = My study
[restoration]
repair_hours = 3,5
switching_hours = 1,0
cv = 0.8
cv = 0.9
[finance]
perspective = "utilty"
[[scenarios]]
name = All
laterals = "all"
[report]
[[report.plans]]
name = A
promised = B
year = twenty
""")
    assert [int(p.partition("row ")[2].partition(":")[0].partition(",")[0]) for p in problems] == [
        1, 3, 4, 6, 10, 14, 15, 16, 8]
    assert "unknown perspective" in problems[-1]
    assert found.values["repair_hours"] == defaults()["repair_hours"]
    assert found.values["cv"] == 0.8


def test_a_mistake_of_more_than_a_line_is_the_last_that_is_looked_for():
    with pytest.raises(StudyError) as caught:
        read_toml("study.toml", b'name = "x"\n[faults]\ncv = 0,5\nclearing_shares = [0.8,\nphases = 3\nb = 1,5\n')
    assert [p.row for p in caught.value.problems] == [3, 5]


def test_a_table_of_single_brackets_above_a_list_of_the_same_name_is_named():
    content = b'name = "x"\n[scenarios]\nname = "A"\n[[scenarios]]\nname = "B"\n'
    with pytest.raises(StudyError) as caught:
        read_toml("study.toml", content)
    assert "write [[scenarios]] in two brackets above each of them, the first one too" in str(caught.value)


@pytest.mark.parametrize("value", ["[" * 60 + "]" * 60, "0x" + "f" * 20_000, "{a.b.c = {d = [1979-05-27]}}"])
def test_values_that_no_key_takes_are_refused(value):
    for key in ("yearly_cv", "clearing_shares", "rates"):
        found, problems = read(f'name = "x"\n[faults]\n{key} = {value}')
        assert f"column faults.{key}: " in problems[-1]
        assert found.values == defaults()


def test_a_mark_at_the_beginning_is_no_fault():
    assert read_settings(read_toml("study.toml", '\ufeffname = "x"'.encode())).name == "x"


PIECES = st.sampled_from([
    "name", "faults", "[", "]", "[[scenarios]]", "\n", "=", " ", '"', "'", "{", "}", ",", ".", "1", "e9", "nan", "true",
    "2024-01-02", "clearing_shares", "[columns.sections]\n", "counts", "\\u0000", "low", "likely", "high",
    "[history.causes]\n", "[faults]\n", "-", "0x", "#", "section_id"])


@given(st.one_of(st.binary(max_size=40), st.lists(PIECES, max_size=30).map("".join).map(str.encode)))
@example(b"[faults]\nclearing_shares = [nan, 1, {low = 1}]")
def test_any_bytes_are_settings_or_problems(content):
    try:
        toml = read_toml("study.toml", content)
    except StudyError:
        return
    read_settings(toml)
    assert toml.problems.listed or toml.data["name"]


VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=4)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(
        st.sampled_from(["low", "likely", "high", "x"]), inner, max_size=3)), max_leaves=5)


@given(st.sampled_from([(a.table, a.key) for a in ASSUMPTIONS] + [("scenarios", "x"), ("columns", "sections"),
                                                                  ("history", "causes"), ("name", "x")]), VALUES)
def test_any_value_of_any_key_is_a_setting_or_a_problem(place, value):
    table, key = place
    for data in ({"name": "x", table: {key: value}}, {"name": "x", table: value}, {"name": "x", table: [{key: value}]}):
        toml = Toml("study.toml", data)
        found = read_settings(toml)
        assert set(found.values) == set(defaults())
        assert all(str(p) for p in toml.problems.listed)


def test_a_name_that_stands_twice_is_told_beside_the_scenario_s_other_problems():
    _, problems = read("name = 'x'\n[[scenarios]]\nname = 'n'\n[[scenarios]]\nname = 'N'\nlateral = 'all'\n")
    assert ["two scenarios have this name" in p for p in problems].count(True) == 1
    assert any("unknown key of a scenario" in p for p in problems)
