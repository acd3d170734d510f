"""The files of a moved state: a run of them has the figures of the state, and nothing else of the study changes."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.business.cashflow import business_summary
from reliability.pipeline import decide, expect, with_alternatives, with_rates
from reliability.report import runs
from reliability.report.reporting import cover_facts
from reliability.schema.scenarios import PROPOSED
from reliability.state_files import not_reproduced, not_written, with_moves, with_state
from reliability.study import open_study, workspace, write_template
from reliability.study.save import input_files
from reliability.study.study import Study
from reliability.what_if import Asked, ScenarioResults, with_limits
from tests.states import results_of

FEEDERS = "feeder_id,customers,main_length_km,operations_to_lockout\nA,100,5,4\nB,40,2,3\n"
LATERALS = """\
lateral_id,feeder_id,customers,length_km,device,line_fault_rate_per_mi
A-1,A,30,1,,0.5
A-2,A,20,1.5,sectionalizer,
B-1,B,40,1,,0.5
"""
FLAT_SETTINGS = 'name = "flat"\n[[scenarios]]\nname = "All"\ndevice = "sectionalizer"\nlaterals = "all"\n'
DEMO = workspace.DEMOS["demo"].source
MOVES = [
    {"temporary_fraction": 0.5}, {"fault_rate_factor": 1.7}, {"existing_fast_operations": 1},
    {"existing_fast_operations": 0, "fault_rate_factor": 0.5, "repair_hours": 5.0},
    {"share_converted": 0.4}, {"counts": 1, "fast_tripping": 0}, {"sectionalizer_cost": 900.0},
]
LIMITS = [{}, {"budget": 20_000.0}, {"objective": "saidi", "budget": 9_000.0, "backup_settings": "may_change"},
          {"applicable_only": False, "budget": 30_000.0}]


def files_of(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in input_files(folder)}


def written(folder: Path, asked: Asked, at: Path) -> Study:
    """A study of the files of a state."""
    study, files = open_study(folder), files_of(folder)
    changed, gone = with_state(study, files, asked, results_of(study, asked), ["something"])
    at.mkdir()
    for name, content in ({k: v for k, v in files.items() if k not in gone} | changed).items():
        (at / name).write_bytes(content)
    return open_study(at)


def same_figures(study: Study, wanted: ScenarioResults) -> None:
    """A run of a study has the indices and the money of a state, scenario by scenario."""
    results = expect(with_alternatives(study))
    names = [s.name for s in results.study.scenarios]
    assert sorted(names) == sorted(wanted.names)
    money = business_summary(results.business)
    for at, name in enumerate(wanted.names):
        here = names.index(name)
        ours, theirs = results.expected[here], wanted.results.expected[at]
        np.testing.assert_allclose(ours.fault_ci, theirs.fault_ci, rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(ours.fault_customer_hours, theirs.fault_customer_hours, rtol=1e-9, atol=1e-12)
        assert money[here]["npv"] == pytest.approx(wanted.money[at]["npv"], rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("moves", MOVES, ids=lambda m: ",".join(m))
@pytest.mark.parametrize("limits", LIMITS, ids=lambda m: ",".join(m) or "none")
def test_files_of_a_state_have_its_figures(tmp_path, moves, limits):
    write_template(tmp_path / "study")
    asked = Asked(moves, limits)
    run = written(tmp_path / "study", asked, tmp_path / "run")
    same_figures(run, results_of(open_study(tmp_path / "study"), asked))
    assert ("What if: moved from the study", "something") in cover_facts(run, None, {})
    assert cover_facts(open_study(tmp_path / "study"), None, {})[0][0] == "Reporting year"


@pytest.mark.parametrize("asked", [
    Asked({"fault_rate_factor": 1.3, "temporary_fraction": 0.6}, {"budget": 40_000.0}),
    Asked({"existing_fast_operations": 2}, {"forced_out": ("ST1-L18",)}, "society"),
    Asked({}, {"backup_settings": "may_change"})], ids=["rates", "society", "settings"])
def test_files_of_a_state_of_the_demo_have_its_figures(tmp_path, asked):
    """Uncertain rates, rates and fast operations that sections state, mixed choices, settings of single devices."""
    same_figures(written(DEMO, asked, tmp_path / "run"), results_of(open_study(DEMO), asked))


def test_rates_per_mile_and_a_flat_study_are_written_too(tmp_path):
    folder = tmp_path / "flat"
    folder.mkdir()
    for name, text in (("feeders.csv", FEEDERS), ("laterals.csv", LATERALS), ("study.toml", FLAT_SETTINGS)):
        (folder / name).write_text(text)
    asked = Asked({"fault_rate_factor": 2.0, "existing_fast_operations": 0})
    run = written(folder, asked, tmp_path / "run")
    same_figures(run, results_of(open_study(folder), asked))
    rates = pd.read_csv(tmp_path / "run" / "laterals.csv")["line_fault_rate_per_mi"]
    np.testing.assert_allclose(rates, [1.0, np.nan, 1.0])


def test_only_what_moved_is_written(tmp_path):
    write_template(tmp_path / "study")
    study, files = open_study(tmp_path / "study"), files_of(tmp_path / "study")
    changed, gone = with_moves(study, files, {"repair_hours": 4.0, "share_converted": 0.5})
    assert (list(changed), gone) == (["study.toml"], [])
    before, after = files["study.toml"].decode().splitlines(), changed["study.toml"].decode().splitlines()
    assert [line for line in after if line not in before] == ["repair_hours = 4.0"]


def test_what_no_file_can_say_is_told(tmp_path):
    write_template(tmp_path / "study")
    study = open_study(tmp_path / "study")
    moves = {"fault_rate_factor": 2.0, "counts": 2, "temporary_fraction": 0.5, "existing_fast_operations": 0}
    assert not_written(study, moves) == ["counts"]
    assert not_reproduced(study, moves) == []
    learned = replace(study, values={**study.values, "rates": "learned"})
    assert not_written(learned, moves) == ["fault_rate_factor", "counts"]
    assert not_reproduced(learned, moves) == ["fault_rate_factor", "temporary_fraction", "existing_fast_operations"]


@pytest.mark.slow
def test_a_share_with_reclosing_off_is_written_for_the_time_to_come(tmp_path):
    """Records made at another share show the rates that they showed before."""
    town = workspace.DEMOS["wooded-town"].source
    files = files_of(town)
    study = open_study(town)
    assert study.values["rates"] == "learned"
    assert not_reproduced(study, {"reclosing_off_share": 0.3}) == []
    changed, _ = with_moves(study, files, {"reclosing_off_share": 0.3})
    for name, content in (files | changed).items():
        (tmp_path / name).write_bytes(content)
    planned = open_study(tmp_path)
    assert planned.values["reclosing_off_share"] == 0.3
    rates = [with_rates(s).network.column["line_fault_rate_per_km"] for s in (study, planned)]
    np.testing.assert_array_equal(*rates)
    stale = replace(planned, values={**planned.values, "recorded_reclosing_off_share": None})
    assert np.abs(with_rates(stale).network.column["line_fault_rate_per_km"] / rates[0] - 1.0).max() > 0.05


def test_a_run_of_a_state_is_on_record_with_what_it_is_made_of(tmp_path):
    write_template(tmp_path / "study")
    path = tmp_path / "study" / "study.toml"
    path.write_text(path.read_text().replace("# trials = …", "trials = 20"))
    study, files = open_study(tmp_path / "study"), files_of(tmp_path / "study")
    asked = Asked({"fault_rate_factor": 2.0})
    now = results_of(study, asked)
    run = runs.record(study, change=runs.Change(*with_state(study, files, asked, now, ["rates × 2"]), ["rates × 2"]))
    assert [r.changes for r in runs.runs(tmp_path / "study")] == [("rates × 2",)]
    assert (run.changes_of, files_of(tmp_path / "study")) == (study.inputs_sha256, files)
    assert run.summary["inputs_sha256"] != study.inputs_sha256
    assert study.inputs_sha256 in run.inputs["study.toml"].decode()
    shown = {s["name"]: s["expected"]["saifi"] for s in run.summary["scenarios"]}
    assert shown == pytest.approx({name: i["saifi"] for name, i in zip(now.names, now.indices, strict=True)}, rel=1e-9)
    shutil.rmtree(run.folder)
    own = runs.record(study)
    assert (own.changes, own.summary["inputs_sha256"]) == ((), study.inputs_sha256)


def test_a_proposal_that_is_decided_elsewhere_is_written_as_a_scenario(tmp_path):
    """The study's own inputs propose something else than the moved ones would."""
    asked = Asked({"sectionalizer_cost": 100.0})
    run = written(DEMO, asked, tmp_path / "run")
    proposed = next(s for s in run.scenarios if s.name == PROPOSED)
    assert set(proposed.laterals) == set(decide(open_study(DEMO)).scenario.laterals)
    cheap = with_limits(open_study(DEMO), {})
    assert set(proposed.laterals) != set(decide(replace(cheap, values={**cheap.values, "sectionalizer_cost": 100.0})
                                                ).scenario.laterals)
