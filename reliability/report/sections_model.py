"""Sections on the model: definitions, method, assumptions, scenarios, limits, reproducibility."""

from __future__ import annotations

import platform
from collections.abc import Iterator

import numpy as np
import pandas as pd

from reliability.cautions import CAUTION
from reliability.formats import TEXT_KIND, shown
from reliability.indices.definitions import INDICES
from reliability.network.application import wrong_links_said
from reliability.report import charts, sections_customers
from reliability.report.blocks import (
    PLUS_MINUS,
    Block,
    Bullets,
    Caution,
    Column,
    Missing,
    Section,
    Table,
    Text,
    summary_table,
    words,
)
from reliability.report.content import Content, zero_capital_alternatives
from reliability.report.definitions import METHOD_PARAGRAPHS
from reliability.report.figures import Figure, Name, Sentence, joined, pointer, say
from reliability.report.frontier_mix import unproven
from reliability.report.plain_words import without_keys
from reliability.report.ranges import DEFAULT, FROM_STUDY, default_ranges_frame, ranges_sentence, set_by
from reliability.report.sections_customers import SCENARIO_COLUMN
from reliability.report.sentences import scenario_sentences
from reliability.schema.assumption_types import OURS, Assumption
from reliability.schema.assumptions import ASSUMPTIONS, label_of
from reliability.schema.problems import shorten
from reliability.schema.units import unit_of
from reliability.study.study import Study

EXPECTED = tuple((Column(i.key, i.label, i.kind, i.unit), f"/{i.key}") for i in INDICES)
CALLOUT_COLUMNS = tuple((Column(k, label, "amount", "1/yr"), f"/callouts/{k}") for k, label in (
    ("refuse", "Replace fuse"), ("reset", "Reset"), ("repair", "Repair"), ("patrol", "Patrol")))
CEMI = tuple((Column(f"cemi_{n}", f"CEMI-{n}", "share"), f"/cemi/{n}") for n in range(1, 7))
SIMULATED = (*((i.key, i.label, i.kind, i.unit) for i in INDICES if i.simulated),
             ("callouts", "Call-outs", "amount", "1/yr"))
STATED_BY_UTILITY = "stated by the utility"
STATED_OR_MOVED = "stated by the utility, or moved (see the first page)"
WORDS_OF_CHOICES = {choice for a in ASSUMPTIONS for choice in a.choices}       # written with a space for each "_"


def method(content: Content) -> Section:
    """The method in a page."""
    return Section("method", "Method", (words(*METHOD_PARAGRAPHS),))


def assumptions(content: Content) -> Section:
    """Every assumption with unit, value, range and source; numbers as numbers on a sheet, words apart."""
    study = content.study
    table = Table("assumptions", "Every assumption of the study", (
        Column("table", "Table", where="sheet"), Column("key", "Key", where="sheet"), Column("label", "Assumption"),
        Column("unit", "Unit"), Column("shown", "Value", where="page"),
        Column("range", "Low / likely / high", where="page"), Column("value", "Value", "any", where="sheet"),
        *(Column(end, end.capitalize(), "any", where="sheet") for end in ("low", "likely", "high")),
        Column("words", "In words", where="sheet"), Column("from", "Set by", where="sheet"),
        Column("range_from", "Range set by", where="sheet"), Column("source", "Source of the value")),
        pd.DataFrame([row for a in ASSUMPTIONS for row in _assumption(content, a)]), "Assumptions", shown=200)
    notes: tuple[Block, ...] = ()
    listed = [without_keys(str(n)) for n in study.notes]
    if content.application is not None:
        listed.append(f"{wrong_links_said(content.application)}.")
    if listed:
        notes = (Bullets(tuple((n,) for n in listed)),)
    return Section("assumptions", "Assumptions", (
        words("An assumption with a range stands at the mean of its distribution, (low + 4 likely + high) / 6, in "
              "expected values.",
              "A value that is stated for a section goes before the one in this table."),
        Text(ranges_sentence(study)), Text(_state_of_protection(study)), table, *_default_ranges(study), *notes))


def _default_ranges(study: Study) -> list[Block]:
    """The default ranges with their reasons; nothing where none holds."""
    frame = default_ranges_frame(study)
    if frame.empty:
        return []
    return [
        words("A default range lies evenly around the value, so that no expected value depends on it. A range that the "
              "utility states takes its place, of one value where an assumption is known exactly."),
        Table("default-ranges", "Default ranges and their reasons", (
            Column("key", "Key", where="sheet"), Column("label", "Assumption"), Column("unit", "Unit"),
            Column("low", "Low", "any"), Column("value", "Value", "any"), Column("high", "High", "any"),
            Column("reason", "Reason"), Column("source", "Source of the reason")), frame, "Default ranges",
            shown=len(frame))]


