"""Objective and limits of a choice, as they are asked in this tab: controls, the address, and into the study.

What differs from the study's table [choice] is held in the state of the tab; the rest stands as the study has it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import quote, unquote

import streamlit as st

from reliability.business.constraints import limits_of
from reliability.business.selection import NPV, SAIDI
from reliability.formats import amount_of, exact, money, spoken
from reliability.network.tree import Network
from reliability.schema.assumptions import AS_BUILT_SETTINGS, BY_KEY, MAY_CHANGE
from reliability.study import Study, toml_edit
from reliability.study.settings import bounds_rule
from reliability.ui import edit, opened, state
from reliability.ui.opened import Opened
from reliability.ui.text import bare, short

GOALS = {NPV: "Highest net present value", SAIDI: "Most SAIDI avoided"}
FORCED_IN_KEY, FORCED_OUT_KEY, ONLY = "forced_in", "forced_out", "applicable_only"
NUMBERS = ("budget", "saidi_reduction_minutes", "added_maifi_e", "added_maifi_e_feeder", "programme_years",
           "yearly_budget", "yearly_units")
LIMIT_WORDS = ("objective", "backup_settings")
NO_LIMIT, LIMIT_SEPARATOR = "none", "|"
Limits = dict[str, object]


def stated(study: Study) -> Limits:
    """Objective and limits of the study, by key."""
    own, network = limits_of(study), study.network
    there = set(network.ids[network.candidates].astype(str).tolist())
    values: Mapping[str, object] = dict(study.values)
    return {**{key: values[key] for key in (*LIMIT_WORDS, *NUMBERS)}, ONLY: True,
            FORCED_IN_KEY: tuple(i for i in own.forced_in if i in there),
            FORCED_OUT_KEY: tuple(i for i in own.forced_out if i in there)}


def moved(study: Study) -> Limits:
    """Those that are asked and differ from the study's, by key."""
    return from_link(state.text(state.LIMITS_KEY), study)


def from_link(text: str, study: Study) -> Limits:
    """Limits out of a link; what is unknown or out of bounds is left out.

    A lateral that is both always and never converted is what the link alone says, neither where it says both.
    """
    if not text:
        return {}
    known, network, found = stated(study), study.network, {}
    there = set(network.ids[network.candidates].astype(str).tolist())
    for part in text.split(","):
        key, _, raw = part.partition(":")
        try:
            value = _value(key, raw, there)
        except ValueError:
            continue
        if value != known[key]:
            found[key] = value
    return dict(sorted(_without_conflicts(known, found).items()))


def _without_conflicts(known: Limits, found: Limits) -> Limits:
    """`found` with no lateral forced in and out at once."""
    asked = {key: cast("tuple[str, ...]", (known | found)[key]) for key in (FORCED_IN_KEY, FORCED_OUT_KEY)}
    both = set(asked[FORCED_IN_KEY]).intersection(asked[FORCED_OUT_KEY])
    if not both:
        return found
    gives_way = [key for key in asked if key not in found] or list(asked)
    rest = {key: tuple(i for i in asked[key] if i not in both) for key in gives_way}
    return {key: value for key, value in (found | rest).items() if value != known[key]}


def _value(key: str, raw: str, there: set[str]) -> object:
    """A limit as it was written; ValueError for what is none. there: ids of the laterals."""
    if key in LIMIT_WORDS and raw in BY_KEY[key].choices:
        return raw
    if key == ONLY and raw in ("0", "1"):
        return raw == "1"
    if key in (FORCED_IN_KEY, FORCED_OUT_KEY):
        return tuple(i for i in map(unquote, raw.split(LIMIT_SEPARATOR)) if i in there)
    if key not in NUMBERS:
        raise ValueError(key)
    a = BY_KEY[key]
    if raw == NO_LIMIT and a.default is None:
        return None
    value = float(raw)
    if not math.isfinite(value) or not (a.low or 0.0) <= value <= (a.high or math.inf):
        raise ValueError(raw)
    return int(value) if a.kind == "whole" else value


def _text(value: object) -> str:
    if value is None:
        return NO_LIMIT
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, tuple):
        return LIMIT_SEPARATOR.join(quote(i, safe="") for i in value)
    return str(value)


def to_link(limits: Mapping[str, object]) -> str:
    """Limits as one parameter of the link."""
    return ",".join(f"{key}:{_text(value)}" for key, value in limits.items())


def in_words(limits: Mapping[str, object], study: Study) -> list[str]:
    """Each limit that is moved, in a few words."""
    said = []
    for key, value in limits.items():
        if key == "objective":
            said.append(f"objective: {GOALS[str(value)].lower()}".replace("saidi", "SAIDI"))
        elif key == "backup_settings":
            said.append("fast tripping may be changed" if value == MAY_CHANGE else "fast tripping stays as built")
        elif key == ONLY:
            said.append("laterals that fail are not left out")
        elif isinstance(value, tuple):
            said.append(f"{'always' if key == FORCED_IN_KEY else 'never'} convert {', '.join(value) or 'any by name'}")
        else:
            label = BY_KEY[key].label.lower().replace("saidi", "SAIDI").replace("maifi_e", "MAIFI_E")
            amount = money(value, study.currency) if BY_KEY[key].unit.startswith("money") else spoken(value)
            said.append(f"{label} {'no limit' if value is None else amount}")
    return said


