"""The sliders of a meeting, generated from the one table of assumptions.

What was moved is held as {key: value} in the state of the tab; everything else stands as the study has it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import streamlit as st

from reliability import formats
from reliability.schema.assumption_types import Assumption
from reliability.schema.assumptions import BY_KEY
from reliability.schema.columns import MOST_COUNTS
from reliability.schema.units import spoken_unit
from reliability.study import Study
from reliability.ui import state
from reliability.what_if import FAST_AS_STATED

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Faults", ("temporary_fraction", "fault_rate_factor")),
    ("Today's practice", ("existing_fast_operations", "reclosing_off_share", "fault_current_factor", "fuse_failure",
                          "wrong_link_share")),
    ("Scenarios", ("share_converted", "counts", "fast_tripping", "sectionalizer_failure")),
    ("Restoration", ("repair_hours", "switching_hours", "refuse_hours", "reset_hours", "patrol_hours")),
    ("Money", ("sectionalizer_cost", "lateral_recloser_cost", "crew_rate_per_hour", "momentary_cost_factor",
               "discount_rate", "horizon_years")),
)
# Where a slider ends if the study states no more than half of it; the bounds of the table are wider.
ENDS_AT = {"sectionalizer_failure": 0.2, "fuse_failure": 0.2, "reclosing_off_share": 0.5, "wrong_link_share": 0.2,
           "fault_current_factor": 3.0}
# What a meeting moves beyond the assumptions of study.toml, described the same way.
OWN_SLIDERS: dict[str, Assumption] = {a.key: a for a in (
    Assumption("compare", "fault_rate_factor", "Fault-rate factor", "×", 1.0, 0.25, 3.0, step=0.05,
               help="Multiplies every fault rate, of lines and of equipment, in every scenario."),
    Assumption("compare", "share_converted", "Share of laterals converted", "0–1", 1.0, 0.0, 1.0, step=0.05,
               help="Of each scenario's laterals, those with the largest gain in customer-minutes come first."),
    Assumption("compare", "counts", "Counts of new sectionalizers", "", 0, 0, MOST_COUNTS, "whole", 1,
               help="Set on every scenario that has sectionalizers; below the backup's operations to lockout."),
    Assumption("compare", "existing_fast_operations", "Fast operations of existing devices", "", FAST_AS_STATED,
               FAST_AS_STATED,
               3, "whole", 1,
               help="Of every breaker and recloser as built, and in every scenario that sets none itself; 0: fast "
               "tripping blocked. A device with fewer operations to lockout has one less than those."),
    Assumption("compare", "fast_tripping", "Fast operations in scenarios only", "", FAST_AS_STATED, FAST_AS_STATED, 3,
               "whole", 1,
               help="For scenarios that do not set it themselves; the existing devices stay as built in the network "
               "that they are compared with. 0: fast tripping blocked."),
)}
# where a slider leaves it to each scenario, or to each device
STATED_AT = {"counts": 0, "fast_tripping": FAST_AS_STATED, "existing_fast_operations": FAST_AS_STATED}
SECTION_VALUES = ("temporary_fraction", "repair_hours")         # what every section may have for itself
EACH_ITS_OWN = ("Every section has its own, stated or learned from the records, which this slider does not move. What "
                "was learned stands on the page Outage history, Laterals and rates. To try others, set “Source of "
                "fault rates” to assumed on the page Study data, Assumptions.")
DECIMALS_UNTIL = 5e-4               # relative error that the decimals of a slider may leave


@dataclass(frozen=True)
class Slider:
    """One slider: `start` is the study's exact value, where it stands while nobody moves it; it moves by steps.

    used: whether there is anything that it moves; not where every section has a value of its own.
    """

    assumption: Assumption
    low: float | int
    high: float | int
    step: float | int
    start: float | int
    used: bool = True

    @property
    def format(self) -> str:
        """As many decimals as the step has, and as tell the study's value."""
        if not isinstance(self.step, float):
            return "%d"
        decimals = len(f"{self.step:.6f}".rstrip("0").partition(".")[2])
        while decimals < 6 and abs(round(self.start, decimals) - self.start) > DECIMALS_UNTIL * abs(self.start):
            decimals += 1
        return f"%.{decimals}f"

    def in_words(self, value: float, currency: str = "") -> str:
        """A value of the slider; currency: for one with its unit."""
        key = self.assumption.key
        if value == STATED_AT.get(key):
            return "as stated"
        return formats.spoken(value) + (spoken_unit(key, currency) if currency and key in BY_KEY else "")

    @property
    def title(self) -> str:
        """Label with its unit."""
        unit = self.assumption.unit
        return f"{self.assumption.label}, {unit}" if unit and unit != "0–1" else self.assumption.label


def sliders(study: Study) -> dict[str, Slider]:
    """The sliders for a study by key; bounds, steps, labels and help come from the table."""
    return {key: _new_slider(OWN_SLIDERS.get(key) or BY_KEY[key], study) for _, keys in GROUPS for key in keys}