def _searched_in_vain(content: Content) -> bool:
    """Whether the time of a search was over before the best was found, which depends on the machine."""
    frame = None if content.selected is None else content.selected.frontier
    return frame is not None and bool(unproven(frame))


def _state_of_protection(study: Study) -> Sentence:
    """The assumptions in which a network is most often worse than its drawings."""
    values = study.values
    own = bool(np.isfinite(study.network.column["reclosing_off_share"]).any())
    return say("{off} of faults are taken to happen while reclosing is off{own}, {wrong} of fuses to hold the next "
               "larger link, fault currents to be {current} times those stated, and a momentary event to cost "
               "customers {momentary} times its value in the interruption cost table.",
               off=Figure(values["reclosing_off_share"], "share_of_three_digits"),
               own=" (but for devices that state their own)" if own else "",
               wrong=Figure(values["wrong_link_share"], "share_of_three_digits"),
               current=Figure(values["fault_current_factor"]), momentary=Figure(values["momentary_cost_factor"]))


def _assumption(content: Content, a: Assumption) -> Iterator[dict[str, object]]:
    """Rows of an assumption: one, or one for each of its shares."""
    study = content.study
    value: object = study.values.get(a.key, a.default)
    stated = FROM_STUDY if value != a.default or f"{a.table}.{a.key}" in study.lines else "default"
    for key, one in ([(f"{a.key}.{k}", v) for k, v in enumerate(value)] if isinstance(value, tuple) else
                     [(a.key, value)]):
        tried, by = study.uncertain.get(key), set_by(study, key)
        ends = (tried.low, tried.likely, tried.high) if tried else (np.nan,) * 3
        is_number = isinstance(one, int | float) and not isinstance(one, bool)
        yield {"table": a.table, "key": key, "label": label_of(key), "unit": unit_of(key, content.currency),
               "shown": str(one) if a.unit == "year" and is_number else _shown(one),
               "range": _range(ends, by) if tried else "",
               "value": one if is_number else np.nan, **dict(zip(("low", "likely", "high"), ends, strict=True)),
               "words": "" if is_number else _shown(one), "from": stated, "range_from": by,
               "source": _source(a, stated, bool(study.values["moved"]))}


def _source(a: Assumption, stated: str, moved: bool) -> str:
    """Where the value comes from: a default's source only where the default is used. moved: in a what-if."""
    if stated == FROM_STUDY:
        return STATED_OR_MOVED if moved else STATED_BY_UTILITY
    return "–" if a.default in (None, "") and a.source == OURS else a.source


def _range(ends: tuple[float, ...], by: str) -> str:
    """The ends of a range; of a default one with that word."""
    text = " / ".join(shown(e, "any") for e in ends)
    return f"{text} ({DEFAULT})" if by == DEFAULT else text


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return shown(value, "any")
    text = str(value or "–")
    return shorten(text.replace("_", " ") if text in WORDS_OF_CHOICES else text)


def scenarios(content: Content) -> Section:
    """Scenarios side by side, with intervals."""
    names, s = content.scenarios, content.summary
    rows = [(names[i], pointer("scenarios", i, "expected")) for i in content.order]
    blocks: list[Block] = [
        Bullets(tuple(scenario_sentences(content))) if len(names) > 1 else
        Missing("Scenarios to compare: the study has none beside “As built”."),
        *charts.scenarios(content),
        summary_table("expected", "Expected values a year", s, SCENARIO_COLUMN, rows, EXPECTED, sheet="Expected"),
        summary_table("callouts", "Expected call-outs a year", s, SCENARIO_COLUMN, rows, CALLOUT_COLUMNS,
                      sheet="Call-outs"),
        summary_table("cemi", "Expected share of customers with n or more sustained interruptions in a year", s,
                      SCENARIO_COLUMN,
                      rows, CEMI, sheet="CEMI"),
    ]
    blocks += [*_without_effect(content), *sections_customers.tables_of(content)]
    if content.simulated:
        blocks += _simulated(content)
    else:
        blocks.append(Missing("Intervals: nothing was simulated."))
    without = [names[i] for i in zero_capital_alternatives(content)]
    if without:
        blocks.append(Text(say("Alternatives without capital for devices, which change settings only: {names}.",
                               names=tuple(p for n in without for p in (Name(n), ", "))[:-1])))
    return Section("scenarios", "Scenarios side by side", tuple(blocks))


