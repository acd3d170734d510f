"""history.json, rates.csv, report.html: complete, escaped, all or nothing."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest

from reliability.history.history import read_history
from reliability.pipeline import expect, modelled_days
from reliability.report.content import RecordedContent
from reliability.report.documents import HISTORY_SECTIONS, outage_history
from reliability.report.history_output import write_history
from reliability.report.page import page
from reliability.schema.problems import StudyError
from tests.chains import short_chains
from tests.history.records import TWO_FEEDERS, model_days, outage, study
from tests.report.parsed import Page

pytestmark = pytest.mark.usefixtures("shortest")
NASTY = "</script><script>alert(1)</script><b>tree</b>"


def rows() -> list[dict]:
    rng = np.random.default_rng(4)
    result = [outage(f"e{i}", f"{2021 + i % 3}-{1 + i % 12:02d}-{1 + i % 28:02d}T10:00",
                     f"{2021 + i % 3}-{1 + i % 12:02d}-{1 + i % 28:02d}T{11 + i % 9}:00", int(rng.integers(5, 90)),
                     str(rng.choice(["A", "A1", "A2", "B"])), cause=str(rng.choice(["wind", "", NASTY])),
                     fault_kind=str(rng.choice(["temporary", "permanent", ""]))) for i in range(120)]
    return result + [outage("storm", "2023-02-11T01:00", "2023-02-14T01:00", 900, "B"),
                     outage("odd", "2023-02-11T01:00", "2023-02-10T01:00", 9, "Z")]


@pytest.fixture(scope="module")
def shortest():
    """Chains as short as they go: no test here is of what they come to."""
    with short_chains():
        yield


@pytest.fixture(scope="module")
def written(shortest, tmp_path_factory):
    out = tmp_path_factory.mktemp("history") / "out"
    modelled = model_days({"A": 0.5, "B": 0.5}, {"A": 60.0, "B": 60.0})
    made = study(rows(), extra={"conversions": {"A1": "2022-06-01"}})
    history = write_history(made, out, modelled)
    return out, history


def test_json_has_the_agreed_keys_and_the_figures_of_the_history(written):
    out, history = written
    data = json.loads((out / "history.json").read_text(encoding="utf-8"))
    assert list(data["years"]) == ["2021", "2022", "2023"]
    year = data["years"]["2023"]
    indices = {"saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e"}
    for view in ("all", "without_major_events"):
        assert indices | {"cemi", "celid"} == set(year[view])
    assert year["major_event_days"] == ["2023-02-11"]
    assert year["all"]["saidi_min"] == history.every_event.years.loc[2023, "saidi_min"]
    assert year["without_major_events"]["saidi_min"] < year["all"]["saidi_min"] - 900 * 72 * 60 / 2000 + 1e-9 + 1
    assert year["t_med"] == pytest.approx(np.exp(year["alpha"] + 2.5 * year["beta"]))
    assert data["years"]["2021"]["t_med"] is data["years"]["2021"]["alpha"] is data["years"]["2021"]["beta"] is None
    assert data["years"]["2021"]["days_used"] == 0
    findings = {f["code"]: f for f in data["findings"]}
    assert findings["restored_before_started"]["rows"] == findings["unknown_section"]["rows"] == [123]
    assert findings["unknown_section"]["count"] == 1
    assert "no feeder" in findings["unknown_section"]["treatment"]
    calibration = data["calibration"]
    assert calibration["applied"] is False
    assert "not applied" in calibration["verdict"]
    assert calibration["rate_factor"] == calibration["all_days"]["saifi"]["ratio"]
    assert calibration["all_days"]["years"] == [2021, 2022, 2023]
    assert calibration["without_major_events"]["years"] == [2022, 2023]
    assert calibration["without_major_events"]["system"]["observed_saifi"] < calibration["system"]["observed_saifi"]
    largest = {d["day"]: d["largest_event"] for d in data["major_events"]["days"]}["2023-02-11"]
    assert (largest["event_id"], largest["section_id"], largest["mostly_one"]) == ("storm", "B", True)
    assert data["conversions"]["laterals_converted"] == 1
    assert (data["conversions"]["chosen_by"], data["conversions"]["decides"]) == ("other", "both")
    for name, row in data["conversions"]["measures"].items():
        found = history.conversions.measures.loc[name]
        assert row["verdict"] == found["verdict"]
        assert row["verdict"] in ("fewer", "more", "no difference shown", None)
        assert {"rate_ratio", "low", "high", "p_value", "corrected_ratio", "corrected_low", "corrected_high",
                "corrected_p_value", "raw_verdict", "predictive_verdict", "lateral_year_cv"} <= set(row)
    assert data["conversions"]["measures"]["callouts"]["verdict"] == "no difference shown"
    assert data["conversions"]["measures"]["momentary_events"]["verdict"] is None      # none on the other lateral
    assert data["pilot"] is None                                                       # one lateral is left


@pytest.mark.usefixtures("undrawn")
def test_a_plan_of_a_pilot_is_written_where_nothing_is_converted_yet(tmp_path):
    history = write_history(study(rows(), expected_rate_ratio=0.3), tmp_path)
    data = json.loads((tmp_path / "history.json").read_text(encoding="utf-8"))
    assert data["conversions"] is None
    plan = data["pilot"]
    assert plan["laterals"] == 2
    assert plan["expected_ratio"] == 0.3
    assert [d["converted"] for d in plan["designs"]] == history.pilot.designs["converted"].tolist()
    assert "Before a pilot" in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_feeders_and_causes_are_there(written):
    data = json.loads((written[0] / "history.json").read_text(encoding="utf-8"))["years"]["2022"]
    assert set(data["feeders"]) == {"A", "B"}
    total = sum(c["all"]["saidi_min"] for c in data["causes"].values())
    assert total == pytest.approx(data["all"]["saidi_min"])
    assert set(data["causes"]) == {"wind", "", NASTY}


def test_rates_file_is_the_learned_units(written):
    table = pd.read_csv(written[0] / "rates.csv")
    assert table["section_id"].tolist() == ["A1", "A2", "A", "B"]
    np.testing.assert_allclose(table["rate_per_km"], written[1].learned.units["rate_per_km"])


TITLES = ("Summary", "Reporting period and definitions", "Indices by year", "Excluded days",
          "Indices by feeder and area", "Ten largest events", "Causes", "Worst feeders and laterals",
          "Fault rates learned", "Do the devices' records fit?", "Times to restore", "Data accuracy",
          "What earlier conversions achieved", "Reproducibility")


def test_page_is_escaped_and_complete(written):
    text = (written[0] / "report.html").read_text(encoding="utf-8")
    parsed = Page(text)
    assert {"script", "iframe", "object", "link", "img"}.isdisjoint(tag for tag, _ in parsed.tags)
    assert not re.search(r"url\((?!#)|@import|https?://(?!www\.w3\.org/2000/svg)", text)
    places = [parsed.text.find(f"{i}. {title}") for i, title in enumerate(TITLES, start=1)]
    assert -1 not in places
    assert places == sorted(places)
    assert len(HISTORY_SECTIONS) == len(TITLES)
    for words in ("Restored before started", "2023-02-11", "not applied", "Planning estimates, not settings",
                  "Threshold T_MED", "Repair", "1 converted", NASTY):
        assert words in parsed.text.replace("1 lateral converted", "1 converted"), words
    assert "workbook" not in parsed.text
    assert parsed.open == []


def test_every_chart_of_the_records_is_drawn_with_its_title_and_description(written):
    parsed = Page((written[0] / "report.html").read_text(encoding="utf-8"))
    charts = [a["aria-labelledby"].split() for tag, a in parsed.tags if tag == "svg"]
    assert [title.removesuffix("-t") for title, _ in charts] == [
        "chart-years-saidi_min", "chart-years-saifi", "chart-rolling", "chart-daily", "chart-causes",
        "chart-worst-laterals", "chart-rates", "chart-times", "chart-against-model", "chart-conversions"]
    ids = [a["id"] for _, a in parsed.tags if a.get("id")]
    assert len(ids) == len(set(ids))
    assert {i for pair in charts for i in pair} <= set(ids)
    used = {a["href"] for tag, a in parsed.tags if tag == "use"}
    assert used
    assert used <= {f"#{i}" for i in ids}


def test_the_demos_page_is_light_and_says_where_all_rows_are(demo):
    history = read_history(demo, modelled_days(expect(demo)))
    text = page(outage_history(RecordedContent(demo, history)))
    assert len(text.encode()) < 1_000_000
    assert "<script" not in text
    parsed = Page(text)
    assert f"(40 of {len(history.learned.units)} rows; all in rates.csv)" in parsed.text
    last = history.every_event.years.loc[2025]
    days = int((history.major_events.days["year"] == 2025).sum())
    assert re.search(rf"2025, all events: SAIFI {last['saifi']:.3g} and SAIDI {last['saidi_min']:.3g} minutes\. "
                     rf"Without its {days} major event days", parsed.text)


def test_page_escapes_ids(tmp_path):
    sections = [dict(s) for s in TWO_FEEDERS]
    sections[1]["section_id"] = sections[2]["parent_id"] = "<img src=x onerror=alert(1)>"
    made = study([outage("a", "2023-05-01T10:00", "2023-05-01T11:00", 5, sections[1]["section_id"])], sections)
    write_history(made, tmp_path)
    assert "<img src=x" not in (tmp_path / "report.html").read_text(encoding="utf-8")


@pytest.mark.usefixtures("undrawn")
def test_rates_file_has_no_live_formulas(tmp_path):
    sections = [dict(s) for s in TWO_FEEDERS]
    sections[3]["section_id"] = "=1+1"
    write_history(study([outage("a", "2023-05-01T10:00", "2023-05-01T11:00", 5)], sections), tmp_path)
    assert "\n\"'=1+1\"," in (tmp_path / "rates.csv").read_text(encoding="utf-8")


def test_problems_leave_nothing_behind(tmp_path):
    with pytest.raises(StudyError):
        write_history(study([outage("a", "03/04/2023 10:00", "03/04/2023 11:00", 5)]), tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("undrawn")
def test_other_files_of_the_folder_stay(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("x")
    write_history(study([outage("a", "2023-05-01T10:00", "2023-05-01T11:00", 5)]), tmp_path / "out")
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"mine.txt", "history.json", "rates.csv", "report.html"}
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_same_records_same_bytes(tmp_path):
    for name in ("a", "b"):
        write_history(study(rows()), tmp_path / name)
    for file in ("history.json", "rates.csv", "report.html"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


@pytest.mark.usefixtures("undrawn")
def test_what_was_left_out_of_counters_and_logs_is_said(tmp_path):
    made = study([outage("a", "2023-05-01T10:00", "2023-05-01T10:01", 5, "A1"),
                  outage("b", "2023-06-01T10:00", "2023-06-01T10:01", 600, "A")])
    write_history(made, tmp_path / "out")
    text = Page((tmp_path / "out" / "report.html").read_text(encoding="utf-8")).text
    assert "outages.csv: row 2: A momentary interruption at a device that does not reclose" in text
    data = json.loads((tmp_path / "out" / "history.json").read_text(encoding="utf-8"))["operations"]
    assert data["devices"] == {"A": {"counter_steps": None, "events": 1, "events_recorded": True}}
    assert [(f["code"], f["rows"], f["in_outages"]) for f in data["findings"]] == [
        ("not_at_a_reclosing_device", [2], True)]
