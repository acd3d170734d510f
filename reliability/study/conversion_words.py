"""The laterals of a scenario and fast operations of single devices in words, for a cell of a table, and back.

"tap-1: sectionalizer, 2 counts; tap-2: lateral recloser" and "recloser-1: 0". What is not so written stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from reliability.schema.devices import DEVICES

WORD_SEPARATOR = "; "
_LATERAL = re.compile(rf"({'|'.join(d.replace('_', '[ _]') for d in DEVICES)})?(?:(?:, )?(\d+) counts?)?")


def in_words(entries: Mapping[str, object]) -> str | None:
    """Each entry and what it gets; None where that is no device with counts, or no number, or could not be read back.

    entries: by id, a table with device and counts, or fast operations.
    """
    parts = [f"{key}: {_entry(value)}" for key, value in entries.items()]
    text = WORD_SEPARATOR.join(parts)
    numbers = not any(isinstance(value, Mapping) for value in entries.values())
    return text if from_words(text, numbers) == dict(entries) else None


def from_words(text: str, numbers: bool) -> dict[str, object] | None:
    """Entries by id out of their words; None where any of them is not so written. numbers: whether each is a number."""
    found: dict[str, object] = {}
    for part in text.split(";"):
        key, between, said = part.strip().rpartition(":")
        value = _number(said.strip()) if numbers else _conversion(said.strip())
        if not between or not key.strip() or value is None:
            return None
        found[key.strip()] = value
    return found


def _entry(value: object) -> str:
    if not isinstance(value, Mapping):
        return str(value)
    counts = value.get("counts")
    words = [str(value["device"]).replace("_", " ")] if "device" in value else []
    return ", ".join(words + ([] if counts is None else [f"{counts} count{'' if counts == 1 else 's'}"]))


def _number(said: str) -> int | None:
    return int(said) if said.isdecimal() else None


def _conversion(said: str) -> dict[str, object] | None:
    match = _LATERAL.fullmatch(said.casefold())
    if not said or match is None:
        return None
    device, counts = match.groups()
    return ({"device": device.replace(" ", "_")} if device else {}) | ({"counts": int(counts)} if counts else {})
