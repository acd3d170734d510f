"""Units of assumptions as a reader of the report sees them, with the study's currency."""

from __future__ import annotations

from reliability.schema.assumptions import described

MINUTES_PER_HOUR = 60.0
SHARE_UNIT = "0–1"
BARE = (SHARE_UNIT, "cv", "×")       # numbers without a unit in a sentence


def unit_of(key: str, currency: str) -> str:
    """Unit of an assumption in a table; key may name an element of a share (`phases_involved.1`)."""
    a = described(key)
    if a.unit.startswith("money"):
        return a.unit.replace("money", currency, 1)
    if a.table == "costs" and a.unit.startswith("per "):
        return f"{currency} {a.unit}"
    return "share, 0–1" if a.unit == SHARE_UNIT else a.unit


def spoken_unit(key: str, currency: str) -> str:
    """The same behind a number in a sentence, with the space before it; "" where there is none to speak of."""
    a = described(key)
    unit = "" if a.unit in BARE else unit_of(key, currency)
    return f" {unit}" if unit else ""
