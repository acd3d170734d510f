"""A real browser on a real server, each with a workspace of its own.

Skipped where the browser is not installed; in CI (CI=true) that is a failure.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from reliability.study import write_template
from tests.server import Server

ROOT = Path(__file__).parents[2]
IN_CI = os.environ.get("CI") == "true"
BROWSER = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
INSTALL_BROWSER = ("apt-get update && apt-get install -y --no-install-recommends chromium; "
                   "pip install -r tests/requirements.txt")
AXE = Path(os.environ.get("AXE_CORE") or ROOT / "node_modules" / "axe-core" / "axe.min.js")
INSTALL_AXE = "npm install --no-save axe-core@4.14.1 (or set AXE_CORE to its axe.min.js)"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking",
             "--disable-component-update", "--disable-sync", "--disable-quic", "--no-first-run",
             "--no-default-browser-check", "--disable-default-apps", "--disable-extensions"]
SIZE = {"width": 1366, "height": 768}
SETTLE_MS = 60_000
STANDS_MS = 250         # so long a page has run to its end without beginning again
# whether it does, with programs of all its elements loaded, by a clock that `settle` has set back
STANDS = """least => {
    const app = document.querySelector('[data-testid="stApp"]');
    const loading = [...document.querySelectorAll('[data-testid="stSkeleton"]')].some(e => e.getClientRects().length);
    const busy = !app || app.dataset.testScriptState !== 'notRunning' || loading ||
                 document.querySelector('[data-stale="true"]');
    window.standsSince = busy ? undefined : window.standsSince ?? performance.now();
    return !busy && performance.now() - window.standsSince >= least;
}"""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Every test of this folder is slow."""
    for item in items:
        if item.path.parent == Path(__file__).parent:
            item.add_marker("slow")


def missing(what: str, install: str) -> None:
    """Skip, or in CI fail, with the line that installs what is missing."""
    message = f"{what} is not there; install it: {install}"
    if IN_CI:
        pytest.fail(message)
    pytest.skip(message)


@pytest.fixture(scope="session")
def browser():
    """The browser, one for all tests."""
    if not BROWSER:
        missing("Chromium", INSTALL_BROWSER)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright", INSTALL_BROWSER)
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=BROWSER, headless=True, args=ARGUMENTS)
        yield found
        found.close()


@pytest.fixture(scope="session")
def shared(tmp_path_factory, browser) -> Iterator[Server]:
    """A server for tests that change nothing but their own study."""
    server = Server(tmp_path_factory.mktemp("shared") / "workspace")
    server.start()
    yield server
    server.stop()


@pytest.fixture
def own(tmp_path, browser) -> Iterator[Server]:
    """A server that a test may stop and start."""
    server = Server(tmp_path / "workspace")
    server.start()
    yield server
    server.stop()


def fresh(browser):
    """A tab with an empty profile, of the smaller of the two sizes that are looked at."""
    context = browser.new_context(viewport=SIZE, accept_downloads=True)
    context.set_default_timeout(SETTLE_MS)
    return context.new_page()


def emptied(page) -> None:
    """Make a tab a fresh one again: nothing stored, no way back, no other tab, the window as it was."""
    for other in page.context.pages:
        if other is not page:
            other.close()
    if page.url.startswith("http"):
        page.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
    page.goto("about:blank")
    page.context.clear_cookies()
    line = page.context.new_cdp_session(page)
    line.send("Page.resetNavigationHistory")
    line.detach()
    page.mouse.move(0, 0)
    page.set_viewport_size(SIZE)


@pytest.fixture(scope="session")
def tabs() -> list:
    """Tabs that may be used again: in a new one the browser compiles the app's programs for seconds."""
    return []


@pytest.fixture
def page(browser, tabs):
    """A tab like a fresh one, which other tests have used before and left whole."""
    tab = tabs.pop() if tabs else fresh(browser)
    yield tab
    emptied(tab)
    tabs.append(tab)


@pytest.fixture
def new_page(browser):
    """A tab that no other test uses, for what could not be taken back."""
    tab = fresh(browser)
    yield tab
    tab.context.close()


@contextlib.contextmanager
def requested(page) -> Iterator[set[str]]:
    """Addresses that the page asks for meanwhile."""
    asked: set[str] = set()

    def note(request) -> None:
        asked.add(request.url)
    page.on("request", note)
    yield asked
    page.remove_listener("request", note)


def small_study(server: Server, name: str = "small", **edits: str) -> str:
    """The template with few trials, as a study of the server's workspace. edits: values of settings by their keys."""
    folder = server.workspace / name
    write_template(folder)
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    for key, value in {"trials": "30", **edits}.items():
        text, found = re.subn(rf"^# {key} = .*$", f"{key} = {value}", text, flags=re.MULTILINE)
        assert found == 1, key
    path.write_text(text, encoding="utf-8")
    return name


def settle(page) -> None:
    """Wait until the page has run to its end, a run that is about to begin included."""
    page.evaluate("() => { window.standsSince = undefined; }")
    page.wait_for_function(STANDS, arg=STANDS_MS, timeout=SETTLE_MS, polling=50)


def visit(page, server: Server, path: str = "", **query: str) -> None:
    """Open a page by its address and wait until it stands."""
    tail = "&".join(f"{k}={v}" for k, v in query.items())
    page.goto(f"{server.url}/{path}{'?' + tail if tail else ''}")
    page.wait_for_selector("h1", timeout=SETTLE_MS)
    settle(page)


def follow(page, title: str) -> None:
    """Go to a page by the links at the top; those for which there is no room are under the last one."""
    top = page.get_by_test_id("stTopNav")
    link, more = top.get_by_role("link", name=title, exact=True), top.get_by_text(re.compile(r"^\d+ more$"))
    link.or_(more).first.wait_for()
    if link.count():
        link.click()
    else:
        more.click()
        page.get_by_test_id("stTopNavDropdownLink").filter(has_text=title).click()
    page.wait_for_selector(f"h1:has-text('{title}')")
    settle(page)


def tile(page, scenario: int, figure: int) -> str:
    """Figure number `figure` of a scenario's tile, as it is shown."""
    return page.locator(".figure-value").nth(4 * scenario + figure).inner_text()
