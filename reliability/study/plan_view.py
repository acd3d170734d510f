"""The network in plan: its routes on a plane in metres, in the network's order, and where its devices stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.network.forest import nearest
from reliability.network.tree import Network
from reliability.study.routes import Routes

# Mean radius (2a + b)/3 of the WGS 84 ellipsoid, from memory.
EARTH_RADIUS_M = 6_371_008.8
TURN = 360.0                        # degrees


@dataclass(frozen=True)
class PlanView:
    """Lines of n sections on a plane, all arrays in metres east (x) and north (y) of the middle.

    section: (q,) position in the network of each point; the last point of every line is not a number, so that lines
    put after one another stay apart. x, y: (q,). source_end: (n, 2) where a section begins, which is where its device
    stands; middle: (n, 2), on its line. A section without a route has both where the next one above it ends, NaN where
    none has one. routed: (n,) whether it has a route.
    """

    section: np.ndarray
    x: np.ndarray
    y: np.ndarray
    source_end: np.ndarray
    middle: np.ndarray
    routed: np.ndarray

    def lines(self, sections: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """x and y of the lines of a mask (n,), broken between them."""
        here = sections[self.section]
        return self.x[here], self.y[here]

    def extent(self, sections: np.ndarray | None = None) -> tuple[float, float, float, float]:
        """West, east, south and north ends of the lines of a mask (n,), of all where it is None."""
        x, y = (self.x, self.y) if sections is None else self.lines(sections)
        return float(np.nanmin(x)), float(np.nanmax(x)), float(np.nanmin(y)), float(np.nanmax(y))


def on_a_plane(longitude: np.ndarray, latitude: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Metres east and north of the middle of all points, (p,) each, one scale in both directions.

    Equirectangular about the middle latitude φ: x = R cos φ Δλ, y = R Δφ (J. P. Snyder, Map Projections: A Working
    Manual, USGS Professional Paper 1395, 1987, equidistant cylindrical; from memory). East-west lengths are wrong by
    tan φ times the angle to the middle latitude: 0.8 % at 50 km from it at 45°. Assumes a network that is small beside
    the Earth and not at a pole; one that lies across the 180th meridian is put together.
    """
    if np.ptp(longitude) > TURN / 2:
        longitude = np.where(longitude < 0, longitude + TURN, longitude)
    east, north = (0.5 * (degrees.min() + degrees.max()) for degrees in (longitude, latitude))
    x = EARTH_RADIUS_M * np.cos(np.radians(north)) * np.radians(longitude - east)
    return x, EARTH_RADIUS_M * np.radians(latitude - north)


def plan_view(network: Network, routes: Routes) -> PlanView:
    """The routes of a study in the order of its network."""
    x, y = on_a_plane(routes.longitude, routes.latitude)
    position = np.empty(len(network), dtype=np.int64)
    position[network.row] = np.arange(len(network))
    section, first, last = position[routes.row], routes.start[:-1], routes.start[1:] - 1
    points = np.column_stack([x, y])
    ends = np.full((len(network), 2, 2), np.nan)            # section, end, x and y
    by_section = np.argsort(section, kind="stable")
    ends[section[by_section[::-1]], 0] = points[first[by_section[::-1]]]    # a section's first line
    ends[section[by_section], 1] = points[last[by_section]]                 # and its last
    ends = _from_source(network, ends)
    routed = ~np.isnan(ends[:, 0, 0])
    middle = np.full((len(network), 2), np.nan)
    middle[section[::-1]] = (0.5 * (points[(first + last) // 2] + points[(first + last + 1) // 2]))[::-1]
    above = nearest(network.parent, routed)
    beside = ~routed & (above >= 0)
    ends[beside, 0] = ends[beside, 1] = middle[beside] = ends[above[beside], 1]
    return PlanView(np.repeat(section, last - first + 2), _broken(x, last), _broken(y, last), ends[:, 0], middle,
                    routed)


def _broken(values: np.ndarray, last: np.ndarray) -> np.ndarray:
    return np.insert(values, last + 1, np.nan)


def _from_source(network: Network, ends: np.ndarray) -> np.ndarray:
    """Ends of each section, the one towards the source first, whichever way its line was drawn.

    That end is nearer to an end of the next section above that has a route; where there is none, farther from the
    first section below. As drawn where neither tells.
    """
    parent, n = network.parent, len(network)
    routed = ~np.isnan(ends[:, 0, 0])
    above = np.where(parent >= 0, nearest(parent, routed)[parent], -1)
    below = np.where(network.size > 1, np.minimum(np.arange(n) + 1, n - 1), np.arange(n))   # depth-first: it is next
    apart = np.linalg.norm(ends[:, :, None] - ends[np.where(above >= 0, above, below)][:, None], axis=-1).min(axis=2)
    turned = np.where(above >= 0, apart[:, 1] < apart[:, 0], (below > np.arange(n)) & (apart[:, 0] < apart[:, 1]))
    ends[turned] = ends[turned][:, ::-1]
    return ends
