"""The sentences of the summary on how sure it is: what the ranges hold, what moves the answer, what the records say."""

from __future__ import annotations

import pandas as pd

from reliability.business.drivers import TRIED
from reliability.business.stability import WORTH_IT
from reliability.formats import noun_for
from reliability.history.calibration import Comparison
from reliability.history.level import LEVEL
from reliability.report.content import Content, proposed_conversions
from reliability.report.figures import Figure, Name, Sentence, joined, say
from reliability.report.plain_words import SPOKEN_KINDS
from reliability.report.ranges import ranges_sentence
from reliability.report.sentences import money, money_range, trials_cut
from reliability.schema.assumptions import label_of
from reliability.schema.units import spoken_unit

MOST_FIXED = 3
MOST_FEEDERS = 2        # named with their ratios; of more the section on the records has them
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
    """The assumption that moves the NPV most by itself, and the one that explains most of its variance."""
    rows = driver_rows(content)
    if rows is None or not len(rows):
        return []
    widest = rows.sort_values("swing", ascending=False, kind="stable").iloc[0]
    key = str(widest["assumption"])
    low, high = (Figure(float(widest[end]), "three_digits") for end in ("low", "high"))
    ends = [money(content, Figure(float(widest[end]), "money")) for end in ("npv_low", "npv_high")]
    first = say("Moved alone, {label} moves the NPV most: from {low} to {high}{unit} it goes from {a} to {b}",
                label=Name(label_of(key)), low=low, high=high, unit=spoken_unit(key, content.currency), a=ends[0],
                b=ends[1])
    if not rows["total"].notna().any():
        return [(*first, ".")]
    most = rows.sort_values("total", ascending=False, kind="stable").iloc[0]
    share = Figure(float(most["total"]), "share")
    if most["assumption"] == widest["assumption"]:
        return [(*first, *say("; it explains the largest part of its variance too, {share}.", share=share))]
    return [(*first, *say("; the largest part of its variance over the ranges, {share}, comes from {label}.",
                          share=share, label=Name(label_of(str(most["assumption"])))))]


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
    offered = found.rate_factor == found.rate_factor or found.time_factor == found.time_factor
    sentences = [_ratios(found.decisive, "" if offered else ", for the whole system within chance")]
    if found.every_day is not None and found.ordinary is not None:
        sentences.append(_ratios(found.ordinary, " (the model spreads over all days what storms bring on a few)"
                                 if found.ordinary.rate[0] < found.every_day.rate[0] else ""))
    outside = [one for c in (found.every_day, found.ordinary) if c is not None for one in _outside(c)]
    if outside:
        sentences.append(say("Outside their {level} interval, recorded over modelled: {list}.",
                             level=f"{100 * LEVEL:.0f} %", list=joined(outside, "; ")))
    return [*sentences, *_on_calibrated_inputs(content)]


def _outside(found: Comparison) -> list[Sentence]:
    """Feeders and restoration times whose ratio of records to model differs beyond its interval; how many where they
    are many."""
    found_outside: list[Sentence] = []
    feeders = found.feeders[found.feeders.index.astype(str) != ""]
    for index, label in (("saifi", "SAIFI"), ("saidi", "SAIDI")):
        rows = feeders[(feeders[f"{index}_low"] > 1.0) | (feeders[f"{index}_high"] < 1.0)]
        if len(rows) > MOST_FEEDERS:
            found_outside.append(say("{label} of {n} of the {all} feeders on {days}", label=label, days=found.days,
                                     n=Figure(len(rows), "count"), all=Figure(len(feeders), "count")))
            continue
        found_outside += [say("{label} of {feeder} on {days} {ratio}", label=label, feeder=Name(str(name)),
                              days=found.days, ratio=_interval(row[f"{index}_ratio"], row[f"{index}_low"],
                                                               row[f"{index}_high"])) for name, row in rows.iterrows()]
    return found_outside + [say("times of {kind} on {days} {ratio}", kind=SPOKEN_KINDS.get(str(kind), str(kind)),
                       days=found.days, ratio=_interval(row["ratio"], row["low"], row["high"]))
                   for kind, row in found.times.iterrows() if _differs(row["low"], row["high"])]


def _differs(low: float, high: float) -> bool:
    return bool(low > 1.0 or high < 1.0)


def _interval(ratio: float, low: float, high: float) -> Sentence:
    ends = [Figure(float(x), "three_digits") for x in (ratio, low, high)]
    return say("{a} ({low} to {high})", a=ends[0], low=ends[1], high=ends[2])


def _ratios(found: Comparison, more: str) -> Sentence:
    saidi = found.feeders[["saidi_ratio", "saidi_low", "saidi_high"]].to_numpy(dtype=float)[0].tolist()
    return say("On {days} the records show {saifi} times the modelled SAIFI and {saidi} times the modelled "
               "SAIDI{more}.", days=found.days, saifi=_interval(*found.rate), saidi=_interval(*saidi), more=more)


def at_the_records(content: Content) -> list[Sentence]:
    """The NPV of the proposal at the level of the records, in short; nothing without it."""
    place = ("choice", "calibrated")
    npv, chance = (content.figure(kind, *place, *keys) for kind, keys in (
        ("money", ("totals", "npv")), ("probability", ("probability_npv_positive",))))
    if npv.value is None or content.proposed is None:
        return []
    often = () if chance.value is None else say(", above 0 with a probability of {chance}", chance=chance)
    chance_alone = "" if content.at(*place, "offered") else ", within chance of the model's,"
    return [say("At the level of the outage records{within} its NPV would be {npv}{often}.", npv=money(content, npv),
                within=chance_alone, often=often)]


def _on_calibrated_inputs(content: Content) -> list[Sentence]:
    """The proposal where rates and times are as the records have them."""
    place = ("choice", "calibrated")
    npv = content.figure("money", *place, "totals", "npv")
    if npv.value is None or content.proposed is None:
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
