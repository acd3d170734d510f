"""Text as it is shown: nothing from a file is taken for markup."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping

from reliability.report.figures import Figure
from reliability.report.figures import plain as as_text
from reliability.report.sentences_break_even import SHARE_KIND, saidi_gain
from reliability.schema.problems import shorten

_MARKS = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>$:~&^=\"'])")
_MARKUP = re.compile(r"[\\`*_{}\[\]()#!|<>:~^@]|//")
# a renderer turns bare addresses into links; a joiner that nobody sees keeps them text
_LINKS = (("//", "/\u2060/"), ("www.", "www\u2060."), ("@", "@\u2060"))


def plain(text: object, most: int = 80) -> str:
    """Text from a file for a place where Markdown is read, cut to `most` characters."""
    shown = shorten(str(text), most)
    for mark, inert in _LINKS:
        shown = shown.replace(mark, inert)
    return _MARKS.sub(r"\\\1", shown)


def bare(text: object, most: int = 40) -> str:
    """Text from a file for the label of a widget, cut to `most` characters: read as Markdown on the screen, aloud as
    it is written, so that what would mark something up is left out and nothing is escaped; a single $ marks nothing.
    """
    shown = _MARKUP.sub("", shorten(str(text), most))
    return shown if shown.count("$") < 2 else shown.replace("$", "")


def short(text: object, most: int = 60) -> str:
    """Text from a file for a place that shows text as it is, cut to `most` characters."""
    return shorten(str(text), most)


def label(text: object, most: int = 40) -> str:
    """Text from a file for a label in a chart, which shows quotation marks as they are; never for an attribute."""
    return html.escape(shorten(str(text), most), quote=False)


def saidi_turn(totals: Mapping[str, float], key: str = "reclosing_off_share", subject: str = "This") -> str:
    """Up to which share of faults while reclosing is off there is a gain in SAIDI, as the report says it; "" for none.

    totals: of a scenario or a selection; key: of the share in them.
    """
    return whole_percentages(as_text(saidi_gain(totals, Figure(totals[key], SHARE_KIND), subject)))


def whole_percentages(text: str) -> str:
    """The text with no line broken between a number and its percent sign."""
    return text.replace(" %", "\u00a0%")
