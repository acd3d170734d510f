"""Section on conversions: what earlier ones achieved, and what a pilot would need."""

from __future__ import annotations

from reliability.formats import noun_for
from reliability.history.conversions import BeforeAfter
from reliability.history.history import History
from reliability.history.pilot import MOST_YEARS, POWER
from reliability.network.devices import RECLOSES
from reliability.network.protection import protection
from reliability.report import conversions_shown as shown
from reliability.report.blocks import Block, Bullets, Column, Heading, Missing, Section, Table, Text, words
from reliability.report.content import Content, RecordedContent
from reliability.report.figures import Figure, say
from reliability.report.sections_history import missing
from reliability.report.sections_plans import plans
from reliability.schema.problems import shorten
from reliability.study.study import Study


def conversions(content: Content | RecordedContent) -> Section:
    """What earlier conversions achieved, and how long a pilot would take to show the expected effect."""
    title, history = "What earlier conversions achieved", content.history
    earlier = [*plans(content.study, history), *_programmes(content.study)]
    if history is None:
        return Section("conversions", title, (*earlier, *missing("conversions", title, title).blocks))
    achieved: list[Block] = [Missing("Earlier conversions: none is stated by the utility.")]
    if history.conversions is not None:
        achieved = _achieved(history.conversions)
    return Section("conversions", title, (*earlier, Heading("Conversions"), *achieved, *_pilot(history)))


def _programmes(study: Study) -> list[Block]:
    """Other programmes for reliability, as the study states them."""
    stated = study.values["programmes"]
    if not stated:
        return [Missing("Programmes in place besides conversions: not stated by the utility.")]
    return [Text((shorten(stated, 1000),), "Programmes in place")]


def _achieved(found: BeforeAfter) -> list[Block]:
    chart = shown.conversions(found)
    return [
        Text(say("{a} {laterals} converted and {b} not; {before} years before the first conversion, {after} after the "
                 "last.",
                 a=Figure(found.converted, "count"), laterals=noun_for(found.converted, "lateral"),
                 b=Figure(found.others, "count"), before=Figure(found.years_before, "years"),
                 after=Figure(found.years_after, "years"))),
        Text(say("{basis}", basis=found.basis.sentence), "How the laterals were chosen"),
        *([chart] if len(chart.categories) else []),
        Table("conversions", "Events before and after, and what they show", (
            Column("measure", "Measure"), Column("converted_before", "Converted, before", "count"),
            Column("converted_after", "Converted, after", "count"), Column("others_before", "Others, before", "count"),
            Column("others_after", "Others, after", "count"), Column("expected_ratio", "Expected ratio", "ratio"),
            Column("years_needed", "Years after needed", "years"),
            Column("lateral_year_cv", "Spread of lateral-years", "ratio"),
            Column("feeder_year_cv", "Spread of feeder-years", "ratio"), Column("decides", "Decides"),
            Column("verdict", "Verdict at 90 %")), shown.measures_frame(found), "Conversions",
            note="Years after needed: for a chance of 80 % to distinguish the expected ratio from no effect; a dash "
            "where no number of years is enough. Spreads: coefficient of variation beyond Poisson, estimated from "
            "the others."),
        Table("comparisons", "Change of the converted laterals over that of the others, raw and predictive", (
            Column("measure", "Measure"), Column("comparison", "Comparison"), Column("ratio", "Ratio", "ratio"),
            Column("low", "90 % interval", "ratio", high="high"), Column("p_value", "p", "p"),
            Column("verdict", "By itself")), shown.comparisons_frame(found), "Comparisons"),
        words(*found.notes[1:]),
    ]


def _how_expected(history: History) -> str:
    """That the expected effect is that of faults alone, where the study states none and fuses are saved today."""
    model = history.study.model
    fast = protection(model).fast[RECLOSES[model.network.device]]
    if history.records.settings.expected_rate_ratio is not None or not (fast > 0).any():
        return ""
    return (", the permanent ones; where a fast operation saves fuses today, fewer interruptions are left to avoid, "
            "and a pilot there takes longer: set “Expected effect of a conversion” to what the model has such "
            "laterals leave")


def _pilot(history: History) -> list[Block]:
    found, heading = history.pilot, Heading("Before a pilot")
    if found is None:
        return [heading, Missing("A plan of a pilot: it needs two laterals that are not converted, sustained "
                                 "interruptions recorded on them, and an expected effect between 0 and 1.")]
    fleet = found.fleet
    return [
        heading,
        Text(say("{n} laterals are not converted; one has {rate} sustained interruptions a year in {years} years of "
                 "records (coefficient of variation between laterals {between}, between years of one lateral {within} "
                 "beyond chance). A conversion is expected to leave {ratio} of them{how}. The table gives the years "
                 "after which a pilot shows that effect, at 90 % confidence, with a probability of {power}.",
                 n=Figure(fleet.laterals, "count"), rate=Figure(fleet.rate, "ratio"),
                 years=Figure(fleet.years_before, "years"), between=Figure(fleet.between ** 0.5, "ratio"),
                 within=Figure(fleet.spread ** 0.5, "ratio"), ratio=Figure(found.ratio, "share"),
                 power=Figure(POWER, "share"), how=_how_expected(history))),
        shown.pilots(found),
        Table("pilot", "Laterals and years until the expected effect shows", (
            Column("converted", "Laterals converted", "count"), Column("others", "Not converted", "count"),
            Column("rollout", "Roll-out"), Column("years_after", "Years after the last conversion", "years"),
            Column("years_total", "Years from the first conversion", "years")), shown.pilot_frame(found), "Pilot",
            note=f"A dash: not within {MOST_YEARS:.0f} years."),
        Bullets(tuple((note,) for note in found.notes)),
    ]
