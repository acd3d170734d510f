"""The crews' work pack: what stands on its pages, and that text from files stays text."""

from __future__ import annotations

import dataclasses
import math
import re
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from reliability.business.chosen_checks import checks_of_selection
from reliability.network.application import application_frame, check_laterals
from reliability.network.application_catalogue import FAIL, PASS, REVIEW, UNKNOWN, VERDICTS
from reliability.report.work_pack import NOT_KNOWN, WORK_PACK_CAUTIONS, work_pack_html, write_work_pack
from reliability.report.work_pack_jobs import HOLD_MARK, READY, work_pack
from reliability.report.work_pack_rows import (
    BACKUP,
    COLUMNS_TO_FILL_IN,
    COUNTER_READING,
    DEVICE_ENTRIES,
    TAG,
    WORK,
    revision_of,
    work_pack_rows,
)
from reliability.report.work_pack_steps import AFTER_OPERATION, BEFORE_SERVICE, MAKERS_SHEET
from reliability.schema.assumptions import defaults
from reliability.schema.columns import SETTINGS
from tests.network import laterals
from tests.network.laterals import ALL, LATERAL, VALUES, checks_of
from tests.networks import study_of
from tests.report.work_packs import pack_of, programme_of, selection_of

EVIL = '=HYPERLINK("x")<script>alert(1)</script>'
AGREE = "agree with this sheet"
# Facts of the trade (common practice, no source): what a study may state under [inspection].
TRADE = {"actuator_ohm_low": 0.9, "actuator_ohm_high": 1.6, "leads_to_body_megohm": 100.0, "nut_torque_ft_lbf": 20.0,
         "meter_ma": 10.0}


class Text(HTMLParser):
    """Tags, and the text of each section as a list of non-blank pieces, by the id of its heading."""

    def __init__(self, page: str):
        super().__init__()
        self.tags: list[str] = []
        self.sections: list[list[str]] = []
        self.headings: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag == "section":
            self.sections.append([])
            self.headings.append(dict(attrs)["aria-labelledby"])

    def handle_data(self, data):
        if self.sections and data.strip():
            self.sections[-1].append(" ".join(data.split()))

    def all(self, what: str) -> list[str]:
        """Text of every section whose heading's id begins so."""
        return [" ".join(s) for s, h in zip(self.sections, self.headings, strict=True) if h.startswith(what)]


def sheet_of(pack) -> str:
    """Text of the one sheet of a pack."""
    (text,) = Text(work_pack_html(pack)).all("lateral-")
    return text


def several(names, **tap: object):
    study = study_of([laterals.BACKUP, *(LATERAL | {"section_id": name} | tap for name in names)], **VALUES)
    return check_laterals(study.model, ALL)


def with_verdict(checks, verdict: int):
    """The same checks, every lateral with this verdict because of one check."""
    number = np.full(len(checks), verdict, dtype=np.int8)
    first = dataclasses.replace(checks.checks[0], verdict=number)
    return dataclasses.replace(checks, checks=(first, *checks.checks[1:]), verdict=number)


def test_a_row_has_what_the_crew_needs():
    row = work_pack_rows(pack_of(checks_of({"phases": 2.0, "customers": 7.0}))).iloc[0]
    wanted = {"lateral_id": "tap", "feeder_id": "backup", "customers": 7, "units": 2, "rated_current_a": 50.0,
              "counts": 3, "counts_in_scenario": 2, "actuating_current_a": 80.0, "unseen_share": 0.0,
              "existing_device": "fuse", "existing_fuse_link": "80K", "backup_id": "backup",
              "backup_device": "recloser", "operations_to_lockout": 4, "fast_operations": 2,
              "fast_operations_today": 2, "minimum_trip_a": 200.0, "dead_time_s": 0.5, "verdict": "pass",
              "not_passed": "", "smallest_fault_current_a": 200.0, "status": READY, "resolve": "", "page": "4"}
    assert {key: row[key] for key in wanted} == wanted
    assert row.index[0] == "caution"
    assert "not settings" in row["caution"]
    assert (row[list(COLUMNS_TO_FILL_IN)] == "").all()


