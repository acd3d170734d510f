"""The report's sentences with figures: written from the results, so that they change with them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from reliability.business.costs import SOCIETY, UTILITY
from reliability.business.verdict import HALF_A_UNIT, VIEWERS, pays, scope
from reliability.formats import MONEY, noun_for
from reliability.report.content import Content, installs, proposal, proposed_conversions, zero_capital_alternatives
from reliability.report.figures import Figure, Name, Sentence, figure, joined, say
from reliability.report.sentences_break_even import scenario_saidi_gain, selection_saidi_gain
from reliability.report.units import spoken_unit
from reliability.schema.assumptions import label_of

NOISE = 2.0          # a difference under two standard errors is noise; common practice, no source
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
    """How a measure compares with "As built": none, same, noise, less or more."""
    before, after = expected(content, 0, measure).value, expected(content, scenario, measure).value
    if before is None or after is None:
        return "none"
    if abs(after - before) <= ROUNDING * max(abs(before), abs(after)):
        return "same"
    mean = content.at("scenarios", scenario, "difference_to_as_built", measure, "mean")
    error = content.at("scenarios", scenario, "difference_to_as_built", measure, "se")
    if mean is not None and error is not None and abs(mean) < NOISE * error:
        return "noise"
    return "less" if after < before else "more"


def change(content: Content, scenario: int, measure: str) -> Sentence:
    """A measure under a scenario and as built, in a few words; a difference that is not significant is called that."""
    before, after = expected(content, 0, measure), expected(content, scenario, measure)
    unit, found = SPOKEN[measure][1], verdict(content, scenario, measure)
    if found == "none":
        return say("an unknown number of {unit}", unit=unit)
    if found == "same":
        return say("{a} {unit} as today", a=after, unit=unit)
    if found == "noise":
        place = ("scenarios", scenario, "difference_to_as_built", measure)
        return say("{a} {unit} instead of {b} (not significant: {d} ± {e} as simulated)", a=after,
                   unit=unit,
                   b=before, d=content.figure(before.kind, *place, "mean", signed=True),
                   e=content.figure(before.kind, *place, "se"))
    return say("{a} {unit} instead of {b}{percent}", a=after, unit=unit, b=before,
               percent=_relative(before, after, found))


def _relative(before: Figure, after: Figure, direction: str) -> Sentence:
    """By how much, in per cent; nothing where there was nothing before."""
    if not before.value:
        return ()
    apart = abs((after.value or 0.0) - before.value) / abs(before.value)
    return say(" ({n} {direction})", n=Figure(apart, "share"), direction=direction)


def worth(content: Content, scenario: int, subject: str = "") -> Sentence:
    """Whether a scenario pays, and how sure that is; subject: what stands for its name."""
    place = ("scenarios", scenario, "business")
    npv = content.figure("money", *place, "npv")
    if npv.value is None:
        return say("{s}: no business case was computed.", s=Name(content.scenarios[scenario]))
    name = subject or Name(content.scenarios[scenario])
    values = content.study.values
    over, does = scope(str(values["perspective"]), int(values["horizon_years"])), pays(npv.value)
    if abs(npv.value) < HALF_A_UNIT:
        return say("{s} {does} {over}.", s=name, does=does, over=over)
    return joined([say("{s} {does} {over}: its net present value (NPV) is {npv}{sure}.", s=name, does=does, over=over,
                       npv=money(content, npv), sure=_sure(content, scenario, npv.value > 0)),
                   *_coverage(content, scenario, npv.value), *_other_view(content, scenario)])


def _sure(content: Content, scenario: int, pays: bool) -> Sentence:
    place = ("scenarios", scenario, "business")
    chance = content.figure("share", *place, "probability_npv_positive")
    low, high = (content.figure("money", *place, p) for p in ("npv_p10", "npv_p90"))
    if chance.value is None or low.value is None or high.value is None:
        return ()
    often = say("{chance} of the trials", chance=chance)
    if chance.value in (0.0, 1.0):
        often = ("no trial",) if chance.value == 0.0 else ("every trial",)
    span = say(", 80 % range {span}, above 0 in {often}", span=money_range(content, low, high), often=often)
    unsure = low.value < 0 < high.value
    against = (chance.value < 0.5) if pays else (chance.value > 0.5)
    if against:
        return (*span, "; most trials have the opposite sign, so the result is inconclusive")
    return (*span, "; the sign is not certain") if unsure else span


def _coverage(content: Content, scenario: int, npv: float) -> list[Sentence]:
    """What share of its costs a scenario that does not pay brings back."""
    ratio = content.figure("share", "scenarios", scenario, "business", "bcr")
    if npv > 0 or ratio.value is None:
        return []
    if ratio.value < 0:
        return [say("It saves nothing; its yearly costs add to its capital.")]
    if ratio.value == 0:
        return [say("It saves nothing.")]
    return [say("Its savings cover {share} of its costs.", share=ratio)]


def seen_by(content: Content) -> str:
    """Whose perspective the study takes."""
    return VIEWERS[str(content.study.values["perspective"])]


def _other_view(content: Content, scenario: int) -> list[Sentence]:
    """The NPV under the other perspective, where its sign is another."""
    other = UTILITY if content.study.values["perspective"] == SOCIETY else SOCIETY
    npv = content.figure("money", "scenarios", scenario, "business", "npv")
    there = content.figure("money", "scenarios", scenario, f"business_{other}", "npv")
    if npv.value is None or there.value is None or npv.value * there.value >= 0:
        return []
    return [say("From the perspective of {view} the result is the opposite: its NPV is {npv}.", view=VIEWERS[other],
                npv=money(content, there))]


def headline(content: Content) -> list[tuple[str, Sentence]]:
    """The summary: label and sentences, half a page."""
    scenario = proposal(content)
    rows = [("Proposal", _proposed(content, scenario)), ("Cost", _costs(content, scenario)),
            ("Effect on customers", _gains(content, scenario)),
            ("Confidence", _how_sure(content, scenario))]
    return [(label, sentence) for label, sentence in rows if sentence]


def _proposed(content: Content, scenario: int | None) -> Sentence:
    sentences: list[Sentence] = []
    chosen = proposed_conversions(content)
    laterals = int(content.laterals["lateral_id"].nunique())
    if chosen is not None and len(chosen):
        n = len(chosen)
        sentences.append(say(
            "Of {all} {laterals} in the study, the selection would convert {n} to {devices}; the list is in section "
            "“Selection and programme”.", all=Figure(laterals, "count"), laterals=noun_for(laterals, "lateral"),
            n=Figure(n, "count"), devices=_devices(chosen)))
    elif content.selected is not None:
        sentences.append(say("The selection proposes no conversion. {why}", why=content.selected.message))
    if scenario is None:
        sentences.append(say("No scenario of the study installs a device."))
    else:
        sentences.append(say("The study compares today's protection with {n} {others}; {s} {rank}.",
                        n=Figure(len(content.scenarios) - 1, "count"),
                        others=noun_for(len(content.scenarios) - 1, "other scenario"),
                        s=Name(content.scenarios[scenario]), rank=_rank(content, scenario)))
    return joined(sentences)


def _rank(content: Content, scenario: int) -> str:
    """How the scenario spoken of first stands among those that install devices."""
    installing = [i for i in range(1, len(content.scenarios)) if installs(content, i)]
    if len(installing) == 1:
        return "is the one that installs devices"
    npv = content.figure("money", "scenarios", scenario, "business", "npv").value if content.business else None
    if npv is None:
        return "is the first of those that install devices"
    return f"{'has the smallest loss' if npv < 0 else 'has the highest NPV'} of those that install devices"


def _devices(chosen: pd.DataFrame) -> str:
    names = sorted({str(d).replace("_", " ") + "s" for d in chosen["device"] if str(d)})
    return " and ".join(names) or "new settings"


def _costs(content: Content, scenario: int | None) -> Sentence:
    sentences: list[Sentence] = []
    chosen = proposed_conversions(content)
    if chosen is not None and len(chosen) and content.selected is not None:
        does = pays(content.selected.totals["npv"])
        at = "/choice/totals/"
        sentences.append(say("The selection costs {capex} to install and {pays} (expected NPV {npv}, seen by {view}).",
                        capex=money(content, _total(content, at, "capex", "money")), pays=does,
                        npv=money(content, _total(content, at, "npv", "money")), view=seen_by(content)))
    if scenario is not None and content.business:
        place = ("scenarios", scenario, "business")
        units = content.figure("count", *place, "units")
        sentences.append(say("{s} costs {capex} for {units} {word}.", s=Name(content.scenarios[scenario]),
                        capex=money(content, content.figure("money", *place, "capex")), units=units,
                        word=noun_for(units.value or 0.0, "unit")))
        sentences.append(worth(content, scenario, "It"))
    elif not content.business:
        sentences.append(say("No business case was computed."))
    sentences += _alternative(content, scenario)
    return joined(sentences)


def _total(content: Content, at: str, key: str, kind: str, sign: float = 1.0) -> Figure:
    """A total of the selection, marked with its place where summary.json holds it."""
    value = content.selected.totals.get(key) if content.selected else None
    path = at + key if sign > 0 and content.at(*(at + key).split("/")[1:]) is not None else ""
    return Figure(None if value is None else sign * value, kind, path)


def _alternative(content: Content, scenario: int | None) -> list[Sentence]:
    """An alternative without new devices that does better than the scenario."""
    if not content.business or scenario is None:
        return []
    def npv(i: int) -> float:
        return content.figure("money", "scenarios", i, "business", "npv").value or 0.0
    better = [i for i in zero_capital_alternatives(content) if npv(i) > max(npv(scenario), 0.0)]
    if not better:
        return []
    best = max(better, key=npv)
    return [say("An alternative without new devices, {s}, has a higher NPV: {npv}.", s=Name(content.scenarios[best]),
                npv=money(content, content.figure("money", "scenarios", best, "business", "npv"))),
            *_other_view(content, best)]


def _gains(content: Content, scenario: int | None) -> Sentence:
    sentences: list[Sentence] = []
    chosen = proposed_conversions(content)
    if chosen is not None and len(chosen) and content.selected is not None:
        sentences.append(say(
            "With the selection the average customer has {minutes} without power, {ci} and {events} a year.",
            minutes=_step(content, "saidi_minutes_avoided", "minutes", "minutes", "fewer", "more"),
            ci=_step(content, "saifi_avoided", "index", "sustained interruptions", "fewer", "more"),
            events=_step(content, "maifi_e_added", "index", "momentary events", "more", "fewer")))
        sentences.append(selection_saidi_gain(content, "This"))
    if scenario is not None:
        sentences += [effect(content, scenario), scenario_saidi_gain(content, scenario)]
    return joined([sentence for sentence in sentences if sentence])


def _step(content: Content, key: str, kind: str, noun: str, above: str, below: str) -> Sentence:
    """A total of the selection as "2.2 fewer minutes"; above, below: the word for a total over and under zero."""
    value = content.selected.totals[key] if content.selected else 0.0
    if value == 0:
        return say("as many {noun}", noun=noun)
    figure_ = _total(content, "/choice/totals/", key, kind, 1.0 if value > 0 else -1.0)
    return say("{n} {word} {noun}", n=figure_, word=above if value > 0 else below, noun=noun)


def effect(content: Content, scenario: int) -> Sentence:
    """What a scenario changes for the average customer and for the crews."""
    saifi, saidi, events, calls = (change(content, scenario, m) for m in SPOKEN)
    return say("With {s} the average customer has {saifi}, {saidi} and {events}; crews are called out {calls}.",
               s=Name(content.scenarios[scenario]), saifi=saifi, saidi=saidi, events=events, calls=calls)


def _how_sure(content: Content, scenario: int | None) -> Sentence:
    sentences: list[Sentence] = []
    if content.simulated:
        sentences.append(say("The ranges come from {trials} simulated {horizons}, {years} years in total; they "
                             "cover the variation between years and the assumptions given as ranges.",
                             trials=content.figure("count", "trials"),
                        horizons=noun_for(content.figure("count", "trials").value or 0.0, "horizon"),
                        years=content.figure("count", "trial_years")))
        if cut := trials_cut(content.summary):
            sentences.append(cut)
        if content.at("precision_reached") is False:
            sentences.append(say("The simulation stopped before it reached the required precision."))
    else:
        sentences.append(say("Only expected values were computed; nothing was simulated, so no range is given."))
    if not content.study.uncertain:
        sentences.append(say("No assumption is given as a range, so the uncertainty of the assumptions is not "
                             "included."))
    chosen = proposed_conversions(content)
    if chosen is not None and len(chosen):
        sentences.append(say("The figures of the selection are expected values."))
    return joined([*sentences, *_main_driver(content, scenario), *_against_records(content)])


def trials_cut(summary: Mapping[str, Any]) -> Sentence:
    """That fewer trials were simulated than asked for, from summary.json; () where that is not so."""
    if not summary.get("trials_limited_by_memory"):
        return ()
    n = figure(summary, "/trials", "count")
    return say("Only {n} {trials} simulated, fewer than asked for: the memory for the trials holds no more. "
               "A shorter horizon or fewer scenarios allows more.", n=n,
               trials=noun_for(n.value or 0.0, "trial was", "trials were"))


def _main_driver(content: Content, scenario: int | None) -> list[Sentence]:
    if content.drivers is None or scenario is None:
        return []
    rows = content.drivers[content.drivers["scenario"] == content.scenarios[scenario]]
    if not len(rows):
        return []
    first = rows.iloc[0]
    key = str(first["assumption"])
    turn, unit = Figure(float(first["break_even"]), "amount"), spoken_unit(key, content.currency)
    sentence = say("The NPV of {s} is most sensitive to {label}: from {low} to {high}{unit} it changes from "
                   "{change}.",
               s=Name(content.scenarios[scenario]), label=Name(label_of(key)), low=Figure(float(first["low"])),
               high=Figure(float(first["high"])), unit=unit, change=money_range(
                   content, *(Figure(float(first[end]), "money") for end in ("npv_low", "npv_high"))))
    if turn.value == turn.value:
        return [sentence, say("It is 0 at {turn}{unit}.", turn=turn, unit=unit)]
    return [sentence]


def _against_records(content: Content) -> list[Sentence]:
    """Observed over modelled indices, where they were compared."""
    if content.history is None:
        return [say("There are no outage records to compare with.")]
    found = content.history.calibration
    if found is None:
        return []
    row = found.feeders.loc[[""]].iloc[0]
    return [say("On {days} the records show {a} times the modelled SAIFI and {b} times the modelled SAIDI.",
                days=found.decisive.days, a=Figure(float(row["saifi_ratio"]), "ratio"),
                b=Figure(float(row["saidi_ratio"]), "ratio"))]


def scenario_sentences(content: Content) -> list[Sentence]:
    """A point for each scenario: does it pay, or what it changes where no business case was computed; and where its
    gain turns."""
    sentences = []
    for i in range(1, len(content.scenarios)):
        if content.business:
            kind = "" if installs(content, i) else "Without new devices: "
            turns = scenario_saidi_gain(content, i, Name(content.scenarios[i]))
            sentences.append((kind, *worth(content, i), *((" ", *turns) if turns else ())))
        else:
            sentences.append(effect(content, i))
    return sentences
