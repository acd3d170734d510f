"""Exports become a study and its report in a browser: few clicks, nothing typed but a name, nothing lost on the way."""

from __future__ import annotations

from pathlib import Path

import pytest

from reliability.intake import read_recipe
from reliability.study import open_study
from tests.browser.conftest import settle, visit
from tests.browser.test_guard_rails import SIZES

DEMO = Path(__file__).parents[2] / "data" / "exports"
MOST_CLICKS = 20


class Clicks:
    """Clicks on a page, counted."""

    def __init__(self, page) -> None:
        self.page, self.count = page, 0

    def __call__(self, role: str, name: str) -> None:
        self.page.get_by_role(role, name=name, exact=role == "link").first.click()
        self.count += 1
        settle(self.page)


def drop(page, click: Clicks, files: list[Path]) -> None:
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Upload", exact=True).click()
    click.count += 1
    chooser.value.set_files(files)
    page.get_by_text("6 Save").wait_for(timeout=60_000)
    settle(page)


def exports() -> list[Path]:
    return [f for f in sorted(DEMO.iterdir()) if f.suffix != ".toml"]


def test_from_the_demo_exports_to_a_saved_report(page, shared):
    """Without the recipe that lies beside them."""
    visit(page, shared)
    click = Clicks(page)
    click("link", "Import")
    drop(page, click, exports())
    click("button", "Accept all")
    for seen in ("Times of the outages", "of segments", "Totals by feeder"):
        click("button", "Continue")
        page.get_by_text(seen).first.wait_for(timeout=60_000)
    page.locator(".js-plotly-plot").wait_for()
    click("button", "Continue")
    page.get_by_text("SAIDI").nth(1).wait_for(timeout=180_000)
    click("button", "Continue")
    page.get_by_text("into the new folder").wait_for(timeout=60_000)
    page.get_by_label("Name of the new study").fill("From exports")
    page.get_by_label("Name of the new study").press("Enter")
    settle(page)
    click("button", "Save and open")
    page.wait_for_selector("h1:has-text('Study')", timeout=60_000)
    page.get_by_text("Saved as a new study").wait_for()
    settle(page)
    click("link", "Report")
    page.get_by_role("button", name="Run the study and record it").wait_for()
    click("button", "Run the study and record it")
    page.get_by_text("still those of this run").wait_for(timeout=240_000)
    with page.expect_download() as download:
        click("button", "report.html")
    assert "From exports" in download.value.path().read_text(encoding="utf-8")
    assert click.count < MOST_CLICKS
    folder = shared.workspace / "from-exports"
    study = open_study(folder)
    demo = open_study(shared.workspace / "demo")
    assert study.sections["customers"].sum() == demo.sections["customers"].sum()
    assert study.sections["length_km"].sum() == pytest.approx(demo.sections["length_km"].sum(), rel=1e-6)
    assert len(study.outages) > 0.99 * len(demo.outages)
    assert len(read_recipe((folder / "import.toml").read_bytes()).files) == len(exports())
    assert (folder / "import_report.html").is_file()


def test_a_reload_another_page_and_more_files_lose_nothing(page, shared):
    few = [f for f in exports() if f.suffix == ".csv"][:2]
    visit(page, shared, "import")
    click = Clicks(page)
    drop(page, click, [DEMO / "oh_primary.geojson", DEMO / "substations.csv"])
    click("button", "Accept all")
    page.get_by_text("5 Questions").click()
    settle(page)
    page.reload()
    page.get_by_text("What nobody exports").wait_for(timeout=60_000)
    assert "draft=" in page.url
    click("link", "Study data")
    click("link", "Import")
    page.get_by_text("Add or remove files (2 so far)").click()
    page.locator("input[type=file]").set_input_files(few)
    page.get_by_text("Add or remove files (4 so far)").wait_for(timeout=30_000)
    settle(page)
    page.get_by_text("1 Files and columns").click()
    settle(page)
    for name in ("oh_primary.geojson", "substations.csv", *(f.name for f in few)):
        assert page.get_by_label(f"Kind of {name}").count() == 1
    assert page.get_by_text("18 recognized").count() == 1      # what was accepted stays so


def test_no_step_is_wider_than_its_page(page, shared):
    visit(page, shared, "import")
    click = Clicks(page)
    drop(page, click, exports())
    page.get_by_text("1 Files and columns").click()
    settle(page)
    if page.get_by_role("button", name="Accept all").count():      # files that were here before are as they were left
        click("button", "Accept all")
    for _ in range(6):
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            settle(page)
            page.wait_for_function("width => window.innerWidth === width && "
                                   "document.documentElement.scrollWidth <= width", arg=width)
            steps = page.get_by_text("6 Save")
            assert steps.bounding_box()["y"] < height
        if page.get_by_role("button", name="Continue").count():
            click("button", "Continue")
