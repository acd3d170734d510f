"""report.html: its figures are those of summary.json, it is whole in itself, and says what is missing."""

from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd
import pytest

from reliability.formats import NOT_MEANINGFUL, shown
from reliability.report.blocks import Table, Text, tables
from reliability.report.documents import report, sections
from reliability.report.figures import plain, resolve
from reliability.report.page import page
from reliability.report.sections_business import business
from reliability.report.sections_laterals import application, selection
from reliability.report.sections_model import assumptions
from reliability.report.sections_model import scenarios as model_scenarios
from reliability.schema.assumptions import ASSUMPTIONS, BY_KEY
from tests.report.parsed import Page, figures_hold

TITLES = ("Summary", "Selection and programme", "Scenarios side by side", "Business case",
          "Sensitivity and break-even values", "Reporting period and definitions", "Indices by year",
          "Indices by feeder and area", "Worst feeders and laterals", "Ten largest events", "Causes", "Excluded days",
          "What earlier conversions achieved", "Data accuracy", "Application checks",
          "Coordination of fuses and reclosing devices", "Method", "Assumptions", "Limits and cautions",
          "Reproducibility")


@pytest.fixture(scope="module")
def parsed(written) -> Page:
    return Page((written / "report.html").read_text(encoding="utf-8"))


def test_every_marked_figure_is_that_of_summary_json(parsed, summary_json):
    assert len(parsed.figures) > 300
    figures_hold(parsed, summary_json)


def test_every_index_and_business_figure_of_every_scenario_is_marked(parsed, summary_json):
    marked = {path for path, *_ in parsed.figures}
    for i, scenario in enumerate(summary_json["scenarios"]):
        for name in ("saifi", "saidi_min", "caidi_min", "asai", "maifi", "maifi_e", "ens_mwh"):
            assert f"/scenarios/{i}/expected/{name}" in marked
        for name in ("saifi", "saidi_min", "maifi_e"):
            for part in ("p10", "p90"):
                assert f"/scenarios/{i}/simulated/{name}/{part}" in marked
            if i:
                assert f"/scenarios/{i}/difference_to_as_built/{name}/expected" in marked
        for part in ("business", "business/society"):
            for name in ("capex", "npv", "irr", "bcr", "cost_per_ci_avoided"):
                if resolve(scenario, f"/{part}/{name}") is not None:
                    assert f"/scenarios/{i}/{part}/{name}" in marked
    assert "/choice/totals/npv" in marked
    assert {f"/scenarios/0/feeders/{f}/saifi" for f in summary_json["scenarios"][0]["feeders"]} <= marked


def test_every_section_is_there_in_order(parsed):
    places = [parsed.text.find(f"{i}. {title}") for i, title in enumerate(TITLES, start=1)]
    assert -1 not in places
    assert places == sorted(places)


def test_nothing_is_fetched_and_nothing_runs(written, parsed):
    html = (written / "report.html").read_text(encoding="utf-8")
    assert not re.search(r"url\((?!#)|@import|https?://(?!www\.w3\.org/2000/svg)", html)
    for tag, attributes in parsed.tags:
        assert tag not in ("script", "iframe", "object", "link", "img", "form")
        assert not [a for a in attributes if a.startswith("on")]
        assert (attributes.get("href") or "#").startswith("#")
        assert "src" not in attributes


def test_charts_say_what_they_show_and_tables_have_heads(parsed):
    kinds = [tag for tag, _ in parsed.tags]
    assert kinds.count("svg") >= 8
    assert kinds.count("svg") == kinds.count("title") - 1 == kinds.count("desc")
    assert kinds.count("table") == kinds.count("caption") == kinds.count("thead")
    ids = [a["id"] for _, a in parsed.tags if a.get("id")]
    assert len(ids) == len(set(ids))
    assert all(a.get("scope") in ("col", "row") for tag, a in parsed.tags if tag == "th")


def test_every_column_has_a_head(content):
    assert not [t.key for t in tables(sections(content)) if not all(c.label.strip() for c in t.columns)]


def test_the_caution_stands_in_it(parsed):
    assert "Planning estimates, not settings" in parsed.text


def test_the_largest_network_lists_the_top_and_points_to_the_workbook(parsed, content):
    laterals = shown(content.laterals["lateral_id"].nunique(), "count")
    assert re.search(rf"\(\d+ of {laterals} rows; all in workbook\.xlsx", parsed.text)


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(("part", "empty", "said"), [
    ("history", None, "the study has no outage records"), ("selected", None, "The selection: it was not made"),
    ("drivers", None, "Sensitivity and break-even values: they were not computed"),
    ("application", None, "The application checks: they were not made"),
    ("coordination", None, "Coordination: it was not computed"),
])
def test_a_missing_part_is_named_where_it_would_stand(content, part, empty, said):
    parsed = Page(page(report(replace(content, **{part: empty}))))
    assert f"Not available. {said}" in parsed.text.replace("Indices by year: ", "")
    assert "Not available" in parsed.text
    assert [i for i, title in enumerate(TITLES, start=1) if f"{i}. {title}" not in parsed.text] == []


