"""The second demo: its exports give its study, and it is the case that clearly pays, for reasons that hold."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.__main__ import main
from reliability.history import learned_study
from reliability.history.outages import records_of
from reliability.network.rates import fault_rates
from reliability.pipeline import learned_rates

DATA = Path(__file__).parents[1] / "data"
STUDY, EXPORTS = DATA / "wooded_town", DATA / "wooded_town_exports"
REPORTS = {"import_report.html", "import_report.csv"}
MOST_BYTES = 2e6


def test_the_import_of_its_exports_is_the_study(tmp_path):
    """Byte for byte, but for the report of the import, which is not kept."""
    made = tmp_path / "study"
    assert main(["import", str(EXPORTS), "--recipe", str(EXPORTS / "import.toml"), "--out", str(made)]) == 0
    assert {path.name for path in made.iterdir()} - REPORTS == {path.name for path in STUDY.iterdir()}
    for path in STUDY.iterdir():
        assert (made / path.name).read_bytes() == path.read_bytes(), path.name


def test_the_exports_come_in_other_forms_than_those_of_the_first_demo():
    """Files by district and year, spans without currents, devices between two poles, meters, durations, codes."""
    assert sum(path.stat().st_size for path in EXPORTS.iterdir()) < MOST_BYTES
    assert len(list(EXPORTS.glob("lines_*.geojson"))) == 3
    cases = pd.concat([pd.read_csv(path, dtype=str, keep_default_na=False) for path in EXPORTS.glob("outage_cases_*")])
    assert cases["STARTED"].str.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d").all()
    assert (cases["MINUTES"] == "").any()
    assert cases["CAUSE"].str.fullmatch("[A-Z0-9]{3}").all()
    assert all((cases[column] != "").sum() >= 50 for column in ("DEVICE", "XFMR"))
    meters = pd.read_csv(EXPORTS / "meters.csv")
    assert meters["METER"].is_unique
    assert set(meters["CLASS"]) == {"R", "GS", "LP"}
    first = set(pd.read_csv(DATA / "exports" / "protection_devices.csv").columns)
    assert first.isdisjoint(pd.read_csv(EXPORTS / "protection_and_switches.csv").columns)


def test_it_is_a_wooded_town_that_blows_its_fuses(town):
    """The scenario that it is meant to be, with what an engineer would look at first."""
    network, sections, values = town.network, town.sections, town.values
    heads = network.candidates
    assert 6 <= len(network.feeder_ids) <= 10
    assert 150 <= len(heads) <= 350
    assert 8_000 <= network.customers.sum() <= 15_000
    assert set(sections["area"]) == {"North Woods", "Lakeside", "South Woods"}
    assert values["fast_operations"] == 0
    assert 0.001 <= values["reclosing_off_share"] <= 0.002
    assert (sections["tripping"][sections["device"] == "recloser"] == "single_phase").all()
    assert (sections["device"] == "recloser").sum() == 32
    rate, km = network.column["line_fault_rate_per_km"], network.column["length_km"]
    of_laterals = network.lateral >= 0
    assert 0.35 <= np.average(rate[of_laterals], weights=km[of_laterals]) <= 0.6
    assert values["temporary_fraction"] == pytest.approx(0.75, abs=0.01)
    currents = network.column["fault_current_end_a"]
    assert np.isnan(currents).sum() < 10
    assert 400 < np.nanmin(currents) < np.nanmax(currents) < 8_300


def test_the_records_bear_the_assumed_rates_out(town):
    """What is learned from them lies around the classes of the tree survey, and every device's events fit."""
    found = learned_rates(town, records_of(town))
    ratio = fault_rates(learned_study(town, found).model).sum() / fault_rates(town.model).sum()
    assert 0.8 < ratio < 1.25
    assert not any("counter may count twice" in note for note in found.notes)


def test_the_proposal_clearly_pays(town_summary):
    """For the utility in every trial, within a few years; for society as well, at what surveys say of a momentary
    event, but not at half as much again."""
    scenarios = {s["name"]: s for s in town_summary["scenarios"]}
    built, proposed = scenarios["As built"], scenarios["Proposed"]
    assert 1.2 < built["expected"]["saifi"] < 2.5
    assert 120 < built["expected"]["saidi_min"] < 300
    assert proposed["expected"]["saifi"] < 0.7 * built["expected"]["saifi"]
    assert proposed["expected"]["saidi_min"] < 0.8 * built["expected"]["saidi_min"]
    business = proposed["business"]
    assert business["probability_npv_positive"] > 0.9
    assert business["npv_p10"] > 0
    assert business["npv"] > business["capex"]
    assert 3 < business["payback_years"] < 6
    assert 1.0 < business["break_even"]["momentary_cost_factor"] < 1.5


def test_fast_tripping_would_save_few_fuses_here(town_summary):
    """Sources are strong: the alternative without capital spares a sixth of what the proposal spares."""
    calls = {s["name"]: sum(s["expected"]["callouts"].values()) for s in town_summary["scenarios"]}
    spared = {name: calls["As built"] - number for name, number in calls.items()}
    assert 0 < spared["Fast tripping everywhere"] < spared["Proposed"] / 5


@pytest.mark.slow
def test_a_run_writes_every_document(tmp_path):
    out = tmp_path / "out"
    assert main(["run", str(STUDY), "--out", str(out), "--trials", "20"]) == 0
    written = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert "Proposed" in [s["name"] for s in written["scenarios"]]
    assert {"report.html", "workbook.xlsx", "work_pack.html", "selection.csv", "results.geojson"} <= {
        path.name for path in out.iterdir()}