def test_ids_that_head_no_lateral_are_named():
    with pytest.raises(KeyError, match="nowhere"):
        work_pack(checks_of(), selection_of(checks_of()).assign(section_id="nowhere"))


def test_the_laterals_chosen_are_checked_at_the_settings_chosen_for_each():
    """Three operations admit two counts; the backup goes over to no fast operation for a alone."""
    study = study_of([laterals.BACKUP | {"operations_to_lockout": 3.0},
                      *(LATERAL | {"section_id": name} for name in "abc")], **VALUES)
    selection = pd.DataFrame({
        "what": ["lateral"] * 3 + ["backup settings"], "section_id": ["c", "a", "b", "backup"],
        "counts": [1.0, 3.0, np.nan, np.nan], "units": [1.0, 1.0, 1.0, 0.0],
        "device": ["sectionalizer", "sectionalizer", "lateral_recloser", ""],
        "fast_operations_of_backup": [2.0, 0.0, 2.0, 0.0]})
    pack = work_pack(checks_of_selection(study.model, selection), selection)
    rows = work_pack_rows(pack).set_index("lateral_id")
    assert rows["verdict"].to_dict() == {"a": "fail", "c": "pass"}
    assert rows["counts"].to_dict() == {"a": 3, "c": 1}
    assert rows["counts_in_scenario"].to_dict() == {"a": 2, "c": 1}   # lowered to what three operations admit
    assert rows["fast_operations"].to_dict() == {"a": 0, "c": 2}
    assert rows.at["a", "not_passed"] == "Counts, at most one less than the backup's operations"
    assert "fewer counts" in rows.at["a", "resolve"]
    page = Text(work_pack_html(pack))
    assert [("3 (study: 2)" in s, "0 (today 2)" in s) for s in page.all("lateral-")] == [
        (True, True), (False, False)]
    (resets,) = page.all("resets-")
    assert " backup 2 0" in resets
    (listed,) = page.all("list-")
    assert "3 laterals, 1 on HOLD, 1 without a sheet" in listed
    assert "b 1 no sheet" in listed


def test_what_the_study_does_not_know_is_said_and_blank_in_the_file():
    checks = checks_of({"peak_load_a": np.nan, "fault_current_source_a": np.nan, "fault_current_end_a": np.nan},
                       {"minimum_trip_a": np.nan, "dead_time_s": np.nan})
    pack = pack_of(checks)
    row = work_pack_rows(pack).iloc[0]
    assert row[["rated_current_a", "actuating_current_a", "unseen_share", "minimum_trip_a", "dead_time_s"]].isna().all()
    assert "nan" not in work_pack_html(pack).lower()
    sheet = sheet_of(pack)
    for label in ("Continuous rating", "Actuating current", "Minimum trip", "Shortest dead time", "peak load"):
        assert f"{label} {NOT_KNOWN}" in sheet, label


@pytest.mark.parametrize("verdict", [PASS, REVIEW, UNKNOWN, FAIL])
def test_a_lateral_that_is_not_pass_is_stamped_hold_with_what_to_resolve(verdict):
    pack = pack_of(with_verdict(checks_of(), verdict))
    page, row = Text(work_pack_html(pack)), work_pack_rows(pack).iloc[0]
    sheet, holds = sheet_of(pack), page.all("hold-")
    held = verdict != PASS
    assert row["status"] == (HOLD_MARK if held else READY)
    assert (HOLD_MARK in sheet) == held
    assert len(holds) == int(held)
    assert (AGREE in sheet) == (verdict in (PASS, REVIEW))
    assert ("As left" in sheet) == (verdict in (PASS, REVIEW))
    assert HOLD_MARK in page.all("list-")[0] or not held
    if held:
        check = pack.checks.checks[0]
        assert HOLD_MARK in holds[0]
        assert f"{check.kind.label}: {VERDICTS[verdict]}." in holds[0]
        assert f"To resolve: {row['resolve']}" in holds[0]
        assert row["resolve"]
        assert row["page"] == "4, 5"
        assert ("Released for installation" in holds[0]) == (verdict == REVIEW)
        assert ("not released by a signature" in holds[0]) == (verdict != REVIEW)


