"""The sentences of the summary: the decision first, then its cost, effect and risk, from the results."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.business.costs import SOCIETY, UTILITY
from reliability.business.verdict import HALF_A_UNIT, VIEWERS, loses, pays, scope
from reliability.formats import meaningful, noun_for
from reliability.network.application_catalogue import PASS, VERDICTS
from reliability.report.content import Content, installs, named, proposed_conversions, zero_capital_alternatives
from reliability.report.figures import Figure, Name, Sentence, joined, say
from reliability.report.sentences import (
    expected,
    money,
    other_view,
    relative,
    seen_by,
    sure,
    verdict,
)
from reliability.report.sentences_break_even import momentary_side_by_side, momentary_value, scenario_saidi_gain
from reliability.report.sentences_confidence import at_the_records, driver_rows
from reliability.report.sentences_customers import (
    customers_change,
    groups,
    mean_length,
    society_view,
    without_major_events,
)
from reliability.report.sentences_money import other_money
from reliability.report.sentences_selection import beyond_limits, settings_part, worst_feeder
from reliability.report.status_totals import ON_HOLD
from reliability.schema.devices import DEVICE_TABLE
from reliability.schema.units import spoken_unit

MOST_ALTERNATIVES = 4
SUSTAINED = (("saidi_min", "minutes without power"), ("saifi", "sustained interruptions"))
PASS_NAME = VERDICTS[PASS]
# assumptions whose break-even values a reader of the summary asks for: prices of what is installed, then the others
PRICE_BREAK_EVENS = {d.name: d.price for d in sorted(DEVICE_TABLE, key=lambda d: (d.melts, not d.counts)) if d.price}
TURNING = {**{price: f"an installed price of a {device.replace('_', ' ')}" for device,
              price in PRICE_BREAK_EVENS.items()},
           "line_fault_rate_per_km": "a line fault rate", "crew_rate_per_hour": "a crew rate"}


def decision(content: Content) -> Sentence:
    """What is proposed, what it costs, and whether it pays."""
    at = content.proposed
    if at is None:
        return _nothing(content)
    place = ("scenarios", at, "business")
    npv, what, for_money = content.figure("money", *place, "npv"), _conversions(content), _for_money(content, at)
    against = npv.value is not None and loses(npv.value)
    sentences = [say("The proposal, to {what}{cost}," if against else "{what}{cost}.",
                     what=what if against else _capital(what), cost=for_money)]
    if npv.value is not None:
        values = content.study.values
        holds = scope(str(values["perspective"]), int(values["horizon_years"]))
        sentences.append(say("{this}{does} {holds}: net present value (NPV) {npv}{sure}.",
                             this="" if against else "This ", does=pays(npv.value),
                             holds=holds, npv=money(content, npv), sure=sure(content, at)))
    if content.study.values["perspective"] == SOCIETY and (foreign := _foreign(content)):
        sentences.append(foreign)
    return joined([*sentences, *at_the_records(content), *_opposite(content, at), *_worse(content, at),
                   *_settings_alone(content), *_beyond(content), *_on_hold(content), *_unchecked(content)])


def _beyond(content: Content) -> list[Sentence]:
    """How much of the proposal no year of the programme has room for; nothing where all of it has a year."""
    chosen, planned = content.selected, content.selected.programme if content.selected else None
    if chosen is None or planned is None or len(planned) >= len(chosen.frame):
        return []
    laterals = Figure(int((planned["what"] == "lateral").sum()), "count")
    return [say("Within the limits of each year the programme has room for {n} of these laterals, for {capex}; the "
                "figures here are those of all.", n=laterals,
                capex=money(content, Figure(float(planned["capex"].sum()), "money")))]


def _unchecked(content: Content) -> list[Sentence]:
    """That lateral reclosers are proposed without checks of their settings."""
    chosen = proposed_conversions(content)
    many = 0 if chosen is None else int(chosen["device"].isin([d.name for d in DEVICE_TABLE if d.recloses]).sum())
    if not many:
        return []
    return [say("No application check is made of the {n} lateral {reclosers}: each is taken to clear every fault "
                "beyond it before the device above opens, fast operations included, which its settings and a "
                "protection study have to bear out.", n=Figure(many, "count"),
                reclosers=noun_for(many, "recloser"))]


def _opposite(content: Content, at: int) -> list[Sentence]:
    """The other perspective, where it has the opposite sign: nobody shall find it out on a later page."""
    if not other_view(content, at):
        return []
    if content.study.values["perspective"] == SOCIETY:
        return [_utility_alone(content, at)]
    npv = content.figure("money", "scenarios", at, "business", SOCIETY, "npv").value or 0.0
    return [say("Counting what interruptions cost customers, society {does} {size}{why}.",
                does="gains" if npv > 0 else "loses", size=money(content, Figure(abs(npv), "money")),
                why=", mainly through more momentary interruptions" if npv < 0 else "")]


def _worse(content: Content, at: int) -> list[Sentence]:
    """That the average customer is without power for longer or more often, where that is so."""
    more = [_step(content, at, measure, noun) for measure, noun in SUSTAINED
            if verdict(content, at, measure) == "more"]
    return [say("The average customer has {more} a year.", more=joined(more, " and "))] if more else []


def _on_hold(content: Content) -> list[Sentence]:
    """How many of the conversions wait for what the application checks could not pass."""
    verdicts = list(content.selected.verdicts.values()) if content.selected else []
    held = sum(verdict != PASS_NAME for verdict in verdicts)
    if not held:
        return []
    capex, npv, saidi = (content.figure(kind, "choice", "by_status", ON_HOLD, key) for key, kind in (
        ("capex", "money"), ("npv", "money"), ("saidi_minutes_avoided", "minutes")))
    part: Sentence = () if capex.value is None else say(
        "; of the figures here {capex} of the capital, {npv} of the NPV and {saidi} minutes of the SAIDI avoided are "
        "theirs",
        capex=money(content, capex), npv=money(content, npv), saidi=saidi)
    return [say("{n} of the laterals {are} on hold until the application checks are passed{part}.",
                n=Figure(held, "count"), are="is" if held == 1 else "are", part=part)]


def _conversions(content: Content) -> Sentence:
    """Which laterals are converted to what, and how many settings change."""
    chosen, laterals = proposed_conversions(content), int(content.laterals["lateral_id"].nunique())
    changed = content.figure("count", "scenarios", content.proposed, "business", "backup_settings_changed")
    parts: list[Sentence] = []
    if chosen is not None and len(chosen):
        parts.append(say("convert {n} of {all} {laterals} to {devices}", n=Figure(len(chosen), "count"),
                         all=Figure(laterals, "count"), laterals=noun_for(laterals, "lateral"),
                         devices=_devices(chosen)))
    if changed.value:
        parts.append(say("change the fast operations of {n} {backups}", n=changed,
                         backups=noun_for(changed.value, "breaker or recloser", "breakers or reclosers")))
    return joined(parts or [say("carry out the proposed scenario")], " and ")


def _capital(text: Sentence) -> Sentence:
    first = text[0]
    return (str(first)[:1].upper() + str(first)[1:], *text[1:])


def _devices(chosen: pd.DataFrame) -> str:
    names = sorted({str(d).replace("_", " ") + "s" for d in chosen["device"] if str(d)})
    return " and ".join(names) or "new settings"


def _for_money(content: Content, at: int) -> Sentence:
    capex = content.figure("money", "scenarios", at, "business", "capex")
    return () if capex.value is None else say(" for {capex}", capex=money(content, capex))


def _nothing(content: Content) -> Sentence:
    """That nothing is proposed, and why."""
    laterals = int(content.laterals["lateral_id"].nunique())
    if content.selected is None:
        return say("No conversion is proposed: no selection was made in this run.")
    return say("No conversion is proposed for any of the {n} {laterals}. {why}", n=Figure(laterals, "count"),
               laterals=noun_for(laterals, "lateral"), why=content.selected.message)


def cost(content: Content) -> Sentence:
    """What the proposal costs and saves a year, and when it is paid back."""
    at = content.proposed
    if at is None or not content.business:
        return ()
    place = ("scenarios", at, "business")
    units, crews = content.figure("count", *place, "units"), content.figure("money", *place, "savings_per_year",
                                                                             "callout_saving")
    sentences = [say("{units} {word} installed. In the first year crew work costs {crews} {less}, growing with "
                     "escalation, and inspection {inspection} a year.", units=units,
                     word=noun_for(units.value or 0.0, "unit is", "units are"),
                     crews=money(content, Figure(abs(crews.value or 0.0), "money")),
                     less="less" if (crews.value or 0.0) >= 0 else "more",
                     inspection=money(content, content.figure("money", *place, "inspection_per_year")))]
    years = content.figure("payback", *place, "payback_years")
    discounted = content.figure("payback", *place, "discounted_payback_years")
    ratio = content.figure("bcr", *place, "bcr")
    if discounted.value is not None and not meaningful(discounted.value, "payback"):
        sentences.append(say("It needs almost no capital, so a payback or a rate of return says nothing."))
    elif discounted.value is not None and years.value is not None:
        counted = ", what customers save counted" if content.study.values["perspective"] == SOCIETY else ""
        sentences.append(say("Simple payback {years} years, discounted payback {discounted} years at {rate} a year "
                             "before tax; benefit-cost ratio {ratio}{counted}.", counted=counted, years=years,
                             discounted=discounted, ratio=ratio,
                             rate=Figure(float(content.study.values["discount_rate"]), "share")))
    elif (content.at(*place, "capex") or 0.0) > 0:
        sentences.append(say("It is not paid back within {n} years at the discount rate.",
                             n=Figure(int(content.study.values["horizon_years"]), "whole")))
    return joined([*sentences, *([part] if (part := settings_part(content)) else [])])


def gains(content: Content) -> Sentence:
    """What the proposal changes for the average customer, and on the feeder where momentary events grow most."""
    at = content.proposed
    if at is None:
        return ()
    parts = [_step(content, at, measure, noun) for measure, noun in (
        *SUSTAINED, ("maifi_e", "momentary interruption events"))]
    calls = _step(content, at, "callouts", "call-outs")
    sentences = [say("The average customer has {a}, {b} and {c} a year. Crews have {calls} a year.", a=parts[0],
                     b=parts[1], c=parts[2], calls=calls)]
    feeder, more = worst_feeder(content, at)
    if more is not None and more.value and more.value > 0:
        sentences.append(say("Momentary events grow most on feeder {feeder}: {more} a customer and year.",
                             feeder=Name(feeder), more=more))
    return joined([*sentences, *([longer] if (longer := mean_length(content, at)) else [])])


def on_recorded_basis(content: Content) -> Sentence:
    """The effect on the basis of the records without major event days."""
    return () if content.proposed is None else without_major_events(content, content.proposed)


def by_group(content: Content) -> Sentence:
    """What customers on converted laterals have less and more of, and the others."""
    return () if content.proposed is None else groups(content, content.proposed)


def _step(content: Content, at: int, measure: str, noun: str) -> Sentence:
    """A measure of the proposal against today's as "2.2 fewer minutes (1.4 % less)"."""
    before, after, found = (expected(content, 0, measure), expected(content, at, measure),
                            verdict(content, at, measure))
    if found in ("none", "same"):
        return say("as many {noun}" if found == "same" else "an unknown number of {noun}", noun=noun)
    apart = content.figure(before.kind, "scenarios", at, "difference_to_as_built", measure, "expected")
    size = Figure(abs((after.value or 0.0) - (before.value or 0.0)), before.kind, "")
    if apart.value is not None and apart.value > 0:
        size = apart
    return say("{n} {fewer} {noun}{percent}", n=size, fewer="fewer" if found == "less" else "more", noun=noun,
               percent=relative(before, after, found))