def panel(shown: Opened, study: Study, network: Network) -> Limits:
    """Draw the controls; returns everything that is asked, by key."""
    known = stated(study)
    asked = known | moved(study)
    st.caption("Limits decide again what is proposed, on every page.")
    form = _Controls(shown.name, known, asked, bare(study.currency, 12))
    form.objective()
    form.amount("budget")
    form.most("saidi_reduction_minutes", "Least SAIDI reduction, min/yr")
    with st.expander("Momentary events and single laterals"):
        form.most("added_maifi_e", "Most added MAIFI_E, 1/yr")
        form.most("added_maifi_e_feeder", "Most added MAIFI_E of a feeder, 1/yr")
        at = network.candidates
        described = dict(zip(network.ids[at].astype(str).tolist(), network.described[at].tolist(), strict=True))
        form.laterals("Always convert", FORCED_IN_KEY, FORCED_OUT_KEY, described)
        form.laterals("Never convert", FORCED_OUT_KEY, FORCED_IN_KEY, described)
    form.toggle("Fast tripping may be changed", "backup_settings", "settings", {False: AS_BUILT_SETTINGS,
                True: MAY_CHANGE}, BY_KEY["backup_settings"].help)
    form.toggle("Leave out laterals that fail", ONLY, "only", {False: False, True: True},
                "Laterals that fail an application check are only ever left as they are")
    with st.expander("Programme by year", expanded=True):
        form.years()
        form.amount("yearly_budget")
        form.most("yearly_units", "Units a year")
    return asked


@dataclass(frozen=True)
class _Controls:
    """Controls of the limits of one study: each shows what is asked, and notes what it is moved to."""

    name: str
    known: Limits
    asked: Limits
    currency: str

    def _held(self, key: str, value: object, widget: str = "", values: Mapping[bool, object] | None = None
              ) -> dict[str, Any]:
        """Key and callback of a control that shows `value`; values: of the limit by that of the control."""
        widget = f"{widget or key}_{self.name}"
        state.hold(widget, value)
        return {"key": widget, "on_change": _moved, "args": (key, widget, self.known[key], values)}

    def objective(self) -> None:
        """The objective."""
        st.radio("Objective", list(GOALS), format_func=GOALS.__getitem__,
                 **self._held("objective", self.asked["objective"]))

    def most(self, key: str, title: str = "") -> None:
        """A number, or no limit. A field of text: the browser's own for numbers makes 125 of 12,5."""
        a, value, widget = BY_KEY[key], self.asked[key], f"{key}_{self.name}"
        state.hold(widget, exact(value) if isinstance(value, int | float) else "")
        st.text_input(title or f"{a.label}, {a.unit}", key=widget, placeholder="no limit", help=a.help,
                      on_change=_number_moved, args=(key, widget, self.known[key]))

    def amount(self, key: str) -> None:
        """An amount of money, written as amounts are everywhere, or no limit."""
        self.most(key, f"{BY_KEY[key].label}, {self.currency}")

    def years(self) -> None:
        """Years of the programme."""
        years = self.asked["programme_years"]
        st.number_input("Years", 1, 50, **self._held("programme_years", years, "years"))

    def laterals(self, title: str, key: str, other: str, described: Mapping[str, str]) -> None:
        """Laterals that are forced in or out; those of the other list are not offered."""
        ids, taken = (cast("tuple[str, ...]", self.asked[k]) for k in (key, other))
        st.multiselect(title, [i for i in described if i not in taken], format_func=lambda i: short(described[i], 90),
                       filter_mode="contains", select_all=False, **self._held(key, list(ids)))

    def toggle(self, title: str, key: str, widget: str, values: Mapping[bool, object], help_text: str) -> None:
        """One of two values."""
        on = self.asked[key] == values[True]
        st.toggle(title, help=help_text, **self._held(key, on, widget, values))


def _moved(key: str, widget: str, stated_value: object, values: Mapping[bool, object] | None) -> None:
    value = st.session_state[widget]
    if values is not None:
        value = values[value]
    elif isinstance(value, list):
        value = tuple(value)
    _ask(key, value, stated_value)


def _number_moved(key: str, widget: str, stated_value: object) -> None:
    text = st.session_state[widget].strip()
    try:
        _ask(key, amount_of(text, BY_KEY[key].unit.startswith("money")) if text else None, stated_value)
    except ValueError:
        st.session_state[opened.NOTICE] = (
            f"{short(text, 30)} is no number that reads in one way alone, such as 60 000 or 0.25; the limit stays "
            "as it was.")


def _ask(key: str, value: object, stated_value: object) -> None:
    if key in NUMBERS and value is not None:
        try:
            _value(key, _text(value), set())
        except ValueError:
            a = BY_KEY[key]
            st.session_state[opened.NOTICE] = (
                f"{a.label}: {exact(float(str(value)))} {bounds_rule(a)}; the limit stays as it was.")
            return
    others = [part for part in state.text(state.LIMITS_KEY).split(",") if part and part.partition(":")[0] != key]
    state.put(limits=",".join(others + ([] if value == stated_value else [f"{key}:{_text(value)}"])))


def save(shown: Opened, asked: Mapping[str, object]) -> None:
    """Make what is asked for the study's own, so that a run and its report choose by it."""
    units = asked["yearly_units"]
    wanted: dict[str, Any] = {key: asked[key] for key in (*LIMIT_WORDS, *NUMBERS)}
    wanted["yearly_units"] = int(units) if isinstance(units, int | float) else None
    forced_in, forced_out = asked[FORCED_IN_KEY], asked[FORCED_OUT_KEY]
    text = (shown.folder / "study.toml").read_bytes().decode("utf-8-sig")
    changed = toml_edit.set_forced(toml_edit.set_values(text, wanted),
                                   forced_in if isinstance(forced_in, tuple) else (),
                                   forced_out if isinstance(forced_out, tuple) else ())
    saved = edit.apply(shown, {"study.toml": changed.encode()}, [], "limits")
    st.session_state[opened.NOTICE] = (
        "Written into study.toml: a run and its report now choose by these limits." if saved else
        "Not written: the study was left as it was.")
