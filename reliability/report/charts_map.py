"""The map: the network in plan, described once for the screen, the documents and the sheets of the work pack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reliability.formats import count, number
from reliability.network.devices import BACKS_UP, CODE, NO_DEVICE
from reliability.network.tree import Network
from reliability.report.chart import (
    CIRCLE,
    CROSS,
    DIAMOND,
    METRES_PER_KM,
    METRES_PER_MILE,
    SQUARE,
    TRIANGLE,
    MapChart,
    MapLines,
    MapMarks,
    MapPlaces,
)
from reliability.report.map_classes import NO_LATERAL, Classed
from reliability.report.palette import BLUE, GREY, INK, ORANGE, PLUM, RULE
from reliability.schema.devices import DEVICE_TABLE, Device
from reliability.schema.problems import shorten
from reliability.study.plan_view import PlanView

MAP_MARGIN, SHEET_MARGIN = 0.04, 0.12   # of the extent, around what is shown; on a sheet there are names beside marks
LEAST_M = 100.0                     # a window is at least so wide: a section may have no length
MOST_MAP_MARKS = 800                    # of one kind of device that backs up no lateral; more would hide the lines
FEW_MARKS = {True: 40,
             False: 400}        # marks of what backs up laterals, and of the rest, that are drawn in full size
SHAPE_OF_NAME = {"solid_square": SQUARE, "square": SQUARE, "small_square": DIAMOND, "fuse": CIRCLE, "blade": CROSS}
LARGE_MARK, SMALL_MARK, LEAST_MARK = 8.0, 5.0, 3.0    # of what backs up laterals and of the rest; where there are many
NEAREST_SHARE = 1 / 6               # of a sheet's map that its lateral takes at least
DIRECTIONS = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")

Window = tuple[float, float, float, float]


def network_map(network: Network, view: PlanView, classed: Classed, device: np.ndarray, *, key: str, title: str,
                shown: np.ndarray | None = None, chosen: Sequence[int] = (), chosen_name: str = "chosen",
                looked_at: int | None = None, miles: bool = False) -> MapChart:
    """Every section, laterals by class, and devices; those of the laterals chosen filled and larger.

    device: (n,) codes of the devices that stand in the scenario. shown: mask (n,) of the sections drawn, None for all.
    chosen: positions of heads; chosen_name: what their devices are in the key. looked_at: position of one head more.
    """
    shown = np.ones(len(network), dtype=bool) if shown is None else shown
    of_section = np.where(network.unit >= 0, classed.of_head[network.unit], NO_LATERAL)
    lines = [MapLines("main", *view.lines(shown & (network.unit < 0)), INK, 1.8)]
    undrawn = shown & (network.unit >= 0) & (of_section == NO_LATERAL)
    if undrawn.any():
        lines.append(MapLines("other laterals", *view.lines(undrawn), RULE, 1.2))
    counts = []
    heads = network.candidates[shown[network.candidates]]
    for k, one in enumerate(classed.classes):
        here = int((classed.of_head[heads] == k).sum())
        if here:
            lines.append(MapLines(one.name, *view.lines(shown & (of_section == k)), one.colour, one.width, one.dash))
            counts.append(f"{one.name}: {count(here, 'lateral')}")
    new = np.isin(np.arange(len(network)), np.asarray(chosen, dtype=int))
    marks = _devices(view, device, shown & ~new) + _new_devices(view, device, shown & new, chosen_name)
    if looked_at is not None and shown[looked_at]:
        x, y = view.middle[[looked_at]].T
        marks.append(MapMarks("Looked at", x, y, DIAMOND, PLUM, True, LARGE_MARK))
    left_out = int((shown & ~view.routed).sum())
    notes = [f"{count(left_out, 'section')} without a route."] if left_out else []
    if hidden := _hidden(view, device, shown & ~new):
        notes.append(f"Too many to be drawn here: {', '.join(hidden)}.")
    return MapChart(key, title, " ".join([f"{classed.legend}. {'; '.join(counts)}.", *notes]), tuple(lines),
                    tuple(marks), window_of(view, shown), classed.legend, miles, note=" ".join(notes),
                    places=_places(network, view, classed, shown))


def window_of(view: PlanView, shown: np.ndarray) -> Window:
    """Ends of what is shown with a margin; of the whole network where nothing of it has a route."""
    drawn = shown & view.routed
    return with_margin(view.extent(drawn if drawn.any() else None))


def with_margin(extent: Window, margin: float = MAP_MARGIN) -> Window:
    """Ends of a window with room around them, at least LEAST_M wide."""
    west, east, south, north = extent
    wide = max(east - west, north - south, LEAST_M)
    room = margin * wide
    more_x, more_y = (0.5 * max(LEAST_M - size, 0.0) + room for size in (east - west, north - south))
    return west - more_x, east + more_x, south - more_y, north + more_y


def _new_devices(view: PlanView, device: np.ndarray, new: np.ndarray, name: str) -> list[MapMarks]:
    """A filled mark a kind of device at the laterals chosen; no other one stands there."""
    size = _size(LARGE_MARK, FEW_MARKS[True], max(int(new.sum()), 1))
    return [replace(_marks(one, *view.source_end[at].T), name=f"{one.label}, {name}", filled=True, size=size)
            for one in DEVICE_TABLE if len(at := _stand(view, device, new, one))]


def _devices(view: PlanView, device: np.ndarray, shown: np.ndarray) -> list[MapMarks]:
    """A kind of mark a device; what backs up laterals is drawn last, on top."""
    hidden = _hidden(view, device, shown)
    return [_marks(one, *view.source_end[at].T) for one in DEVICE_TABLE[::-1]
            if len(at := _stand(view, device, shown, one)) and one.label not in hidden]


def _stand(view: PlanView, device: np.ndarray, shown: np.ndarray, one: Device) -> np.ndarray:
    """Positions of the sections shown that have a device whose place is known."""
    return np.flatnonzero(shown & (device == CODE[one.name]) & ~np.isnan(view.source_end[:, 0]))


def _hidden(view: PlanView, device: np.ndarray, shown: np.ndarray) -> list[str]:
    """Kinds of device that back up no lateral and are too many to be told apart."""
    return [one.label for one in DEVICE_TABLE if not BACKS_UP[CODE[one.name]]
            and len(_stand(view, device, shown, one)) > MOST_MAP_MARKS]


def _marks(device: Device, x: np.ndarray, y: np.ndarray, labels: Sequence[str] | None = None) -> MapMarks:
    large = bool(BACKS_UP[CODE[device.name]])
    size = _size(LARGE_MARK if large else SMALL_MARK, FEW_MARKS[large], len(x))
    colour = (ORANGE if device.counts else BLUE) if device.chosen else INK
    shape = TRIANGLE if device.counts else SHAPE_OF_NAME[device.symbol]
    return MapMarks(device.label, x, y, shape, colour, device.symbol == "solid_square", size, labels)


def _size(of_few: float, few: int, number: int) -> float:
    """Size of each of a number of marks: the more there are the smaller, so that they leave the lines to be seen."""
    return max(of_few * min(float(np.sqrt(few / number)), 1.0), LEAST_MARK)


def _places(network: Network, view: PlanView, classed: Classed, shown: np.ndarray) -> MapPlaces:
    """Every section of a lateral points to the lateral's head."""
    heads = network.candidates
    at = np.flatnonzero(shown & (network.unit >= 0) & ~np.isnan(view.middle[:, 0]))
    picks = network.candidate_index[at]
    used, picks = np.unique(picks, return_inverse=True)
    names, customers = network.names, network.customers_below
    texts = [(shorten(str(names[h]), 60), *_where(network, h), f"{count(int(customers[h]), 'customer')} beyond",
              classed.text[k]) for k, h in zip(used.tolist(), heads[used].tolist(), strict=True)]
    x, y = view.middle[at].T
    return MapPlaces(x, y, picks, network.ids[heads[used]].astype(str).tolist(), texts)


