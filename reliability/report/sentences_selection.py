"""Sentences on the rules of a selection: what it looks for within which limits, and which alternatives break them."""

from __future__ import annotations

from reliability.business.constraints import limits_of
from reliability.formats import noun_for
from reliability.report.content import Content
from reliability.report.figures import Figure, Name, Sentence, joined, say
from reliability.report.sentences import expected, money, seen_by

OBJECTIVES = {"npv": "the highest net present value to {view}", "saidi": "the largest reduction of SAIDI"}


def rule(content: Content) -> Sentence:
    """What the selection looks for and the limits that the study sets it; () where it is free to take what pays."""
    values = content.study.values
    if content.selected is None:
        return ()
    if values["proposed"] is not None:
        return say("The proposal is the scenario {s}, as the study names it; nothing was chosen within limits.",
                   s=Name(str(values["proposed"])))
    limits, by_npv = _limits(content), values["objective"] == "npv"
    if by_npv and not limits:
        return ()
    sought = OBJECTIVES[str(values["objective"])].format(view=seen_by(content))
    if not limits:
        return say("The selection looks for {sought}, whatever that costs.", sought=sought)
    return say("The selection looks for {sought} within the limits of the study: {limits}.", sought=sought,
               limits=joined(limits, "; "))


def _limits(content: Content) -> list[Sentence]:
    """The limits that the study states, each in words."""
    values, limits = content.study.values, limits_of(content.study)
    parts: list[Sentence] = []
    for text, amount in (("a budget of {x}", limits.budget), ("{x} in each year", values["yearly_budget"])):
        if amount is not None:
            parts.append(say(text, x=money(content, Figure(float(amount), "money"))))
    for text, number, kind in (
            ("at most {x} units a year", values["yearly_units"], "count"),
            ("at most {x} more momentary events a customer and year", limits.added_maifi_e, "index"),
            ("at most {x} more momentary events a customer and year on any feeder", limits.added_maifi_e_feeder,
             "index"),
            ("at least {x} minutes of SAIDI avoided", limits.saidi_reduction_minutes, "minutes")):
        if number is not None:
            parts.append(say(text, x=Figure(float(number), kind)))
    for names, what in ((limits.forced_in, "always"), (limits.forced_out, "never")):
        if names:
            parts.append(say("{n} {laterals} {what} converted", n=Figure(len(names), "count"), what=what,
                             laterals=noun_for(len(names), "lateral")))
    return parts


def beyond_limits(content: Content, scenario: int) -> Sentence:
    """Which limit on momentary events a scenario breaks, behind a sentence; () where it breaks none."""
    limits = limits_of(content.study)
    before, after = expected(content, 0, "maifi_e").value, expected(content, scenario, "maifi_e").value
    if limits.added_maifi_e is not None and before is not None and after is not None and (
            after - before > limits.added_maifi_e):
        return say(", but adds {x} momentary events a customer and year, for at most {most} within the limits",
                   x=Figure(after - before, "index"), most=Figure(limits.added_maifi_e, "index"))
    feeder, more = worst_feeder(content, scenario)
    if limits.added_maifi_e_feeder is not None and more is not None and more.value is not None and (
            more.value > limits.added_maifi_e_feeder):
        return say(", but adds {x} momentary events a customer and year on feeder {f}, for at most {most} within the "
                   "limits", x=more, f=Name(feeder), most=Figure(limits.added_maifi_e_feeder, "index"))
    return ()


def worst_feeder(content: Content, at: int) -> tuple[str, Figure | None]:
    """The feeder whose customers' momentary events grow most, and by how many a customer and year."""
    before, after = (content.at("scenarios", i, "feeders") or {} for i in (0, at))
    more = {f: after[f]["maifi_e"] - before[f]["maifi_e"] for f in after
            if f in before and None not in (after[f]["maifi_e"], before[f]["maifi_e"])}
    if not more:
        return "", None
    worst = max(more, key=lambda f: more[f])
    return worst, Figure(more[worst], "index")


def settings_part(content: Content) -> Sentence:
    """What of the NPV falls to settings that change, where laterals are converted too."""
    chosen = content.selected.frame if content.selected else None
    if chosen is None or not len(chosen) or content.study.values["proposed"] is not None:
        return ()
    lateral = (chosen["what"] == "lateral").to_numpy()
    if lateral.all() or not lateral.any():
        return ()
    npv = [Figure(float(chosen.loc[rows, "npv"].sum()), "money") for rows in (~lateral, lateral)]
    return say("Of the NPV {settings} falls to the changed settings, for faults elsewhere in their zones, and "
               "{laterals} to faults on the laterals converted.", settings=money(content, npv[0]),
               laterals=money(content, npv[1]))