def _without_effect(content: Content) -> list[Block]:
    """The scenarios that no table lists, as all their figures are those of "As built"."""
    names: list[Sentence] = [(Name(content.scenarios[i]),) for i in content.without_effect]
    if not names:
        return []
    return [Text(say("No table lists {names}: it changes nothing here, all its figures are those of “As built”."
                     if len(names) == 1 else
                     "No table lists {names}: they change nothing here, all their figures are those of “As built”.",
                     names=joined(names, ", ")))]


def _simulated(content: Content) -> list[Block]:
    names, s = content.scenarios, content.summary
    base = [(names[i], pointer("scenarios", i, "simulated")) for i in content.order]
    apart = [(names[i], pointer("scenarios", i, "difference_to_as_built")) for i in content.order[1:]]
    means = [(Column(k, label, kind, unit, high=f"{k}_se", between=PLUS_MINUS), f"/{k}/mean", f"/{k}/se")
             for k, label, kind, unit in SIMULATED]
    spans = [(Column(f"{k}_p10", label, kind, unit, high=f"{k}_p90"), f"/{k}/p10", f"/{k}/p90")
             for k, label, kind, unit in SIMULATED]
    luck = [(Column(k, label, "share"), f"/{k}/luck_share") for k, label, _, _ in SIMULATED]
    found = [
        summary_table("means", "Simulated means ± their standard errors", s, SCENARIO_COLUMN, base, means,
                      sheet="Simulated",
                      shown=0),
        summary_table("spans", "80 % range of single years (10th to 90th percentile)", s, SCENARIO_COLUMN,
                      base, spans, sheet="Intervals"),
        summary_table("luck", "Share of a year's variance from year-to-year variability; the rest: assumptions",
                      s, SCENARIO_COLUMN, base, luck, sheet="Variability"),
    ]
    if apart:
        exact = [(Column(k, label, kind, unit, signed=True), f"/{k}/expected") for k, label, kind, unit in SIMULATED]
        average = [(Column(f"{k}_low", label, kind, unit, high=f"{k}_high", signed=True), f"/{k}/average_p10",
                    f"/{k}/average_p90") for k, label, kind, unit in SIMULATED]
        found += [
            summary_table("differences", "Difference to “As built”, expected", s, SCENARIO_COLUMN, apart, exact,
                          sheet="Differences"),
            summary_table("difference-spans", "Difference to “As built” in an average year of the horizon, 80 % range",
                          s, SCENARIO_COLUMN, apart, average, sheet="Difference intervals"),
        ]
    return [t for t in found if len(t.columns) > 1]


def limits(content: Content) -> Section:
    """Limits and cautions."""
    return Section("limits", "Limits and cautions", (
        Caution((CAUTION,)), words(
            "Results are expected values and intervals of a model, not a forecast of any year.",
            "Every scenario relies on the reclosing device above a lateral working as stated; its settings are to be "
            "verified against time-current curves before anything is installed.",
            "A sectionalizer trades sustained interruptions of a lateral for momentary events of the whole zone; the "
            "customers who gain are not always those who give up.",
            "A verdict of the application checks sorts laterals for study; it does not replace a coordination study.")))


def reproducibility(content: Content) -> Section:
    """What to run to get the same figures again."""
    s = content.summary
    rows = [("Study", s.get("study"), TEXT_KIND), ("Program version", s.get("version"), TEXT_KIND),
            ("SHA-256 of the inputs", s.get("inputs_sha256") or "not computed", TEXT_KIND),
            ("Seed", s.get("seed"), "whole"),
            ("Work pack revision", (s.get("choice") or {}).get("work_pack_revision") or "no work pack", TEXT_KIND),
            ("Trials", s.get("trials"), "count"), ("Simulated years", s.get("trial_years"), "count"),
            ("Command", content.command or "not recorded", TEXT_KIND), ("Python", platform.python_version(), TEXT_KIND)]
    shown_rows = [(label, shown(value, kind) if kind != TEXT_KIND else shorten(str(value), 200))
                  for label, value, kind in rows]
    table = Table("reproducibility", "Reproduce this run", (Column("what", "What"), Column("value", "Value")),
                  pd.DataFrame(shown_rows, columns=["what", "value"]), "Reproducibility")
    return Section("reproducibility", "Reproducibility", (
        words("The same inputs, version, seed and trials give the same digits, whatever the number of workers"
              + (", but for what a search found before its time was over: budgets at which the frontier says that more "
                 "may be avoided." if _searched_in_vain(content) else ".")),
        table))
