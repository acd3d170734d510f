"""Nothing moves under the hand: layout shift by the browser's own measure, sliders, and tiles in large type."""

from __future__ import annotations

import pytest

from tests.browser.conftest import settle, small_study, visit
from tests.browser.test_guard_rails import SIZES

MOST = 0.02
# every shift, also those that the browser takes to be asked for by a key or a click
WATCH = """() => { window.shifted = [];
    new PerformanceObserver(list => window.shifted.push(...list.getEntries().map(e => e.value)))
        .observe({type: 'layout-shift'}); }"""
CHARTS = "() => [...document.querySelectorAll('.stPlotlyChart')].every(c => c.querySelector('.main-svg'))"
BOXES = """() => [...document.querySelectorAll('.tile')].map(t => t.getBoundingClientRect())
    .map(b => [b.left, b.top, b.right, b.bottom])"""

INSIDE = """() => [...document.querySelectorAll('.tile')].every(tile =>
    [...tile.querySelectorAll('p, dd, dt')].every(e => {
        const inner = e.getBoundingClientRect(), outer = tile.getBoundingClientRect();
        return inner.bottom <= outer.bottom && inner.right <= outer.right && e.scrollWidth <= e.clientWidth + 1; }))"""


def at_rest(page) -> None:
    """Wait until the page stands, another size of the window included."""
    seen = -1
    while seen != (seen := len(page.evaluate("() => window.shifted"))):
        settle(page)
        page.wait_for_function(CHARTS)
        page.wait_for_timeout(800)


def shift_of(page, act) -> float:
    """Layout shift from what `act` does until the page has come to rest."""
    at_rest(page)
    page.evaluate("() => { window.shifted = []; }")
    before = page.url
    act()
    page.wait_for_function("before => location.href !== before", arg=before)
    settle(page)
    page.wait_for_function(CHARTS)
    page.wait_for_timeout(700)
    return sum(page.evaluate("() => window.shifted"))


def at_size(page, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})


def test_a_move_shifts_nothing_on_the_page_of_the_sliders(page, shared):
    visit(page, shared, "compare", study="demo")
    page.evaluate(WATCH)
    page.get_by_role("slider", name="Switching time").focus()
    for size in SIZES:
        at_size(page, size)
        assert shift_of(page, lambda: page.keyboard.press("ArrowLeft")) < MOST, size


@pytest.mark.parametrize("path", ["", "laterals", "choice", "business", "report"])
def test_a_page_shifts_nothing_when_what_was_moved_is_reset(page, shared, path):
    name = small_study(shared, f"reset-{path}")
    visit(page, shared, path, study=name, sliders="switching_hours:0.5")
    page.evaluate(WATCH)
    reset = page.get_by_role("button", name="Reset all", exact=True)
    for size in SIZES:
        at_size(page, size)
        assert shift_of(page, reset.click) < MOST, size
        assert shift_of(page, page.go_back) < MOST, size


def thumb(page, name: str) -> tuple[float, float]:
    """Middle of the thumb of a slider: the round part around its input, which nobody sees."""
    box = page.get_by_role("slider", name=name).locator("xpath=../..").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_slider_is_as_wide_with_its_reset_and_its_thumb_stays_where_it_is_dropped(page, shared):
    name, slider, by = small_study(shared, "dropped"), "Switching time", 60
    visit(page, shared, "compare", study=name)
    page.get_by_role("slider", name=slider).scroll_into_view_if_needed()
    row = page.locator('[class*="st-key-row_switching_hours"] [data-testid="stSlider"]')
    width, (x, y) = row.bounding_box()["width"], thumb(page, slider)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by, y, steps=6)
    page.mouse.up()
    page.get_by_role("button", name="Reset", exact=True).wait_for()
    settle(page)
    assert row.bounding_box()["width"] == width
    step = width * 0.25 / 3.0
    assert abs(thumb(page, slider)[0] - (x + by)) < step


@pytest.mark.parametrize(("size", "least"), [(SIZES[1], 4), (SIZES[0], 3)])
def test_tiles_in_large_type_are_seen_without_scrolling(page, shared, size, least):
    at_size(page, size)
    visit(page, shared, "compare", study="demo", large="1")
    page.locator(".tile .figure-value").nth(4 * least).wait_for()
    page.get_by_text("Whiskers: P10 to P90").wait_for(timeout=60_000)
    settle(page)
    boxes = page.evaluate(BOXES)
    whole = [b for b in boxes if min(b[:2]) >= 0 and b[2] <= size[0] and b[3] <= size[1]]
    assert len(whole) >= least
    assert page.evaluate(INSIDE)


def test_the_first_page_answers_at_its_name_and_takes_along_what_is_asked(page, shared):
    name = small_study(shared, "named")
    visit(page, shared, "overview", study=name)
    page.wait_for_function("() => !location.pathname.includes('overview')")
    settle(page)
    assert page.locator("h1").inner_text() == "Overview"
    assert f"study={name}" in page.url
    assert "not found" not in page.inner_text("body").casefold()
