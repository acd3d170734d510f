"""What nobody exports: nine questions, each with a default, a reason, and whether the data answer it.

How far the answers move the results is computed by `reliability.import_questions`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import tomlkit

from reliability.formats import percent
from reliability.intake.outcome import Imported
from reliability.schema.assumption_types import bounds_of
from reliability.schema.assumptions import BY_KEY
from reliability.schema.devices import BY_NAME, FUSE
from reliability.schema.problems import StudyError
from reliability.study.toml_edit import parse_settings

ANSWERING_SHARE = 0.95         # so many of the cells filled answer a question (our choice, as for what is matched)
OWN = "own"                    # an answer called "own 0.8": a number of one's own
FUSE_FACTOR = 1.5   # a link carries so many times the full load of its transformers; common practice, no source
Values = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True)
class Option:
    """An answer. values: table → key → value as in study.toml; columns: columns of sections that it sets, by a name
    that `import_questions` knows, for answers that are no keys."""

    key: str
    label: str
    values: Values
    columns: str = ""


@dataclass(frozen=True)
class OwnNumber:
    """A number in place of the answers that are offered.

    key: of an assumption, which is the number over `scale`; unit: of the number. What else an answer sets stands as by
    default.
    """

    key: str
    label: str
    unit: str
    step: float
    scale: float = 1.0

    @property
    def bounds(self) -> tuple[float, float]:
        """Least and most that it may be, in its unit."""
        low, high = bounds_of(BY_KEY[self.key])
        return low * self.scale, high * self.scale

    def of(self, option: Option) -> float:
        """The number that an answer stands for."""
        return float(option.values[BY_KEY[self.key].table][self.key]) * self.scale


@dataclass(frozen=True)
class Question:
    """One question.

    options: answers, the default first. reason: why it matters, and where the default comes from. own: a number that
    may be given instead. keys: the keys of study.toml that it sets, as table.key.
    """

    key: str
    title: str
    reason: str
    options: tuple[Option, ...]
    own: OwnNumber | None = None

    @property
    def default(self) -> Option:
        """The answer that holds until somebody gives another."""
        return self.options[0]

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of study.toml that the answers set, as table.key."""
        return tuple(dict.fromkeys(f"{t}.{k}" for o in self.options for t, keys in o.values.items() for k in keys))

    def option(self, key: str) -> Option | None:
        """The answer called `key`: one that is offered, or a number of one's own within its bounds; else None."""
        offered = next((o for o in self.options if o.key == key), None)
        number = own_number(key)
        if offered or self.own is None or number is None or not self.own.bounds[0] <= number <= self.own.bounds[1]:
            return offered
        table = BY_KEY[self.own.key].table
        values = {**self.default.values[table], self.own.key: round(number / self.own.scale, 9)}
        return Option(key, f"{number:g} {self.own.unit}", {table: values})


def own_number(key: str) -> float | None:
    """The number of an answer called "own 0.8"; None of any other."""
    word, _, number = key.partition(" ")
    try:
        return float(number) if word == OWN else None
    except ValueError:
        return None


def _protection(key: str, label: str, **values: object) -> Option:
    return Option(key, label, {"protection": values})


ALL_QUESTIONS: tuple[Question, ...] = (
    Question("fast_first", "Do breakers and reclosers trip fast first?",
             "Fast first saves fuses and blinks the feeder; delayed only blows them. It decides what a sectionalizer "
             "replaces. Default: two fast operations, common practice, no source.",
             (_protection("saving", "Yes, two fast operations (fuse saving)", fast_operations=2),
              _protection("one", "Yes, one fast operation", fast_operations=1),
              _protection("blowing", "No (fuse blowing)", fast_operations=0))),
    Question("reclosing_off", "Is reclosing turned off at times (tags, fire risk)?",
             "No sectionalizer opens while reclosing is off: what a fuse would clear locks the feeder out. Default: "
             "never.",
             (_protection("never", "Never", reclosing_off_share=0.0, reclosing_off_trip="delayed"),
              _protection("some", "For 5 % of faults, delayed trip", reclosing_off_share=0.05,
                          reclosing_off_trip="delayed"),
              _protection("fast", "For 5 % of faults, fast trip", reclosing_off_share=0.05, reclosing_off_trip="fast"),
              _protection("season", "For 20 % of faults, delayed trip", reclosing_off_share=0.2,
                          reclosing_off_trip="delayed")),
             OwnNumber("reclosing_off_share", "For another share of faults, delayed trip", "%", 0.1, 100.0)),
    Question("temporary", "What share of overhead faults is temporary?",
             "A temporary fault costs a fuse and a call-out where a sectionalizer rides through. Default: 75 %, common "
             "practice, no source.",
             (Option("usual", "75 %", {"faults": {"temporary_fraction": 0.75}}),
              Option("low", "60 %", {"faults": {"temporary_fraction": 0.6}}),
              Option("high", "85 %", {"faults": {"temporary_fraction": 0.85}})),
             OwnNumber("temporary_fraction", "Another share", "%", 1.0, 100.0)),
    Question("momentary", "Are momentary events recorded at breakers and reclosers, or counters read?",
             "Silence counts as no events only where events are recorded. It decides what can be learned from the "
             "records.",
             (Option("some", "At some", {"records": {"momentary": "some"}}),
              Option("all", "At all", {"records": {"momentary": "all"}}),
              Option("none", "At none", {"records": {"momentary": "none"}}))),
    Question("currents", "Are fault currents known?",
             "Without them every fuse is taken as saved and every sectionalizer counts, which may be too good.",
             (Option("unknown", "Not known", {}),
              Option("high", "If they were 3000 A at the source, halved at far ends (not written)", {},
                     "currents_high"))),
    Question("records", "Do the records include planned work and storms?",
             "Model and records are compared on like days.",
             (Option("both", "Both", {"records": {"planned_included": True, "storms_included": True}}),
              Option("no_planned", "No planned work", {"records": {"planned_included": False,
                                                                   "storms_included": True}}),
              Option("no_storms", "No storms", {"records": {"planned_included": True, "storms_included": False}}),
              Option("neither", "Neither", {"records": {"planned_included": False, "storms_included": False}}))),
    Question("ties", "Which open points can be closed for a transfer, with what chance?",
             "A tie that can carry the load restores what lies beyond a fault after switching instead of after repair. "
             "Chances that the exports state stay. Default: those alone.",
             (Option("none", "None but with a chance that is stated", {}),
              Option("half", "The others with a chance of 50 %", {}, "ties_half"),
              Option("all", "The others always", {}, "ties_all"))),
    Question("switching", "How long until the first switching?",
             "Everybody outside the faulted block waits for it. Default: a crew drives there.",
             (Option("crew", "1 h, by crew", {"restoration": {"switching_hours": 1.0}}),
              Option("near", "0.5 h, by crew", {"restoration": {"switching_hours": 0.5}}),
              Option("remote", "0.1 h, remote", {"restoration": {"switching_hours": 0.1}})),
             OwnNumber("switching_hours", "Another time", "h", 0.25)),
    Question("links", "Are fuse links known?",
             "The link decides up to which current a fast operation saves the fuse. Without it: up to any.",
             (Option("unknown", "Not known", {}),
              Option("by_load",
                     "By rule: 1.5 times the full load of the transformers beyond (common practice, no source)",
                     {}, "links_by_load"))),
)


