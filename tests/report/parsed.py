"""A page as a browser would take it apart, without one."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from reliability.formats import NOT_MEANINGFUL, OVER, SPACE, UNDER, meaningful, probability
from reliability.report.figures import resolve

VOID = {"meta", "col", "br", "wbr", "hr", "img", "link", "input"}


class Page(HTMLParser):
    """Tags with their attributes, the figures marked with their place in summary.json, and the text."""

    def __init__(self, html: str):
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.figures: list[tuple[str, str, str]] = []          # path, value, text shown
        self.words: list[str] = []
        self.open: list[str] = []
        self._data: list[str] | None = None
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if tag == "data":
            self._data = [dict(attrs)["data-path"], dict(attrs)["value"], ""]

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes nothing"
        if tag == "data" and self._data is not None:
            self.figures.append(tuple(self._data))
            self._data = None

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "script"):
            self.words.append(data)
        if self._data is not None:
            self._data[2] += data.replace("\u00a0", " ")

    @property
    def text(self) -> str:
        """All that a reader sees, in one line."""
        return " ".join("".join(self.words).split())


def figures_hold(page: Page, document: dict) -> None:
    """Every figure marked on a page is the one in summary.json at its place, and is shown to the digits it has."""
    for path, value, text in page.figures:
        assert float(value) == float(resolve(document, path)), path
        if text == NOT_MEANINGFUL:
            assert not (meaningful(float(value), "irr") and meaningful(float(value), "payback")), path
            continue
        if text in (UNDER, OVER):
            assert probability(float(value)) == text, path
            continue
        bare, letters = re.fullmatch(r"([-+\d.e]+)( M| bn| %|)", text.replace("−", "-").replace(SPACE, "")).groups()
        number, unit = float(bare), {" M": 1e6, " bn": 1e9, " %": 0.01, "": 1.0}[letters]
        digits = len(bare.partition(".")[2]) if "e" not in bare else 20
        rounded = 0.06 if "e" in bare else 0.005 if abs(number) >= 1e3 else 0.0   # three digits of large numbers
        assert number * unit == pytest.approx(float(value), abs=0.500001 * unit * 10.0 ** -digits, rel=rounded), path
