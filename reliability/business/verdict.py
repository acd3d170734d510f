"""Whether a conversion pays: the one rule, and the sentence of summary.json that tells it."""

from __future__ import annotations

from reliability.business.costs import SOCIETY, UTILITY
from reliability.formats import count, money, percent

HALF_A_UNIT = 0.5      # of money; an NPV nearer to 0 than this is none
VIEWERS = {UTILITY: "the utility", SOCIETY: "society"}


def pays(npv: float) -> str:
    """The verdict on a net present value, as the verb of a sentence."""
    if abs(npv) < HALF_A_UNIT:
        return "neither pays nor costs"
    return "pays" if npv > 0 else "does not pay"


def loses(npv: float) -> bool:
    """Whether a net present value speaks against what is proposed, so that no sentence may ask for it."""
    return npv <= -HALF_A_UNIT


def scope(perspective: str, years: int) -> str:
    """What a verdict holds for, behind its verb: "over 20 years, seen by the utility"."""
    return f"over {count(years, 'year')}, seen by {VIEWERS[perspective]}"


def verdict(name: str, npv: float, benefit: float, cost: float, currency: str, holds: str) -> str:
    """One plain sentence on whether a scenario pays.

    npv, benefit, cost: present values in money; benefit: of what it saves, less what costs more than before; cost: of
    capital and inspection. holds: from `scope`.
    """
    does, amount = pays(npv), money(abs(npv), currency)
    if abs(npv) < HALF_A_UNIT:
        return f"{name} {does} {holds}."
    if npv > 0:
        return f"{name} {does}: it is worth {amount} more than it costs {holds}."
    if abs(benefit) < HALF_A_UNIT:
        return f"{name} {does}: it saves nothing and loses {amount} {holds}."
    if benefit < 0:
        return f"{name} {does}: what it costs a year is more than it saves, and it loses {amount} {holds}."
    return f"{name} {does}: it loses {amount} {holds}; its savings cover {percent(benefit / cost)} of its costs."
