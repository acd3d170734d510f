"""A lateral and its backup in one line, for a sheet of the work pack where the study has no routes.

Written as SVG at once: a plotting library takes a hundred times as long, and a plan may have thousands of sheets.
"""

from __future__ import annotations

import numpy as np
from markupsafe import Markup

from reliability.formats import count, number
from reliability.network.devices import NO_DEVICE
from reliability.network.tree import Network
from reliability.report.chart import METRES_PER_KM, METRES_PER_MILE
from reliability.report.palette import BLUE, GREY, INK, PAPER, RULE
from reliability.schema.devices import DEVICE_TABLE, SWITCH
from reliability.schema.problems import shorten

# Points of the picture, the size in which it is printed.
WIDE, TALL, LETTER_HEIGHT = 216.0, 144.0, 10.2
MAIN_Y, BACKUP_X, TAP_X, FAR_X, DEVICE_Y, TOP_Y = 108.0, 22.0, 122.0, 204.0, 78.0, 20.0
HALF_MARK = 4.0                          # of a mark
MOST_SWITCHES = 5                   # drawn between the two; the words give their number
LONGEST_SKETCH_NAME = 16                        # letters of a name


def lateral_sketch(network: Network, head: int, backup: int, key: str, miles: bool = False) -> tuple[Markup, str]:
    """SVG of a lateral that leaves the line of its backup, and in words what is between and beyond; not to scale.

    backup: position of the reclosing device behind it, negative where there is none. key: begins ids of the picture.
    """
    words = _words(network, head, backup, miles)
    parent = int(network.parent[head])
    goes_on = parent >= 0 and int(network.size[parent]) > 1 + int(network.size[head])
    shapes = [_line(BACKUP_X, MAIN_Y, FAR_X if goes_on else TAP_X, MAIN_Y, GREY, 1.2),
              _line(TAP_X, MAIN_Y, TAP_X, TOP_Y, BLUE, 1.8), _mark(network, head, TAP_X, DEVICE_Y),
              _label(str(network.names[head]), TAP_X - 8.0, DEVICE_Y - 5.0, "end")]
    if backup >= 0:
        between = _switches_between(network, head, backup)[:MOST_SWITCHES]
        shapes += [_mark(network, at, x, MAIN_Y) for at, x in
                   zip(between, np.linspace(BACKUP_X, TAP_X, len(between) + 2)[1:-1].tolist(), strict=True)]
        shapes += [_mark(network, backup, BACKUP_X, MAIN_Y),
                   _label(str(network.names[backup]), BACKUP_X - 8.0, MAIN_Y + 18.0, "start")]
    picture = Markup(
        '<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="{key}-t" viewBox="0 0 {wide} {tall}" '
        'width="{wide}pt" height="{tall}pt"><title id="{key}-t">{title}</title><rect x="0.5" y="0.5" width="{w}" '
        'height="{t}" fill="none" stroke="{rule}"/>{shapes}</svg>').format(
            key=key, wide=f"{WIDE:g}", tall=f"{TALL:g}", w=f"{WIDE - 1.0:g}", t=f"{TALL - 1.0:g}", rule=RULE,
            title=words, shapes=Markup("").join(shapes))
    return picture, words


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> Markup:
    return Markup('<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" stroke-width="{}"/>').format(
        f"{x1:g}", f"{y1:g}", f"{x2:g}", f"{y2:g}", colour, width)


def _mark(network: Network, at: int, x: float, y: float) -> Markup:
    """A square for what recloses or counts, filled for a breaker; a circle for a fuse; a stroke for a switch."""
    code = int(network.device[at])
    symbol = DEVICE_TABLE[code].symbol if code != NO_DEVICE else "square"
    if symbol == "blade":
        return _line(x - HALF_MARK, y + HALF_MARK, x + HALF_MARK, y - HALF_MARK, INK, 1.2)
    fill = INK if symbol == "solid_square" else PAPER
    if symbol == "fuse":
        return Markup('<circle cx="{}" cy="{}" r="{}" fill="{}" stroke="{}"/>').format(
            f"{x:g}", f"{y:g}", HALF_MARK, fill, INK)
    return Markup('<rect x="{}" y="{}" width="{}" height="{}" fill="{}" stroke="{}"/>').format(
        f"{x - HALF_MARK:g}", f"{y - HALF_MARK:g}", 2 * HALF_MARK, 2 * HALF_MARK, fill, INK)


def _label(text: str, x: float, y: float, anchor: str) -> Markup:
    return Markup('<text x="{}" y="{}" text-anchor="{}" font-size="{}" fill="{}">{}</text>').format(
        f"{x:g}", f"{y:g}", anchor, LETTER_HEIGHT, INK, shorten(text, LONGEST_SKETCH_NAME))


def _words(network: Network, head: int, backup: int, miles: bool) -> str:
    size, lengths = int(network.size[head]), network.column["length_km"]
    said = f"One-line sketch, not to scale: lateral {shorten(str(network.names[head]), LONGEST_SKETCH_NAME)}"
    if backup >= 0:
        path = _path(network, head, backup)
        said += (f", {_distance(np.nansum(lengths[path]), miles)} of line behind its backup "
                 f"{shorten(str(network.names[backup]), LONGEST_SKETCH_NAME)}")
        if switches := len(_switches_between(network, head, backup)):
            said += f", {count(switches, SWITCH, SWITCH + 'es')} between"
    inside = slice(head, head + size)
    said += f". Beyond: {count(size, 'section')}, {_distance(np.nansum(lengths[inside]), miles)} of line"
    codes = network.device[head + 1:head + size].tolist()
    for code, device in enumerate(DEVICE_TABLE):
        if code in codes:
            plural = device.label.lower() + ("es" if device.name == SWITCH else "s")
            said += f", {count(codes.count(code), device.label.lower(), plural)}"
    return said + "."


def _distance(km: float, miles: bool) -> str:
    return f"{number(km * METRES_PER_KM / METRES_PER_MILE)} mi" if miles else f"{number(km)} km"


def _path(network: Network, head: int, backup: int) -> list[int]:
    """Sections from a backup's own to the one that a lateral leaves, outwards."""
    found, at = [backup], int(network.parent[head])
    while at > backup:
        found.append(at)
        at = int(network.parent[at])
    return found[:1] + found[:0:-1]


def _switches_between(network: Network, head: int, backup: int) -> list[int]:
    """Of these the ones with a device, the backup's own left out: nothing but switches stands between."""
    return [at for at in _path(network, head, backup)[1:] if network.device[at] != NO_DEVICE]
