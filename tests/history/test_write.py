"""history.json, rates.csv, report.html: complete, escaped, all or nothing."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest
from reliability.history.write import write_history

from reliability.history import charts
from reliability.history.history import read_history
from reliability.schema.problems import StudyError
from tests.history.records import TWO_FEEDERS, outage, study

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
def written(tmp_path_factory):
    out = tmp_path_factory.mktemp("history") / "out"
    modelled = pd.DataFrame({"saifi": [0.5, 0.5], "saidi_min": [60.0, 60.0]}, index=["A", "B"])
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
    assert year["all"]["saidi_min"] == history.all.years.loc[2023, "saidi_min"]
    assert year["without_major_events"]["saidi_min"] < year["all"]["saidi_min"] - 900 * 72 * 60 / 2000 + 1e-9 + 1
    assert year["t_med"] == pytest.approx(np.exp(year["alpha"] + 2.5 * year["beta"]))
    assert data["years"]["2021"]["t_med"] is data["years"]["2021"]["alpha"] is data["years"]["2021"]["beta"] is None
    assert data["years"]["2021"]["days_used"] == 0
    findings = {f["code"]: f for f in data["findings"]}
    assert findings["restored_before_started"]["rows"] == findings["unknown_section"]["rows"] == [123]
    assert findings["unknown_section"]["count"] == 1
    assert "no feeder" in findings["unknown_section"]["treatment"]
    assert data["calibration"]["applied"] is False
    assert data["conversions"]["laterals_converted"] == 1


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


def test_page_is_escaped_and_complete(written):
    text = (written[0] / "report.html").read_text(encoding="utf-8")
    assert "<script>alert(1)" not in text
    body = re.sub(r"<script.*?</script>", "", text, flags=re.S)
    for words in ("Indices by year", "Findings in the data", "Restored before started", "2023-02-11",
                  "offered, not applied", "Planning estimates", "Before and after conversion"):
        assert words in body
    assert len(re.findall('id="chart-', body)) == 6
    assert not re.search(r'(?:src|href)="https?:', body)


def test_page_escapes_ids(tmp_path):
    sections = [dict(s) for s in TWO_FEEDERS]
    sections[1]["section_id"] = sections[2]["parent_id"] = "<img src=x onerror=alert(1)>"
    made = study([outage("a", "2023-05-01T10:00", "2023-05-01T11:00", 5, sections[1]["section_id"])], sections)
    write_history(made, tmp_path)
    assert "<img src=x" not in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_rates_file_has_no_live_formulas(tmp_path):
    sections = [dict(s) for s in TWO_FEEDERS]
    sections[3]["section_id"] = "=1+1"
    write_history(study([outage("a", "2023-05-01T10:00", "2023-05-01T11:00", 5)], sections), tmp_path)
    assert "\n'=1+1," in (tmp_path / "rates.csv").read_text(encoding="utf-8")


def test_problems_leave_nothing_behind(tmp_path):
    with pytest.raises(StudyError):
        write_history(study([outage("a", "03/04/2023 10:00", "03/04/2023 11:00", 5)]), tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


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


class TestCharts:
    def history(self):
        return read_history(study(rows()))

    def test_axes_name_their_units(self):
        history = self.history()
        for chart in (charts.yearly_chart(history), charts.daily_chart(history), charts.causes_chart(history),
                      charts.shrinkage_chart(history), charts.offenders_chart(history)):
            assert chart.layout.xaxis.title.text
            assert chart.layout.yaxis.title.text

    def test_a_year_without_a_threshold_has_no_second_bar(self):
        second = charts.yearly_chart(self.history()).data[1].y
        assert np.isnan(second[0])
        assert np.isfinite(second[1:]).all()

    def test_daily_chart_is_logarithmic_and_marks_the_major_event_day(self):
        chart = charts.daily_chart(self.history())
        assert chart.layout.yaxis.type == "log"
        assert [str(x)[:10] for x in chart.data[1].x] == ["2023-02-11"]

    def test_labels_are_escaped(self):
        assert not any("<" in label for label in charts.causes_chart(self.history()).data[0].y)