def test_no_sheet_asks_to_agree_with_a_value_that_is_not_known():
    for gap in ("peak_load_a", "fault_current_source_a", "fault_current_end_a"):
        sheet = sheet_of(pack_of(checks_of({gap: np.nan})))
        assert AGREE not in sheet
        assert "No steps of installation" in sheet


def test_every_page_has_its_number_the_study_and_the_revision_and_each_sheet_the_cautions():
    pack = pack_of(several(["a", "b", "c"]), ["b", "a"], study_name="Valley study")
    html = work_pack_html(pack)
    page, revision = Text(html), work_pack_rows(pack)["revision"].unique()
    total = len(page.sections)
    for number, section in enumerate(page.sections, start=1):
        assert section[:3] == ["Work pack:", "Valley study", f"Revision {revision[0]}"]
        assert section[3] == f"Page {number} of {total}"
    for sheet, lateral in zip(page.all("lateral-"), "ba", strict=False):
        assert all(caution in sheet for caution in WORK_PACK_CAUTIONS)
        assert lateral in sheet
    assert [h for h in page.headings if not h.startswith("lateral")] == ["cover", "list-1", "materials-1", "after",
                                                                        "after-1"]
    assert "@page" in html
    assert "break-after: page" in html


def test_the_revision_is_another_where_a_setting_an_order_or_a_status_is():
    def revision(checks, ids=None, **more) -> str:
        return work_pack_rows(pack_of(checks, ids, **more))["revision"].iloc[0]

    names = [revision(several("ab")), revision(several("ab"), ["a"]), revision(several("ab", peak_load_a=30.0)),
             revision(with_verdict(several("ab"), REVIEW)),
             revision(several("ab"), programme=programme_of({"a": 2, "b": 1}))]
    assert len(set(names)) == len(names)
    assert revision(several("ab")) == names[0]


def test_the_revision_is_another_where_the_date_a_name_or_the_calendar_year_is():
    def revision(**stated) -> str:
        checks = several("ab")
        checks = dataclasses.replace(checks, values={**checks.values, **stated})
        return revision_of(pack_of(checks, programme=programme_of({"a": 1, "b": 1})))

    names = [revision(), revision(date="2026-03-01"), revision(prepared_by="A"), revision(approved_by="A"),
             revision(first_year=2027), revision(first_year=2028)]
    assert len(set(names)) == len(names)


def test_no_page_and_no_row_names_a_column_of_the_study():
    pack = pack_of(several("ab", peak_load_a=math.nan))       # which is to be entered
    assert "enter it" in work_pack_html(pack)
    assert not re.search(r"enter (?:it|them) \(", work_pack_html(pack))
    assert work_pack_rows(pack)["resolve"].str.contains("enter it").all()
    assert not work_pack_rows(pack)["resolve"].str.contains(r"\(\w+_\w+", regex=True).any()


def test_actuators_used_up_stand_below_the_bill_of_materials_where_they_are_known():
    assert "use up about 66.5 actuators a year" in " ".join(work_pack_html(
        pack_of(several("ab"), actuators_per_year=66.5)).split())
    assert "use up" not in work_pack_html(pack_of(several("ab")))


def test_the_cover_has_who_and_when_where_the_study_states_them():
    checks = checks_of()
    stated = {"date": "2031-05-06", "prepared_by": "A. Planner", "approved_by": "B. Engineer", "first_year": 2032}
    checks = dataclasses.replace(checks, values={**checks.values, **stated})
    pack = pack_of(checks, programme=programme_of({"tap": 2}))
    (cover,) = Text(work_pack_html(pack)).all("cover")
    for wanted in ("Date 2031-05-06", "Prepared by A. Planner", "Approved by B. Engineer",
                   "1 sheet: 1 ready, 0 on HOLD"):
        assert wanted in cover, wanted
    assert "Planned for 2033 (year 2); checks: pass" in sheet_of(pack)
    (blank,) = Text(work_pack_html(pack_of(checks_of()))).all("cover")
    assert "Date Prepared by Approved by" in blank


