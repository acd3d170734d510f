"""Each page in one visit: no other host, no error, nothing too wide, by keyboard, and for screen readers."""

from __future__ import annotations

import pytest

from reliability.cautions import CAUTION
from reliability.study.workspace import DEMO
from tests.browser.conftest import requested, settle, small_study, visit
from tests.browser.test_guard_rails import PAGES, SIZES, serious_faults

NARROW = "() => document.documentElement.scrollWidth <= window.innerWidth"
MOST_CELLS = 40             # a table is one stop, and Tab goes through the cells of a row before it leaves
MOST_STOPS = 600            # presses of Tab until a page must have come to its end
ESCAPED = r"""() => [...document.querySelectorAll('*')].flatMap(e => [...e.attributes]
    .filter(a => /^(aria-|alt$|title$|placeholder$)/.test(a.name) && a.value.includes('\\'))
    .map(a => `${e.tagName} ${a.name}: ${a.value.slice(0, 120)}`))"""
# what has the focus: a number of its own, whether it is seen, and whether anything tells that it has it
FOCUSED = """() => {
    const e = document.activeElement;
    if (!e || e === document.body) return null;
    window.stops = window.stops || [];
    if (!window.stops.includes(e)) window.stops.push(e);
    const box = e.getBoundingClientRect();
    return {at: window.stops.indexOf(e), name: (e.getAttribute('aria-label') || e.innerText || e.tagName).slice(0, 60),
            seen: box.width > 0 && box.height > 0};
}"""
# what Tab stops at; of choices that exclude one another it is one, and arrows go through the rest
REACHABLE = """() => [...document.querySelectorAll('main button, section button, a[href], input, [role=tab]')]
    .filter(e => !e.disabled && e.tabIndex >= 0 && e.getBoundingClientRect().width > 1 &&
                 getComputedStyle(e).visibility !== 'hidden')
    .filter(e => !e.matches('[role=radio]') || e === e.closest('[role=radiogroup]').querySelector('[role=radio]'))
    .length"""


@pytest.mark.parametrize(("path", "study"), [(path, DEMO) for path in PAGES] + [
    (path, "demo") for path in ("", "laterals", "choice", "history")])      # where the other example has other parts
def test_a_page_keeps_to_the_rails_and_is_open_to_all(page, shared, path, study):
    """Its tabs too; the larger window last, as a resized page is drawn again."""
    with requested(page) as asked:
        visit(page, shared, path, **({} if study == DEMO else {"study": study}))    # an address without one shows DEMO
    own = (shared.url, f"ws://127.0.0.1:{shared.port}", "data:", "blob:")
    assert asked
    assert not {url for url in asked if not url.startswith(own)}
    assert page.locator('[data-testid="stException"]').count() == 0
    assert CAUTION in page.inner_text("body")
    page.wait_for_function(NARROW)
    tabs = page.get_by_role("tab")
    for k in range(max(tabs.count(), 1)):
        if k:
            tabs.nth(k).click()
            settle(page)
        assert not serious_faults(page)
        assert not page.evaluate(ESCAPED)
        if k == 0:
            is_gone_through_by_keyboard(page)       # from the top, before anything is clicked
    page.set_viewport_size({"width": SIZES[1][0], "height": SIZES[1][1]})
    page.wait_for_function(NARROW)
    assert not serious_faults(page)


def is_gone_through_by_keyboard(page) -> None:
    """Tab reaches what can be used, stops nowhere for good, and comes round."""
    wanted, stops, last, same = page.evaluate(REACHABLE), set(), None, 0
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        at = page.evaluate(FOCUSED)
        if at is None:
            break
        same = same + 1 if at["at"] == last else 0
        assert same < MOST_CELLS, f"Tab does not leave {at['name']}"
        if at["at"] in stops and at["at"] == 0:
            break
        last = at["at"]
        stops.add(at["at"])
    else:
        pytest.fail("Tab does not come to the end of the page")
    assert len(stops) >= 0.9 * wanted


@pytest.fixture(scope="module")
def named(shared) -> str:
    """A study whose names are markup, a script, a formula, and signs that are marks elsewhere."""
    name = small_study(shared, "named-hostile")
    folder = shared.workspace / name
    evil = '<img src=x onerror="window.hit=1">'
    quoted = '"' + evil.replace('"', '""') + '"'
    sections = (folder / "sections.csv").read_text()
    for old, new in (("tap-01", quoted), ("tap-02", "PRI-001_71*b"),
                     ("feeder-1", "=1+1|<script>window.hit=1</script>F_1-2")):
        assert old in sections
        sections = sections.replace(old, new)
    (folder / "sections.csv").write_text(sections)
    toml = (folder / "study.toml").read_text()
    for old, new in (('name = "A study to start from"',
                      "name = '<script>window.hit=1</script> $x$ :red[x] [l](http://x.example)'"),
                     ('name = "Sectionalizers"', "name = '<b onclick=1>S</b> **x** [S]-1_x'")):
        assert old in toml
        toml = toml.replace(old, new)
    (folder / "study.toml").write_text(toml)
    return name


@pytest.mark.parametrize("path", PAGES)
def test_hostile_names_stay_text_and_marks_are_read_aloud_as_they_are(page, shared, named, path):
    visit(page, shared, path, study=named)
    assert page.evaluate("() => window.hit") is None
    assert page.locator('a[href*="x.example"]').count() == 0
    assert page.locator('[data-testid="stException"]').count() == 0
    assert not page.evaluate(ESCAPED)
    assert "\\" not in page.inner_text("body")
