"""The sentences of the summary: the decision first, then its cost, effect and risk, from the results."""

from __future__ import annotations

import pandas as pd

from reliability.business.costs import SOCIETY, UTILITY
from reliability.business.verdict import HALF_A_UNIT, VIEWERS, pays, scope
from reliability.formats import meaningful, noun_for
from reliability.report.content import Content, installs, named, proposed_conversions, zero_capital_alternatives
from reliability.report.figures import Figure, Name, Sentence, joined, say
from reliability.report.sentences import (
    expected,
    money,
    money_range,
    relative,
    seen_by,
    sure,
    trials_cut,
    verdict,
)
from reliability.report.sentences_break_even import momentary_side_by_side, momentary_value, scenario_saidi_gain
from reliability.schema.assumptions import label_of
from reliability.schema.units import spoken_unit

MOST_ALTERNATIVES = 4
# assumptions whose break-even values a reader of the summary asks for: prices of what is installed, then the others
PRICES = {"sectionalizer": "sectionalizer_cost", "lateral_recloser": "lateral_recloser_cost", "fuse": "fuse_cost"}
TURNING = {**{price: f"an installed price of a {device.replace('_', ' ')}" for device, price in PRICES.items()},
           "line_fault_rate_per_km": "a line fault rate", "crew_rate_per_hour": "a crew rate"}


def decision(content: Content) -> Sentence:
    """What is proposed, what it costs, and whether it pays."""
    at = content.proposed
    if at is None:
        return _nothing(content)
    place = ("scenarios", at, "business")
    sentences = [say("{what}{cost}.", what=_conversions(content), cost=_for_money(content, at))]
    npv = content.figure("money", *place, "npv")
    if npv.value is not None:
        values = content.study.values
        holds = scope(str(values["perspective"]), int(values["horizon_years"]))
        sentences.append(say("This {does} {holds}: net present value (NPV) {npv}{sure}.", does=pays(npv.value),
                             holds=holds, npv=money(content, npv), sure=sure(content, at)))
    return joined(sentences)


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
    text = joined(parts or [say("carry out the proposed scenario")], " and ")
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
    sentences = [say("{units} {word} installed; crew work costs {crews} a year {less}, after {inspection} for "
                     "inspection.", units=units, word=noun_for(units.value or 0.0, "unit is", "units are"),
                     crews=money(content, Figure(abs(crews.value or 0.0), "money")),
                     less="less" if (crews.value or 0.0) >= 0 else "more",
                     inspection=money(content, content.figure("money", *place, "inspection_per_year")))]
    years = content.figure("payback", *place, "payback_years")
    discounted = content.figure("payback", *place, "discounted_payback_years")
    ratio = content.figure("ratio", *place, "bcr")
    if discounted.value is not None and not meaningful(discounted.value, "payback"):
        sentences.append(say("It needs almost no capital, so a payback or a rate of return says nothing."))
    elif discounted.value is not None and years.value is not None:
        sentences.append(say("It is paid back in {years} years, in {discounted} at the discount rate; benefit-cost "
                             "ratio {ratio}.", years=years, discounted=discounted, ratio=ratio))
    elif (content.at(*place, "capex") or 0.0) > 0:
        sentences.append(say("It is not paid back within {n} years at the discount rate.",
                             n=Figure(int(content.study.values["horizon_years"]), "whole")))
    return joined(sentences)


def gains(content: Content) -> Sentence:
    """What the proposal changes for the average customer, and on the feeder where momentary events grow most."""
    at = content.proposed
    if at is None:
        return ()
    parts = [_step(content, at, measure, noun) for measure, noun in (
        ("saidi_min", "minutes without power"), ("saifi", "sustained interruptions"),
        ("maifi_e", "momentary interruption events"))]
    calls = _step(content, at, "callouts", "call-outs")
    sentences = [say("The average customer has {a}, {b} and {c} a year. Crews have {calls} a year.", a=parts[0],
                     b=parts[1], c=parts[2], calls=calls)]
    feeder, more = worst_feeder(content, at)
    if more is not None and more.value and more.value > 0:
        sentences.append(say("Momentary events grow most on feeder {feeder}: {more} a customer and year.",
                             feeder=Name(feeder), more=more))
    return joined(sentences)