def _where(network: Network, head: int) -> tuple[str, ...]:
    """Location and feeder of a lateral, what is known of it."""
    location = str(network.text["location"][head])
    feeder = str(network.feeder_ids[network.feeder[head]])
    return (*((shorten(location, 60),) if location and location != network.names[head] else ()),
            f"Feeder {shorten(feeder, 40)}")


def lateral_map(network: Network, view: PlanView, head: int, backup: int, *, key: str,
                miles: bool = False) -> MapChart | None:
    """A lateral and its backup, the rest of the backup's zone in grey; None where the lateral has no route.

    backup: position of the reclosing device behind it, negative where there is none. The map is zoomed to the
    lateral; its words say where a backup stands that is too far to be on it.
    """
    lateral = network.unit == head
    if not (lateral & view.routed).any():
        return None
    zone = np.zeros(len(network), dtype=bool)
    if backup >= 0:
        zone[backup:backup + int(network.size[backup])] = True
    window, far = _sheet_window(view, lateral, backup)
    on_main = zone & ~lateral & (network.unit < 0)
    lines = (MapLines("other laterals of the zone", *_within(view, zone & ~lateral & (network.unit >= 0), window),
                      GREY, 0.8),
             MapLines("main", *_within(view, on_main, window), GREY, 2.0),
             MapLines("lateral", *view.lines(lateral), BLUE, 3.0))
    names = network.names
    marked = [head] if far or backup < 0 else [head, backup]
    marks = [_labelled(network, view, at, str(names[at])) for at in marked]
    said = f"Lateral {names[head]} in plan"
    if backup >= 0:
        said += f"; its backup {names[backup]} stands {_apart(view, head, backup, miles)}"
    return MapChart(key, f"Map of {names[head]}", said + ".", lines, tuple(marks), window, "", miles, small=True)


