"""What somebody does with the app, in a browser: from the first page to the report, and from dirty files to a study."""

from __future__ import annotations

import json
import re

import pytest

from reliability.formats import number
from reliability.indices.expected import system_indices
from reliability.pipeline import expect
from reliability.study import open_study
from tests.browser.conftest import follow, settle, small_study, tile, visit

NETWORK = """Tap No,Upline Element,Device Type,Circuit,Line Miles,Cust,Phasing
001,,Breaker,F1,2.0,10,3
002,001,Fuse,F1,0.8,25,1
003,001,Fuse,F1,1.1,{third},1
"""
OUTAGES = """Incident No,Tap No,Time Off,Time On,Customers Affected,Cause Code
1,002,2024-05-01 10:00,2024-05-01 12:30,25,tree
2,003,2024-06-02 08:00,2024-06-02 09:00,7,wind
"""


def test_from_the_first_page_to_the_report_of_the_demo(page, shared, tmp_path):
    visit(page, shared, study="demo")
    assert "invented" in page.locator("h1 ~ *, .st-key-page_head").first.inner_text()
    follow(page, "Report")
    page.get_by_role("button", name="Run the study and record it").click()
    page.get_by_text("still those of this run").wait_for(timeout=180_000)
    with page.expect_download() as download:
        page.get_by_role("button", name="summary.json").click()
    content = json.loads(download.value.path().read_text())
    study = open_study(shared.workspace / "demo")
    assert content["inputs_sha256"] == study.inputs_sha256
    wanted = system_indices(expect(study).expected[0], study.values["yearly_cv"])
    assert content["scenarios"][0]["expected"]["saidi_min"] == pytest.approx(wanted["saidi_min"])


def test_two_raw_exports_become_a_report(page, shared, tmp_path):
    """Six clicks: Import, Upload, Save and open, Report, Run, report.html."""
    for name, text in (("network.csv", NETWORK.format(third="7")), ("oms.csv", OUTAGES)):
        (tmp_path / name).write_text(text)
    visit(page, shared)
    follow(page, "Import")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Upload", exact=True).click()
    chooser.value.set_files([tmp_path / "network.csv", tmp_path / "oms.csv"])
    page.get_by_text("No problem found").wait_for(timeout=30_000)
    page.get_by_label("Name of the new study").fill("Two exports")
    page.get_by_label("Name of the new study").press("Enter")
    settle(page)
    page.get_by_role("button", name="Save and open").click()
    page.wait_for_selector("h1:has-text('Study')")
    page.get_by_text("Saved as a new study").wait_for()
    study = open_study(shared.workspace / "two-exports")
    assert study.sections["section_id"].tolist() == ["001", "002", "003"]
    assert len(study.outages) == 2
    follow(page, "Outage history")
    follow(page, "Compare")
    assert tile(page, 0, 0) == number(system_indices(expect(study).expected[0], 0.2)["saifi"])
    follow(page, "Report")
    page.get_by_role("button", name="Run the study and record it").click()
    page.get_by_text("still those of this run").wait_for(timeout=180_000)
    with page.expect_download() as download:
        page.get_by_role("button", name="report.html").click()
    assert "Two exports" in download.value.path().read_text(encoding="utf-8")


def test_a_dirty_export_is_refused_with_its_problems(page, shared, tmp_path):
    (tmp_path / "network.csv").write_text(NETWORK.format(third="seven"))
    before = sorted(f.name for f in shared.workspace.iterdir() if not f.name.startswith("."))
    visit(page, shared, "import")
    page.locator("input[type=file]").set_input_files([tmp_path / "network.csv"])
    page.get_by_text("1 problem before this can be saved").wait_for(timeout=30_000)
    assert page.get_by_role("button", name="Save and open").is_disabled()
    page.reload()                      # what was brought is still there
    page.get_by_text("1 problem before this can be saved").wait_for(timeout=30_000)
    assert sorted(f.name for f in shared.workspace.iterdir() if not f.name.startswith(".")) == before


def test_a_slider_moves_the_figures_to_the_core_s(page, shared):
    name = small_study(shared, "slider")
    visit(page, shared, "compare", study=name)
    slider = page.get_by_role("slider", name="Temporary fraction")
    slider.focus()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    page.wait_for_function("() => location.search.includes('temporary_fraction')")
    settle(page)
    moved = float(re.search(r"temporary_fraction%3A([0-9.]+)", page.url)[1])
    assert moved == pytest.approx(0.70)
    study = open_study(shared.workspace / name)
    values = {**study.values, "temporary_fraction": moved}
    from dataclasses import replace
    wanted = system_indices(expect(replace(study, values=values)).expected[1], values["yearly_cv"])
    page.wait_for_function("want => document.querySelectorAll('.figure-value')[5].innerText == want",
                           arg=number(wanted["saidi_min"]))
    page.get_by_role("button", name="Reset", exact=True).click()
    page.wait_for_function("() => !location.search.includes('temporary_fraction')")


def test_the_keyboard_alone_is_enough(page, shared):
    """From the first link to a moved slider, with Tab, Enter and the arrows."""
    name = small_study(shared, "keys")
    visit(page, shared, study=name)
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.innerText").endswith("Compare"):
            break
    page.keyboard.press("Enter")
    page.get_by_text("Whiskers: P10 to P90").wait_for()
    settle(page)
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.type") == "range":
            break
    page.keyboard.press("ArrowRight")
    page.wait_for_function("() => location.search.includes('sliders=')")


def test_a_click_on_the_diagram_opens_the_lateral(page, shared):
    visit(page, shared, "laterals", study="demo")
    page.get_by_text("One-line", exact=True).click()        # the demo has routes, and its map stands first
    page.locator("[aria-label^='One-line diagram']").first.wait_for(state="attached")
    points = page.locator(".scatterlayer .point")
    points.nth(3).wait_for()
    settle(page)
    points.nth(3).click(force=True)
    page.wait_for_function("() => location.search.includes('lateral=')")
    settle(page)
    network = open_study(shared.workspace / "demo").network
    at = network.ids.astype(str).tolist().index(re.search(r"lateral=([^&]+)", page.url)[1])
    page.get_by_text(re.compile(rf"{re.escape(network.names[at])}.* on ")).first.wait_for()