def test_each_field_that_a_crew_fills_in_is_on_the_sheet():
    html = work_pack_html(pack_of(checks_of({"phases": 2.0, "device_id": "F-7", "location": "Pole 3"})))
    sheet = Text(html).all("lateral-")[0]
    for label in (*(label for _, label, _ in (*DEVICE_ENTRIES, *BACKUP, COUNTER_READING)),
                  *(label for _, label in (*TAG, *WORK)),
                  "Device number F-7", "Location Pole 3", "Phases, units 2", "As found", "As left",
                  "the utility's own procedure for hot-line tags", "Taken out at", "Restored at", "Counts"):
        assert label in sheet, label
    body = html[html.index('aria-labelledby="lateral-1"'):html.index('aria-labelledby="after"')]
    found_and_left = 2 * len((*DEVICE_ENTRIES, *BACKUP,
                              COUNTER_READING)) + 1      # and the counter, of which none is proposed
    assert len(re.findall(r"<td></td>", body)) == found_and_left + len(TAG) + 2 * len(BEFORE_SERVICE) + len(WORK)
    assert len(COLUMNS_TO_FILL_IN) == len(set(COLUMNS_TO_FILL_IN))


def test_the_sheet_states_the_settings_and_the_facts_of_the_trade():
    """Resistance, insulation, torque and meter of a study that states the facts of the trade (no source)."""
    page = Text(work_pack_html(pack_of(checks_of({"phases": 3.0}, **TRADE))))
    sheet, card = page.all("lateral-")[0], page.all("after")[0]
    for wanted in ("50 A", "80 A", "200 A", "0.5 s", "0.9 Ω to 1.6 Ω", "at most 10 mA", "more than 100 MΩ", "20 ft·lbf",
                   "finger tight", "cracked", "3 (study: 2)", "Unit 3"):
        assert wanted in sheet, wanted
    for text, steps in ((sheet, BEFORE_SERVICE), (card, AFTER_OPERATION)):
        printed = [step.printed(defaults() | TRADE) for step in steps]
        assert all(f"{step['text']} {step['limit']}" in text for step in printed)
        assert MAKERS_SHEET not in text
        assert "no source" not in text
    assert "Unit 4" not in sheet


def test_the_card_for_after_an_operation_is_apart_from_the_sheets():
    page = Text(work_pack_html(pack_of(several(["a", "b"]))))
    assert page.headings[-2:] == ["after", "after-1"]
    card, table = page.all("after")
    assert "Spent actuator" in card
    assert not any("Spent actuator" in sheet for sheet in page.all("lateral-"))
    assert "a backup 1 50 A 80 A 3 ready" in table


def test_limits_that_the_study_leaves_blank_are_the_maker_s():
    """Resistance, insulation and torque on sheet and card, and the meter on both."""
    page = Text(work_pack_html(pack_of(checks_of())))
    for text in (page.all("lateral-")[0], page.all("after")[0]):
        assert text.count(MAKERS_SHEET) == 3 + 1
        assert not any(sign in text for sign in ("Ω", "ft·lbf", "mA"))


def test_each_limit_stands_by_itself():
    def text(**limits: float) -> str:
        return sheet_of(pack_of(checks_of(**limits)))

    assert "at least 0.5 Ω" in text(actuator_ohm_low=0.5)
    assert "at most 2 Ω" in text(actuator_ohm_high=2.0)
    assert "more than 50 MΩ" in text(leads_to_body_megohm=50.0)
    assert "about 35 ft·lbf (47 N·m)" in text(nut_torque_ft_lbf=35.0)
    assert "meter of at most 5 mA" in text(meter_ma=5.0)
    assert text(meter_ma=5.0).count(MAKERS_SHEET) == 3


