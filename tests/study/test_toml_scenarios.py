"""Scenarios written into study.toml are read as they were, and the rest of the file stays as it is."""

from __future__ import annotations

import pytest

from reliability.schema.scenarios import AS_BUILT, Conversion, Scenario
from reliability.study.toml_scenarios import add_scenario, set_scenarios

ODD = 'a "b".c=d, é'
SECTIONS = f"""\
section_id,parent_id,device,length_km,customers
main,,breaker,2,10
tap,main,fuse,1.5,20
tip,main,fuse,1.5,20
"{ODD.replace('"', '""')}",main,fuse,1,5
"""
SCENARIOS = [
    Scenario("All", None, "sectionalizer", 2, 0), Scenario("Some", ("tap", ODD), "lateral_recloser", None, 1),
    Scenario("Mixed", {"tap": Conversion("sectionalizer", 3), ODD: Conversion("lateral_recloser")}, "sectionalizer",
             None, {"main": 1}),
    Scenario("Applicable", None, "sectionalizer", applicable_only=True),
    Scenario("Settings", (), None, None, {"main": 0}),
    Scenario("None", (), "fuse")]


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda s: s.name)
def test_a_scenario_is_read_as_it_was_written(study, scenario):
    text, name = add_scenario('name = "x"\n', scenario)
    assert name == f"{scenario.name} 1"
    found = study(sections__csv=SECTIONS, study__toml=text).scenarios
    assert found == (Scenario(AS_BUILT), Scenario(name, *list(vars(scenario).values())[1:]))


def test_all_of_them_take_the_place_of_others(study):
    text = set_scenarios('name = "x"\n[[scenarios]]\nname = "Old"\nfast_operations = 0\n\n[faults]\nyearly_cv = 0.3\n',
                         SCENARIOS)
    read = study(sections__csv=SECTIONS, study__toml=text)
    assert list(read.scenarios[1:]) == SCENARIOS
    assert read.values["yearly_cv"] == 0.3


@pytest.mark.parametrize("stated", [
    '[[scenarios]]\nname = "Selection 1"  # ours\nfast_operations = 0\n',
    'scenarios = [{ name = "Selection 1", fast_operations = 0 }]\n'])
def test_one_more_stands_after_the_others_under_a_free_name(study, stated):
    text, name = add_scenario(f'name = "x"\n{stated}\n[faults]\nyearly_cv = 0.3  # told\n',
                              Scenario("Selection", ("tap",), "sectionalizer", 2))
    assert name == "Selection 2"
    read = study(sections__csv=SECTIONS, study__toml=text)
    assert [s.name for s in read.scenarios] == [AS_BUILT, "Selection 1", "Selection 2"]
    assert "yearly_cv = 0.3  # told" in text
    assert ("# ours" in text) == ("# ours" in stated)


def test_a_mixed_choice_that_is_the_same_for_every_lateral_is_a_list():
    alike = Scenario("Selection", {"tap": Conversion("fuse"), "tip": Conversion("fuse")}, "fuse")
    assert 'laterals = ["tap", "tip"]' in add_scenario("", alike)[0]
