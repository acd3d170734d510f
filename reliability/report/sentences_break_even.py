"""Where a gain turns, in words for the report and the app."""

from __future__ import annotations

from collections.abc import Mapping

from reliability.business.break_even import BREAK_EVEN, SHARE_KEY
from reliability.business.costs import MOMENTARY_FACTOR, SOCIETY
from reliability.report.content import Content, within
from reliability.report.figures import Figure, Name, Sentence, figure, pointer, resolve, say
from reliability.report.money_summary import MOMENTARY_FACTORS

SHARE_KIND, FACTOR_KIND = "share_of_three_digits", "three_digits"
TURNS_BELOW = "{s} is a gain in SAIDI only where less than {share} of faults happen while reclosing is off."
TURNS_ABOVE = "{s} is a gain in SAIDI only where more than {share} of faults happen while reclosing is off."
ALWAYS = "{s} is a gain in SAIDI whatever share of faults happens while reclosing is off."
NO_GAIN = "{s} is no gain in SAIDI, whatever share of faults happens while reclosing is off."

PAYS_AS_LONG_AS = ("Counting customers' costs, {s} pays as long as a momentary event costs them {than} than {x} times "
                   "its survey value.")


def saidi_gain(totals: Mapping[str, float | None], share: Figure, subject: str | Name = "This") -> Sentence:
    """Up to, or from, which share of faults while reclosing is off there is a gain; nothing where nothing changes.

    totals: with `saidi_minutes_avoided_reclosing_on` and `…_off`, of a scenario's break_even or of a selection.
    """
    on, off = (totals.get(f"saidi_minutes_avoided_reclosing_{state}") or 0.0 for state in ("on", "off"))
    if on == off == 0.0:
        return ()
    if share.value is None or share.value != share.value:
        return say(ALWAYS if min(on, off) >= 0.0 else NO_GAIN, s=subject)
    return say(TURNS_BELOW if on > 0.0 else TURNS_ABOVE, s=subject, share=share)


def scenario_saidi_gain(content: Content, scenario: int, subject: str | Name = "This") -> Sentence:
    """The same of a scenario, from summary.json."""
    place = ("scenarios", scenario, "business", "break_even")
    totals = content.at(*place)
    return saidi_gain(totals, content.figure(SHARE_KIND, *place, SHARE_KEY), subject) if isinstance(totals,
                                                                                                    Mapping) else ()


def selection_saidi_gain(content: Content, subject: str | Name = "The proposal") -> Sentence:
    """The same of the selection."""
    if content.selected is None:
        return ()
    totals, path = content.selected.totals, pointer("choice", "totals", BREAK_EVEN)
    share = (figure(content.summary, path, SHARE_KIND) if resolve(content.summary, path) is not None
             else Figure(totals.get(BREAK_EVEN), SHARE_KIND))
    return saidi_gain(totals, share, subject)


def momentary_side_by_side(content: Content, scenario: int) -> Sentence:
    """Society's NPV where momentary events cost nothing, half and all of their survey value, and in which prices."""
    place = ("scenarios", scenario, "business", SOCIETY, "momentary_values")
    none, half, full = (content.figure("money", *place, k, "npv") for k in range(len(MOMENTARY_FACTORS)))
    if none.value is None:
        return ()
    to, table = (content.figure("whole", "interruption_costs", key) for key in ("escalated_to", "table_year"))
    prices = table if to.value is None else to
    year = () if prices.value is None else say(", in prices of {year}", year=prices)
    each = content.figure("three_digits", "interruption_costs", "per_momentary_event")
    worth = () if each.value is None else say(" ({each} {currency} a customer's event on average as built)",
                                              each=each, currency=content.currency)
    return say("Society's NPV is {none} with momentary events at no cost, {half} at half and {full} {currency} at all "
               "of their survey value{worth}{year}.", none=none, half=half, full=full, currency=content.currency,
               worth=worth, year=year)


def momentary_value(content: Content, scenario: int) -> Sentence:
    """Up to, or from, which value of a momentary event a scenario pays, seen by society."""
    turn = content.figure(FACTOR_KIND, "scenarios", scenario, "business", "break_even", MOMENTARY_FACTOR)
    npv = content.at("scenarios", scenario, "business", SOCIETY, "npv")
    if turn.value is None or not isinstance(npv, int | float) or npv == 0.0:
        return ()
    below = (npv > 0.0) == (float(content.study.values["momentary_cost_factor"]) < turn.value)
    return say(PAYS_AS_LONG_AS, s=within(content, scenario), than="less" if below else "more", x=turn)
