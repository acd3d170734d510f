"""What the first page says in sentences: what is proposed, what it brings, where it turns; or why nothing is."""

from __future__ import annotations

import numpy as np

from reliability.business.break_even import break_even_share, npv_by_state
from reliability.business.cashflow import business_summary, yearly_savings
from reliability.business.costs import INTERRUPTION, SOCIETY, UTILITY
from reliability.business.selection import Choice, devices_in_words
from reliability.business.verdict import loses, pays, scope
from reliability.data_gaps import Nearest
from reliability.formats import count, money, number, probability, shown
from reliability.report.sentences_break_even import SHARE_KIND
from reliability.schema.problems import shorten
from reliability.ui import readiness
from reliability.ui.text import plain, saidi_turn
from reliability.ui.trials import SimulatedSpread, odds_of_gain
from reliability.what_if import ScenarioResults

OTHER_VIEW = {SOCIETY: "To society, customers' interruption costs counted:", UTILITY: "To the utility alone:"}
LATERALS_NAMED = 5           # laterals that drop out or come in; the page Selection lists them all
_MEASURES = (("saidi_min", "minutes without power", "SAIDI"), ("saifi", "sustained interruptions", "SAIFI"))


def proposal(now: ScenarioResults, at: int, spread: SimulatedSpread | None) -> str:
    """What is converted, what it costs and whether it pays. spread: simulated figures of the state, None while they
    are being computed.
    """
    case, values, currency = now.money[at], now.results.study.values, now.business.currency
    holds = scope(str(values["perspective"]), int(values["horizon_years"]))
    work = f"{_work(now, at)} for {money(case['capex'], currency)}"
    said = f"The proposal, to {work}," if loses(case["npv"]) else f"{work[:1].upper()}{work[1:]}. This"
    return (f"{said} {pays(case['npv'])} {holds}: net present value (NPV) {money(case['npv'], currency)}, "
            f"{_odds(spread, None if spread is None else spread.npv[at])}")


def _odds(spread: SimulatedSpread | None, npv: np.ndarray | None) -> str:
    """How sure an NPV is above 0, at the end of a sentence. npv: by trial, None while they are being computed."""
    if spread is None or npv is None:
        return "above 0 with a probability of …"
    return f"above 0 with a probability of {probability(odds_of_gain(npv))}{so_far(spread)}."


def so_far(spread: SimulatedSpread | None) -> str:
    """A mark of figures that later trials refine."""
    return "" if spread is None or spread.final else " so far"


def _work(now: ScenarioResults, at: int) -> str:
    """What is done in the field."""
    chosen = readiness.carried_out(now, at)
    laterals = chosen[chosen["what"] == "lateral"]
    settings = now.money[at]["backup_settings_changed"]
    parts = []
    if len(laterals):
        said = f" ({said})" if (said := readiness.in_words(now, chosen)) else ""
        parts.append(f"convert {len(laterals)} of {count(len(now.results.network.candidates), 'lateral')}"
                     f"{devices_in_words(laterals['device'])}{said}")
    if settings:
        parts.append(f"change the fast operations of {count(settings, 'breaker or recloser', 'breakers or reclosers')}")
    return " and ".join(parts) or "carry out the proposed scenario"


def chosen_again(now: ScenarioResults, choice: Choice) -> str:
    """How the choice at the moved inputs differs from what is proposed."""
    if _what_is_done(choice) == _what_is_done(now.decision.choice):
        return "Chosen again at the moved inputs, the selection is the same."
    before, after = map(_device_by_lateral, (now.decision.choice, choice))
    other_device = [i for i in after if i in before and after[i] != before[i]]
    names = now.results.network.name_by_id
    differing = "".join(f" {count(len(ids), one, many)}: {_listed([names[i] for i in sorted(ids)])}"
                        for one, many, ids in (("drops out", "drop out", before.keys() - after.keys()),
                                               ("comes in", "come in", after.keys() - before.keys()),
                                               ("has another device", "have another device", other_device)) if ids)
    return (f"Chosen again at the moved inputs, the selection is another one: {choice.message}{differing} The page "
            "Selection has it.")


