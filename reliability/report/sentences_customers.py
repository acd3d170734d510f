"""The sentences on what the proposal means to groups of customers, to what they pay, and without major event days."""

from __future__ import annotations

from reliability.business.costs import SOCIETY
from reliability.business.verdict import HALF_A_UNIT
from reliability.indices.customer_groups import EVERYBODY
from reliability.report import recorded_basis
from reliability.report.content import Content, within
from reliability.report.figures import Figure, Sentence, joined, say
from reliability.report.sentences import money, money_range

NO_CHANGE = 0.005       # events per customer and year; less is called none, our choice
LONGER = 1.005          # times the mean length of today; less is called no longer, our choice


def customers_change(content: Content, scenario: int) -> Sentence:
    """What customers' own costs of interruptions gain and lose in the first year, sustained and momentary."""
    parts = ("scenarios", scenario, "business", SOCIETY, "interruption_cost_saving_parts")
    sustained, momentary = (content.figure("money", *parts, k) for k in ("sustained", "momentary"))
    net = content.figure("money", "scenarios", scenario, "business", SOCIETY, "savings_per_year",
                         "interruption_cost_saving")
    if sustained.value is None or momentary.value is None or net.value is None:
        return ()

    def apart(saving: Figure) -> Sentence:
        return say("{x} {less}", x=money(content, Figure(abs(saving.value or 0.0), "money")),
                   less="less" if (saving.value or 0.0) >= 0 else "more")

    verdict = "neither gain nor lose" if abs(net.value) < HALF_A_UNIT else "gain" if net.value > 0 else "lose"
    return say("Customers {verdict} on balance: in the first year sustained interruptions cost them {sustained} and "
               "momentary ones {momentary}, together {net}.", verdict=verdict, sustained=apart(sustained),
               momentary=apart(momentary), net=apart(net))


def society_view(content: Content, scenario: int) -> Sentence:
    """Society's net present value of a scenario, with its range and how sure it is."""
    place = ("scenarios", scenario, "business", SOCIETY)
    npv = content.figure("money", *place, "npv")
    if npv.value is None:
        return ()
    low, high = (content.figure("money", *place, p) for p in ("npv_p10", "npv_p90"))
    chance = content.figure("probability", *place, "probability_npv_positive")
    span: Sentence = ()
    if low.value is not None and high.value is not None and chance.value is not None:
        span = say(", 80 % range {span}, above 0 with a probability of {chance}",
                   span=money_range(content, low, high), chance=chance)
    return say("To society, which counts what interruptions cost customers, NPV is {npv}{span}.",
               npv=money(content, npv), span=span)


def groups(content: Content, scenario: int) -> Sentence:
    """What those on converted laterals, on other laterals and on the mains have less and more of."""
    rows = content.at("scenarios", scenario, "customer_groups") or []
    parts = [_group(content, ("scenarios", scenario, "customer_groups", k), str(row["group"]))
             for k, row in enumerate(rows) if row["group"] != EVERYBODY]
    return say("Per customer and year: {parts}.", parts=joined(parts, "; ")) if parts else ()


def _group(content: Content, place: tuple[object, ...], name: str) -> Sentence:
    def change(key: str, noun: str) -> Sentence:
        apart = content.figure("index", *place, key)
        size = abs(apart.value or 0.0)
        if size < NO_CHANGE:
            return say("{about}as many {noun}", about="about " if size else "", noun=noun)
        return say("{x} {less} {noun}", x=Figure(size, "index"), less="fewer" if (apart.value or 0.0) < 0 else "more",
                   noun=noun)

    return say("the {n} {group} have {sustained} and {momentary}", n=content.figure("count", *place, "customers"),
               group=name[:1].lower() + name[1:], sustained=change("sustained", "sustained interruptions"),
               momentary=change("momentary", "momentary events"))


def mean_length(content: Content, scenario: int) -> Sentence:
    """That the mean interruption grows longer where there are fewer: CAIDI rises then without worse service."""
    before, after = (content.figure("minutes", "scenarios", i, "expected", "caidi_min") for i in (0, scenario))
    fewer, many = (content.figure("index", "scenarios", i, "expected", "saifi").value or 0.0 for i in (scenario, 0))
    if before.value is None or after.value is None or after.value <= before.value * LONGER or fewer >= many:
        return ()
    return say("CAIDI, the mean length of an interruption, rises from {before} to {after} min ({share} more), as the "
               "interruptions avoided are shorter than the mean.", before=before, after=after,
               share=Figure(after.value / before.value - 1.0, "share"))


def without_major_events(content: Content, scenario: int) -> Sentence:
    """The effect on the basis of the records without major event days."""
    place = ("scenarios", scenario, recorded_basis.WITHOUT_MAJOR_KEY)
    found = content.at(*place)
    if not found or found["saidi_min"]["change"] is None or found["saifi"]["change"] is None:
        return ()

    def of(index: str, kind: str, key: str) -> Figure:
        figure = content.figure(kind, *place, index, key)
        return Figure(abs(figure.value or 0.0), kind) if key == "change" else figure

    years, parts = found["years"], {}
    for index, kind, unit in (("saidi_min", "minutes", " min"), ("saifi", "index", "")):
        parts[index] = say("{after}{unit} ({size} {less})", unit=unit,
                           after=of(index, kind, "after"), size=of(index, kind, "change"),
                           less="less" if found[index]["change"] <= 0 else "more")
    return say("Without major event days the records have a mean SAIDI of {saidi} min and SAIFI of {saifi} ({span}). "
               "If {s} changes them by the same share as the modelled ones, they become {to_saidi} and {to_saifi}. "
               "The model itself counts all days, so this is a scaling.", saidi=of("saidi_min", "minutes", "recorded"),
               saifi=of("saifi", "index", "recorded"), span=str(years[0]) if len(years) == 1 else
               f"{years[0]} to {years[-1]}", s=within(content, scenario), to_saidi=parts["saidi_min"],
               to_saifi=parts["saifi"])
