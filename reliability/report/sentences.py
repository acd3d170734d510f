"""Sentences on the scenarios, with figures: written from the results, so that they change with them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reliability.business.costs import SOCIETY, UTILITY
from reliability.business.verdict import HALF_A_UNIT, VIEWERS, pays, scope
from reliability.formats import MONEY, noun_for
from reliability.report.content import Content, installs, named, within
from reliability.report.figures import Figure, Sentence, figure, joined, say
from reliability.report.sentences_break_even import scenario_saidi_gain

ROUNDING = 1e-9      # relative; what is smaller comes from adding numbers up
# measure of summary.json: kind, name in a sentence, unit in a sentence
SPOKEN = {
    "saifi": ("index", "sustained interruptions a year (SAIFI)"),
    "saidi_min": ("minutes", "minutes without power (SAIDI)"),
    "maifi_e": ("index", "momentary events (MAIFI_E)"),
    "callouts": ("amount", "times a year"),
}


def money(content: Content, figure: Figure) -> Sentence:
    """An amount with its currency."""
    return say(MONEY, amount=figure, currency=content.currency)


def money_range(content: Content, low: Figure, high: Figure) -> Sentence:
    """From one amount to another, the currency once."""
    return say(MONEY, amount=say("{low} to {high}", low=low, high=high), currency=content.currency)


def callouts(content: Content, scenario: int) -> float | None:
    """Expected call-outs a year of all kinds."""
    kinds = content.at("scenarios", scenario, "expected", "callouts")
    return float(sum(kinds.values())) if kinds else None


def expected(content: Content, scenario: int, measure: str) -> Figure:
    """Expected value of a measure of `SPOKEN`."""
    kind = SPOKEN[measure][0]
    if measure == "callouts":
        return Figure(callouts(content, scenario), kind)
    return content.figure(kind, "scenarios", scenario, "expected", measure)


def verdict(content: Content, scenario: int, measure: str) -> str:
    """How the expected value of a measure compares with "As built": none, same, less or more."""
    before, after = expected(content, 0, measure).value, expected(content, scenario, measure).value
    if before is None or after is None:
        return "none"
    if abs(after - before) <= ROUNDING * max(abs(before), abs(after)):
        return "same"
    return "less" if after < before else "more"


def change(content: Content, scenario: int, measure: str) -> Sentence:
    """A measure under a scenario and as built, in a few words."""
    before, after = expected(content, 0, measure), expected(content, scenario, measure)
    unit, found = SPOKEN[measure][1], verdict(content, scenario, measure)
    if found == "none":
        return say("an unknown number of {unit}", unit=unit)
    if found == "same":
        return say("{a} {unit} as today", a=after, unit=unit)
    return say("{a} {unit} instead of {b}{percent}", a=after, unit=unit, b=before,
               percent=relative(before, after, found))


def relative(before: Figure, after: Figure, direction: str) -> Sentence:
    """By how much, in per cent; nothing where there was nothing before."""
    if not before.value:
        return ()
    apart = abs((after.value or 0.0) - before.value) / abs(before.value)
    return say(" ({n} {direction})", n=Figure(apart, "share"), direction=direction)


def worth(content: Content, scenario: int) -> Sentence:
    """Whether a scenario pays, and how sure that is."""
    place = ("scenarios", scenario, "business")
    npv, name = content.figure("money", *place, "npv"), named(content, scenario)
    if npv.value is None:
        return say("{s}: no business case was computed.", s=name)
    values = content.study.values
    over, does = scope(str(values["perspective"]), int(values["horizon_years"])), pays(npv.value)
    if abs(npv.value) < HALF_A_UNIT:
        return say("{s} {does} {over}.", s=name, does=does, over=over)
    return joined([say("{s} {does} {over}: net present value (NPV) {npv}{sure}.", s=name, does=does, over=over,
                       npv=money(content, npv), sure=sure(content, scenario)),
                   *_coverage(content, scenario, npv.value), *other_view(content, scenario)])


def sure(content: Content, scenario: int) -> Sentence:
    """The 80 % range of a scenario's NPV and how often it is above 0, behind the NPV; () where it was not simulated."""
    place = ("scenarios", scenario, "business")
    chance = content.figure("probability", *place, "probability_npv_positive")
    low, high = (content.figure("money", *place, p) for p in ("npv_p10", "npv_p90"))
    if chance.value is None or low.value is None or high.value is None:
        return ()
    return say(", 80 % range {span}, {often}", span=money_range(content, low, high), often=_how_often(content, chance))


def _how_often(content: Content, chance: Figure) -> Sentence:
    """In how many of the simulated horizons an NPV is above 0."""
    return say("above 0 in {chance} of {trials} simulated horizons", chance=chance,
               trials=content.figure("count", "trials"))


def _coverage(content: Content, scenario: int, npv: float) -> list[Sentence]:
    """What share of its costs a scenario that does not pay brings back."""
    ratio = content.figure("share", "scenarios", scenario, "business", "bcr")
    if npv > 0 or ratio.value is None:
        return []
    if ratio.value < 0:
        return [say("What it costs a year is more than it saves, and adds to its capital.")]
    if ratio.value == 0:
        return [say("It saves nothing.")]
    return [say("Its savings cover {share} of its costs.", share=ratio)]


def seen_by(content: Content) -> str:
    """Whose perspective the study takes."""
    return VIEWERS[str(content.study.values["perspective"])]


def other_view(content: Content, scenario: int) -> list[Sentence]:
    """The NPV under the other perspective, where its sign is another."""
    other = UTILITY if content.study.values["perspective"] == SOCIETY else SOCIETY
    npv = content.figure("money", "scenarios", scenario, "business", "npv")
    there = content.figure("money", "scenarios", scenario, "business", other, "npv")
    if npv.value is None or there.value is None or npv.value * there.value >= 0:
        return []
    return [say("From the perspective of {view} the result is the opposite: NPV {npv}.", view=VIEWERS[other],
                npv=money(content, there))]


def effect(content: Content, scenario: int) -> Sentence:
    """What a scenario changes for the average customer and for the crews."""
    saifi, saidi, events, calls = (change(content, scenario, m) for m in SPOKEN)
    return say("Under {s} the average customer has {saifi}, {saidi} and {events}; crews are called out {calls}.",
               s=within(content, scenario), saifi=saifi, saidi=saidi, events=events, calls=calls)


def trials_cut(summary: Mapping[str, Any]) -> Sentence:
    """That fewer trials were simulated than asked for, from summary.json; () where that is not so."""
    if not summary.get("trials_limited_by_memory"):
        return ()
    n = figure(summary, "/trials", "count")
    return say("Only {n} {trials} simulated, fewer than asked for: the memory for the trials holds no more. "
               "A shorter horizon or fewer scenarios allows more.", n=n,
               trials=noun_for(n.value or 0.0, "trial was", "trials were"))


def scenario_sentences(content: Content) -> list[Sentence]:
    """A point for each scenario: does it pay, or what it changes where no business case was computed; and where its
    gain turns."""
    sentences = []
    for i in content.order[1:]:
        if content.business:
            kind = "" if installs(content, i) else "Without new devices: "
            turns = scenario_saidi_gain(content, i, named(content, i))
            sentences.append((kind, *worth(content, i), *((" ", *turns) if turns else ())))
        else:
            sentences.append(effect(content, i))
    return sentences
