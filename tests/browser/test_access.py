"""Every page of both examples by keyboard and for screen readers: no serious fault, no escapes read aloud."""

from __future__ import annotations

import pytest

from reliability.study.workspace import DEMO
from tests.browser.conftest import settle, small_study, visit
from tests.browser.test_guard_rails import PAGES, serious_faults

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
def test_a_page_and_its_tabs_have_no_serious_fault_and_no_escapes(page, shared, path, study):
    visit(page, shared, path, study=study)
    tabs = page.get_by_role("tab")
    for k in range(max(tabs.count(), 1)):
        if k:
            tabs.nth(k).click()
            settle(page)
        assert not serious_faults(page)
        assert not page.evaluate(ESCAPED)


@pytest.fixture(scope="module")
def marked(shared) -> str:
    """A study whose names have signs that are marks elsewhere."""
    name = small_study(shared, "marked")
    folder = shared.workspace / name
    sections = folder / "sections.csv"
    sections.write_text(sections.read_text().replace("tap-01", "PRI-001_71*b").replace("feeder-1", "F_1-2"))
    toml = (folder / "study.toml").read_text()
    assert 'name = "Sectionalizers"' in toml
    (folder / "study.toml").write_text(toml.replace('name = "Sectionalizers"', 'name = "[S]-1_x"'))
    return name


@pytest.mark.parametrize("path", PAGES)
def test_names_with_marks_are_read_aloud_as_they_are(page, shared, marked, path):
    visit(page, shared, path, study=marked)
    assert not page.evaluate(ESCAPED)
    assert "\\" not in page.inner_text("body")


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_gone_through_by_keyboard(page, shared, path):
    """Tab reaches what can be used, stops nowhere for good, and comes round."""
    visit(page, shared, path, study="demo")
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