def _labelled(network: Network, view: PlanView, at: int, label: str) -> MapMarks:
    code = int(network.device[at])
    x, y = view.source_end[[at]].T
    return MapMarks("", x, y, SQUARE, INK, labels=[label]) if code == NO_DEVICE else _marks(DEVICE_TABLE[code], x, y,
                                                                                            [label])


def _sheet_window(view: PlanView, lateral: np.ndarray, backup: int) -> tuple[Window, bool]:
    """What a sheet's map shows, and whether the backup stands outside it."""
    extent = west, east, south, north = view.extent(lateral)
    place = view.source_end[backup] if backup >= 0 else np.full(2, np.nan)
    size = max(east - west, north - south, LEAST_M)
    if not np.isfinite(place).all():
        return with_margin(extent, SHEET_MARGIN), False
    both = (min(west, place[0]), max(east, place[0]), min(south, place[1]), max(north, place[1]))
    if size >= NEAREST_SHARE * max(both[1] - both[0], both[3] - both[2]):
        return with_margin(both, SHEET_MARGIN), False
    around = 0.5 * (1.0 / NEAREST_SHARE - 1.0) * size / 2   # half of the largest window, about the lateral
    return (west - around, east + around, south - around, north + around), True


def _within(view: PlanView, sections: np.ndarray, window: Window) -> tuple[np.ndarray, np.ndarray]:
    """Lines of the sections that come near a window: a sheet need not hold the whole zone."""
    x, y = view.lines(sections)
    west, east, south, north = window
    room = max(east - west, north - south)
    near = (x > west - room) & (x < east + room) & (y > south - room) & (y < north + room)
    kept = near | np.append(near[1:], False) | np.append(False, near[:-1])
    return np.where(kept, x, np.nan), np.where(kept, y, np.nan)


def _apart(view: PlanView, head: int, backup: int, miles: bool) -> str:
    """How far and in which direction the backup stands from the lateral's head, as the crow flies."""
    east, north = view.source_end[backup] - view.source_end[head]
    if not np.isfinite([east, north]).all():
        return "at a place without a route"
    metres = float(np.hypot(east, north))
    distance = f"{number(metres / METRES_PER_MILE)} mi" if miles else f"{number(metres / METRES_PER_KM)} km"
    octant = round(float(np.degrees(np.arctan2(north, east))) / 45.0) % 8
    return f"{distance} to the {DIRECTIONS[octant]} of it"
