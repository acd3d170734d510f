"""States of a study that somebody pinned: what was moved and the figures, stored with the study."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from reliability.study.save import ARCHIVE, write_archived

FILE = "pins.json"
MAX_PINS = 30


def read_pins(folder: Path) -> list[dict[str, Any]]:
    """Pinned states of a study's folder, the oldest first; an unreadable file counts as none.

    Each has `when` (ISO 8601), `moves` (value by key), `figures` (value by measure, by scenario)
    and `inputs_sha256` of the study at that time; newer ones also what else was asked, text by parameter.
    """
    try:
        pins = json.loads((folder / ARCHIVE / FILE).read_text(encoding="utf-8"))
        return [p for p in pins if {"when", "moves", "figures", "inputs_sha256"} <= p.keys()]
    except (OSError, ValueError, AttributeError, TypeError):
        return []


def add_pin(folder: Path, moves: Mapping[str, float | int], figures: Mapping[str, Mapping[str, float]],
            inputs_sha256: str, asked: Mapping[str, str] | None = None) -> None:
    """Store one more state; of more than MAX_PINS the oldest is dropped. asked: what else was asked, by parameter."""
    pin = {**(asked or {}), "when": datetime.now().isoformat(timespec="seconds"), "moves": dict(moves),
           "figures": dict(figures), "inputs_sha256": inputs_sha256}
    _write(folder, [*read_pins(folder), pin][-MAX_PINS:])


def remove_pin(folder: Path, when: str) -> None:
    """Drop the state pinned at that time."""
    _write(folder, [p for p in read_pins(folder) if p["when"] != when])


def _write(folder: Path, pins: list[dict[str, Any]]) -> None:
    write_archived(folder, FILE, json.dumps(pins, indent=1, ensure_ascii=False).encode())
