"""Names and words of a recipe that the exports do not have: refused where a decision would be lost, else told."""

from __future__ import annotations

import pytest

from reliability.__main__ import PROBLEMS_FOUND, main
from reliability.intake import import_exports, prepare, read_exports, read_recipe
from reliability.intake.decisions import Undecided
from reliability.intake.notes import notes
from reliability.schema.problems import StudyError
from tests.intake.small import sections, write

TIED = {"segments": "+K1,BUS2,K2,1000,ABC,,F2\nTIE,N2,K2,10,ABC,open,\n", "outages": None,
        "sources": "+BUS2,F2\n", "devices": "+B2,K1,,breaker,,,\nSW-A,TIE,,switch,,open,A\nSW-B,TIE,,switch,,open,B\n",
        "customers": "+X3,,K2,,7,10,20\n"}


def taken(folder, recipe: str):
    return import_exports(write(folder, **TIED), read_recipe(recipe.encode()))


@pytest.mark.parametrize(("key", "said"), [
    ("open = ['SW-9', 'SWA']", ["network.open: 'SW-9': no segment or device of the exports has this name; ",
                                "network.open: 'SWA': no segment or device of the exports has this name; "
                                "did you mean 'SW-A'?"]),
    ("ties = { TEI = 0.5 }", ["network.ties: 'TEI': no segment or device of the exports has this name; "
                              "did you mean 'TIE'?"]),
    ("ties = { M2 = 0.5 }", ["network.ties: 'M2': a chance for a tie, and nothing says that this is open; open points "
                             "are SW-A; correct"]),
    ("ties = { TIE = 50 }", ["network.ties.TIE: '50': must be a chance from 0 to 1"]),
    ("place = { FU7 = 'T2', FU1 = 'T22' }", [
        "network.place: 'FU7': no table of devices has this device; did you mean 'FU1'?",
        "network.place: 'T22': no segment of the exports has this name; did you mean 'T2'?"]),
    ("sources = { BUSS = 'F1' }", ["'BUSS': network.sources: no segment has this node, so no feeder can begin there; "
                                   "did you mean 'BUS'?"]),
])
def test_a_name_under_network_that_matches_nothing_ends_with_status_2_and_the_nearest(tmp_path, capsys, key, said):
    (tmp_path / "import.toml").write_text(f"[network]\n{key}\n", encoding="utf-8")
    status = main(["import", str(write(tmp_path / "exports", **TIED)), "--recipe", str(tmp_path / "import.toml"),
                   "--out", str(tmp_path / "study")])
    err = capsys.readouterr().err
    assert status == PROBLEMS_FOUND
    assert [part for part in said if part not in err] == []
    assert not (tmp_path / "study").exists()


def test_all_of_them_are_told_at_once(tmp_path):
    with pytest.raises(StudyError) as error:
        taken(tmp_path, "[network]\nopen = ['a1']\nties = { b1 = 1 }\nplace = { c1 = 'd1' }\nsources = { e1 = 'f' }\n")
    assert error.value.count == 5


def test_sources_alone_are_a_question_that_the_page_can_ask(tmp_path):
    with pytest.raises(Undecided) as error:
        taken(tmp_path, "[network]\nsources = { BUS9 = 'F' }\n")
    assert [(d.step, d.column, d.value) for d in error.value.decisions] == [("network", "node", "BUS9")]


@pytest.mark.parametrize("name", ["TIE", "SW-A", "SW-B"])
def test_a_tie_goes_by_its_segment_and_by_every_device_on_it(tmp_path, name):
    imported = taken(tmp_path, f"[network]\nties = {{ {name} = 0.5 }}\n")
    assert imported.ties["probability"].tolist() == [0.5]
    assert sections(imported)["tie_probability"].max() == 0.5


def test_an_open_point_goes_by_the_name_of_one_phase_of_its_device(tmp_path):
    rows = TIED | {"segments": TIED["segments"].replace(",open,", ",,"),
                   "devices": TIED["devices"].replace("switch,,open", "switch,,")}
    recipe = read_recipe(b"[network]\nopen = ['SW-B']\n")
    assert import_exports(write(tmp_path, **rows), recipe).ties["name"].tolist() == ["SW-A"]


@pytest.mark.parametrize(("recipe", "said"), [
    ("[values.devices.device]\nBRAKER = 'breaker'\nVALVE = 'switch'\n",
     'import.toml: [values.devices.device]: words that no cell has: "BRAKER" (there is breaker), "VALVE"'),
    ("[values.devices.tripping]\nX = 'three_phase'\n",
     "import.toml: [values.devices.tripping]: no table has this column, so its words mean nothing"),
    ("[[files]]\nfile = 'devices.csv'\nkind = 'devices'\nleave_out = { phases = ['Z'] }\n",
     'devices.csv: leave_out phases: words that no cell has: "Z"'),
    ("[[files]]\nfile = 'customers.csv'\nkind = 'customers'\nunits = { energy_kwh = 'kWh/yr' }\n",
     "customers.csv: a unit for energy_kwh, and no column stands for it"),
])
def test_what_a_recipe_says_of_words_that_are_not_there_is_told(tmp_path, recipe, said):
    prepared = prepare(read_exports(write(tmp_path)), read_recipe(recipe.encode()))
    assert any(line.startswith(said) for line in notes(prepared)), notes(prepared)


@pytest.mark.parametrize(("recipe", "said"), [
    ("[time]\nzone = 'America/Chicgo'\n", "time.zone: 'America/Chicgo': no time zone of this name; did you mean "
                                           "'America/Chicago'?"),
    ("[outages]\ncumulative_steps = 'false'\n", "outages.cumulative_steps: 'false': must be true or false"),
])
def test_keys_are_taken_only_as_what_they_can_be(tmp_path, recipe, said):
    with pytest.raises(StudyError) as error:
        taken(tmp_path, recipe)
    assert said in str(error.value)
