"""Text and numbers as they are shown: nothing from a file is taken for markup, no figure without its unit."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Mapping

from reliability.report.figures import Figure
from reliability.report.figures import plain as as_text
from reliability.report.sentences_break_even import SHARE_KIND, saidi_gain
from reliability.schema.problems import shorten

NONE = "–"
_MARKS = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>$:~&^=\"'])")
# a renderer turns bare addresses into links; a joiner that nobody sees keeps them text
_LINKS = (("//", "/\u2060/"), ("www.", "www\u2060."), ("@", "@\u2060"))


def plain(text: object, most: int = 80) -> str:
    """Text from a file for a place where Markdown is read, cut to `most` characters."""
    shown = shorten(str(text), most)
    for mark, inert in _LINKS:
        shown = shown.replace(mark, inert)
    return _MARKS.sub(r"\\\1", shown)


def short(text: object, most: int = 60) -> str:
    """Text from a file for a place that shows text as it is, cut to `most` characters."""
    return shorten(str(text), most)


def label(text: object, most: int = 40) -> str:
    """Text from a file for a label in a chart or in HTML."""
    return html.escape(shorten(str(text), most))


def number(value: object, digits: int = 3) -> str:
    """About so many digits that mean something; a dash for what does not exist."""
    if value is None or not math.isfinite(float(value)):
        return NONE
    value = float(value)
    if value == 0:
        return "0"
    places = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    shown = f"{value:,.{places}f}".replace(",", "\u202f")
    return shown.replace("-", "−")


def spaced(text: str) -> str:
    """A sentence of the report, its figures written as the app writes them."""
    return re.sub(r"(?<=\d),(?=\d{3})", "\u202f", text)


def signed(value: object, digits: int = 3) -> str:
    """A change, with its sign."""
    if value is None or not math.isfinite(float(value)):
        return NONE
    shown = number(value, digits)
    return shown if float(value) <= 0 else f"+{shown}"


def money(value: object, currency: str) -> str:
    """Money in full below a million, in millions (M) above."""
    if value is None or not math.isfinite(float(value)):
        return NONE
    value = float(value)
    if abs(value) >= 1e6:
        return f"{number(value / 1e6, 3)} M {currency}".rstrip()
    return f"{number(round(value), max(3, len(str(int(abs(value))))))} {currency}".rstrip()


def percent(value: object) -> str:
    """A share of 1 as a percentage."""
    if value is None or not math.isfinite(float(value)):
        return NONE
    return f"{100 * float(value):.0f} %".replace("-", "−")


def saidi_turn(totals: Mapping[str, float], key: str = "reclosing_off_share", subject: str = "This") -> str:
    """Up to which share of faults while reclosing is off there is a gain in SAIDI, as the report says it; "" for none.

    totals: of a scenario or a selection; key: of the share in them.
    """
    return as_text(saidi_gain(totals, Figure(totals[key], SHARE_KIND), subject))


def count(amount: int, singular: str, plural: str | None = None) -> str:
    """1 lateral, 2 laterals."""
    shown = f"{amount:,}".replace(",", "\u202f")
    return f"{shown} {singular if amount == 1 else plural or singular + 's'}"
