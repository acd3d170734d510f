"""How quick the app is, in a browser: python -m tests.benchmarks.bench_app [sections]

First page, pages settled, key press to new figures, first intervals; with a number of sections, for a study
of so many instead of the demo. Run on a quiet machine: browser and server need a core each.

Settled: the script has ended, nothing is stale or being computed, every chart is drawn; the time is that of
the page's last change. The watch for changes by others, every four seconds, changes nothing and does not count.
Somebody reads the first page for some seconds, in which the server prepares what takes longest
(`ui/background.py`); who goes on at once shares the processor with that, and waits up to a second longer.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from reliability.study.template import settings_text
from tests.benchmarks.synthetic import synthetic_study
from tests.browser.conftest import ARGUMENTS, BROWSER, Server, settle, visit

PAGES = {"": "Overview", "study": "Study data", "history": "Outage history", "compare": "Compare",
         "laterals": "Laterals", "choice": "Selection", "business": "Business case", "report": "Report",
         "method": "Method", "import": "Import"}
MOVES = 20
RESTED_MS, ROW_MS = 2500, 250
READING_MS = 6000
QUIET_MS = 700                     # a result computed beside the page is asked for again this often
# The last change of the page's content, by the page's own clock.
CHANGES = """(() => { window.changed = 0;
  new MutationObserver(all => { if (all.some(m => (m.target.nodeType === 1 ? m.target : m.target.parentElement)
    ?.closest('.stMain, .stSidebar'))) window.changed = performance.now(); })
    .observe(document, {subtree: true, childList: true, characterData: true}); })()"""
SETTLED = """quiet => { const app = document.querySelector('[data-testid=stApp]');
  const charts = [...document.querySelectorAll('[data-testid=stPlotlyChart], .stPlotlyChart')];
  return app && app.dataset.testScriptState === 'notRunning' && document.querySelector('h1')
    && !document.querySelector('.stMain [data-stale=true], .stMain [data-testid=stSkeleton]')
    && !document.body.innerText.includes('Computing ') && charts.every(c => c.querySelector('.main-svg'))
    && performance.now() - window.changed > quiet; }"""
# The key's moment and that of the first change of a figure, both by the page's own clock.
WATCH = """() => { window.times = []; let pressed = null;
  document.addEventListener('keydown', () => { pressed = performance.now(); }, true);
  const shown = () => [...document.querySelectorAll('.figure-value')].map(e => e.innerText).join('|');
  let before = shown();
  new MutationObserver(() => { const now = shown();
    if (pressed !== null && now !== before && now) { window.times.push(performance.now() - pressed); pressed = null; }
    before = now; }).observe(document.body, {subtree: true, childList: true, characterData: true}); }"""


def main(sections: int | None) -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as home, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=BROWSER, headless=True, args=ARGUMENTS)
        server = Server(Path(home) / "workspace")
        begun = time.monotonic()
        server.start()
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.add_init_script(CHANGES)
        page.goto(server.url)
        page.get_by_text("What each scenario is expected to bring").wait_for()
        print(f"command to first page: {time.monotonic() - begun:.2f} s")
        study = "demo"
        if sections:
            study = "large"
            large_study(server.workspace / study, sections)
        page.wait_for_timeout(READING_MS)
        pages(page, server, study)
        moves(page, server, study)
        browser.close()
        server.stop()


def pages(page, server: Server, study: str) -> None:
    """Seconds until each page is settled: opened by its address, again, and reached by its link."""
    times: dict[str, list[float]] = {path: [] for path in PAGES}
    work: dict[str, float] = {}
    for turn in range(2):
        for path in PAGES:
            before = server_seconds(server)
            page.goto(f"{server.url}/{path}?study={study}")
            times[path].append(_settled(page))
            if turn == 0:
                work[path] = server_seconds(server) - before
    for path, name in PAGES.items():
        begun = page.evaluate("() => performance.now()")
        page.get_by_role("link", name=name, exact=True).first.click()
        page.wait_for_selector(f"h1:has-text('{name}')")
        times[path].append(_settled(page) - begun / 1000)
    for path, (first, again, link) in times.items():
        print(f"/{path} settled: {first:.2f} s, again {again:.2f} s, by its link {link:.2f} s; "
              f"the server worked {work[path]:.2f} s at first")


def _settled(page) -> float:
    page.wait_for_function(SETTLED, arg=QUIET_MS, timeout=120_000, polling=50)
    return page.evaluate("() => window.changed") / 1000


def server_seconds(server: Server) -> float:
    """Processor time of the server so far, which a busy machine does not lengthen; 0 where the system tells none."""
    try:
        fields = Path(f"/proc/{server.process.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def moves(page, server: Server, study: str) -> None:
    """Time single key presses, then the first intervals after one."""
    visit(page, server, "compare", study=study)
    page.evaluate(WATCH)
    page.get_by_role("slider", name="Temporary fraction").focus()
    for what, pause_ms in (("after a rest", RESTED_MS), ("in a row, charts of the last one still being drawn", ROW_MS)):
        page.evaluate("() => { window.times = []; }")
        for i in range(MOVES):
            page.keyboard.press("ArrowLeft")
            page.wait_for_function("n => window.times.length > n", arg=i, timeout=60_000)
            page.wait_for_timeout(pause_ms)
        times = sorted(page.evaluate("() => window.times"))
        p95 = times[int(0.95 * len(times))]
        print(f"key to figures {what}, ms: median {statistics.median(times):.0f}, p95 {p95:.0f}, "
              f"worst {times[-1]:.0f}")
    settle(page)
    begun = time.monotonic()
    page.keyboard.press("ArrowLeft")
    stale = "document.body.innerText.includes('being replaced')"
    page.wait_for_function(f"() => {stale}", timeout=60_000)
    page.wait_for_function(f"() => !{stale}", timeout=120_000)
    print(f"key to first intervals: {time.monotonic() - begun:.2f} s")
    page.get_by_text("Whiskers: P10 to P90").wait_for(timeout=600_000)
    print(f"key to all trials: {time.monotonic() - begun:.2f} s")


def large_study(folder: Path, sections: int) -> None:
    """The large study of the other benchmarks, as files."""
    study = synthetic_study(sections)
    folder.mkdir(parents=True)
    study.sections.dropna(axis=1, how="all").to_csv(folder / "sections.csv", index=False)
    scenarios = "".join(f'\n[[scenarios]]\nname = "{s.name}"\nlaterals = "all"\ndevice = "{s.device}"\n'
                        + (f"counts = {s.counts}\n" if s.counts else "") for s in study.scenarios[1:])
    head = settings_text().partition("[[scenarios]]")[0]
    (folder / "study.toml").write_text(head + scenarios, encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else None)
