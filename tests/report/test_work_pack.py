"""The crews' work pack: what stands on the sheets, and that text from files stays text."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from reliability.network.application import check_laterals
from reliability.report.work_pack import (
    AFTER_OPERATION,
    BACKUP,
    BEFORE_SERVICE,
    CAUTIONS,
    MAKERS_SHEET,
    TO_FILL_IN,
    checks_of_selection,
    work_pack_html,
    work_pack_rows,
    write_work_pack,
)
from reliability.schema.assumptions import defaults
from reliability.schema.columns import SETTINGS
from reliability.schema.scenarios import Scenario
from tests.network import laterals
from tests.network.laterals import ALL, LATERAL, VALUES, checks_of
from tests.networks import study_of

EVIL = '=HYPERLINK("x")<script>alert(1)</script>'
# Facts of the trade (common practice, no source): what a study may state under [inspection].
TRADE = {"actuator_ohm_low": 0.9, "actuator_ohm_high": 1.6, "leads_to_body_megohm": 100.0, "nut_torque_ft_lbf": 20.0,
         "meter_ma": 10.0}


class Text(HTMLParser):
    """Tags, and the text of each section as a list of non-blank pieces."""

    def __init__(self, page: str):
        super().__init__()
        self.tags: list[str] = []
        self.sections: list[list[str]] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag == "section":
            self.sections.append([])

    def handle_data(self, data):
        if self.sections and data.strip():
            self.sections[-1].append(" ".join(data.split()))


def several(names, **tap: object):
    study = study_of([laterals.BACKUP, *(LATERAL | {"section_id": name} | tap for name in names)], **VALUES)
    return check_laterals(study.model, ALL)


def test_a_row_has_what_the_crew_needs():
    row = work_pack_rows(checks_of({"phases": 2.0, "customers": 7.0})).iloc[0]
    wanted = {"lateral_id": "tap", "feeder_id": "backup", "customers": 7, "units": 2, "rated_current_a": 50.0,
              "counts": 3, "counts_in_scenario": 2, "actuating_current_a": 80.0, "unseen_share": 0.0,
              "existing_device": "fuse", "existing_fuse_link": "80K", "backup_id": "backup",
              "backup_device": "recloser",
              "operations_to_lockout": 4, "fast_operations": 2, "minimum_trip_a": 200.0, "dead_time_s": 0.5,
              "verdict": "pass", "not_passed": "", "smallest_fault_current_a": 200.0}
    assert {key: row[key] for key in wanted} == wanted
    assert row.index[0] == "caution"
    assert "not settings" in row["caution"]
    assert (row[list(TO_FILL_IN)] == "").all()


def test_chosen_laterals_in_the_order_asked():
    checks = several(["a", "b", "c"])
    assert work_pack_rows(checks, ["c", "a"])["lateral_id"].tolist() == ["c", "a"]
    assert work_pack_rows(checks)["lateral_id"].tolist() == ["a", "b", "c"]
    assert len(work_pack_rows(checks, [])) == 0
    with pytest.raises(KeyError, match="nowhere"):
        work_pack_rows(checks, ["a", "nowhere"])


def test_the_laterals_chosen_are_checked_at_the_settings_chosen_for_each():
    """Three operations admit two counts; a's backup goes over to no fast operation."""
    study = study_of([laterals.BACKUP | {"operations_to_lockout": 3.0},
                      *(LATERAL | {"section_id": name} for name in "abc")], **VALUES)
    selection = pd.DataFrame({"section_id": ["c", "a", "b", "backup"], "counts": [1.0, 3.0, np.nan, np.nan],
                              "device": ["sectionalizer", "sectionalizer", "lateral_recloser", ""],
                              "fast_operations_of_backup": [2.0, 0.0, 2.0, 0.0]})
    checks, ids = checks_of_selection(study.model, selection)
    assert ids == ["c", "a"]
    rows = work_pack_rows(checks, ids).set_index("lateral_id")
    assert rows["verdict"].tolist() == ["pass", "fail"]
    assert rows["counts"].tolist() == [1, 3]
    assert rows["counts_in_scenario"].tolist() == [1, 2]  # lowered to what three operations admit
    assert rows["fast_operations"].tolist() == [2, 0]
    assert rows.at["a", "not_passed"] == "Fewer counts than the backup's operations"
    page = Text(work_pack_html(checks, ids)).sections
    assert ["To settle first" in sheet for sheet in page] == [False, True]
    assert ["the study assumes" in " ".join(sheet) for sheet in page] == [False, True]


