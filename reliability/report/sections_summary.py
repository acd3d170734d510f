"""The summary: one page with the decision, four numbers in a box, and the reasons."""

from __future__ import annotations

from reliability.cautions import CAUTION
from reliability.formats import noun_for
from reliability.report import sentences_summary as sentences
from reliability.report.blocks import Block, Caution, KeyFigure, KeyFigures, Section, Text
from reliability.report.content import Content
from reliability.report.figures import Figure, Sentence, say
from reliability.report.sentences import expected, money, money_range, relative, verdict
from reliability.report.sentences_confidence import confidence
from reliability.report.sentences_selection import rule

SUMMARY_PARAGRAPHS = (
    ("Selection", rule), ("Cost and return", sentences.cost), ("Effect on customers", sentences.gains),
    ("Without major event days", sentences.on_recorded_basis), ("Impact by customer group", sentences.by_group),
    ("Who pays", sentences.perspectives), ("How sure", confidence),
    ("What would change it", sentences.turning_points), ("Alternatives", sentences.alternatives))


def summary(content: Content) -> Section:
    """The decision with its reasons, on one page."""
    label = "Proposal" if content.proposed is not None else "No proposal"
    blocks: list[Block] = [Text(sentences.decision(content), label)]
    if figures := key_figures(content):
        blocks.append(KeyFigures(figures))
    blocks += [Text(sentence, label) for label, make in SUMMARY_PARAGRAPHS if (sentence := make(content))]
    return Section("summary", "Summary", (*blocks, Caution((CAUTION,))))


def key_figures(content: Content) -> tuple[KeyFigure, ...]:
    """Capital, NPV, SAIDI and momentary events of the proposal; of today's protection where nothing is proposed."""
    at = content.proposed
    if at is None:
        return tuple(KeyFigure(label, (expected(content, 0, measure),), say("as built, {unit}", unit=unit))
                     for measure, label, unit in (
                         ("saifi", "SAIFI", "a customer and year"), ("saidi_min", "SAIDI", "min a customer and year"),
                         ("maifi_e", "MAIFI_E", "a customer and year"), ("callouts", "Call-outs", "a year")))
    found = [_change(content, at, "saidi_min", "SAIDI", " min/yr"),
             _change(content, at, "maifi_e", "Momentary events, MAIFI_E", " a year")]
    return (*_money(content, at), *found)


def _money(content: Content, at: int) -> tuple[KeyFigure, ...]:
    place = ("scenarios", at, "business")
    capex, npv = (content.figure("money", *place, k) for k in ("capex", "npv"))
    if npv.value is None:
        return ()
    chance, low, high = (content.figure(kind, *place, k) for k, kind in (
        ("probability_npv_positive", "probability"), ("npv_p10", "money"), ("npv_p90", "money")))
    span: Sentence = ()
    if chance.value is not None and low.value is not None and high.value is not None:
        span = say("80 % range {span}; above 0 with a probability of {chance}", span=money_range(content, low, high),
                   chance=chance)
    units, years = content.figure("count", *place, "units"), _programme_years(content)
    when = say("in year 0") if years < 2 else say("over {k} years, valued as if all in year 0",
                                                  k=Figure(years, "whole"))
    return (KeyFigure("Capital", money(content, capex), say("{n} {units} {when}", n=units, when=when,
                                                          units=noun_for(units.value or 0.0, "unit"))),
            KeyFigure(f"Net present value, {content.study.values['horizon_years']} years", money(content, npv), span))


def _programme_years(content: Content) -> int:
    """Years over which the programme spreads the work, 1 without one."""
    planned = content.selected.programme if content.selected else None
    return 1 if planned is None or not len(planned) else int(planned["year"].nunique())


def _change(content: Content, at: int, measure: str, label: str, unit: str) -> KeyFigure:
    before, after, found = expected(content, 0, measure), expected(content, at, measure), verdict(content, at, measure)
    apart = content.figure(before.kind, "scenarios", at, "difference_to_as_built", measure, "expected", signed=True)
    if apart.value is None and before.value is not None and after.value is not None:
        apart = Figure(after.value - before.value, before.kind, signed=True)
    percent = relative(before, after, found) if found in ("less", "more") else ()
    return KeyFigure(label, say("{apart}{unit}", apart=apart, unit=unit),
                     say("from {before} to {after}{percent}", before=before, after=after, percent=percent))