def perspectives(content: Content) -> Sentence:
    """Who gains and who pays: customers' own costs, where that turns, and bills."""
    at = content.proposed
    if at is None or not content.business:
        return ()
    own = str(content.study.values["perspective"])
    other = UTILITY if own == SOCIETY else SOCIETY
    view = society_view(content, at) if other == SOCIETY else _utility_alone(content, at)
    sentences = (_foreign(content) if other == SOCIETY else (), customers_change(content, at), view,
                 momentary_side_by_side(content, at), momentary_value(content, at), bill_effect(content, at))
    return joined([s for s in sentences if s])


def _foreign(content: Content) -> Sentence:
    return other_money(content.summary, content.currency)


def _utility_alone(content: Content, at: int) -> Sentence:
    npv = content.figure("money", "scenarios", at, "business", UTILITY, "npv")
    if npv.value is None:
        return ()
    return say("To {view} alone it {does} {size}.", view=VIEWERS[UTILITY], does="gains" if npv.value > 0 else "loses",
               size=money(content, Figure(abs(npv.value), "money")))


def bill_effect(content: Content, at: int) -> Sentence:
    """What an average customer's bill bears."""
    monthly = content.figure("three_digits", "scenarios", at, "business", "revenue_requirement",
                             "bill_effect_per_customer_month")
    if monthly.value is None:
        return ()
    return say("If costs and savings pass into rates, bills {go} by {x} {currency} a customer and month, levelised.",
               go="rise" if monthly.value > 0 else "fall", x=Figure(abs(monthly.value), "three_digits"),
               currency=content.currency)


