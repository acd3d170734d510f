"""The work pack printed: one page of it on one of paper, on both papers, in letters that are read outdoors."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.business.chosen_checks import checks_of_selection
from reliability.network.application import check_laterals
from reliability.network.application_catalogue import FAIL, PASS, REVIEW, UNKNOWN, CheckKind
from reliability.pipeline import analyse, decide
from reliability.report.work_pack import work_pack_html
from reliability.report.work_pack_jobs import work_pack
from reliability.report.work_pack_of_results import work_pack_of
from reliability.report.work_pack_rows import revision_of
from reliability.schema.scenarios import Scenario
from reliability.study.plan_view import plan_view
from tests.browser.conftest import missing, settle, visit
from tests.browser.test_report import INSTALL_PDF
from tests.networks import study_of
from tests.report.work_packs import pack_of, programme_of

PAPERS = ["Letter", "A4"]
LEAST_PT = 10.0
LOADS_A = (70.0, 3.0, 5.0, 7.0, 9.0, 14.0, 18.0, 23.0, 30.0)
PX_IN_PT = 96 / 72
# points of the letters of every piece of text, those of a picture as large as the picture makes them
SIZES = """() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = {};
  while (walker.nextNode()) {
    const of = walker.currentNode.parentElement, text = walker.currentNode.data.trim();
    if (!text || ['TITLE', 'STYLE', 'DESC'].includes(of.tagName.toUpperCase())) continue;
    const own = parseFloat(getComputedStyle(of).fontSize);
    const size = of.ownerSVGElement ? own * of.getScreenCTM().a : own;
    found[text.slice(0, 30)] = Math.min(size, found[text.slice(0, 30)] ?? 1e9);
  }
  return found;
}"""


@pytest.fixture(scope="module")
def demo_pack(demo) -> str:
    """The page of what the demo's choice converts, with its maps."""
    chosen = decide(demo).choice.selection
    return work_pack_html(work_pack(checks_of_selection(demo.model, chosen), chosen, study_name=demo.name,
                                    view=plan_view(demo.network, demo.routes)))


def fullest(verdicts: tuple[int, ...], number: int = 6) -> str:
    """Long names, three units, and every check of the device at one of the verdicts, by turns, if it can be.

    number: of laterals, of all ratings and in seven years; as many backups to be set.
    """
    wide = "W" * 200
    names = {"location": wide, "device_id": f"D{wide}"}
    known = {"fault_current_source_a": 1234.0, "fault_current_end_a": 1111.0}
    rows = [{"section_id": "R" + wide, "device": "recloser", "feeder_id": wide, "minimum_trip_a": 345.0,
             "dead_time_s": 2.5, "fast_operations": 2.0, **known, **names}] + [
        {"section_id": f"{k} {wide}", "parent_id": "R" + wide, "device": "fuse", "phases": 3.0, "length_km": 1.0,
         "peak_load_a": LOADS_A[k % len(LOADS_A)], "feeder_id": wide, "fuse_link": "200T", **known, **names,
         "device_id": f"D{k}{wide}"} for k in range(number)]
    study = study_of(rows)
    checks = check_laterals(study.model, Scenario("X " * 99, None, "sectionalizer", 3))
    at = np.array([verdicts[k % len(verdicts)] for k in range(len(checks))], dtype=np.int8)
    mild = np.where(at == REVIEW, PASS, at).astype(np.int8)
    reasons = [dataclasses.replace(c, verdict=at if for_review(c.kind) else mild,
                                   reason=np.where(at == UNKNOWN, c.kind.missing, c.kind.broken).astype(object))
               for c in checks.checks]
    stated = {"date": "2031-05-06", "prepared_by": wide, "approved_by": wide, "first_year": 2031,
              "meter_ma": 10.0, "nut_torque_ft_lbf": 20.0, "actuator_ohm_low": 0.9, "actuator_ohm_high": 1.6}
    checks = dataclasses.replace(checks, checks=tuple(reasons), verdict=at, values={**checks.values, **stated})
    years = {str(i): 1 + k % 7 for k, i in enumerate(checks.lateral_ids)}
    pack = pack_of(checks, programme=programme_of(years), study_name="Study " * 40)
    jobs = pack.jobs.assign(probability_npv_positive=0.5)
    resets = pd.DataFrame({"backup_id": "R" + wide, "year": 1, "fast_operations": 0.0}, index=range(number))
    return work_pack_html(dataclasses.replace(pack, jobs=jobs, resets=resets))


