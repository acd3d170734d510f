"""The sentences of the summary on how sure it is: what the ranges hold, what moves the answer, what the records say."""

from __future__ import annotations

import pandas as pd

from reliability.business.drivers import TRIED
from reliability.business.stability import WORTH_IT
from reliability.formats import noun_for
from reliability.history.calibration import Comparison
from reliability.report.content import Content, proposed_conversions
from reliability.report.figures import Figure, Name, Sentence, joined, say
from reliability.report.ranges import ranges_sentence
from reliability.report.sentences import money, money_range, trials_cut
from reliability.schema.assumptions import label_of
from reliability.schema.units import spoken_unit

MOST_FIXED = 3
FIRM = 0.9      # probability from which a conversion is called firm; our choice


def confidence(content: Content) -> Sentence:
    """What the ranges cover, and how the model stands against the records."""
    sentences: list[Sentence] = []
    if content.simulated:
        uncertain = len(content.study.uncertain)
        sentences.append(say("Ranges reflect year-to-year weather{and_inputs}, from {trials} simulated {horizons} "
                             "({years} years).",
                             and_inputs=say(" and {n} uncertain inputs", n=Figure(uncertain, "count"))
                             if uncertain else "", trials=content.figure("count", "trials"),
                             horizons=noun_for(content.figure("count", "trials").value or 0.0, "horizon"),
                             years=content.figure("count", "trial_years")))
        if cut := trials_cut(content.summary):
            sentences.append(cut)
        if content.at("precision_reached") is False:
            sentences.append(say("The simulation stopped before it reached the required precision."))
    else:
        sentences.append(say("Only expected values were computed; nothing was simulated, so no range is given."))
    if content.simulated or not content.study.uncertain:
        sentences.append(ranges_sentence(content.study))
    return joined([*sentences, *_held_fixed(content), *_firm(content), *_main_driver(content),
                   *_against_records(content)])


def _held_fixed(content: Content) -> list[Sentence]:
    """The assumptions without a range that move the NPV most: the ranges do not hold them."""
    rows = driver_rows(content)
    if rows is None or not content.study.uncertain or not content.simulated:
        return []
    fixed = rows[rows["range"] == TRIED].nlargest(MOST_FIXED, "swing")
    names = [Name(label_of(str(key))) for key in fixed["assumption"]]
    if not names:
        return []
    return [say("They leave out what has no range, first of all {names}.", names=joined([(n,) for n in names], ", "))]


def _firm(content: Content) -> list[Sentence]:
    """How many of the conversions chosen are worth it with how much certainty."""
    chosen = proposed_conversions(content)
    if chosen is None or WORTH_IT not in chosen or not len(chosen) or chosen[WORTH_IT].isna().all():
        return []
    firm = chosen[WORTH_IT] >= FIRM
    rest = chosen[~firm]
    if not len(rest):
        return [say("Each conversion by itself pays with a probability of {firm} or more.", firm=Figure(FIRM, "share"))]
    return [say("By themselves {n} of the conversions pay with a probability of {firm} or more; the other {m} take "
                "{capex} of capital for {npv} of NPV.", n=Figure(int(firm.sum()), "count"), firm=Figure(FIRM, "share"),
                m=Figure(len(rest), "count"), capex=money(content, Figure(float(rest["capex"].sum()), "money")),
                npv=money(content, Figure(float(rest["npv"].sum()), "money")))]


def _main_driver(content: Content) -> list[Sentence]:
    """The assumption that explains most of what is uncertain about the NPV; without ranges the one with most effect."""
    rows = driver_rows(content)
    if rows is None or not len(rows):
        return []
    known = rows["total"].notna().any()
    first = (rows.sort_values("total", ascending=False, kind="stable") if known else rows).iloc[0]
    key = str(first["assumption"])
    low, high = (Figure(float(first[end]), "three_digits") for end in ("low", "high"))
    ends = [money(content, Figure(float(first[end]), "money")) for end in ("npv_low", "npv_high")]
    share = say(" ({x} of the variance of the expected NPV)", x=Figure(float(first["total"]), "share")) if known else ()
    return [say("The largest driver is {label}{share}: from {low} to {high}{unit} the NPV goes from {a} to {b}.",
                label=Name(label_of(key)), share=share, low=low, high=high, unit=spoken_unit(key, content.currency),
                a=ends[0], b=ends[1])]


def driver_rows(content: Content) -> pd.DataFrame | None:
    """Rows of drivers.csv of what is proposed, None where there are none."""
    if content.drivers is None or content.proposed is None:
        return None
    return content.drivers[content.drivers["scenario"] == content.scenarios[content.proposed]]


def _against_records(content: Content) -> list[Sentence]:
    """Recorded over modelled indices, on like days, and the case at the level of the records."""
    if content.history is None:
        return [say("There are no outage records to compare with.")]
    found = content.history.calibration
    if found is None:
        return []
    chance = "" if found.rate_factor == found.rate_factor or found.time_factor == found.time_factor else (
        ", within chance")
    sentences = [_ratios(found.decisive, chance)]
    if found.every_day is not None and found.ordinary is not None:
        sentences.append(_ratios(found.ordinary, " (the model spreads over all days what storms bring on a few)"
                                 if found.ordinary.rate[0] < found.every_day.rate[0] else ""))
    return [*sentences, *_on_calibrated_inputs(content)]


def _ratios(found: Comparison, more: str) -> Sentence:
    saifi = [Figure(x, "three_digits") for x in found.rate]
    saidi = Figure(float(found.feeders["saidi_ratio"].to_numpy()[0]), "three_digits")
    return say("On {days} the records show {a} ({low} to {high}) times the modelled SAIFI and {b} times the modelled "
               "SAIDI{more}.", days=found.days, a=saifi[0], low=saifi[1], high=saifi[2], b=saidi, more=more)


def _on_calibrated_inputs(content: Content) -> list[Sentence]:
    """The proposal where rates and times are as the records have them."""
    place = ("choice", "calibrated")
    npv = content.figure("money", *place, "totals", "npv")
    if npv.value is None:
        return []
    low, high, chance = (content.figure(kind, *place, k) for k, kind in (
        ("npv_p10", "money"), ("npv_p90", "money"), ("probability_npv_positive", "probability")))
    span: Sentence = ()
    if low.value is not None and high.value is not None and chance.value is not None:
        span = say(" (80 % range {span}; above 0 with a probability of {chance})",
                   span=money_range(content, low, high), chance=chance)
    laterals = content.figure("count", *place, "selection", "totals", "laterals")
    size = say(", and the best selection {n} {laterals}", n=laterals,
               laterals=noun_for(laterals.value, "lateral")) if laterals.value is not None else ()
    return [say("With the inputs scaled to the records (fault rates × {rate}, times × {time}) its NPV would be {npv}"
                "{span}{size}.", rate=content.figure("three_digits", *place, "rate_factor"),
                time=content.figure("three_digits", *place, "time_factor"), npv=money(content, npv), span=span,
                size=size)]