def answered_by(imported: Imported, question: Question) -> str:
    """What answers a question already, in words; "" where nothing does."""
    stated = _stated(imported)
    if any(key in stated for key in question.keys):
        return "study.toml states it"
    return _BY_DATA.get(question.key, lambda _: "")(imported)


def answers(question: Question, option: Option) -> dict[str, dict[str, Any]]:
    """An answer as a part of the recipe's [study]."""
    return {table: dict(values) for table, values in option.values.items()}


def _stated(imported: Imported) -> set[str]:
    try:
        document = parse_settings(imported.settings.encode())
    except StudyError:
        return set()
    return {f"{table}.{key}" for table, values in document.items() if isinstance(values, tomlkit.items.Table)
            for key in values}


def _filled(imported: Imported, column: str, of: np.ndarray) -> str:
    """Words on a column of sections that is filled for most of the sections `of`."""
    sections = imported.tables["sections"]
    if not of.any() or column not in sections:
        return ""
    cells = sections[column][of]
    share = float((cells.notna() & (cells != "")).mean())
    return f"{column} is stated for {percent(share)} of them" if share >= ANSWERING_SHARE else ""


def _recloses(imported: Imported) -> np.ndarray:
    names = [d.name for d in BY_NAME.values() if d.recloses and d.fast_by_default]
    return imported.tables["sections"]["device"].isin(names).to_numpy(bool)


def _fast(imported: Imported) -> str:
    rows = imported.tables.get("settings")
    if rows is not None:
        devices = set(imported.tables["sections"]["section_id"][_recloses(imported)])
        share = len(devices & set(rows["section_id"])) / max(len(devices), 1)
        if share >= ANSWERING_SHARE and "fast_operations" not in imported.tables["sections"]:
            return ""       # curves are known, how many operations are fast is not
    return _filled(imported, "fast_operations", _recloses(imported))


def _temporary(imported: Imported) -> str:
    outages = imported.tables.get("outages")
    stated = 0.0 if outages is None or not len(outages) else float((outages["fault_kind"] != "").mean())
    if stated >= 0.5:
        return f"{percent(stated)} of the outage records state the kind of fault"
    return _filled(imported, "temporary_fraction", np.ones(len(imported.tables["sections"]), bool))


def _momentary(imported: Imported) -> str:
    return "operations.csv holds counters or events" if "operations" in imported.tables else ""


def _no_records(imported: Imported) -> str:
    return "" if "outages" in imported.tables else "there are no outage records"


def _ties(imported: Imported) -> str:
    ties = imported.ties[imported.ties["kind"] == "tie"]
    if not len(ties):
        return "there is no open point between feeders"
    return "every open point has a chance stated" if (ties["probability"] > 0).all() else ""


def _fuses(imported: Imported) -> str:
    fuses = (imported.tables["sections"]["device"] == FUSE).to_numpy(bool)
    return _filled(imported, "fuse_link", fuses) if fuses.any() else "there are no fuses"


_BY_DATA: dict[str, Callable[[Imported], str]] = {
    "fast_first": _fast,
    "reclosing_off": lambda imported: _filled(imported, "reclosing_off_share", _recloses(imported)),
    "temporary": _temporary,
    "momentary": lambda imported: _no_records(imported) or _momentary(imported),
    "currents": lambda imported: _filled(imported, "fault_current_source_a", np.ones(
        len(imported.tables["sections"]), bool)),
    "records": _no_records,
    "ties": _ties,
    "links": _fuses,
}
