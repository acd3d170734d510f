"""The picture of a pinned state beside the current one: two bars a scenario in a panel for each measure."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from reliability.formats import HOVER, compact, number
from reliability.report.palette import BLUE, GREY, INK
from reliability.ui.plotting import axis, layout, pattern, picture
from reliability.ui.text import label

LABEL_ROOM = 1.75                        # of the longest bar: its change is written behind it
PANEL_GAP = 0.02                         # between two panels, of the width


def pins_chart(table: pd.DataFrame, units: dict[str, str], large: bool = False) -> go.Figure:
    """Pinned and current figures as lying bars, the change behind each pair.

    table: of `pins.beside`. units: axis title of each measure.
    """
    scenarios = list(dict.fromkeys(table["scenario"]))
    names = [label(s, 26) for s in scenarios]
    traces: list[dict[str, object]] = []
    axes: dict[str, object] = {"yaxis": axis("", tickvals=list(range(len(names))), ticktext=names, zeroline=False,
                                             range=[len(names) - 0.5, -0.5], showgrid=False)}
    for k, (measure, title) in enumerate(units.items()):
        at = "" if k == 0 else str(k + 1)
        rows = table[table["measure"] == measure].set_index("scenario").reindex(scenarios)
        then, now, change = (rows[c].to_numpy(dtype=float) for c in ("pinned", "now", "change"))
        traces += _pair(then, now, change, names, at, first=k == 0)
        low, high = (float(f([0.0, *then[np.isfinite(then)], *now])) for f in (min, max))
        axes[f"xaxis{at}"] = axis(
            title, domain=[k / len(units) + PANEL_GAP * bool(k), (k + 1) / len(units) - PANEL_GAP], nticks=3,
                                  tickformat=",.3~s",
            range=[LABEL_ROOM * low if low < 0 <= -low else 0.0, LABEL_ROOM * high if high > 0 else -0.75 * low],
            zerolinecolor=INK)
    return picture(traces, layout(110 + 56 * len(names), large, bargap=0.25, barmode="group") | axes)


def _pair(then: np.ndarray, now: np.ndarray, change: np.ndarray, names: list[str], at: str,
          first: bool) -> list[dict[str, object]]:
    """Bars of one panel: the pinned state hatched in grey with its value, the current one below it with its change."""
    said = ["" if not np.isfinite(c) else f"+{compact(c)}" if c > 0 else compact(c) if c < 0 else "±0" for c in change]
    looks = (("Pinned, with its value", then, {"color": GREY, "pattern": pattern("/")}, [compact(v) for v in then]),
             ("Now, with now less pinned", now, {"color": BLUE}, said))
    return [{"type": "bar", "orientation": "h", "y": list(range(len(names))), "x": values.tolist(), "name": name,
             "xaxis": f"x{at}", "yaxis": "y", "legendgroup": name, "showlegend": first, "marker": marker,
             "text": text, "textposition": "outside", "cliponaxis": False, "customdata": names,
             "hovertemplate": f"%{{customdata}}, {name.split(',')[0].lower()}: %{{x:{HOVER}}}<extra></extra>"}
            for name, values, marker, text in looks]


def pins_alt(table: pd.DataFrame) -> str:
    """What `pins_chart` shows, in words."""
    rows = [f"{r['scenario']} {r['measure']} {number(r['pinned'])} to {number(r['now'])}"
            for r in table.to_dict("records")]
    return "Pinned state and current one. " + "; ".join(rows) + "."