@pytest.mark.usefixtures("undrawn")
def test_without_business_and_simulation_the_report_still_stands(content):
    bare = {**content.summary, "trials": None, "trial_years": None, "choice": None, "scenarios": [
        {k: s[k] for k in ("name", "expected", "feeders")} for s in content.summary["scenarios"]]}
    columns = [c for c in content.laterals if c not in ("npv", "capex", "rank", "cost")]
    thin = replace(content, summary=bare, cases={}, selected=None, drivers=None, laterals=content.laterals[columns])
    parsed = Page(page(report(thin)))
    assert "Not available. The business case: it was not computed" in parsed.text
    assert "Not available. Intervals: nothing was simulated" in parsed.text
    assert len(sections(thin)) == len(TITLES)


def test_only_laterals_that_do_not_pass_are_listed_as_such(content):
    section = application(content)
    table = next(b for b in section.blocks if getattr(b, "key", "") == "application")
    verdicts = table.frame["verdict"].tolist()
    assert 0 < len(verdicts) == (content.application.verdict > 0).sum() < len(content.application)
    assert verdicts == sorted(verdicts, key=("fail", "unknown", "review").index)


def test_the_choice_says_whether_it_may_change_fast_tripping(content):
    free = replace(content, study=replace(content.study, values={**content.study.values,
                                                                 "backup_settings": "may_change"}))
    said = [str(selection(c).blocks[1].sentence[0]) for c in (content, free)]
    assert "as built" in said[0]
    assert "0 or 2 fast operations" in said[1]


def test_what_the_study_states_is_set_by_it_though_it_be_the_default(content):
    study = content.study
    assert study.values["switching_hours"] == BY_KEY["switching_hours"].default
    table = next(block for block in assumptions(content).blocks if isinstance(block, Table))
    by = dict(zip(table.frame["key"], table.frame["from"], strict=True))
    assert by["switching_hours"] == "study"
    silent = [a.key for a in ASSUMPTIONS
              if f"{a.table}.{a.key}" not in study.lines and study.values[a.key] == a.default]
    assert {by[key] for key in silent} == {"default"}


def test_the_command_to_repeat_a_run_names_no_folder_of_this_machine(content):
    assert content.command.startswith("python -m reliability run STUDY --out DIR --trials ")


def test_a_scenario_that_changes_nothing_is_named_once_and_in_no_table(content):
    scenarios = list(content.summary["scenarios"])
    at = content.alternatives[-1]
    free = {**scenarios[at]["business"], "capex": 0.0}
    for idle in (True, False):
        expected = scenarios[0]["expected"] if idle else {**scenarios[0]["expected"], "saifi": 9.0}
        changed = [*scenarios]
        changed[at] = {**scenarios[at], "expected": expected, "business": free}
        made = replace(content, summary={**content.summary, "scenarios": changed})
        name = content.scenarios[at]
        blocks = model_scenarios(made).blocks
        listed = [b.key for b in blocks if isinstance(b, Table) and "scenario" in b.frame
                  and name in b.frame["scenario"].tolist()]
        text = " ".join(plain(b.sentence) for b in blocks if isinstance(b, Text))
        assert bool(listed) != idle
        assert (f"No table lists “{name}”" in text) == idle


@pytest.mark.usefixtures("undrawn")
def test_no_line_breaks_between_a_number_and_its_unit(content):
    html = page(report(content))
    assert not re.search(r"\d</data> (?:USD|min|M|%)\b", html)
    assert not re.search(r"<data[^>]*>[^<]*\d [^<]*</data>", html)
    assert "\u00a0USD" in html


@pytest.mark.usefixtures("undrawn")
def test_each_printed_page_names_the_report_and_its_run(content):
    name = 'A "town" \\ </style>'
    html = page(replace(report(content), name=name))
    style = html[html.index("<style>"):html.index("</style>")]
    assert f"run of inputs {content.summary['inputs_sha256'][:12]}, planning estimates, not settings" in style
    assert 'A \\000022town\\000022 \\00005c \\00003c\\00002fstyle\\00003e' in style


def test_the_report_quotes_the_revision_of_the_work_pack(written, summary_json):
    revision = summary_json["choice"]["work_pack_revision"]
    assert f"Revision {revision}" in (written / "work_pack.html").read_text(encoding="utf-8")
    assert set(pd.read_csv(written / "work_pack.csv")["revision"]) == {revision}
    assert f"<dt>Work pack revision</dt><dd>{revision}</dd>" in (written / "report.html").read_text(encoding="utf-8")


def test_a_note_of_what_is_not_meaningful_stands_only_where_something_is_so_marked(changed, content):
    at = content.alternatives[0]

    def note(ratio: float) -> str:
        now = changed({("scenarios", at, "business", "bcr"): ratio}, cases={})
        return next(b.note for b in business(now).blocks if isinstance(b, Table) and b.key == "merit-utility")

    assert NOT_MEANINGFUL in note(-108.17)
    table = next(b for b in business(changed({("scenarios", i, "business", key): value
                                              for i in range(1, len(content.scenarios))
                                              for key, value in (("bcr", 2.0), ("irr", 0.1),
                                                                 ("discounted_payback_years", 5.0))}, cases={})).blocks
                 if isinstance(b, Table) and b.key == "merit-utility")
    assert NOT_MEANINGFUL not in table.note
