"""The report in a real browser: printed on both papers, read without a script, and free of barriers."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path

import pytest

from reliability.pipeline import analyse
from reliability.report.output import write_results
from tests.browser.conftest import AXE, INSTALL_AXE, missing
from tests.report.test_page import TITLES

INSTALL_PDF = "apt-get update && apt-get install -y poppler-utils"


@pytest.fixture(scope="module")
def report(demo, tmp_path_factory) -> Path:
    """report.html of the demo."""
    folder = tmp_path_factory.mktemp("report") / "out"
    write_results(analyse(demo, trials=20), folder)
    return folder / "report.html"


def printed(browser, report: Path, paper: str) -> list[str]:
    """Text of each page, printed with scripts off."""
    if not shutil.which("pdftotext"):
        missing("pdftotext", INSTALL_PDF)
    context = browser.new_context(java_script_enabled=False)
    requests: list[str] = []
    try:
        page = context.new_page()
        page.on("request", lambda request: requests.append(request.url))
        page.goto(report.as_uri())
        target = report.parent / f"{paper}.pdf"
        page.pdf(path=target, format=paper, print_background=True)
    finally:
        context.close()
    assert requests == [report.as_uri()]
    text = subprocess.run(["pdftotext", "-layout", str(target), "-"], capture_output=True, text=True, check=True).stdout
    return text.split("\f")[:-1]


def bare(text: str) -> str:
    """Text without the spaces that setting it on paper puts in."""
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_it_prints_with_every_section_page_numbers_and_whole_charts(browser, report, paper):
    pages = printed(browser, report, paper)
    whole = re.sub(r"\s+", " ", " ".join(pages))
    for i, title in enumerate(TITLES, start=1):
        assert f"{i}. {title}" in whole
    assert all(f"Page {i} of {len(pages)}" in page for i, page in enumerate(pages, start=1))


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_no_chart_is_cut_and_no_heading_ends_a_page(browser, report, paper):
    pages = printed(browser, report, paper)
    html = report.read_text(encoding="utf-8")
    for caption, body in re.findall(r"<figcaption>(.*?)</figcaption>(<svg.*?</svg>)", html, re.S):
        wanted = [bare(unescape(t)) for t in (caption, *re.findall(r"<text(?![^>]*rotate)[^>]*>([^<]+)</text>", body))]
        lacking = min(([w for w in wanted if w not in page] for page in map(bare, pages)), key=len)
        assert lacking == [], f"{caption} is not on one page with all its labels"
    headings = {f"{i}. {title}" for i, title in enumerate(TITLES, start=1)}
    for page in pages:
        lines = [line.strip() for line in page.splitlines() if line.strip() and "Page " not in line]
        assert not any(lines[-1].startswith(h) for h in headings) or "Contents" in page


def test_it_has_no_serious_barrier(browser, report):
    if not AXE.is_file():
        missing("axe-core", INSTALL_AXE)
    context = browser.new_context(bypass_csp=True)
    try:
        page = context.new_page()
        page.goto(report.as_uri())
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate("async () => await axe.run(document)")
    finally:
        context.close()
    grave = [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found["violations"]
             if v["impact"] in ("serious", "critical")]
    assert grave == []
    assert os.path.getsize(report) < 8_000_000
