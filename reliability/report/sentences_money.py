"""Sentences on money beside the verdict: price level, downside, what customers' bills bear, and upkeep."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reliability.business.verdict import HALF_A_UNIT
from reliability.formats import count, noun_for
from reliability.report.content import Content, named, within
from reliability.report.figures import Figure, Sentence, figure, joined, pointer, resolve, say
from reliability.report.sentences import money, seen_by
from reliability.schema.assumptions import CONSUMER_PRICES_SOURCE, CUSTOMER_COSTS

COSTS_KEY = "interruption_costs"
DOLLARS = ("USD", "US$", "$")
SAME_RATE = 5e-4        # of two rates a year that read alike


def price_level(summary: Mapping[str, Any], currency: str) -> Sentence:
    """In whose money and of which year customers' interruption costs are, and how they were brought there.

    summary: with "interruption_costs" of summary.json; nothing is said without.
    """
    if resolve(summary, pointer(COSTS_KEY)) is None:
        return ()

    def stated(kind: str, key: str) -> Figure:
        return figure(summary, pointer(COSTS_KEY, key), kind)

    default = bool(resolve(summary, pointer(COSTS_KEY, "default_table")))
    source = say("the default table ({s})", s=CUSTOMER_COSTS) if default else say("the study's own table")
    table, study, to = (stated("whole", k) for k in ("table_year", "study_year", "escalated_to"))
    sentences = [say("Customers' interruption costs are those of {source}.", source=source)]
    if to.value is not None:
        until = "" if to.value == study.value else say(
            ", the last year of the index (the study's other prices are of {study}; the years between are left out),",
            study=study)
        sentences.append(say("They are escalated from {table} to {to}{until} by consumer prices of the United States, "
                             "a factor of {x} ({index}).", table=table, to=to, until=until,
                             x=stated("three_digits", "index"), index=CONSUMER_PRICES_SOURCE))
    elif table.value is None:
        sentences.append(say("They are not escalated, since the price year of the table is not stated."))
    else:
        sentences.append(say("They are in prices of {table} and not escalated, since the study does not state the year "
                             "of its prices; at today's they would be higher.", table=table))
    factor = stated("three_digits", "factor")
    if factor.value not in (None, 1.0):
        sentences.append(say("The study multiplies them by {x}.", x=factor))
    if other := other_money(summary, currency):
        sentences.append(other)
    return joined([*sentences, say(
        "They come from surveys of what single interruptions cost; a momentary event counts {x} times its survey "
        "value, however many there are in a year, so that society's figures rest on that value.",
        x=stated("three_digits", "momentary_cost_factor"))])


def other_money(summary: Mapping[str, Any], currency: str) -> Sentence:
    """That customers' interruption costs are in other money than the study's; () where they are not."""
    if not resolve(summary, pointer(COSTS_KEY, "default_table")) or currency in DOLLARS:
        return ()
    return say("Customers' interruption costs are in US dollars, and the study in {currency}: unless the study's "
               "factor converts them, what society gains and loses is not in the study's money.", currency=currency)


def downside(content: Content, scenario: int) -> Sentence:
    """What is lost in the worst tenth of the horizons simulated, and what at most where nothing is saved."""
    place = ("scenarios", scenario, "business")
    low, floor = (content.figure("money", *place, k) for k in ("npv_p10", "npv_without_savings"))
    if floor.value is None or abs(floor.value) < HALF_A_UNIT:
        return ()
    sentences: list[Sentence] = []
    if low.value is not None:
        worst = (say("losing more than {x}", x=money(content, Figure(-low.value, "money"))) if low.value < 0 else
                 say("gaining less than {x}", x=money(content, low)))
        chance = content.figure("probability", *place, "probability_npv_positive")
        loss = say(", and {p} of losing at all", p=Figure(1.0 - chance.value, "probability")) if (
            chance.value is not None and low.value >= 0.0) else ()
        sentences.append(say("Downside: there is one chance in ten of {view} {worst}{loss}.", view=seen_by(content),
                             worst=worst, loss=loss))
    return joined([*sentences, say(
        "If {s} saved nothing at all, it would lose its capital and inspection, {floor} at present value{more}.",
        s="it" if sentences else named(content, scenario), floor=money(content, Figure(-floor.value, "money")),
        more="; a year with more call-outs than today would add to that" if low.value is not None and
        low.value < floor.value else "")])


def upkeep(content: Content, scenario: int) -> Sentence:
    """Actuators and spares that a scenario needs, and whether anything is replaced within the horizon."""
    place = ("scenarios", scenario, "business")
    spent, spares = content.figure("amount", "scenarios", scenario, "expected", "actuators"), content.figure(
        "amount", *place, "spare_units")
    values = content.study.values
    life, horizon = values["device_life_years"], int(values["horizon_years"])
    held = say("{n} spare {units} are bought with it", n=spares, units=noun_for(spares.value or 0.0, "unit")) if (
        spares.value) else say("no spare units are counted")
    before = content.figure("amount", "scenarios", 0, "expected", "actuators").value or 0.0
    more = (spent.value or 0.0) - before
    added = say(" ({x} {more} than today)", x=Figure(abs(more), "amount"),
                more="more" if more >= 0.0 else "fewer") if before else ()
    sentences = [say("Operations of all sectionalizers use up {n} actuators a year{added}, each at its price; {held}.",
                     n=spent, added=added, held=held)]
    if life is not None and life < horizon:
        sentences.append(say("What is installed is replaced after {years}, and its capital spent again within the "
                             "horizon.", years=count(life, "year")))
    else:
        sentences.append(say("What is installed is taken to last through the {years} of the horizon.",
                             years=count(horizon, "year")))
    return joined(sentences)


def two_rates(content: Content, scenario: int) -> Sentence:
    """Why the NPV and the bills are at two rates; () where they are at one."""
    own, capital = content.study.values["discount_rate"], content.figure(
        "share", "scenarios", scenario, "business", "revenue_requirement", "cost_of_capital")
    if capital.value is None or abs(capital.value - own) < SAME_RATE:
        return ()
    return say("The NPV is discounted at {own}, the study's rate before tax, at which options are compared; bills are "
               "levelised at {capital}, the weighted cost of debt and equity that cost of service lets the utility "
               "earn.", own=Figure(float(own), "share"), capital=capital)


def bill(content: Content, scenario: int) -> Sentence:
    """What customers' bills bear, levelised."""
    place = ("scenarios", scenario, "business", "revenue_requirement")
    total, monthly = content.figure("money", *place, "levelised"), content.figure(
        "price", *place, "bill_effect_per_customer_month")
    if total.value is None or monthly.value is None:
        return ()
    share = content.figure("share_of_three_digits", *place, "bill_effect_share", signed=True)
    part = say(", {share} of the average bill", share=share) if share.value is not None else ()
    return say("By cost of service {s} {raises} the revenue requirement by {total} a year, levelised over {years} at a "
               "cost of capital of {rate}, which is {monthly} a customer and month{part}.",
               s=within(content, scenario),
               raises="raises" if total.value >= 0 else "lowers",
               total=money(content, Figure(abs(total.value), "money")),
               years=count(int(content.at(*place, "years")), "year"),
               rate=content.figure("share", *place, "cost_of_capital"),
               monthly=say("{x} {currency}", x=Figure(abs(monthly.value), "three_digits"), currency=content.currency),
               part=part)
