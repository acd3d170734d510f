"""A chart as SVG inside a page, without script, its text kept as text; and as PNG for a word processor's file.

matplotlib is loaded at the first drawing. Its settings hold for the time of one drawing only, and one is made at a
time, as they belong to the process.
"""

from __future__ import annotations

import io
import re
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from reliability.report.chart import Chart
from reliability.tasks import Workers

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DOTS_PER_INCH = 200
FONT = "system-ui, 'Liberation Sans', Arial, sans-serif"
_ONE_AT_A_TIME = threading.Lock()
_DIGITS = re.compile(r"-?\d+\.\d{3,}")
_MOVE_TO_SAME_PLACE = re.compile(r"(?<=[ML] )(\S+ \S+) M \1(?= )")
_SPACE_AT_LETTER = re.compile(r" ?([MLQCZ]) ?")
_REFERENCE = re.compile(r"url\(#([^)]+)\)")


@contextmanager
def _drawn(chart: Chart) -> Iterator[Figure]:
    from matplotlib import style

    from reliability.report.plot import PLOT_STYLE, figure

    with _ONE_AT_A_TIME, warnings.catch_warnings(), style.context(["default", PLOT_STYLE]):
        # a name may hold letters that the measuring font lacks; a browser's fonts have them
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from", category=UserWarning)
        yield figure(chart)


def pictures(charts: Sequence[Chart], workers: Workers) -> list[str]:
    """`svg` of each chart, drawn by workers."""
    if charts and workers.forks:
        load()
    return list(workers.in_order([partial(svg, chart) for chart in charts], small=True))


def load() -> None:
    """Load matplotlib now, so that processes forked from this one need not."""
    from matplotlib import style  # noqa: F401

    from reliability.report import plot, plot_svg  # noqa: F401


def png(chart: Chart) -> bytes:
    """The chart as the bytes of a PNG file."""
    out = io.BytesIO()
    with _drawn(chart) as figure:
        figure.savefig(out, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None})
    return out.getvalue()


def svg(chart: Chart) -> str:
    """The chart as an SVG element with title and description; every text in it is escaped."""
    with _drawn(chart) as figure:
        from reliability.report.plot_svg import svg_of

        root = ElementTree.fromstring(svg_of(figure))   # noqa: S314 - written in this line
    _without_namespaces(root)
    _briefly(root)
    _own_ids(root, chart.key)
    root.attrib = {"xmlns": "http://www.w3.org/2000/svg", "role": "img",
                   "aria-labelledby": f"{chart.key}-t {chart.key}-d", "viewBox": root.attrib["viewBox"],
                   "width": root.attrib["width"], "height": root.attrib["height"], "font-family": FONT,
                   "stroke-linejoin": "round", "stroke-linecap": "butt"}
    for place, (tag, text) in enumerate((("title", chart.title), ("desc", chart.description))):
        element = ElementTree.Element(tag, {"id": f"{chart.key}-{tag[0]}"})
        element.text = text
        root.insert(place, element)
    return ElementTree.tostring(root, encoding="unicode")


def _without_namespaces(root: ElementTree.Element) -> None:
    """Plain names of elements and attributes; no metadata, and no style sheet that would reach the whole page."""
    for element in list(root.iter()):
        element.tag = element.tag.rpartition("}")[2]
        element.attrib = {k.rpartition("}")[2]: _DIGITS.sub(_rounded, v) for k, v in element.attrib.items()}
        if "style" in element.attrib:
            kept = [s for s in element.attrib["style"].split("; ") if not s.startswith("font-family")]
            element.attrib["style"] = "; ".join(kept)
        if element.attrib.get("transform", "").startswith("rotate(-0 "):
            del element.attrib["transform"]
        element.tail = None
        if element.tag != "text":
            element.text = None
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in ("metadata", "style") or (child.tag == "defs" and not len(child)):
                parent.remove(child)


def _briefly(root: ElementTree.Element) -> None:
    """The same picture in fewer letters: lines that go on are one, and equal marks take the style of their group."""
    for path in root.iter("path"):
        line = _MOVE_TO_SAME_PLACE.sub(r"\1", " ".join(path.attrib.get("d", "").split()))
        path.attrib["d"] = _SPACE_AT_LETTER.sub(r"\1", line)
    for group in root.iter("g"):
        styles = {child.attrib.get("style", "") for child in group if child.tag != "defs"}
        alike = len(styles) == 1 and "" not in styles and {child.tag for child in group} <= {"defs", "use"}
        if alike and "style" not in group.attrib:
            group.attrib["style"] = styles.pop()
            for child in group.findall("use"):
                del child.attrib["style"]


def _rounded(match: re.Match[str]) -> str:
    return f"{float(match[0]):.2f}".rstrip("0").rstrip(".")


def _own_ids(root: ElementTree.Element, key: str) -> None:
    """Ids that something refers to begin with the chart's, as a page holds many charts; the others go."""
    for element in root.iter():                         # one way to write a reference
        if "href" in element.attrib:
            element.attrib["href"] = f"url({element.attrib['href']})"
    meant = {m for element in root.iter() for value in element.attrib.values() for m in _REFERENCE.findall(value)}
    new: dict[str, str] = {}
    for element in root.iter():
        old = element.attrib.pop("id", None)
        if old is not None and old in meant:
            element.attrib["id"] = new.setdefault(old, f"{key}-{len(new)}")
    for element in root.iter():
        for name, value in element.attrib.items():
            element.attrib[name] = _REFERENCE.sub(lambda m: f"url(#{new[m[1]]})", value)
        if "href" in element.attrib:
            element.attrib["href"] = element.attrib["href"][len("url("):-1]