def turning_points(content: Content) -> Sentence:
    """The values of single inputs at which the decision would turn."""
    at, rows = content.proposed, driver_rows(content)
    if at is None:
        return ()
    sentences = [scenario_saidi_gain(content, at), _reclosing_off_now(content)]
    if rows is not None and len(rows):
        chosen = proposed_conversions(content)
        installed = set(chosen["device"]) if chosen is not None else set()
        known = rows.set_index("assumption")
        listed = [say("{label} of {x}{unit} (now {now})", label=label, unit=spoken_unit(key, content.currency),
                      x=Figure(float(known["break_even"][key]), "three_digits"),
                      now=Figure(float(known["value"][key]), "three_digits"))
                  for key, label in TURNING.items() if key in known.index
                  and key not in {p for d, p in PRICE_BREAK_EVENS.items() if d not in installed}
                  and known["break_even"][key] == known["break_even"][key]]
        if listed:
            sentences.append(say("Each alone, {list} would bring its NPV to zero.", list=joined(listed, ", ")))
    return joined([s for s in sentences if s])


def _reclosing_off_now(content: Content) -> Sentence:
    """What the study takes the share with reclosing off to be, and whether it says so itself."""
    values, stated = content.study.values, "protection.reclosing_off_share" in content.study.lines
    own = bool(np.isfinite(content.study.network.column["reclosing_off_share"]).any())
    return say("The study takes it to be {x}{how}{own}.", own=", but for devices that state their own" if own else "",
               x=Figure(float(values["reclosing_off_share"]), "share_of_three_digits"),
               how="" if stated else " by default")