def test_what_the_study_does_not_know_is_blank():
    checks = checks_of({"peak_load_a": np.nan, "fault_current_source_a": np.nan, "fault_current_end_a": np.nan},
                       {"minimum_trip_a": np.nan, "dead_time_s": np.nan})
    row = work_pack_rows(checks).iloc[0]
    assert row[["rated_current_a", "actuating_current_a", "unseen_share", "minimum_trip_a", "dead_time_s"]].isna().all()
    assert "nan" not in work_pack_html(checks).lower()


def test_one_sheet_a_lateral_each_headed_by_the_cautions():
    page = work_pack_html(several(["a", "b", "c"]), ["b", "a"], "Valley study")
    parsed = Text(page)
    assert len(parsed.sections) == 2
    for sheet, lateral in zip(parsed.sections, "ba", strict=True):
        assert tuple(sheet[:len(CAUTIONS)]) == CAUTIONS
        assert lateral in sheet
        assert "Valley study" in sheet
    assert "@page" in page
    assert "break-after: page" in page


def test_the_sheet_states_the_settings_and_the_facts_of_the_trade():
    """Resistance, insulation, torque and meter of a study that states the facts of the trade (no source)."""
    sheet = Text(work_pack_html(checks_of({"phases": 3.0}, **TRADE))).sections[0]
    text = " ".join(sheet)
    for wanted in ("50 A", "80 A", "200 A", "0.5 s", "0.9 Ω to 1.6 Ω", "at most 10 mA", "more than 100 MΩ", "20 ft·lbf",
                   "finger tight", "cracked", "common practice, no source", "the study assumes 2"):
        assert wanted in text, wanted
    steps = [step.printed(defaults() | TRADE) for step in (*BEFORE_SERVICE, *AFTER_OPERATION)]
    assert all(step["text"] in sheet and step["limit"] in sheet for step in steps)
    assert MAKERS_SHEET not in text
    assert all(label in sheet for _, label, _ in BACKUP)
    assert sheet.count("Unit 3") == 2
    assert "Unit 4" not in sheet


def test_limits_that_the_study_leaves_blank_are_the_maker_s():
    """Resistance, insulation and torque, before and after, and the meter twice."""
    text = " ".join(Text(work_pack_html(checks_of())).sections[0])
    assert text.count(MAKERS_SHEET) == 2 * 3 + 2
    assert not any(sign in text for sign in ("Ω", "ft·lbf", "mA"))


def test_each_limit_stands_by_itself():
    def text(**limits: float) -> str:
        return " ".join(Text(work_pack_html(checks_of(**limits))).sections[0])

    assert "at least 0.5 Ω" in text(actuator_ohm_low=0.5)
    assert "at most 2 Ω" in text(actuator_ohm_high=2.0)
    assert "more than 50 MΩ" in text(leads_to_body_megohm=50.0)
    assert "about 35 ft·lbf (47 N·m)" in text(nut_torque_ft_lbf=35.0)
    assert "meter of at most 5 mA" in text(meter_ma=5.0)
    assert text(meter_ma=5.0).count(MAKERS_SHEET) == 6


