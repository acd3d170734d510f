"""Graphic symbols of the devices, in the manner of IEEE Std 315 and IEC 60617, drawn as paths in pixels.

A breaker is a square, a recloser a square with R, a sectionalizer one with S, a fuse the
rectangle with the line through it, a switch the slanted blade, a source the circle with a
wave. The letters are common practice, no source.
"""

from __future__ import annotations

from reliability.report.palette import BLUE, INK, ORANGE, PAPER
from reliability.schema.devices import BY_NAME, Device, Symbol

# path in pixels about the device's place
PATHS: dict[Symbol, str] = {
    "solid_square": "M -7 -7 H 7 V 7 H -7 Z",
    "square": "M -7 -7 H 7 V 7 H -7 Z",
    "small_square": "M -6 -6 H 6 V 6 H -6 Z",
    "fuse": "M -8 -3.5 H 8 V 3.5 H -8 Z M -8 0 H 8",
    "blade": "M -7 0 L -6 0 L 6 8 M 7 -3 L 7 3",
}
CLEARED: dict[Symbol, str] = {"blade": "M -7 -1.6 H 7 V 1.6 H -7 Z"}   # of the line beneath, so that it is interrupted
FILL: dict[Symbol, str] = {"solid_square": INK}                # others: paper
SOURCE = "M -9 0 C -9 -12 9 -12 9 0 C 9 12 -9 12 -9 0 Z M -5 0 C -4 -5 -1 -5 0 0 C 1 5 4 5 5 0"


def shapes(device: str, x: float, y: float) -> list[dict[str, object]]:
    """The symbol of a device at a place, as shapes of a plotly layout."""
    symbol = BY_NAME[device].symbol
    line = _line(BY_NAME[device])
    cleared = [_shape(CLEARED[symbol], x, y, PAPER, PAPER)] if symbol in CLEARED else []
    return [*cleared, _shape(PATHS[symbol], x, y, FILL.get(symbol, PAPER), line)]


def letter(device: str) -> tuple[str, str]:
    """Letter inside a symbol ("" for none) and its colour."""
    return BY_NAME[device].letter, _line(BY_NAME[device])


def source(x: float, y: float) -> dict[str, object]:
    """The symbol of a source."""
    return _shape(SOURCE, x, y, PAPER, INK)


def _line(device: Device) -> str:
    """Its colour: what a lateral may be converted to stands out from what is there today."""
    return (ORANGE if device.counts else BLUE) if device.chosen else INK


def _shape(path: str, x: float, y: float, fill: str, ink: str) -> dict[str, object]:
    return {"type": "path", "path": path, "xsizemode": "pixel", "ysizemode": "pixel", "xanchor": x, "yanchor": y,
            "fillcolor": fill, "line": {"color": ink, "width": 1.6}, "layer": "above"}