def _device_by_lateral(choice: Choice) -> dict[str, str]:
    """section_id of each lateral that a choice converts, and the device there."""
    rows = choice.selection[choice.selection["what"] == "lateral"]
    return dict(zip(rows["section_id"].astype(str), rows["device"].astype(str), strict=True))


def _listed(names: list[str]) -> str:
    """The first few names."""
    return ", ".join(shorten(name,
                             30) for name in names[:LATERALS_NAMED]) + (" …" if len(names) > LATERALS_NAMED else ".")


def _what_is_done(choice: Choice) -> set[tuple[str, str, str, str]]:
    """Each change of a choice: its place, device, counts and fast operations."""
    rows = choice.selection[["section_id", "device", "counts", "fast_operations_of_backup"]].astype(str)
    return set(rows.itertuples(index=False, name=None))


def other_view(now: ScenarioResults, at: int, spread: SimulatedSpread | None) -> str:
    """What a scenario is worth in the perspective that the state is not seen in, and how sure, as markup.

    spread: as of `proposal`.
    """
    other = UTILITY if now.results.study.values["perspective"] == SOCIETY else SOCIETY
    currency = now.business.currency
    case = business_summary(now.results.perspectives[other])[at]
    odds = _odds(spread, None if spread is None else spread.npv_elsewhere[at])
    said = f"NPV {money(case['npv'], currency)}, {odds}"
    if other == SOCIETY:
        cost = -yearly_savings(now.results.perspectives[other], at)[INTERRUPTION]
        said += (f" What interruptions cost customers {'rises' if cost > 0 else 'falls'} by "
                 f"{money(abs(cost), currency)} a year.")
    return f"**{OTHER_VIEW[other]}** {plain(said, 400)}"


def npv_turns(now: ScenarioResults, at: int) -> tuple[float, float, float]:
    """Share of faults while reclosing is off at which a scenario's NPV is nil, NaN where it keeps its sign; its NPV
    with reclosing on everywhere, and off.
    """
    study = now.results.study
    on, off = npv_by_state(study.model, (study.scenarios[0], study.scenarios[at]), study.cost_table)[:, 1].tolist()
    return float(break_even_share(on, off)), on, off


def npv_turn(found: tuple[float, float, float] | None, trip: str) -> str:
    """Where the NPV turns, in a sentence. found: of `npv_turns`, None while it is computed. trip: fast or delayed, of
    a device with reclosing off.
    """
    if found is None:
        return "Where its NPV turns is being computed …"
    share, on, off = found
    if np.isnan(share):
        does = "pays" if max(on, off) > 0.0 else "does not pay"
        return f"It {does}, whatever share of faults happens while reclosing is off."
    bound = "less" if on > 0.0 else "more"
    return (f"It pays only where {bound} than {shown(share, SHARE_KIND)} of faults do (with reclosing off a device "
            f"trips once, {trip}).")


def effect(now: ScenarioResults, at: int) -> str:
    """What the average customer has less and more of, and up to which share of reclosing off SAIDI gains."""
    before, after = now.indices[0], now.indices[at]
    parts = [p for measure, noun, index in _MEASURES
             if (p := _change(before[measure], after[measure], noun, index))]
    price = _change(before["maifi_e"], after["maifi_e"], "momentary interruptions", "MAIFI_E")
    said = f"The average customer has {' and '.join(parts)} a year" if parts else "The indices stay as they are"
    if price:
        more = (after["maifi_e"] or 0.0) > (before["maifi_e"] or 0.0)
        gains = any((after[m] or 0.0) < (before[m] or 0.0) for m, *_ in _MEASURES)
        said += f"{', at the price of' if more and gains else ', and'} {price}"
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


