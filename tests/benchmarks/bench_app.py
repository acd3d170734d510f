"""How quick the app is, in a browser: python -m tests.benchmarks.bench_app [sections]

First page, pages settled, key press to new figures, first intervals. Run on a quiet machine.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

from reliability.study import write_template
from tests.browser.conftest import ARGUMENTS, BROWSER, Server, settle, visit

PAGES = ("", "history", "compare", "laterals", "choice", "business", "report", "method", "bring")
MOVES = 25
# The key's moment and that of the first change of a tile, both by the page's own clock.
WATCH = """() => { window.times = []; let pressed = null;
  document.addEventListener('keydown', () => { pressed = performance.now(); }, true);
  const shown = () => [...document.querySelectorAll('[data-testid=stMetricValue]')].map(e => e.innerText).join('|');
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
        page.goto(server.url)
        page.get_by_text("What each scenario is expected to bring").wait_for()
        print(f"command to first page: {time.monotonic() - begun:.2f} s")
        study = "demo"
        if sections:
            study = "large"
            large_study(server.workspace / study, sections)
        for path in PAGES:
            begun = time.monotonic()
            visit(page, server, path, study=study)
            print(f"/{path} settled: {time.monotonic() - begun:.2f} s")
        moves(page, server, study)
        browser.close()
        server.stop()


def moves(page, server: Server, study: str) -> None:
    """Time single key presses, then the first intervals after one."""
    visit(page, server, "compare", study=study)
    page.evaluate(WATCH)
    slider = page.get_by_role("slider", name="Temporary fraction")
    slider.focus()
    for i in range(MOVES):
        page.keyboard.press("ArrowLeft")
        page.wait_for_function("n => window.times.length > n", arg=i, timeout=60_000)
        page.wait_for_timeout(250)
    times = sorted(page.evaluate("() => window.times"))
    print(f"key to figures, ms: median {statistics.median(times):.0f}, p95 {times[int(0.95 * len(times))]:.0f}, "
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
    """The template with a random radial network of so many sections."""
    write_template(folder)
    rng = np.random.default_rng(1)
    lines = ["section_id,parent_id,device,feeder_id,length_km,customers,load_kw,peak_load_a,phases,"
             "fault_current_source_a,fault_current_end_a,fuse_link"]
    for i in range(sections):
        place = i % 50
        root = i - place
        parent = "" if place == 0 else f"s{root + min(place - 1, int(rng.integers(0, 12)))}"
        device = "breaker" if place == 0 else "fuse" if place >= 12 else ""
        lines.append(f"s{i},{parent},{device},f{root},{rng.uniform(.2, 2):.3f},{rng.integers(1, 40)},20,"
                     f"{rng.uniform(3, 20):.1f},{1 if place >= 12 else 3},2000,1000,"
                     f"{'40K' if device == 'fuse' else ''}")
    (folder / "sections.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else None)
