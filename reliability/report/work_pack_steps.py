"""What a crew measures and does at a device, step by step, with the limits that the study states."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from reliability.formats import missing, number, shown
from reliability.schema.assumptions import PRACTICE
from reliability.schema.values import Assumptions

MAKERS_SHEET = "see the maker's sheet"   # where the study leaves a limit of [inspection] blank
NEWTON_METRES = 1.3558                   # in one ft·lbf

Words = Callable[[Assumptions], str]


@dataclass(frozen=True)
class Step:
    """One thing to do on site: `column` is its field in the CSV, `limit` what is accepted.

    A text or limit that depends on the study is a function of its assumptions.
    """

    column: str
    text: str | Words
    limit: str | Words
    source: str = PRACTICE

    def printed(self, values: Assumptions) -> dict[str, str]:
        """Text, limit and source as they stand on the sheet."""
        text, limit = (words if isinstance(words, str) else words(values) for words in (self.text, self.limit))
        return {"text": text, "limit": limit, "source": self.source}


def _resistance(which: str) -> Words:
    def text(values: Assumptions) -> str:
        current = values["meter_ma"]
        meter = "meter of at most " + quantity(current, "mA") if current is not None else f"meter: {MAKERS_SHEET}"
        return f"Resistance between {which} actuator's leads, {meter}"
    return text


def _ohms(values: Assumptions) -> str:
    low, high = (None if (limit := values[key]) is None else quantity(limit, "Ω")
                 for key in ("actuator_ohm_low", "actuator_ohm_high"))
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}" if high else MAKERS_SHEET


def _megohms(values: Assumptions) -> str:
    least = values["leads_to_body_megohm"]
    return MAKERS_SHEET if least is None else f"more than {quantity(least, 'MΩ')}"


def _torque(values: Assumptions) -> str:
    torque = values["nut_torque_ft_lbf"]
    if torque is None:
        return MAKERS_SHEET
    return f"about {quantity(torque, 'ft·lbf')} ({number(NEWTON_METRES * torque, 2)} N·m)"


IDENTITY = (
    Step("unit_phase", "Phase of the unit", "A, B or C"),
    Step("serial_number", "Serial number", "written"),
)
BEFORE_SERVICE = (
    *IDENTITY,
    Step("nameplate_agrees", "Rating, actuating current and counts agree with this sheet", "agree"),
    Step("actuator_ohm", _resistance("the"), _ohms),
    Step("leads_to_body_megohm", "Insulation from the joined leads to the actuator's body", _megohms),
    Step("nut_torque", "Terminal nuts tightened", _torque),
    Step("contacts_clean", "Contacts clean", "yes"),
    Step("porcelain_sound", "Porcelain without cracks; replaced where cracked", "yes"),
    Step("actuator_finger_tight", "Actuator seated", "finger tight"),
)
AFTER_OPERATION = (
    Step("operated_phase", "Phase of the unit that opened", "A, B or C"),
    Step("cause_cleared", "Lateral patrolled to its ends, cause cleared", "yes, or none found"),
    Step("actuator_replaced", "Spent actuator replaced by a new one", "finger tight"),
    Step("new_actuator_ohm", _resistance("the new"), _ohms),
    Step("new_leads_to_body_megohm", "Insulation from the joined leads to the new actuator's body", _megohms),
    Step("contacts_clean_after", "Contacts cleaned", "yes"),
    Step("porcelain_sound_after", "Porcelain without cracks; replaced where cracked", "yes"),
    Step("nut_torque_after", "Terminal nuts tightened", _torque),
)


def quantity(value: object, unit: str = "") -> str:
    """A number with its unit for a sheet; empty where unknown."""
    if missing(value) or value == "":
        return ""
    return f"{shown(value, 'any')} {unit}".strip()