def test_what_the_crew_is_told_of_the_backup_is_what_was_checked():
    """The least pickup of its elements, its longest dead time, and currents times the factor."""
    settings = pd.DataFrame([("backup", "phase", "delayed", 400.0, "definite", 0.1, 0.0),
                             ("backup", "ground", "delayed", 150.0, "definite", 0.1, 0.0)],
                            columns=[c.name for c in SETTINGS])
    row = work_pack_rows(pack_of(checks_of(backup={"longest_dead_time_s": 12.0}, settings=settings,
                                           fault_current_factor=1.5))).iloc[0]
    assert row[["minimum_trip_a", "longest_dead_time_s", "fault_current_source_a",
                "smallest_fault_current_a"]].tolist() == [150.0, 12.0, 600.0, 300.0]


def test_the_probability_of_each_lateral_is_in_the_planners_table_and_on_no_sheet():
    checks = checks_of()
    pack = work_pack(checks, selection_of(checks, probability_npv_positive=0.834))
    assert "83.4" not in work_pack_html(pack)
    assert work_pack_rows(pack)["probability_npv_positive"].tolist() == [0.834]
    assert "probability_npv_positive" not in work_pack_rows(pack_of(checks))


def test_text_from_files_is_inert(tmp_path):
    names = [EVIL, "+1-1", "x" * 10_000, "🙂", "שלום", '"><img src=x onerror=alert(1)>']
    checks = several(names, fuse_link="=1+1")
    csv, html = write_work_pack(tmp_path, pack_of(checks, study_name="<b>Study</b>"))
    page = html.read_text(encoding="utf-8")
    parsed = Text(page)
    assert not {"script", "img", "b", "a", "link", "iframe"} & set(parsed.tags)
    assert not [value for name, value in parsed.attributes if name.startswith("on") or name in ("src", "href")]
    back = pd.read_csv(csv, dtype=str, keep_default_na=False)
    assert back["lateral_id"].tolist() == ["'" + EVIL, "'+1-1", *names[2:]]
    assert set(back["existing_fuse_link"]) == {"'=1+1"}
    assert not back.map(lambda cell: cell.startswith(("=", "+", "-", "@"))).any(axis=None)


def test_an_empty_pack_is_a_cover_that_says_so(tmp_path):
    csv, html = write_work_pack(tmp_path, work_pack(checks_of(), None))
    page = Text(html.read_text(encoding="utf-8"))
    assert page.headings == ["cover"]
    assert "No lateral is proposed" in " ".join(page.sections[0])
    assert len(pd.read_csv(csv)) == 0


def test_a_row_tells_of_its_own_lateral_whichever_have_a_sheet():
    """Against the frame of all laterals: two of five that differ, not the first ones."""
    checks = checks_of(below=[LATERAL | {"section_id": f"l{k}", "peak_load_a": 20.0 * k,
                                         "fault_current_source_a": 900.0, "fault_current_end_a": 900.0 - 200.0 * k}
                              for k in range(1, 5)])
    whole = application_frame(checks).set_index("lateral_id")
    smallest = dict(zip(checks.lateral_ids, checks.check("sees_faults").value, strict=True))
    found = work_pack_rows(pack_of(checks, ["l4", "l2"])).set_index("lateral_id")
    assert set(found.index) == {"l2", "l4"}
    for name, row in found.iterrows():
        own = whole.loc[name]
        assert (row["verdict"], row["not_passed"], row["counts"]) == (own["verdict"], own["not_passed"], own["counts"])
        for column in ("rated_current_a", "actuating_current_a", "unseen_share"):
            assert row[column] == pytest.approx(own[column], nan_ok=True), column
        assert row["smallest_fault_current_a"] == smallest[name]
        assert row["peak_load_a"] == 20.0 * int(name[1:])
    for column in ("verdict", "not_passed", "unseen_share"):
        assert whole[column].loc[["tap", "l1"]].to_list() != whole[column].loc[["l2", "l4"]].to_list(), column