def worst_feeder(content: Content, at: int) -> tuple[str, Figure | None]:
    """The feeder whose customers' momentary events grow most, and by how many a customer and year."""
    before, after = (content.at("scenarios", i, "feeders") or {} for i in (0, at))
    more = {f: after[f]["maifi_e"] - before[f]["maifi_e"] for f in after
            if f in before and None not in (after[f]["maifi_e"], before[f]["maifi_e"])}
    if not more:
        return "", None
    worst = max(more, key=lambda f: more[f])
    return worst, Figure(more[worst], "index")


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
    """The proposal from the perspective that the study does not take, and where that turns."""
    at = content.proposed
    if at is None or not content.business:
        return ()
    own = str(content.study.values["perspective"])
    other = UTILITY if own == SOCIETY else SOCIETY
    npv = content.figure("money", "scenarios", at, "business", other, "npv")
    sentences: list[Sentence] = []
    if npv.value is not None:
        size = money(content, Figure(abs(npv.value), "money"))
        does = "gains" if npv.value > 0 else "loses"
        if other == SOCIETY:
            sentences.append(say("Counting what interruptions cost customers in place of the energy margin, it {does} "
                                 "{size}{why}.", does=does, size=size, why=_because(npv.value)))
        else:
            sentences.append(say("To {view} alone it {does} {size}.", view=VIEWERS[other], does=does, size=size))
    sentences += [s for s in (momentary_side_by_side(content, at), momentary_value(content, at)) if s]
    return joined(sentences)


def _because(npv: float) -> str:
    return ", mainly from momentary interruptions" if npv < 0 else ""


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
    if not content.study.uncertain:
        sentences.append(say("No assumption is given as a range, so the uncertainty of the inputs is not included."))
    return joined([*sentences, *_stays_chosen(content), *_main_driver(content), *_against_records(content)])


def _main_driver(content: Content) -> list[Sentence]:
    """The assumption that moves the NPV of the proposal most."""
    rows = driver_rows(content)
    if rows is None or not len(rows):
        return []
    first = rows.iloc[0]
    key = str(first["assumption"])
    low, high = (Figure(float(first[end])) for end in ("low", "high"))
    ends = [money(content, Figure(float(first[end]), "money")) for end in ("npv_low", "npv_high")]
    return [say("The largest driver is {label}: from {low} to {high}{unit} the NPV goes from {a} to {b}.",
                label=Name(label_of(key)), low=low, high=high, unit=spoken_unit(key, content.currency), a=ends[0],
                b=ends[1])]


def driver_rows(content: Content) -> pd.DataFrame | None:
    """Rows of drivers.csv of what is proposed, None where there are none."""
    if content.drivers is None or content.proposed is None:
        return None
    return content.drivers[content.drivers["scenario"] == content.scenarios[content.proposed]]


def _stays_chosen(content: Content) -> list[Sentence]:
    """How many of the laterals chosen would be chosen again where the uncertain inputs are drawn."""
    place = ("choice", "stability")
    share, draws = content.figure("share", *place, "stays_chosen_share"), content.figure("count", *place,
                                                                                        "draws_chosen_again")
    if share.value is None or content.proposed is None:
        return []
    return [say("In {draws} draws of the uncertain inputs {share} of the conversions chosen are chosen again, on "
                "average.", draws=draws, share=share)]


def _against_records(content: Content) -> list[Sentence]:
    """Recorded over modelled indices, where they were compared, and the case on calibrated inputs."""
    if content.history is None:
        return [say("There are no outage records to compare with.")]
    found = content.history.calibration
    if found is None:
        return []
    row = found.feeders.loc[[""]].iloc[0]
    saifi, saidi = (Figure(float(row[f"{index}_ratio"]), "ratio") for index in ("saifi", "saidi"))
    ratios = say("On {days} the records show {a} times the modelled SAIFI and {b} times the modelled SAIDI",
                 days=found.decisive.days, a=saifi, b=saidi)
    if found.rate_factor != found.rate_factor and found.time_factor != found.time_factor:
        return [(*ratios, ", no more apart than chance makes them.")]
    return [(*ratios, "."), *_on_calibrated_inputs(content)]


