"""The map in a browser: a click on it gives the lateral, and no other host is asked for anything."""

from __future__ import annotations

from reliability.study import open_study
from tests.browser.conftest import requested, settle, small_study, visit
from tests.routed import write_routes

HOVERED = "() => document.querySelector('.hoverlayer .hovertext')?.textContent ?? ''"
STEP = 12       # pixels between two places that are tried


def test_a_click_on_the_map_selects_the_lateral(page, shared):
    name = small_study(shared, "plan")
    folder = shared.workspace / name
    study = open_study(folder)
    write_routes(folder, study)
    with requested(page) as asked:
        visit(page, shared, "laterals", study=name, lateral="tap-03")
        drawing = page.locator(".st-key-chart_feeder .js-plotly-plot").first
        drawing.wait_for()
        before = page.url.partition("lateral=")[2]
        box = drawing.bounding_box()
        for k in range(40 * 30):
            x, y = box["x"] + box["width"] / 4 + STEP * (k % 40), box["y"] + 80 + STEP * (k // 40)
            page.mouse.move(x, y)
            shown = page.evaluate(HOVERED)
            if shown and before not in shown:
                break
        page.mouse.click(x, y)
        page.wait_for_function("before => !location.search.includes(`lateral=${before}`)", arg=before)
        settle(page)
        chosen = page.url.partition("lateral=")[2]
        assert chosen in study.network.ids[study.network.candidates].tolist()
    hosts = {url.split("/")[2] for url in asked if url.startswith("http")}
    assert hosts == {shared.url.removeprefix("http://")}
