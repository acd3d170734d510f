"""The inputs of the proposal's live sheets: quantities of the run, prices and rates of the study."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reliability.formats import KINDS
from reliability.report.content import Content
from reliability.report.quantities import Quantities
from reliability.schema.assumption_types import bounds_of
from reliability.schema.assumptions import BY_KEY
from reliability.schema.devices import BY_NAME, LATERAL_DEVICES
from reliability.schema.units import MINUTES_PER_HOUR, unit_of
from reliability.study.price_level import price_level

PRICE_INPUTS = ("backup_settings_cost", "spare_units_share", "device_life_years", "inspection_cost_per_year")
CALLOUT = {"refuse": "Fuse replacements", "reset": "Resets", "repair": "Repairs", "patrol": "Patrols"}
CREW = ("crew_rate_per_hour", "overtime_share", "overtime_multiplier", "vehicle_per_callout",
        *(f"{kind}_crew_hours" for kind in CALLOUT), "fuse_link_cost", "repair_material_cost", "actuator_cost",
        "energy_margin_per_kwh", "incentive_per_saidi_minute", "incentive_per_saifi", "interruption_cost_factor",
        "momentary_cost_factor")
FINANCE = ("discount_rate", "escalation_rate", "horizon_years", "equity_share", "equity_rate", "debt_rate", "tax_rate",
           "book_life_years", "average_bill_per_month")
QUANTITY, RATE_FORMAT, MONEY_FORMAT, PLAIN_FORMAT = "#,##0.000", "0.00%", KINDS["price"].excel, "General"


@dataclass(frozen=True)
class Input:
    """A cell that may be changed.

    name: of the cell, in formulas. value: as the run has it, None for blank. form: number format. tested: low and high
    of the study's range, None where it states none. bounds: what may be entered, None for any number. whole: no
    fractions.
    """

    name: str
    label: str
    unit: str
    value: float | None
    form: str = PLAIN_FORMAT
    tested: tuple[float, float] | None = None
    bounds: tuple[float, float] | None = None
    whole: bool = False


def inputs(content: Content, scenario: int, longest: int) -> list[tuple[str, list[Input]]]:
    """Inputs of a scenario under headings; longest: years that a horizon may have at most."""
    found = content.quantities[scenario]
    devices = [BY_NAME[d] for d in LATERAL_DEVICES]
    installed = [
        *(Input(f"units_{d.name}", f"{d.label}s installed", "units", float(found.capital.units.get(d.name, 0.0)),
                "#,##0", bounds=(0.0, 1e6)) for d in devices),
        Input("settings_changed", "Breakers and reclosers with settings changed", "devices",
              float(found.capital.settings), "#,##0", bounds=(0.0, 1e6)),
        *(_assumption(content, key) for key in (*(d.price for d in devices), *PRICE_INPUTS))]
    return [("What is installed, and its price", installed),
            (f"What it avoids in a year, expected, against “{content.scenarios[0]}” (below 0: added)",
             _avoided(content, found)),
            ("What that is worth", [*(_assumption(content, key) for key in CREW),
                                    Input("price_index", "Escalation of the cost table to the study's prices", "×",
                                          price_level(content.study.values).index, "0.000", bounds=(0.0, 100.0))]),
            ("Finance and customers", [*(_assumption(content, key, longest) for key in FINANCE),
                                       Input("customers_served", "Customers served", "customers", _served(content),
                                             "#,##0", bounds=(0.0, 1e9))])]


def values_of(groups: Sequence[tuple[str, Sequence[Input]]]) -> dict[str, float]:
    """Value of every input by name, 0 for a blank one."""
    return {i.name: i.value or 0.0 for _, group in groups for i in group}


def _served(content: Content) -> float:
    return float(content.at("scenarios", 0, "expected", "customers_served") or 0.0)


def _avoided(content: Content, found: Quantities) -> list[Input]:
    """Quantities avoided in a year."""
    avoided, served = found.avoided, _served(content)
    money = f"{content.currency} of the cost table"
    return [*(Input(f"avoided_{kind}", label, "1/yr", avoided[kind], QUANTITY) for kind, label in CALLOUT.items()),
            Input("avoided_actuators", "Actuators spent", "1/yr", avoided["actuators"], QUANTITY),
            Input("avoided_energy_kwh", "Energy not supplied", "kWh/yr", avoided["load_kwh"], QUANTITY),
            Input("avoided_saidi_min", "SAIDI", "min/yr",
                  _over(avoided["customer_hours"] * MINUTES_PER_HOUR, served), QUANTITY),
            Input("avoided_saifi", "SAIFI", "1/yr", _over(avoided["ci"], served), "#,##0.00000"),
            Input("avoided_sustained_cost", "Customers' cost of sustained interruptions", f"{money}/yr",
                  found.sustained_cost, MONEY_FORMAT),
            Input("avoided_momentary_cost", "Customers' cost of momentary events at survey values", f"{money}/yr",
                  found.momentary_cost, MONEY_FORMAT)]


def _over(amount: float, served: float) -> float:
    return amount / served if served else 0.0


def _assumption(content: Content, key: str, longest: int = 0) -> Input:
    """An assumption of the study as an input; its label, unit, range and bounds are known."""
    known, values = BY_KEY[key], _by_key(content)
    low, high = bounds_of(known)
    tested = content.study.uncertain.get(key)
    value = values[key]
    return Input(
        key, known.label, unit_of(key, content.currency), float(value) if isinstance(value, int | float) else None,
        RATE_FORMAT if known.unit == "per year"
        else MONEY_FORMAT if content.currency and known.unit.startswith(("money", "per ")) and known.table == "costs"
        else PLAIN_FORMAT,
        (tested.low, tested.high) if tested else None,
        (low, min(high, longest) if key == "horizon_years" and longest else high), known.kind == "whole")


def _by_key(content: Content) -> Mapping[str, object]:
    return content.study.values