def alternatives(content: Content) -> Sentence:
    """What else was tested, from both perspectives; what needs no new device and is worth more is said so."""
    if not content.business:
        return ()
    tested = sorted((i for i in content.alternatives if abs(_npv(content, i) or 0.0) >= HALF_A_UNIT),
                    key=lambda i: -(_npv(content, i) or 0.0))
    shown = [*tested[:MOST_ALTERNATIVES - 1], *tested[-1:]] if len(tested) > MOST_ALTERNATIVES else tested
    parts = [_tested(content, i) for i in shown if _npv(content, i) is not None]
    if not parts:
        return ()
    sentences = [say("Also tested, with NPV to the utility and to society: {list}.", list=joined(parts, "; "))]
    return joined([*sentences, *(_settings_alone(content) if content.proposed is None else [])])


def _settings_alone(content: Content) -> list[Sentence]:
    """What changes settings only and is worth more than the proposal, or pays where there is none."""
    base = (_npv(content, content.proposed) if content.proposed is not None else 0.0) or 0.0
    better = [i for i in zero_capital_alternatives(content) if (_npv(content, i) or 0.0) > max(base, 0.0)]
    if not better:
        return []
    best = max(better, key=lambda i: _npv(content, i) or 0.0)
    worth = "is worth more than the proposal" if content.proposed is not None else "pays"
    return [say("{s} changes settings only and {worth} to {view}{but}: NPV {npv}.", s=named(content, best), worth=worth,
                view=seen_by(content), but=beyond_limits(content, best),
                npv=money(content, content.figure("money", "scenarios", best, "business", "npv")))]


def _tested(content: Content, i: int) -> Sentence:
    views = [content.figure("money", "scenarios", i, "business", view, "npv") for view in (UTILITY, SOCIETY)]
    return say("{s} {a} and {b} {currency}{without}", s=Name(content.scenarios[i]), a=views[0], b=views[1],
               currency=content.currency, without="" if installs(content, i) else " (settings only)")


def _npv(content: Content, scenario: int) -> float | None:
    return content.figure("money", "scenarios", scenario, "business", "npv").value
