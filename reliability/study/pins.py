"""States of a study that somebody pinned: what was moved and the figures, stored with the study."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from reliability.study.archive import ARCHIVE, changing, write_archived

PINS_FILE = "pins.json"
MAX_PINS = 30


def read_pins(folder: Path) -> list[dict[str, Any]]:
    """Pinned states of a study's folder, the oldest first; none where the file cannot be read (`unreadable`).

    Each has `when` (ISO 8601), `moves` (value by key), `figures` (value by measure, by scenario)
    and `inputs_sha256` of the study at that time; newer ones also what else was asked, text by parameter.
    """
    return _read(folder)[0]


def unreadable(folder: Path) -> bool:
    """Whether there are pinned states, or something in their place, that cannot be read."""
    return _read(folder)[1]


def add_pin(folder: Path, moves: Mapping[str, float | int], figures: Mapping[str, Mapping[str, float]],
            inputs_sha256: str, asked: Mapping[str, str] | None = None) -> None:
    """Store one more state; of more than MAX_PINS the oldest is dropped. asked: what else was asked, by parameter.

    A file that cannot be read is put aside, not overwritten.
    """
    with changing(folder):
        _put_aside(folder)
        pin = {**(asked or {}), "when": datetime.now().isoformat(timespec="microseconds"), "moves": dict(moves),
               "figures": dict(figures), "inputs_sha256": inputs_sha256}
        _write(folder, [*read_pins(folder), pin][-MAX_PINS:])


def remove_pin(folder: Path, when: str) -> None:
    """Drop the state pinned at that time; as for a file that cannot be read, see `add_pin`."""
    with changing(folder):
        _put_aside(folder)
        _write(folder, [p for p in read_pins(folder) if p["when"] != when])


def _read(folder: Path) -> tuple[list[dict[str, Any]], bool]:
    """The pins, and whether anything in their file is none."""
    path = folder / ARCHIVE / PINS_FILE
    if not path.exists():
        return [], False
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        pins = [p for p in found if _is_pin(p)]
        return pins, len(pins) < len(found)
    except (OSError, ValueError, TypeError, RecursionError):
        return [], True


def _is_pin(pin: object) -> bool:
    if not isinstance(pin, dict) or not {"when", "moves", "figures", "inputs_sha256"} <= pin.keys():
        return False
    try:
        datetime.fromisoformat(pin["when"])
        numbers = [*pin["moves"].values(), *(v for figures in pin["figures"].values() for v in figures.values())]
    except (TypeError, ValueError, AttributeError):
        return False
    return all(v is None or isinstance(v, int | float) for v in numbers)


def _put_aside(folder: Path) -> None:
    """Rename a file with something that is no pin, so that nothing in it is lost."""
    path = folder / ARCHIVE / PINS_FILE
    if unreadable(folder) and path.is_file():
        write_archived(folder, f"unreadable-{datetime.now():%Y%m%dT%H%M%S%f}-{PINS_FILE}", path.read_bytes())


def _write(folder: Path, pins: list[dict[str, Any]]) -> None:
    write_archived(folder, PINS_FILE, json.dumps(pins, indent=1, ensure_ascii=False).encode())
