"""How quick the app is, in a browser: python -m tests.benchmarks.bench_app [study | sections]

First page, pages settled, key press to new figures, first intervals; of the first demo, of the study of the workspace
that is named, or of one of so many sections. Behind each time stands its ratio to importing the libraries of a run in
one process, measured before and after and taken at its least. Run on a quiet machine: browser and server need a core
each.

Settled: the script has ended, nothing is stale or being computed, every chart is drawn; the time is that of
the page's last change that can be seen. A table's copy for screen readers, which its canvas holds and nobody sees, is
written a third to half a second later. The watch for changes by others, every four seconds, changes nothing and does
not count.
Somebody reads the first page for some seconds, in which the server prepares what takes longest
(`ui/background.py`); who goes on at once shares the processor with that, and waits up to a second longer.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from reliability.study.template import settings_text
from tests.benchmarks.synthetic import synthetic_study
from tests.browser.conftest import ARGUMENTS, BROWSER, Server, follow, settle, visit

PAGES = {"": "Overview", "study": "Study data", "history": "Outage history", "compare": "Compare",
         "laterals": "Laterals", "choice": "Selection", "business": "Business case", "report": "Report",
         "method": "Method", "import": "Import"}
LIBRARIES = "import numpy, pandas, scipy.sparse, scipy.stats, scipy.optimize, xlsxwriter, jinja2"
MOVES = 20
RESTED_MS, ROW_MS = 2500, 250
READING_MS = 6000
QUIET_MS = 700                     # a result computed beside the page is asked for again this often
# The last change of the page's content, by the page's own clock.
CHANGES = """(() => { window.changed = 0;
  new MutationObserver(all => { if (all.some(m => (m.target.nodeType === 1 ? m.target : m.target.parentElement)
    ?.closest('.stMain, .stSidebar, canvas')?.matches('.stMain, .stSidebar'))) window.changed = performance.now(); })
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


def importing() -> float:
    """Seconds of importing the libraries of a run, the least of three."""
    times = []
    for _ in range(3):
        begun = time.monotonic()
        subprocess.run([sys.executable, "-c", LIBRARIES], check=True)
        times.append(time.monotonic() - begun)
    return min(times)


def main(asked: str) -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as home, sync_playwright() as play:
        base = importing()
        print(f"importing the libraries of a run: {base:.2f} s, which is 1 in brackets")
        browser = play.chromium.launch(executable_path=BROWSER, headless=True, args=ARGUMENTS)
        server = Server(Path(home) / "workspace")
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.add_init_script(CHANGES)
        begun = time.monotonic()
        server.start()
        page.goto(server.url)
        page.locator(".figure-value").first.wait_for()
        say("command to first page", base, time.monotonic() - begun)
        study = asked
        if asked.isdigit():
            study = "large"
            large_study(server.workspace / study, int(asked))
        page.wait_for_timeout(READING_MS)
        pages(page, server, study, base)
        moves(page, server, study, importing())
        browser.close()
        server.stop()


def say(what: str, base: float, *seconds: float) -> None:
    """Print times with their ratios to `base`."""
    print(f"{what}: {', '.join(f'{s:.2f} s ({s / base:.2f})' for s in seconds)}", flush=True)


def pages(page, server: Server, study: str, base: float) -> None:
    """Until each page is settled: opened by its address, again, and reached by its link; and what the server worked."""
    for path, name in PAGES.items():
        before, times = server_seconds(server), []
        for _ in range(2):
            page.goto(f"{server.url}/{path}?study={study}")
            times.append(_settled(page))
            times.append(server_seconds(server) - before)
        first, worked, again, _ = times
        follow(page, "Import" if name == "Method" else "Method")
        begun = page.evaluate("() => performance.now()")
        follow(page, name)
        say(f"/{path} settled, again, by its link, the server's work at first", base, first, again,
            max(_settled(page) - begun / 1000, 0.0), worked)


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


def moves(page, server: Server, study: str, base: float) -> None:
    """Time single key presses, then the first intervals after one."""
    visit(page, server, "compare", study=study)
    page.evaluate(WATCH)
    page.get_by_role("slider", name="Fault-rate factor").focus()     # every step of it moves every figure
    for what, pause_ms in (("after a rest", RESTED_MS), ("in a row, charts of the last one still being drawn", ROW_MS)):
        page.evaluate("() => { window.times = []; }")
        for i in range(MOVES):
            page.keyboard.press("ArrowRight")
            page.wait_for_function("n => window.times.length > n", arg=i, timeout=60_000)
            page.wait_for_timeout(pause_ms)
        times = sorted(t / 1000 for t in page.evaluate("() => window.times"))
        say(f"key to figures {what}, median, 95th percentile, worst", base, statistics.median(times),
            times[int(0.95 * len(times))], times[-1])
    settle(page)
    begun = time.monotonic()
    page.keyboard.press("ArrowLeft")
    stale = "document.body.innerText.includes('being replaced')"
    page.wait_for_function(f"() => {stale}", timeout=60_000)
    page.wait_for_function(f"() => !{stale}", timeout=120_000)
    first = time.monotonic() - begun
    page.get_by_text("Whiskers: P10 to P90").wait_for(timeout=600_000)
    say("key to first intervals, to all trials", base, first, time.monotonic() - begun)


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
    main(sys.argv[1] if len(sys.argv) > 1 else "demo")