def _on_calibrated_inputs(content: Content) -> list[Sentence]:
    """The proposal where rates and times are as the records have them."""
    place = ("choice", "calibrated")
    npv = content.figure("money", *place, "totals", "npv")
    if npv.value is None:
        return []
    low, high, chance = (content.figure(kind, *place, k) for k, kind in (
        ("npv_p10", "money"), ("npv_p90", "money"), ("probability_npv_positive", "share")))
    span: Sentence = ()
    if low.value is not None and high.value is not None and chance.value is not None:
        span = say(" (80 % range {span}; above 0 with a probability of {chance})",
                   span=money_range(content, low, high), chance=chance)
    laterals = content.figure("count", *place, "selection", "totals", "laterals")
    size = say("; the best selection there has {n} {laterals}", n=laterals,
               laterals=noun_for(laterals.value, "lateral")) if laterals.value is not None else ()
    return [say("On inputs calibrated to the records (fault rates × {rate}, times × {time}) its NPV is {npv}{span}"
                "{size}.", rate=content.figure("ratio", *place, "rate_factor"),
                time=content.figure("ratio", *place, "time_factor"), npv=money(content, npv), span=span, size=size)]


def turning_points(content: Content) -> Sentence:
    """The values of single inputs at which the decision would turn."""
    at, rows = content.proposed, driver_rows(content)
    if at is None:
        return ()
    sentences = [scenario_saidi_gain(content, at)]
    if rows is not None and len(rows):
        chosen = proposed_conversions(content)
        installed = set(chosen["device"]) if chosen is not None else set()
        known = rows.set_index("assumption")
        listed = [say("{label} of {x}{unit} (now {now})", label=label, unit=spoken_unit(key, content.currency),
                      x=Figure(float(known["break_even"][key]), "three_digits"),
                      now=Figure(float(known["value"][key]), "three_digits"))
                  for key, label in TURNING.items() if key in known.index
                  and key not in {p for d, p in PRICES.items() if d not in installed}
                  and known["break_even"][key] == known["break_even"][key]]
        if listed:
            sentences.append(say("Each alone, {list} would bring its NPV to nil.", list=joined(listed, ", ")))
    return joined([s for s in sentences if s])


def alternatives(content: Content) -> Sentence:
    """What else was tested, and whether it pays; what needs no capital and is worth more is said so."""
    if not content.business:
        return ()
    tested = sorted((i for i in content.alternatives if abs(_npv(content, i) or 0.0) >= HALF_A_UNIT),
                    key=lambda i: -(_npv(content, i) or 0.0))
    shown = [*tested[:MOST_ALTERNATIVES - 1], *tested[-1:]] if len(tested) > MOST_ALTERNATIVES else tested
    parts = [_tested(content, i) for i in shown if _npv(content, i) is not None]
    if not parts:
        return ()
    sentences = [say("Also tested, seen by {view}: {list}.", view=seen_by(content), list=joined(parts, "; "))]
    base = (_npv(content, content.proposed) if content.proposed is not None else 0.0) or 0.0
    better = [i for i in zero_capital_alternatives(content) if (_npv(content, i) or 0.0) > max(base, 0.0)]
    if better:
        best = max(better, key=lambda i: _npv(content, i) or 0.0)
        sentences.append(say("{s} needs no new device and is worth more than the proposal{where}.",
                             s=named(content, best), where=_other_sign(content, best)))
    return joined(sentences)


def _tested(content: Content, i: int) -> Sentence:
    npv = content.figure("money", "scenarios", i, "business", "npv")
    return say("{s} {does} (NPV {npv}{without})", s=Name(content.scenarios[i]), does=pays(npv.value or 0.0),
               npv=money(content, npv), without="" if installs(content, i) else ", without new devices")


def _other_sign(content: Content, i: int) -> Sentence:
    """What the other perspective says where it is the opposite."""
    other = UTILITY if content.study.values["perspective"] == SOCIETY else SOCIETY
    there, npv = content.figure("money", "scenarios", i, "business", other, "npv"), _npv(content, i)
    if npv is None or there.value is None or npv * there.value >= 0:
        return ()
    return say(", but to {view} its NPV is {npv}", view=VIEWERS[other], npv=money(content, there))


def _npv(content: Content, scenario: int) -> float | None:
    return content.figure("money", "scenarios", scenario, "business", "npv").value
