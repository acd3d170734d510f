"""Where the one picture of a figure lies: within what its titles, ticks and key leave.

matplotlib's own layout of many pictures measures everything twice, as ticks may change with the size; here their number
does not hang on it.
"""

from __future__ import annotations

from matplotlib.figure import Figure
from matplotlib.layout_engine import LayoutEngine
from matplotlib.transforms import Bbox

POINTS_PER_INCH = 72
KEY_ROOM = 3.0              # points around all and between the key and the picture
GUESS = Bbox.from_extents(0.1, 0.15, 0.95, 0.85)


class OnePicture(LayoutEngine):
    """Gives the axes all of the figure but the room for what stands around them, and for the key above."""

    _adjust_compatible = _colorbar_gridspec = True

    def execute(self, fig: Figure) -> None:
        """Place the axes of `fig`."""
        axes, = fig.axes
        axes.set_position(GUESS)
        frame = axes.get_window_extent()            # smaller than it might be where both axes have one scale
        around = axes.get_tightbbox() or frame
        room = KEY_ROOM * fig.dpi / POINTS_PER_INCH
        left, low = frame.x0 - around.x0 + room, frame.y0 - around.y0 + room
        right, up = around.x1 - frame.x1 + room, around.y1 - frame.y1 + room
        keys = [key.get_window_extent().height + room for key in fig.legends]
        whole = fig.bbox
        inner = Bbox.from_extents(left, low, whole.width - right, whole.height - up - sum(keys))
        axes.set_position(inner.transformed(fig.transFigure.inverted()))