def for_review(kind: CheckKind) -> bool:
    """Whether a check that is not met may ask for review only."""
    return kind.outside == REVIEW or kind.key in ("sees_faults", "dead_time", "sequence", "inrush")


def pages_printed(browser, html: str, paper: str, folder: Path) -> list[str]:
    """Text of each page of paper."""
    if not shutil.which("pdftotext"):
        missing("pdftotext", INSTALL_PDF)
    page = browser.new_page(java_script_enabled=False)
    page.set_content(html)
    page.pdf(path=folder / "pack.pdf", format=paper, print_background=True)
    page.close()
    text = subprocess.run(["pdftotext", "-layout", folder / "pack.pdf", "-"], capture_output=True, text=True,
                          check=True).stdout
    return text.split("\f")[:-1]


@pytest.mark.parametrize("paper", PAPERS)
def test_each_page_of_the_demo_s_pack_is_one_of_paper(browser, demo_pack, paper, tmp_path):
    check_pages(pages_printed(browser, demo_pack, paper, tmp_path), demo_pack)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("verdicts", "number"), [((REVIEW,), 6), ((UNKNOWN,), 6), ((FAIL,), 6), ((PASS, REVIEW), 90)])
def test_the_fullest_pages_are_one_of_paper_each(browser, paper, verdicts, number, tmp_path):
    html = fullest(verdicts, number)
    check_pages(pages_printed(browser, html, paper, tmp_path), html)


def check_pages(printed: list[str], html: str) -> None:
    """As many pages as the pack counts, each with its number at the top."""
    wanted = html.count("<section")
    assert len(printed) == wanted
    for number, text in enumerate(printed, start=1):
        assert re.search(rf"Page {number} of {wanted}\b", text.splitlines()[0]), number


@pytest.mark.parametrize("which", ["demo", "fullest"])
def test_no_letter_on_paper_is_smaller_than_ten_points(browser, demo_pack, which):
    page = browser.new_page()
    page.set_content(demo_pack if which == "demo" else fullest((PASS, REVIEW, UNKNOWN)))
    page.emulate_media(media="print")
    sizes = page.evaluate(SIZES)
    page.close()
    assert len(sizes) > 50
    small = {text: size / PX_IN_PT for text, size in sizes.items() if size < PX_IN_PT * LEAST_PT * (1 - 1e-4)}
    assert small == {}


def test_the_selection_page_gives_the_pack_with_the_years_of_its_programme(page, shared):
    visit(page, shared, "choice", study="demo")
    page.get_by_role("textbox", name="Units a year").fill("10")
    page.get_by_role("textbox", name="Units a year").press("Enter")
    settle(page)
    with page.expect_download(timeout=60_000) as download:
        page.get_by_role("button", name="Work pack, a sheet a lateral").click()
    html = download.value.path().read_text(encoding="utf-8")
    found = re.findall(r"\d+ \(year \d+\), feeder", html)
    assert found == sorted(found)
    assert {"2026 (year 1), feeder", "2027 (year 2), feeder"} <= set(found)


def test_the_pack_of_the_page_selection_is_that_of_a_run(page, shared, demo, tmp_path):
    """The same revision, years of the calendar included, which follow from the records."""
    visit(page, shared, "choice", study="demo")
    with page.expect_download() as found:
        page.get_by_role("button", name="Work pack, a sheet a lateral (HTML)").click()
    found.value.save_as(tmp_path / "pack.html")
    wanted = work_pack_of(analyse(demo, trials=5))
    text = (tmp_path / "pack.html").read_text(encoding="utf-8")
    assert wanted.year_name(1) == "2026 (year 1)"
    assert f"Revision {revision_of(wanted)}" in text
    assert "2026 (year 1)" in text
