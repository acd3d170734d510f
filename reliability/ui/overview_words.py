"""What the first page says in sentences: what is proposed, what it brings, where it turns; or why nothing is."""

from __future__ import annotations

from reliability.business.verdict import pays, scope
from reliability.data_gaps import Nearest
from reliability.formats import count, money, number, probability
from reliability.ui.text import saidi_turn
from reliability.what_if import ScenarioResults

COMPUTING = "…"
_MEASURES = (("saidi_min", "minutes without power", "SAIDI"), ("saifi", "sustained interruptions", "SAIFI"))


def proposal(now: ScenarioResults, at: int, sure: float | None) -> str:
    """What is converted, what it costs and whether it pays. sure: probability that its NPV is above 0, None while it
    is being computed."""
    case, values, currency = now.money[at], now.results.study.values, now.business.currency
    holds = scope(str(values["perspective"]), int(values["horizon_years"]))
    chance = COMPUTING if sure is None else probability(sure)
    return (f"{_work(now, at)} for {money(case['capex'], currency)}. This {pays(case['npv'])} {holds}: net present "
            f"value (NPV) {money(case['npv'], currency)}, above 0 with a probability of {chance}.")


def _work(now: ScenarioResults, at: int) -> str:
    """What is done in the field."""
    chosen = now.decision.choice.selection
    laterals = chosen[chosen["what"] == "lateral"]
    devices = sorted({f"{str(d).replace('_', ' ')}s" for d in laterals["device"] if str(d)})
    settings = now.money[at]["backup_settings_changed"]
    parts = []
    if len(laterals):
        parts.append(f"convert {len(laterals)} of {count(len(now.results.network.candidates), 'lateral')} to "
                     f"{' and '.join(devices) or 'new settings'}")
    if settings:
        parts.append(f"change the fast operations of {count(settings, 'breaker or recloser', 'breakers or reclosers')}")
    text = " and ".join(parts) or "carry out the proposed scenario"
    return text[:1].upper() + text[1:]


def effect(now: ScenarioResults, at: int) -> str:
    """What the average customer has less and more of, and up to which share of reclosing off SAIDI gains."""
    before, after = now.indices[0], now.indices[at]
    parts = [p for measure, noun, index in _MEASURES
             if (p := _change(before[measure], after[measure], noun, index))]
    price = _change(before["maifi_e"], after["maifi_e"], "momentary interruptions", "MAIFI_E")
    said = f"The average customer has {' and '.join(parts)} a year" if parts else "The indices stay as they are"
    if price:
        more = (after["maifi_e"] or 0.0) > (before["maifi_e"] or 0.0)
        said += f"{', at the price of' if more else ', and'} {price}"
    return f"{said}. {saidi_turn(now.results.break_even.summary(at), subject='It')}".strip()


def _change(before: float | None, after: float | None, noun: str, index: str) -> str:
    """A change in words: "52.1 fewer minutes without power (SAIDI 210 to 158)"; "" for none or unknown."""
    if before is None or after is None or abs(after - before) <= 5e-4 * max(abs(before), 1e-12):
        return ""
    apart = number(abs(after - before))
    return f"{apart} {'fewer' if after < before else 'more'} {noun} ({index} {number(before)} to {number(after)})"


def needed(nearest: Nearest, currency: str) -> str:
    """What would have to be different for a proposal. nearest: see `needed_for_a_proposal`."""
    name, npv, turns = nearest
    if not name:
        return ("No conversion is open to any lateral: each fails an application check, or no device above it "
                "recloses. The page Laterals gives the reasons.")
    if npv > 0.0:
        return (f"Converting {name} alone would pay (NPV {money(npv, currency)}), but the limits or the objective of "
                "the selection exclude it. The page Selection changes them.")
    said = f"The nearest is {name}, whose conversion has an NPV of {money(npv, currency)}. "
    if not turns:
        return said + "No single assumption within reach would make it pay; several would have to differ together."
    listed = [f"{t.name} {'below' if t.turn < t.value else 'above'} {number(t.turn)}{t.unit} (now {number(t.value)})"
              for t in turns]
    return f"{said}It would pay, each alone, with {'; '.join(listed)}."