def test_what_the_crew_is_told_of_the_backup_is_what_was_checked():
    """The least pickup of its elements, its longest dead time, and currents times the factor."""
    settings = pd.DataFrame([("backup", "phase", "delayed", 400.0, "definite", 0.1, 0.0),
                             ("backup", "ground", "delayed", 150.0, "definite", 0.1, 0.0)],
                            columns=[c.name for c in SETTINGS])
    row = work_pack_rows(checks_of(backup={"longest_dead_time_s": 12.0}, settings=settings,
                                   fault_current_factor=1.5)).iloc[0]
    assert row[["minimum_trip_a", "longest_dead_time_s", "fault_current_source_a",
                "smallest_fault_current_a"]].tolist() == [150.0, 12.0, 600.0, 300.0]


def test_a_field_to_fill_in_for_each_unit_and_step():
    """Two tables of steps × units, one row for the backup as found, one for the names."""
    page = work_pack_html(checks_of({"phases": 2.0}))
    empty = len(re.findall(r"<td></td>", page))
    assert empty == 2 * (len(BEFORE_SERVICE) + len(AFTER_OPERATION)) + len(BACKUP) + 4


def test_points_to_settle_are_named_with_the_gravest_first():
    sheet = Text(work_pack_html(checks_of({"generation_kw": 50.0}, {"minimum_trip_a": 50.0, "dead_time_s": np.nan})))
    sheet = sheet.sections[0]
    assert "To settle first" in sheet
    first = sheet.index("To settle first") + 1
    assert sheet[first:first + 6:2] == ["fail", "unknown", "review"]
    assert "counts whenever the backup trips" in sheet
    assert "To settle first" not in Text(work_pack_html(checks_of())).sections[0]


def test_text_from_files_is_inert(tmp_path):
    names = [EVIL, "+1-1", "x" * 10_000, "🙂", "שלום", '"><img src=x onerror=alert(1)>']
    checks = several(names, fuse_link="=1+1")
    csv, html = write_work_pack(tmp_path, checks, None, "<b>Study</b>")
    page = html.read_text(encoding="utf-8")
    parsed = Text(page)
    assert not {"script", "img", "b", "a", "link", "iframe"} & set(parsed.tags)
    assert not [value for name, value in parsed.attributes if name.startswith("on") or name in ("src", "href")]
    assert "x" * 100 not in page
    back = pd.read_csv(csv, dtype=str, keep_default_na=False)
    assert back["lateral_id"].tolist() == ["'" + EVIL, "'+1-1", *names[2:]]
    assert set(back["existing_fuse_link"]) == {"'=1+1"}
    assert not back.map(lambda cell: cell.startswith(("=", "+", "-", "@"))).any(axis=None)


def test_an_empty_pack_is_a_page_without_sheets(tmp_path):
    _, html = write_work_pack(tmp_path, checks_of(), [])
    assert Text(html.read_text(encoding="utf-8")).sections == []


@pytest.mark.slow
@pytest.mark.skipif(not (shutil.which("chromium") and shutil.which("pdfinfo")),
                    reason="apt-get install chromium poppler-utils")
@pytest.mark.parametrize("size", ["Letter", "A4"])
def test_the_fullest_sheets_print_on_one_page_each(tmp_path, size):
    """Long names, three units, nearly every check open."""
    wide = "W" * 200
    rows = [{"section_id": "R" + wide, "device": "recloser"}] + [
        {"section_id": f"{k} {wide}", "parent_id": "R" + wide, "device": "fuse", "phases": 3.0, "peak_load_a": 170.0,
         "generation_kw": 50.0} for k in range(3)]
    study = study_of(rows, device_bil_kv=60.0)
    checks = check_laterals(study.model, Scenario("X " * 99, None, "sectionalizer", 3))
    page = tmp_path / "pack.html"
    page.write_text(work_pack_html(checks, None, "Study " * 40).replace("@page {", f"@page {{ size: {size};"),
                    encoding="utf-8")
    printed = tmp_path / "pack.pdf"
    subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
                    f"--print-to-pdf={printed}", page.as_uri()], check=True, capture_output=True, timeout=60)
    found = subprocess.run(["pdfinfo", printed], check=True, capture_output=True, text=True, timeout=60)
    assert re.search(r"Pages:\s+3\n", found.stdout)
