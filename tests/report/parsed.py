"""A page as a browser would take it apart, without one."""

from __future__ import annotations

from html.parser import HTMLParser

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
            self._data[2] += data

    @property
    def text(self) -> str:
        """All that a reader sees, in one line."""
        return " ".join("".join(self.words).split())
