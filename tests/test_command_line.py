"""The commands as a user runs them: exit status, what is printed where, what is written."""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.__main__ import PROBLEMS_FOUND, main
from reliability.output_folder import UNFINISHED
from reliability.pipeline import analyse
from reliability.report.output import write_results
from reliability.schema.assumption_types import Range
from tests.networks import random_study

ROOT = Path(__file__).parents[1]
REFERENCES = sorted(p.parent for p in (ROOT / "tests/data/references").rglob("study.toml"))
TOML = 'name = "corner"\n[finance]\nhorizon_years = 2\n'


def study(folder: Path, *rows: str, toml: str = TOML) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(toml, encoding="utf-8")
    header = "section_id,parent_id,device,length_km,customers"
    (folder / "sections.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return folder


def results_of(folder: Path) -> dict:
    return json.loads((folder / "summary.json").read_text(encoding="utf-8"))


def run(source: Path, target: Path, *more: str) -> dict:
    assert main(["run", str(source), "--out", str(target), "--trials", "4", "--workers", "1", *more]) == 0
    return results_of(target)


@pytest.mark.parametrize("folder", REFERENCES, ids=lambda p: p.name)
def test_every_published_study_runs(folder, tmp_path):
    of = run(folder, tmp_path / "out")["scenarios"][0]["expected"]
    assert of["saifi"] > 0


@pytest.mark.parametrize(("rows", "saifi"), [
    (["only,,breaker,1,7"], 0.25 * 0.2 + 0.75 * 0.0),            # permanent faults; temporary ones clear
    (["only,,breaker,0,7"], 0.0),                                 # no fault at all
    (["only,,breaker,1,1"], 0.05),                                # one customer
    (["only,,breaker,1,0"], None),                                # no customer: no index
    (["main,,breaker,1,9", "end,main,switch,0,0"], 0.05),         # customers only on the main, no lateral
], ids=["single section", "no fault", "one customer", "no customer", "no lateral"])
def test_corners_run_and_say_what_there_is_to_say(tmp_path, rows, saifi):
    toml = TOML + "[faults]\nline_fault_rate_per_km = 0.2\ntemporary_fraction = 0.75\nclearing_shares = [1, 0, 0]\n"
    of = run(study(tmp_path / "s", *rows, toml=toml), tmp_path / "out")["scenarios"][0]["expected"]
    assert of["saifi"] == (pytest.approx(saifi) if saifi is not None else None)
    assert of["caidi_min"] is None if not saifi else of["caidi_min"] > 0


def test_a_wrong_study_exits_with_two_names_every_problem_and_writes_nothing(tmp_path, capsys):
    source = study(tmp_path / "s", "a,,breaker,-1,5", "a,nowhere,fuse,x,2.5", toml='name = "s"\n[faults]\nsped = 1\n')
    assert main(["run", str(source), "--out", str(tmp_path / "out")]) == PROBLEMS_FOUND
    text = capsys.readouterr().err
    for part in ("sections.csv: row 2, column length_km: '-1'", "row 3, column parent_id: 'nowhere'",
                 "row 3, column length_km: 'x'", "row 3, column customers: '2.5'", "column section_id: 'a'", "sped"):
        assert part in text
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s"]


@pytest.fixture(scope="module")
def demo_run(tmp_path_factory) -> tuple[Path, subprocess.CompletedProcess]:
    """The demo, run whole by one process as a user starts it: its results, and what it printed."""
    out = tmp_path_factory.mktemp("demo") / "one"
    done = subprocess.run([sys.executable, "-m", "reliability", "run", "data/demo", "--out", str(out), "--trials", "4",
                           "--seed", "0", "--workers", "1"], cwd=ROOT, capture_output=True, text=True, check=False)
    return out, done


def test_a_module_run_prints_the_indices_and_the_caution(demo_run):
    _, done = demo_run
    assert done.returncode == 0
    assert "As built" in done.stdout
    assert "Planning estimates, not settings" in done.stdout
    assert "Traceback" not in done.stderr


def test_results_hold_the_contract(demo_run, demo):
    out, _ = demo_run
    of = results_of(out)
    assert {"study", "version", "inputs_sha256", "seed", "trials", "trial_years", "scenarios"} <= set(of)
    assert of["scenarios"][0]["name"] == "As built"
    for scenario in of["scenarios"]:
        assert {"saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e", "ens_mwh", "cemi", "callouts",
                "customers_served"} <= set(scenario["expected"])
        assert set(scenario["expected"]["cemi"]) == {str(n) for n in range(1, 7)}
        assert set(scenario["expected"]["callouts"]) == {"refuse", "reset", "repair", "patrol"}
        for name in ("saifi", "saidi_min", "caidi_min", "maifi", "maifi_e", "ens_mwh", "callouts"):
            assert {"mean", "se", "p10", "p50", "p90"} <= set(scenario["simulated"][name])
    with (out / "sections.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(demo.sections) * len(of["scenarios"])
    assert {"section_id", "scenario", "failure_rate", "outage_hours"} <= set(rows[0])
    weights = dict(zip(demo.sections["section_id"], demo.sections["customers"], strict=True))
    seen = sum(float(r["failure_rate"]) * weights[r["section_id"]] for r in rows if r["scenario"] == "As built")
    expected = of["scenarios"][0]["expected"]
    assert seen / expected["customers_served"] == pytest.approx(expected["saifi"], rel=1e-9)


@pytest.mark.slow
def test_the_same_seed_gives_the_same_bytes_and_no_partial_folder_stays(demo_run):
    one, two = demo_run[0], demo_run[0].with_name("two")
    run(ROOT / "data/demo", two, "--seed", "0", "--workers", "2")
    first, second = ({file.name: file.read_bytes() for file in out.iterdir()} for out in (one, two))
    assert first == second
    assert sorted(p.name for p in one.parent.iterdir()) == ["one", "two"]


@pytest.mark.slow
def test_another_kernel_of_the_processor_changes_the_last_digits_at_most(tmp_path):
    """What is promised across types of machines: figures alike to a billionth, and the same laterals chosen."""
    assert main(["new", str(tmp_path / "study")]) == 0
    found = []
    for kernel in ("", "Nehalem"):
        done = subprocess.run([sys.executable, "-m", "reliability", "run", str(tmp_path / "study"), "--trials", "20",
                               "--only", "tables", "--out", str(tmp_path / "out")], cwd=ROOT, capture_output=True,
                              check=False, env={**os.environ, "OPENBLAS_CORETYPE": kernel})
        assert done.returncode == 0, done.stderr
        tables = {f.name: pd.read_csv(f) for f in sorted((tmp_path / "out").glob("*.csv"))}
        found.append((tables, results_of(tmp_path / "out")))
    (tables, summary), (others, other) = found
    assert list(_numbers(other)) == pytest.approx(list(_numbers(summary)), rel=1e-9, abs=1e-12, nan_ok=True)
    for name, table in tables.items():
        pd.testing.assert_frame_equal(others[name], table, rtol=1e-9, atol=1e-9)


def _numbers(part: object) -> Iterator[float]:
    """Every number of a summary, in its order; what is no number as NaN."""
    if isinstance(part, dict | list):
        for inner in part.values() if isinstance(part, dict) else part:
            yield from _numbers(inner)
    else:
        yield float(part) if isinstance(part, int | float) else np.nan


def test_only_what_is_asked_for_is_written_and_what_is_wrong_is_told_at_once(tmp_path, capsys):
    source = study(tmp_path / "s", "main,,breaker,1,5", "tap,main,fuse,1,5")
    whole = run(source, tmp_path / "out", "--trials", "2")
    every = {file.name for file in (tmp_path / "out").iterdir()}
    some = run(source, tmp_path / "out", "--trials", "2", "--only", "tables, summary")
    assert some == whole
    kept = {file.name for file in (tmp_path / "out").iterdir()}
    assert every - kept == {"report.html", "workbook.xlsx", "work_pack.csv", "work_pack.html"}
    run(source, tmp_path / "out", "--trials", "2", "--only", "work_pack,workbook,report")
    found = {file.name for file in (tmp_path / "out").iterdir()}
    assert found == {"summary.json", "report.html", "workbook.xlsx", "work_pack.csv", "work_pack.html"}
    capsys.readouterr()
    assert main(["run", str(source), "--out", str(tmp_path / "no"), "--only", "tabels,,report"]) == PROBLEMS_FOUND
    told = capsys.readouterr().err.splitlines()
    assert [line.split(":")[0] for line in told] == ["--only", "--only"]
    assert "'tabels': no kind of output; write one or more of summary, tables, report, workbook, work_pack" in told[0]
    assert main(["run", str(source), "--out", str(tmp_path / "no"), "--only", "tables", "--report", "docx"]) == 2
    assert "add report" in capsys.readouterr().err
    assert not (tmp_path / "no").exists()


def test_new_writes_a_study_that_runs(tmp_path):
    assert main(["new", str(tmp_path / "mine")]) == 0
    assert main(["check", str(tmp_path / "mine")]) == 0
    assert run(tmp_path / "mine", tmp_path / "out")["scenarios"][0]["expected"]["saifi"] > 0
    assert main(["new", str(tmp_path / "mine")]) == PROBLEMS_FOUND


def test_an_output_folder_that_cannot_be_made_is_reported(tmp_path, capsys):
    source = study(tmp_path / "s", "main,,breaker,1,5")
    (tmp_path / "file").write_text("in the way")
    assert main(["run", str(source), "--out", str(tmp_path / "file"), "--trials", "2"]) == PROBLEMS_FOUND
    assert "file" in capsys.readouterr().err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_output_without_room_is_named(tmp_path):
    folder = study(tmp_path / "study", "only,,breaker,1,7")
    with open("/dev/full", "w") as full:
        done = subprocess.run([sys.executable, "-m", "reliability", "check", str(folder)], stdout=full,
                              stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1] == (
        "standard output: No space left on device; have it written elsewhere; the work itself was done")


@pytest.mark.parametrize("command", ["run", "history"])
def test_results_never_replace_a_study(command, tmp_path, capsys):
    source = tmp_path / "mine"
    assert main(["new", str(source)]) == 0
    before = {p.name: p.read_bytes() for p in source.iterdir()}
    assert main([command, str(source), "--out", str(source / ".." / "mine")]) == PROBLEMS_FOUND
    assert "this folder holds a study" in capsys.readouterr().err
    assert {p.name: p.read_bytes() for p in source.iterdir()} == before


@pytest.fixture
def records(tmp_path):
    """Writes a study of one lateral and its outage records, as lines below the header."""
    def write(*lines: str, toml: str = "") -> None:
        (tmp_path / "study.toml").write_text(f'name = "s"\n{toml}\n', encoding="utf-8")
        (tmp_path / "sections.csv").write_text(
            "section_id,parent_id,device,length_km,customers\nb,,breaker,1,10\nf,b,fuse,2,20\n", encoding="utf-8")
        head = "event_id,section_id,started,restored,customers"
        (tmp_path / "outages.csv").write_text("\n".join((head, *lines, "")), encoding="utf-8")
    return write


@pytest.mark.parametrize(("command", "name"), [("run", "sections.csv"), ("history", "rates.csv")])
def test_results_never_replace_what_no_run_wrote(command, name, records, tmp_path, capsys):
    """A folder of exports, without study.toml as yet; results of an earlier run, even of one that was killed, go."""
    records("1,f,2024-01-03T09:00,2024-01-03T10:00,5")
    source, out = str(tmp_path), tmp_path / "out"
    trials = ["--trials", "2", "--only", "tables"] if command == "run" else []
    out.mkdir()
    (out / name).write_text("mine", encoding="utf-8")
    assert main([command, source, "--out", str(out), *trials]) == PROBLEMS_FOUND
    assert f"{name} in this folder is of no earlier run" in capsys.readouterr().err
    assert [f.name for f in out.iterdir()] == [name]
    assert (out / name).read_text(encoding="utf-8") == "mine"
    (out / UNFINISHED).touch()
    assert main([command, source, "--out", str(out), *trials]) == 0
    assert main([command, source, "--out", str(out), *trials]) == 0
    assert not (out / UNFINISHED).exists()


@pytest.mark.parametrize(("command", "other", "content"), [
    ("history", "run", {"summary.json": '{"inputs_sha256": ""}', "report.html": "run"}),
    ("run", "history", {"history.json": '{"major_events": {}}', "report.html": "history"})])
def test_results_never_replace_those_of_another_command(command, other, content, records, tmp_path, capsys):
    records("1,f,2024-01-03T09:00,2024-01-03T10:00,5")
    out = tmp_path / "out"
    out.mkdir()
    for name, text in content.items():
        (out / name).write_text(text, encoding="utf-8")
    assert main([command, str(tmp_path), "--out", str(out)]) == PROBLEMS_FOUND
    text = capsys.readouterr().err
    assert f"holds the results of {other}" in text
    assert "choose another folder with --out" in text
    assert {f.name: f.read_text(encoding="utf-8") for f in out.iterdir()} == content


@pytest.mark.parametrize("command", ["check", "history"])
def test_odd_records_are_reported_with_their_rows(command, records, tmp_path, capsys):
    records("1,f,soon,2024-01-02T10:00,5", "2,f,2024-01-03T09:00,,5", "3,f,2024-02-03T09:00,2024-02-03T10:00,5",
            *(f"4,f,2024-04-{k:02d}T09:00,2024-04-{k:02d}T10:00,5" for k in range(1, 6)))
    assert main([command, str(tmp_path), *(["--out", str(tmp_path / "out")] if command == "history" else [])]) == 0
    text = capsys.readouterr().err.splitlines()
    begins = "note: outages.csv: row 2: Start time not a date, such as soon ("
    line, = (line for line in text if line.startswith(begins))
    assert line.endswith("). Left out of everything: the day and the year are not known.")
    assert any(line.startswith("note: outages.csv: of dates and times read are 2024-04-03 10:05") for line in text)
    assert any(line.startswith("note: outages.csv: row 3: No restore time.") for line in text)


@pytest.mark.parametrize("command", ["check", "run", "history"])
def test_records_of_which_most_times_cannot_be_read_end_every_command(command, records, tmp_path, capsys):
    records("1,f,2024-01-02T09:00,2024-01-02T10:00,5",
            *(f"{k},f,06/{k:02d}/24 10:05,06/{k:02d}/24 11:05,5" for k in range(2, 12)))
    out = [] if command == "check" else ["--out", str(tmp_path / "out")]
    assert main([command, str(tmp_path), *out]) == PROBLEMS_FOUND
    text = capsys.readouterr().err
    assert text.count("not readable as a date and time: its year has two digits; ") == 20
    assert "outages.csv: row 12, column restored: '06/11/24 11:05': not readable as a date and time" in text
    assert not (tmp_path / "out").exists()


def test_what_was_learned_is_reported_when_it_is_used(records, tmp_path, capsys):
    records(*(f"{k},f,2024-0{k}-03T09:00,2024-0{k}-03T10:00,5" for k in range(1, 6)),
            toml='[faults]\nrates = "learned"')
    assert main(["run", str(tmp_path), "--out", str(tmp_path / "out"), "--trials", "2", "--only", "summary"]) == 0
    text = capsys.readouterr().err
    assert "note: Fault rates are learned from 5 recorded faults" in text
    assert "Each trial of the simulation takes one joint draw of the learned rates" in text


@pytest.mark.parametrize("command", ["check", "run"])
def test_problems_of_several_rooms_are_reported_at_once(command, tmp_path, capsys):
    """A cost table, the records' settings and a forced lateral are each read late."""
    toml = ('name = "s"\n[costs]\ninterruption_costs = "costs.csv"\n[history]\ntime_zone = "Mars/Base"\n'
            '[choice.laterals]\nnowhere = "in"\n')
    source = study(tmp_path / "s", "main,,breaker,1,5", "tap,main,fuse,1,5", toml=toml)
    (source / "costs.csv").write_text("customer_class,momentary\n", encoding="utf-8")
    more = ["--out", str(tmp_path / "out")] if command == "run" else []
    assert main([command, str(source), *more]) == PROBLEMS_FOUND
    text = capsys.readouterr().err
    for part in ("costs.csv", "Mars/Base", "nowhere"):
        assert part in text
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s"]


def test_a_history_is_calibrated_at_the_rates_that_the_study_asks_for(records, tmp_path):
    """Learned rates move the modelled figure that the records are compared with."""
    faults = [f"{k},f,2024-0{k}-03T09:00,2024-0{k}-03T10:00,20" for k in range(1, 6)]
    calibration = {}
    for rates in ("assumed", "learned"):
        records(*faults, toml=f'[faults]\nrates = "{rates}"')
        assert main(["history", str(tmp_path), "--out", str(tmp_path / rates)]) == 0
        found = json.loads((tmp_path / rates / "history.json").read_text(encoding="utf-8"))
        calibration[rates] = json.dumps(found["calibration"])
    assert "modelled" in calibration["assumed"]
    assert calibration["assumed"] != calibration["learned"]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_random_studies_run_to_the_end_under_both_perspectives(seed, tmp_path):
    """Unusual settings, costs without horizon or discount, budgets: everything is written, nothing is raised."""
    random = random_study(np.random.default_rng(1000 + seed), sections=15, horizon_years=1 + seed)
    unknown = {"sectionalizer_cost": Range(1000.0, 2000.0, 4000.0), "repair_hours": Range(1.0, 3.0, 6.0)}
    unknown = unknown if seed % 2 else {}
    values = random.values | {key: law.mean for key, law in unknown.items()} | {
        "perspective": "society" if seed % 2 else "utility", "discount_rate": 0.0, "escalation_rate": 0.0,
        "budget": 5000.0, "yearly_budget": 2500.0}
    results = analyse(replace(random, values=values, stated_ranges=unknown), trials=4, seed=seed)
    write_results(results, tmp_path / "out")
    assert results_of(tmp_path / "out")["scenarios"][0]["business"]["npv"] == 0.0


def _die(*_):
    os._exit(1)


def test_a_worker_that_dies_is_said_and_nothing_is_written(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("reliability.indices.simulation.simulate_block", _die)
    source, out = study(tmp_path / "s", "main,,breaker,1,5", "tap,main,fuse,1,5"), tmp_path / "out"
    assert main(["run", str(source), "--out", str(out), "--trials", "2", "--workers", "2"]) == 1
    assert "worker process died" in capsys.readouterr().err
    assert not out.exists()


def test_a_defect_of_ours_is_one_line_and_no_traceback(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("reliability.indices.simulation.simulate_block", lambda *_: 1 / 0)
    source = study(tmp_path / "s", "main,,breaker,1,5", "tap,main,fuse,1,5")
    assert main(["run", str(source), "--out", str(tmp_path / "out"), "--trials", "2"]) == 1
    text = capsys.readouterr().err
    assert "ZeroDivisionError" in text
    assert "Traceback" not in text
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("generator", "folders"), [("generate_demo", ("demo", "exports")), (
    "generate_town", ("wooded_town", "wooded_town_exports"))])
def test_a_generator_makes_its_study_and_exports(generator, folders, tmp_path):
    """The files in data/ are what the seeded generators write, and no others."""
    copy = tmp_path / "checkout"
    copy.mkdir()
    shutil.copytree(ROOT / "reliability", copy / "reliability", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "data", copy / "data", ignore=shutil.ignore_patterns("__pycache__"))
    made = {path.relative_to(ROOT): path.read_bytes() for folder in folders
            for path in (ROOT / "data" / folder).iterdir()}
    for path in made:
        (copy / path).unlink()
    subprocess.run([sys.executable, f"data/{generator}.py"], cwd=copy, check=True, capture_output=True)
    assert len(made) > 15
    assert {path.relative_to(copy) for folder in folders for path in (copy / "data" / folder).iterdir()} == set(made)
    for path, content in made.items():
        assert (copy / path).read_bytes() == content, path


def test_limits_that_cannot_be_met_are_reported(records, tmp_path, capsys):
    records("1,f,2024-01-03T09:00,2024-01-03T10:00,5", toml="[choice]\nsaidi_reduction_minutes = 500_000")
    assert main(["run", str(tmp_path), "--out", str(tmp_path / "out"), "--trials", "2", "--only", "summary"]) == 0
    assert "note: No choice meets all the limits." in capsys.readouterr().err
