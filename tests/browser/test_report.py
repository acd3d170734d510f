"""Both documents in a real browser: printed on both papers, read without a script, and free of barriers."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable
from functools import cache
from html import unescape
from pathlib import Path

import pytest

from reliability.pipeline import analyse, expect, modelled_days
from reliability.report.history_output import write_history
from reliability.report.output import REPORT, write_results
from tests.browser.conftest import AXE, INSTALL_AXE, missing
from tests.report import test_history_output, test_page

TITLES = {"run": test_page.TITLES, "history": test_history_output.TITLES}

INSTALL_PDF = "apt-get update && apt-get install -y poppler-utils"


@pytest.fixture(scope="module")
def reports(demo, tmp_path_factory) -> dict[str, Path]:
    """report.html of a run of the demo and of its history."""
    folder = tmp_path_factory.mktemp("report")
    write_results(analyse(demo, trials=20), folder / "run", only=[REPORT])
    write_history(demo, folder / "history", modelled_days(expect(demo)))
    return {name: folder / name / "report.html" for name in TITLES}


@pytest.fixture(scope="module")
def printed(browser, reports) -> Callable[[str, str], list[str]]:
    """Text of each page of a document, by its name and the paper, printed with scripts off."""
    return cache(lambda name, paper: pages_of(browser, reports[name], paper))


def pages_of(browser, report: Path, paper: str) -> list[str]:
    """Text of each page of the document printed on paper, with scripts off."""
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
@pytest.mark.parametrize("name", TITLES)
def test_it_prints_with_every_section_and_page_numbers(printed, name, paper):
    pages = printed(name, paper)
    whole = re.sub(r"\s+", " ", " ".join(pages))
    for i, title in enumerate(TITLES[name], start=1):
        assert f"{i}. {title}" in whole
    assert all(f"Page {i} of {len(pages)}" in page for i, page in enumerate(pages, start=1))


@pytest.mark.parametrize("paper", ["Letter", "A4"])
@pytest.mark.parametrize("name", TITLES)
def test_no_chart_is_cut_and_no_heading_ends_a_page(printed, reports, name, paper):
    pages = printed(name, paper)
    html = reports[name].read_text(encoding="utf-8")
    for caption, body in re.findall(r"<figcaption>(.*?)</figcaption>(<svg.*?</svg>)", html, re.S):
        wanted = [bare(unescape(t)) for t in (caption, *re.findall(r"<text(?![^>]*rotate)[^>]*>([^<]+)</text>", body))]
        lacking = min(([w for w in wanted if w not in page] for page in map(bare, pages)), key=len)
        assert lacking == [], f"{caption} is not on one page with all its labels"
    headings = {f"{i}. {title}" for i, title in enumerate(TITLES[name], start=1)}
    for page in pages:
        lines = [line.strip() for line in page.splitlines() if line.strip() and "Page " not in line]
        assert not any(lines[-1].startswith(h) for h in headings) or "Contents" in page


@pytest.mark.parametrize("name", TITLES)
def test_the_head_of_a_long_table_stands_on_every_page_and_nothing_is_wider_than_the_paper(browser, printed, reports,
                                                                                                   name):
    pages = printed(name, "Letter")
    head = {"run": r"Assumption\s+Unit\s+Value", "history": r"unit|Lateral or"}[name]
    assert sum(bool(re.search(head, page)) for page in pages) >= 2
    page = browser.new_page(viewport={"width": 680, "height": 900})       # between the margins of A4
    page.goto(reports[name].as_uri())
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= 680
    page.close()


@pytest.mark.parametrize("name", TITLES)
def test_it_has_no_serious_barrier(browser, reports, name):
    if not AXE.is_file():
        missing("axe-core", INSTALL_AXE)
    context = browser.new_context(bypass_csp=True)
    try:
        page = context.new_page()
        page.goto(reports[name].as_uri())
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate("async () => await axe.run(document, {resultTypes: ['violations']})")
    finally:
        context.close()
    grave = [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found["violations"]
             if v["impact"] in ("serious", "critical")]
    assert grave == []
    assert os.path.getsize(reports[name]) < 1_000_000