def _new_slider(a: Assumption, study: Study) -> Slider:
    value, default = _number(study.values.get(a.key, a.default)), _number(a.default)
    least, most = _number(a.low), _number(a.high)
    if a.kind == "whole":
        top = min(most, max(3 * default, 2 * value, 3)) if a.table != "compare" else most
        return Slider(a, int(least), int(top), 1, int(value))
    high = most
    if a.table in ("restoration", "costs"):
        high = min(most, _round_up(3.0 * max(value, default)))
    elif a.table == "finance":
        high = 0.25
    elif a.key in ENDS_AT:
        high = min(most, max(ENDS_AT[a.key], _round_up(2.0 * value)))
    used = a.key not in SECTION_VALUES or bool(np.isnan(study.network.column[a.key]).any())
    return Slider(a, float(min(max(least, 0.0), value)), float(max(high, value)), float(a.step), float(value), used)


def _number(value: object) -> float:
    """The value of an assumption that a slider moves; TypeError where it is no single number."""
    if isinstance(value, int | float):
        return value
    raise TypeError(f"a slider moves a number, not {value!r}")


def _round_up(value: float) -> float:
    """The next of 1, 2, 3, 5, 6, 8 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(max(value, 1e-6)))
    return next((m * power for m in (1, 2, 3, 5, 6, 8, 10) if m * power >= value), 10 * power)


def moved(study: Study) -> dict[str, float | int]:
    """What is moved away from the study, by key."""
    return dict(sorted(from_link(state.text(state.SLIDERS), study).items()))


def from_link(text: str, study: Study) -> dict[str, float | int]:
    """Moved sliders out of a link; what is unknown or out of bounds is left out."""
    known, found = sliders(study), {}
    for part in text.split(","):
        key, _, raw = part.partition(":")
        try:
            value = float(raw)
        except ValueError:
            continue
        slider = known.get(key)
        if slider is None or not slider.used or not slider.low <= value <= slider.high or value == slider.start:
            continue
        found[key] = int(value) if slider.assumption.kind == "whole" else value
    return found


def to_link(moves: dict[str, float | int]) -> str:
    """Moved sliders as one parameter of the link."""
    return ",".join(f"{key}:{value}" for key, value in moves.items())


def panel(study: Study, name: str) -> dict[str, float | int]:
    """Draw the sliders; returns what is moved."""
    known, now = sliders(study), moved(study)
    st.button("Reset all sliders", key="sliders_reset_all", disabled=not now, icon=":material/undo:",
              width="stretch", on_click=set_all, args=({},))
    st.caption("Sliders try what is proposed and do not choose again.")
    for group, keys in GROUPS:
        st.markdown(f"**{group}**")
        for key in keys:
            _slider(study, key, known[key], now, name)
    return now


def stated_in_words(study: Study, key: str, slider: Slider) -> str:
    """What the study has of an assumption: its value, or the mean of a range with the range."""
    value, known = formats.shown(slider.start, "any"), study.stated_ranges.get(key)
    if known is None:
        return value
    ends = " / ".join(formats.shown(end, "any") for end in (known.low, known.likely, known.high))
    return f"{value}, the mean of {ends} (low, likely, high)"


def widget_key(name: str, key: str) -> str:
    """Key of a slider: of one study."""
    return f"slider_{name}_{key}"


def _slider(study: Study, key: str, slider: Slider, now: dict[str, float | int], name: str) -> None:
    widget = widget_key(name, key)
    place = st.container(key=f"row_{key}", horizontal=True, vertical_alignment="bottom", gap="small")
    state.hold(widget, now.get(key, slider.start), (slider.low, slider.high, slider.step))
    stated = "" if key in OWN_SLIDERS else (f" The study has {stated_in_words(study, key, slider)}. "
                                            f"Source: {slider.assumption.source}.")
    more: dict[str, Any] = {"key": widget, "on_change": _moved, "args": (key, slider.start, widget),
                            "help": f"{slider.assumption.help}{stated}" if slider.used else EACH_ITS_OWN,
                            "disabled": not slider.used}
    if key in STATED_AT:
        place.select_slider(slider.title, list(range(int(slider.low), int(slider.high) + 1)), **more,
                            format_func=lambda v: "as stated" if v == STATED_AT[key] else str(v))
    else:
        place.slider(slider.title, slider.low, slider.high, step=slider.step, format=slider.format, **more)
    if key in now:
        place.button("Reset", key=f"back_{key}", icon=":material/undo:", on_click=_move,
                     args=(key, slider.start, slider.start), type="tertiary",
                     help=f"Reset to {formats.shown(slider.start, 'any')}")


def _moved(key: str, start: float | int, widget: str) -> None:
    _move(key, start, st.session_state[widget])


def _move(key: str, start: float | int, value: float | int) -> None:
    others = [part for part in state.text(state.SLIDERS).split(",") if part and part.partition(":")[0] != key]
    state.put(sliders=",".join(others + ([] if value == start else [f"{key}:{value}"])))


def set_all(moves: dict[str, float | int]) -> None:
    """Set every slider, as in a pinned state."""
    state.put(sliders=to_link(moves))
