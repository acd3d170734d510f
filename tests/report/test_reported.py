"""What the documents say of the records: worst circuits, areas, benchmarks, plans, the face; and what is missing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from reliability.history.history import read_history
from reliability.pipeline import analyse
from reliability.report import records_reported, sections_areas, sections_worst, sections_years
from reliability.report.blocks import Missing, Table
from reliability.report.content import Content, RecordedContent, content_of
from reliability.report.documents import HISTORY_SECTIONS, outage_history, report
from reliability.report.page import page
from reliability.report.records import ALL_EVENTS, WITHOUT, excluded_days
from reliability.report.reporting import programme_year
from reliability.report.sections_history import causes, excluded
from reliability.report.sections_laterals import selection
from reliability.report.sections_plans import found as verification
from reliability.study.study import Study
from tests.chains import short_chains
from tests.history.records import outage
from tests.report.parsed import Page

pytestmark = pytest.mark.usefixtures("undrawn")
SECTIONS = [
    {"section_id": "A", "parent_id": "", "device": "breaker", "customers": 100, "length_km": 5.0, "area": "North"},
    {"section_id": "A1", "parent_id": "A", "device": "fuse", "customers": 60, "length_km": 9.0, "area": "South"},
    {"section_id": "A2", "parent_id": "A", "device": "fuse", "customers": 40, "length_km": 3.0, "area": "North"},
    {"section_id": "B", "parent_id": "", "device": "breaker", "customers": 150, "length_km": 80.0, "area": "North"},
    {"section_id": "B1", "parent_id": "B", "device": "fuse", "customers": 30, "length_km": 1.0, "area": "North"},
    {"section_id": "C", "parent_id": "", "device": "breaker", "customers": 90, "length_km": 1.0, "area": "South"},
]
REPORT = {"date": "2026-03-31", "prepared_by": "Planning", "approved_by": "The board",
          "programmes": "Tree trimming every fourth year", "exclusions": "Applied for",
          "benchmark_saifi": 0.5,
          "benchmark_saidi_min": 90000, "benchmark_source": "an order", "plans": [
              {"name": "Pilot", "year": 2022, "promised": "one lateral", "done": "one lateral", "cost": 900,
               "laterals": ["A1"]},
              {"name": "Trimming", "year": 2023, "promised": "40 km"}]}


def rows() -> list[dict]:
    """Feeder A is the worst on record, though the model, by its length, says B."""
    made = []
    for year in (2021, 2022, 2023, 2024):
        made += [outage(f"a{year}-{k}", f"{year}-0{k}-03T10:00", f"{year}-0{k}-03T12:00", 60, "A1", cause="tree")
                 for k in range(1, 6)]
        made += [outage(f"b{year}", f"{year}-07-03T10:00", f"{year}-07-03T10:30", 30, "B1", cause="wind"),
                 outage(f"c{year}", f"{year}-08-03T10:00", f"{year}-08-03T11:00", 9, "C", cause="wind")]
    return [*made, outage("storm", "2024-09-09T00:00", "2024-09-12T00:00", 180, "B", cause="storm")]


@cache
def study(reported: bool = True, areas: bool = True, recorded: bool = True) -> Study:
    sections = pd.DataFrame(SECTIONS)
    made = Study.from_frames(
        sections if areas else sections.drop(columns="area"), pd.DataFrame(rows()) if recorded else None,
        history={"major_event_method": "fixed", "major_event_days": "2024-09-09", "conversions": {"A1": "2022-06-01"}},
        scenarios=[{"name": "All", "laterals": "all"}], trials=8, horizon_years=5, crew_rate_per_hour=2000.0,
        fast_operations=0,
        **({"report": REPORT} if reported else {}))
    return made


@cache
def content(reported: bool = True, areas: bool = True, recorded: bool = True) -> Content:
    with short_chains():
        return content_of(analyse(study(reported, areas, recorded)))


def tables(section) -> dict[str, Table]:
    return {block.key: block for block in section.blocks if isinstance(block, Table)}


def missing(section) -> str:
    return " ".join(f"{b.what} {b.remedy}" for b in section.blocks if isinstance(b, Missing))


def test_the_records_rank_the_feeders_and_the_model_stands_beside_them():
    found = tables(sections_worst.worst(content()))
    assert list(found)[:2] == ["recorded-feeders", "worst-feeders"]
    assert found["recorded-feeders"].frame["feeder_id"].tolist() == ["A", "B", "C"]
    assert found["worst-feeders"].frame["feeder_id"].tolist() == ["A", "B", "C"]
    assert found["worst-feeders"].frame["rank_saidi"].tolist()[1] == 1          # the model says B
    assert found["worst-feeders"].frame["recorded"].tolist() == [1, 3, 2]
    first = found["recorded-feeders"].frame.iloc[0]
    assert (first["saifi"], first["saidi_min"], first["events"]) == pytest.approx((300 / 200, 180.0, 5))
    assert "2024" in first["years_worst"]
    assert "SAIDI" in first["worst_by"]
    row = found["recorded-feeders"].frame.set_index("feeder_id").loc["B"]
    assert (row["saidi_min"], row["saidi_min_all"]) == pytest.approx((5.0, 5.0 + 72 * 60))
    assert "SAIDI" in row["worst_by_all"]
    assert "SAIDI" not in row["worst_by"]
    assert found["recorded-laterals"].frame["section_id"].tolist()[0] == "A1"
    assert "A1" in found["recorded-laterals"].frame["section_id_name"].tolist()


def test_the_model_ranks_only_where_there_are_no_records_and_that_is_said():
    section = sections_worst.worst(content(recorded=False))
    assert "ranked by the model" in missing(section)
    assert tables(section)["worst-feeders"].frame["feeder_id"].tolist()[0] == "B"
    assert "recorded-feeders" not in tables(section)
    assert "ranked by the model" not in missing(sections_worst.worst(content()))


def test_every_circuit_has_an_action_with_its_year_or_the_reason_for_none():
    for where in (content(), content(recorded=False)):
        found = tables(sections_worst.worst(where))
        key = "recorded-feeders" if where.history else "worst-feeders"
        chosen = where.selected.programme
        for row in found[key].frame.to_dict("records"):
            part = chosen[(chosen["feeder_id"] == row["feeder_id"]) & (chosen["what"] == "lateral")]
            if len(part):
                years = {programme_year(where.study, where.history, int(y)) for y in part["year"]}
                assert row["action"].startswith(f"Convert {len(part)} lateral")
                assert all(year in row["action"] for year in years)
            else:
                assert row["action"] == "None: no conversion on this feeder pays back."
    assert programme_year(study(), content().history, 1) == "2025"
    assert programme_year(study(recorded=False), None, 2) == "year 2"
    assert programme_year(study().with_assumptions(first_year=2030), content().history, 2) == "2031"


def test_reasons_name_limits_only_where_there_are_limits():
    limited = replace(content(), study=content().study.with_assumptions(budget=1.0))
    nothing = replace(limited, selected=replace(content().selected, frame=content().selected.frame.head(0),
                                                programme=content().selected.programme.head(0)))
    actions = tables(sections_worst.worst(nothing))["recorded-feeders"].frame["action"]
    assert set(actions) == {"None: no conversion on this feeder was chosen within the limits."}


def test_an_area_stands_with_its_figures_or_its_missing_column():
    found = tables(sections_areas.feeders(content()))
    frame = found["areas"].frame
    north = frame[(frame["area"] == "North") & (frame["year"] == "2024") & (frame["view"] == WITHOUT)].iloc[0]
    assert (north["saifi"], north["customers_served"]) == pytest.approx((30 / 320, 320))
    assert found["modelled-areas"].frame["area"].tolist() == ["North", "South"]
    assert "column area of sections.csv" not in missing(sections_areas.feeders(content()))
    for section in (sections_areas.feeders(content(areas=False)),
                    sections_areas.recorded(RecordedContent(study(areas=False), content(areas=False).history))):
        assert "column area of sections.csv" in missing(section)
        assert "same feeder_id" not in missing(section)


def test_a_benchmark_is_compared_in_its_own_view_or_named_as_missing():
    frame = records_reported.index_frame(content().history).set_index(["key", "view"])
    saifi = (300 + 30 + 9) / 470
    assert frame.loc[("saifi", WITHOUT), ["year", "benchmark", "against"]].tolist() == pytest.approx(
        [saifi, 0.5, saifi / 0.5 - 1])
    assert frame.loc[("saifi", ALL_EVENTS), ["benchmark", "against"]].isna().all()
    assert frame["benchmark"].notna().sum() == 2
    words = Page(page(outage_history(RecordedContent(study(), content().history)))).text
    assert "above the benchmark of 0.500" in words
    assert "below the benchmark of 90 000" in words.replace("\u202f", " ")
    assert "an order" in words
    every = read_history(study().with_assumptions(benchmark_excludes_major_events=False))
    assert records_reported.index_frame(every).set_index(["key", "view"])["benchmark"].loc["saifi"][ALL_EVENTS] == 0.5
    assert "standard of the regulator: not stated by the utility" in missing(
        sections_years.years(content(reported=False)))
    assert "regulator" not in missing(sections_years.years(content()))


def test_a_standard_is_so_far_above_its_benchmark_and_said_to_be_kept_or_not():
    made = read_history(study().with_assumptions(standard_above_benchmark=0.5,
                                                 standard_above_benchmark_three_years=0.1))
    frame = records_reported.index_frame(made).set_index(["key", "view"])
    row = frame.loc[("saifi", WITHOUT)]
    assert (row["standard"], row["standard_three"]) == pytest.approx((0.75, 0.55))
    assert row["year"] < row["standard"]
    assert row["three"] > row["standard_three"]
    words = Page(page(outage_history(RecordedContent(made.study, made)))).text
    assert "the standard of 0.750 is kept" in words
    assert "the standard of three years of 0.550 is not kept" in words
    bare = Page(page(outage_history(RecordedContent(study(), content().history)))).text
    assert "the standard of" not in bare


def test_the_face_states_what_is_known_and_says_what_is_not():
    for document in (report(content()), outage_history(RecordedContent(study(), content().history))):
        text = Page(page(document)).text
        for words in ("2026-03-31", "Planning", "The board", "Reporting year", "within five minutes", "Applied for"):
            assert words in text
        assert "not stated by the utility" not in text
    text = Page(page(report(content(reported=False)))).text
    assert "Date of the report, prepared by, approved by: not stated by the utility." in text
    assert "approved by, the reporting year: not stated by the utility." in Page(
        page(report(content(reported=False, recorded=False)))).text


def test_a_reporting_year_beyond_the_records_is_said():
    later = study().with_assumptions(reporting_year=2025)
    text = Page(page(outage_history(RecordedContent(later, read_history(later))))).text
    assert "Records of the whole of 2025: the figures of a single year are those of 2024." in text
    assert "Records of the whole" not in Page(page(outage_history(RecordedContent(study(), content().history)))).text


def test_earlier_plans_stand_with_what_verification_found():
    text = Page(page(report(content()))).text
    assert "40 km" in text
    pilot, trimming = study().plans
    assert verification(trimming, study(), content().history).startswith("Not verified: the plan names no converted")
    said = verification(pilot, study(), content().history)
    assert said.startswith("1 converted lateral")
    for name, row in content().history.conversions.measures.iterrows():
        assert str(row["verdict"] or "not determined") in said, name
    assert "no outage records" in verification(pilot, study(), None)
    assert "Plans of earlier reports: not stated by the utility." in Page(page(report(content(reported=False)))).text


def test_a_day_just_above_its_threshold_shows_by_how_much():
    table = tables(excluded(content()))["excluded"]
    history = content().history
    close = history.major_events.thresholds.assign(t_med=history.major_events.days["saidi_min"].iloc[0] - 0.00042)
    near = replace(history, major_events=replace(history.major_events, thresholds=close))
    assert excluded_days(near)["excess"].tolist() == pytest.approx([0.00042])
    shown = Page(page(outage_history(RecordedContent(study(), near)))).text
    assert "0.000420" in shown
    assert "excess" in [c.key for c in table.columns]


def test_causes_have_events_minutes_and_trend():
    table = tables(causes(content()))["causes"]
    frame = table.frame.set_index("cause")
    assert frame.loc["tree", ["events", "interruptions", "customer_minutes"]].tolist() == [20, 1200, 144_000]
    assert frame.loc["storm", ["events", "events_without"]].tolist() == [1, 0]
    assert {"events", "interruptions", "customer_minutes", "change_per_year", "trend"} <= {c.key for c in table.on_page}


def test_json_holds_the_figures_of_the_tables():
    summary = content().summary
    data, history = summary["records"], content().history
    assert data["reporting_year"] == data["year"] == 2024
    for row in sections_areas.observed_areas(history)[0].frame.to_dict("records"):
        entry = data["areas"][row["area"]][row["year"]]["all" if row["view"] == ALL_EVENTS else "without_major_events"]
        assert entry["saidi_min"] == pytest.approx(row["saidi_min"])
    for key, circuits in (("worst_feeders", history.reported.feeders), ("worst_laterals", history.reported.laterals)):
        listed = {c["id"]: c for c in data[key]["circuits"]}
        assert set(listed) == set(circuits.worst.index)
        for name, row in circuits.worst.iterrows():
            assert listed[name]["saidi_min_all"] == pytest.approx(row["saidi_min_all"])
    months = data["rolling_twelve_months"]["all"]
    assert months["2024-12"]["saifi"] == pytest.approx(history.every_event.years.loc[2024, "saifi"])
    assert data["causes"]["tree"]["events"] == 20
    assert data["completeness"]["cause"]["rows"] == 0
    assert summary["report"]["first_year"] == 2025
    assert [plan["name"] for plan in summary["report"]["plans"]] == ["Pilot", "Trimming"]
    assert set(summary["scenarios"][0]["areas"]) == {"North", "South"}
    assert content(recorded=False).summary["records"] is None


def test_a_modelled_area_has_the_figures_of_its_sections():
    seen = content().sections
    seen = seen[seen["scenario"] == "As built"].set_index("section_id")
    for area in ("North", "South"):
        inside = {s["section_id"]: s["customers"] for s in SECTIONS if s["area"] == area}
        found = content().summary["scenarios"][0]["areas"][area]
        for name, index, factor in (("failure_rate", "saifi", 1.0), ("outage_hours", "saidi_min", 60.0),
                                    ("momentary_events", "maifi_e", 1.0)):
            wanted = factor * sum(n * seen.loc[i, name] for i, n in inside.items()) / sum(inside.values())
            assert found[index] == pytest.approx(wanted)


def test_modelled_areas_sum_to_the_system():
    scenario = content().summary["scenarios"][0]
    areas = scenario["areas"].values()
    served = sum(a["customers_served"] for a in areas)
    for index in ("saifi", "saidi_min", "maifi_e"):
        whole = sum(a[index] * a["customers_served"] for a in areas) / served
        assert whole == pytest.approx(scenario["expected"][index])


def test_the_programme_is_dated_where_the_reporting_year_is_known():
    programme = content().selected.programme
    found = tables(selection(content()))["programme-years"]
    assert found.frame["year"].tolist() == sorted({2024 + int(y) for y in programme["year"]})
    undated = tables(selection(content(recorded=False)))["programme-years"]
    assert undated.frame["year"].tolist() == sorted(set(content(recorded=False).selected.programme["year"]))
    assert undated.columns[0].label == "Year of the programme"


def test_a_study_with_nothing_stated_still_has_every_section():
    bare = content(reported=False, areas=False)
    text = Page(page(report(bare))).text
    for words in ("Operating areas: no section states one", "Plans of earlier reports: not stated", "prepared by"):
        assert words in text
    assert len(HISTORY_SECTIONS) == 14
    assert np.isnan(records_reported.index_frame(bare.history)["benchmark"]).all()
