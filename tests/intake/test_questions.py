"""The nine questions: which the data answer, what the answers set, and how far the results move."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reliability.import_questions import EFFECT_COLUMNS, answered, base_of, effects, links_by_load
from reliability.intake import Recipe, read_recipe
from reliability.intake.questions import ALL_QUESTIONS, answered_by, answers
from reliability.pipeline import expect
from reliability.schema.assumptions import BY_KEY
from reliability.schema.problems import StudyError
from tests.intake.small import DEVICES, SEGMENTS, take

ASKED = {q.key: q for q in ALL_QUESTIONS}


def unanswered(imported):
    return [q for q in ALL_QUESTIONS if not answered_by(imported, q)]


def test_there_are_nine_with_a_default_a_reason_and_two_answers():
    assert len(ALL_QUESTIONS) == 9
    assert all(q.reason and len(q.options) >= 2 for q in ALL_QUESTIONS)


def test_defaults_are_those_of_the_study():
    for question in ALL_QUESTIONS:
        for values in question.default.values.values():
            for key, value in values.items():
                if key in BY_KEY:
                    assert value == BY_KEY[key].default, key


def test_what_the_data_answer_is_not_asked(tmp_path):
    bare = take(tmp_path / "a")
    assert {q.key for q in unanswered(bare)} == {"fast_first", "reclosing_off", "temporary", "momentary", "currents",
                                                 "records", "switching"}
    assert answered_by(bare, ASKED["ties"]) == "there is no open point between feeders"
    assert "fuse_link is stated" in answered_by(bare, ASKED["links"])
    lines = SEGMENTS.splitlines()
    segments = "\n".join([lines[0] + ",fault_current_from_a,fault_current_to_a", *(x + ",900,800" for x in lines[1:])])
    known = take(tmp_path / "b", segments=segments + "\n", outages=None, study__toml='name = "x"\n[protection]\n'
                 "fast_operations = 1\n[restoration]\nswitching_hours = 2\n",
                 devices=DEVICES.replace("fuse_link", "reclosing_off_share").replace("breaker,", "breaker,0.1").replace(
                     "40K", ""))
    assert {q.key for q in unanswered(known)} == {"temporary", "links"}


def test_effects_are_those_of_the_study_with_the_answer_written_into_it(tmp_path):
    questions = [ASKED["fast_first"], ASKED["switching"], ASKED["temporary"]]
    switch = "+SW,M2,,switch,,,\n"
    table = effects(base_of(take(tmp_path / "a", devices=switch).study()), questions).set_index(["question", "option"])
    assert list(table.reset_index().columns) == list(EFFECT_COLUMNS)
    for question in questions:
        for option in question.options:
            answered = take(tmp_path / question.key / option.key, Recipe(study=answers(question, option)),
                            devices=switch)
            wanted = expect(answered.study()).expected[0]
            assert table.loc[(question.key, option.key), "saifi"] == pytest.approx(
                float(wanted.fault_ci.sum()) / 15, rel=1e-9)
    assert table.loc[("fast_first", "saving"), "saifi_change"] == 0.0
    assert table.loc[("fast_first", "blowing"), "saifi_change"] != 0.0
    assert table.loc[("switching", "remote"), "saidi_change"] < 0.0


def test_answers_that_are_no_keys_move_the_results_too(tmp_path):
    tie = {"segments": "+M9,BUS2,N9,1000,ABC,,F2\nL9,N9,N2,200,ABC,open,F2\nM3,N2,N2b,3000,ABC,,F1\n",
           "devices": "+B9,M9,,breaker,,,\nSW,M2,,switch,,,\n", "sources": "+BUS2,F2\n"}
    study = take(tmp_path, **tie).study()
    table = effects(base_of(study), [ASKED["ties"], ASKED["currents"]]).set_index(["question", "option"])
    assert table.loc[("ties", "all"), "saidi_change"] < 0.0
    assert table.loc[("ties", "half"), "saidi_change"] == pytest.approx(table.loc[("ties", "all"), "saidi_change"] / 2)
    assert table.loc[("currents", "high"), "saifi_change"] > 0.0     # the 40K is no longer saved


def test_an_answer_on_ties_leaves_chances_that_the_exports_state(tmp_path):
    segments = (SEGMENTS + "K1,BUS2,K2,900,ABC,,F2\nTIE,N2,K2,80,ABC,open,F1\n").replace("\n", ",\n").replace(
        "feeder_id,", "feeder_id,tie_probability")
    for stated, wanted in (("0.7", 0.7), ("", 0.5)):
        imported = take(tmp_path / f"stated{stated}", segments=segments.replace("open,F1,", f"open,F1,{stated}"),
                        devices="+B2,K1,,breaker,,,\n", sources="+BUS2,F2\n")
        before = imported.tables["sections"]
        after = answered(imported, {"ties": "half"}).tables["sections"]
        assert after["tie_probability"].dropna().tolist() == [wanted, wanted]
        assert after["tie_probability"].isna().sum() == len(before) - 2        # blanks stay blank


def test_links_follow_the_load_of_the_transformers_beyond(tmp_path):
    study = take(tmp_path, devices=DEVICES.replace("40K", ""), customers="transformer_id,segment_id,customers,"
                 "connected_kva\nX1,M2,3,500\nX2,T2,5,150\n").study()
    # 150 kVA on one phase of 12.47/√3 kV are 20.8 A, times 1.5 is 31.3 A: the next rating up is 40 A
    assert study.values["system_kv"] == 12.47
    assert links_by_load(study).to_dict() == {"T1": "40K"}


def test_answers_are_written_into_settings_sections_and_recipe(tmp_path):
    """What the effects foretell is what the written study has, and the recipe has it again."""
    bare = take(tmp_path / "a", devices=DEVICES.replace("40K", ""), customers="transformer_id,segment_id,customers,"
                "connected_kva\nX1,M2,3,500\nX2,T2,5,150\n")
    chosen = {"fast_first": "one", "links": "by_load", "currents": "high"}
    written = answered(bare, chosen)
    study = written.study()
    assert study.values["fast_operations"] == 1
    assert study.sections.set_index("section_id")["fuse_link"]["T1"] == "40K"
    assert study.sections["fault_current_source_a"].isna().all()       # currents that are assumed are never written
    assert "fuse_link" not in bare.tables["sections"]
    recipe = read_recipe(written.recipe.text.encode())
    assert recipe.study == {"protection": {"fast_operations": 1}}
    assert recipe.questions == {"links": "by_load"}
    again = answered(take(tmp_path / "b", recipe, devices=DEVICES.replace("40K", ""), customers="transformer_id,"
                          "segment_id,customers,connected_kva\nX1,M2,3,500\nX2,T2,5,150\n"), recipe.questions)
    assert again.tables["sections"].equals(written.tables["sections"])
    assert again.study().values["fast_operations"] == 1


def test_a_number_of_ones_own_is_an_answer(tmp_path):
    """Its effect is that of the study with it written in, and an offered answer's where it is the same number."""
    bare = take(tmp_path, devices="+SW,M2,,switch,,,\n")
    chosen = {"reclosing_off": "own 0.8", "temporary": "own 60", "switching": "own 0.75"}
    written = answered(bare, chosen)
    assert written.recipe.study == {"protection": {"reclosing_off_share": 0.008, "reclosing_off_trip": "delayed"},
                                    "faults": {"temporary_fraction": 0.6}, "restoration": {"switching_hours": 0.75}}
    assert written.study().values["reclosing_off_share"] == 0.008
    for key, answer in chosen.items():
        question = ASKED[key]
        own = question.option(answer)
        assert question.own.of(own) == pytest.approx(float(answer.split()[1]))
        table = effects(base_of(bare.study()), [replace(question, options=(*question.options, own))])
        wanted = expect(answered(bare, {key: answer}).study()).expected[0]
        assert table["saifi"].iloc[-1] == pytest.approx(float(wanted.fault_ci.sum()) / 15, rel=1e-9)
        if key == "temporary":
            assert table.iloc[-1].drop(["option", "label"]).equals(table.iloc[1].drop(["option", "label"]))


@pytest.mark.parametrize("chosen", [{"links": "perhaps"}, {"weather": "fair"}, {"links": "own 2"},
                                    {"temporary": "own 101"}, {"temporary": "own nan"}, {"temporary": "own x"}])
def test_an_answer_that_there_is_not_is_refused(tmp_path, chosen):
    with pytest.raises(StudyError, match="not an answer"):
        answered(take(tmp_path), chosen)
