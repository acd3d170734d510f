"""The kinds of exports and what a row of each may bring, defined once.

A field is a column under our name. Columns of sections.csv keep their definition from `schema.columns`; what they hold
of the device and what of the line is told apart here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from reliability.schema.columns import CURVES, OUTAGES, SECTIONS, ColumnRule

SEGMENTS, DEVICE_ROWS, CUSTOMERS, SOURCES = "segments", "devices", "customers", "sources"
OUTAGE_ROWS, OPERATION_ROWS, SETTINGS_ROWS, CURVE_ROWS = "outages", "operations", "settings", "curves"
LEAVE_OUT = "leave_out"
IGNORE = "ignore"       # what a recipe calls a table that is not used
OPEN, CLOSED = "open", "closed"

_SECTION = {c.name: c for c in SECTIONS}
# What belongs to the device at the head of a section, of the columns of sections.csv.
DEVICE_COLUMNS = ("device", "device_id", "fuse_link", "saving_ceiling_a", "rated_current_a", "actuating_current_a",
                  "counts", "operations_to_lockout", "fast_operations", "minimum_trip_a", "dead_time_s",
                  "longest_dead_time_s", "tripping", "reclosing_off_share", "system_kv", "bil_kv")
# What several rows at one place add up to.
SUMMED_COLUMNS = ("customers", "customers_residential", "customers_small_ci", "customers_large_ci",
                  "customers_three_phase",
                  "load_kw", "connected_kva", "generation_kw", "capacitor_kvar")
# What spans in series must share to be one section: rates, fractions and hours of their own.
OWN_VALUES = ("line_fault_rate_per_km", "temporary_fraction", "repair_hours", "years_observed")
LINE_COLUMNS = ("construction", "area", "location", *OWN_VALUES, "equipment_fault_rate", "faults_observed",
                "tie_probability",
                "tie_section_id", "peak_load_a")


@dataclass(frozen=True)
class Field:
    """One column of a kind, under our name.

    column: how its cells are read. measure: kind of unit its numbers have, "" for none: "length", "current", "time",
    "power", "apparent", "energy". word: its cells are words that need a meaning. alias: other names of ours that stand
    for it, each with the unit that the name states.
    """

    column: ColumnRule
    measure: str = ""
    word: bool = False
    alias: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> str:
        """Our name."""
        return self.column.name


def _text(name: str, help_text: str = "") -> Field:
    return Field(ColumnRule(name, "text", help=help_text))


def _word(name: str, choices: tuple[str, ...], help_text: str = "") -> Field:
    return Field(ColumnRule(name, "text", choices=choices, help=help_text), word=True)


def _number(name: str, unit: str, measure: str, help_text: str, *alias: tuple[str, str]) -> Field:
    return Field(ColumnRule(name, unit=unit, help=help_text), measure, alias=alias)


def _of_sections(names: Iterable[str]) -> tuple[Field, ...]:
    return tuple(_section_field(_SECTION[name]) for name in names)


def _section_field(column: ColumnRule) -> Field:
    column = replace(column, required=False)
    if column.name in ("construction", "device", "tripping"):
        return Field(column, word=True)
    if column.name == "load_kw":
        return Field(column, "power", alias=(("load", ""), ("load_mw", "MW")))
    if column.name == "connected_kva":
        return Field(column, "apparent", alias=(("kva", "kVA"),))
    if column.name == "line_fault_rate_per_km":
        return Field(column, "rate", alias=(("line_fault_rate_per_mi", "per mi"),))
    return Field(column, "current" if column.unit == "A" else "")


_PHASES = Field(ColumnRule("phases", "text", help="1 to 3, or the phases by letter."), word=True)
_NORMAL = _word("normal_state", (CLOSED, OPEN), "closed or open; blank: closed.")
_STATUS = _word("status", (), "A word by which rows are left out.")
_LENGTH = _number("length", "km", "length", "Length of the span; blank: 0.", ("length_km", "km"), ("length_m", "m"),
                  ("length_ft", "ft"), ("length_mi", "mi"))
_PLACES = (_text("segment_id", "The segment it stands on."), _text("node_id", "The node it stands at."),
           _text("pole_id", "The pole it stands at."))
_ENDS = (_text("from_node", "Node at one end."), _text("to_node", "Node at the other end."))
_ENDS_OR_POLES = tuple(replace(end, alias=((pole, ""),))
                       for end, pole in zip(_ENDS, ("from_pole", "to_pole"), strict=True))
_DEVICE = _of_sections(DEVICE_COLUMNS)
_SERVED = _of_sections(SUMMED_COLUMNS)

FIELDS: dict[str, tuple[Field, ...]] = {
    SEGMENTS: (
        _text("segment_id", "Name of the span."), *_ENDS, _text("parent_id", "The segment towards the source."),
        _LENGTH, _PHASES, _NORMAL, _text("conductor", "Conductor."), _text("feeder_id", "Feeder."),
        _number("fault_current_from_a", "A", "current", "Fault current at from_node.", ("fault_current_from", ""),
                ("fault_current_source_a", "A")),
        _number("fault_current_to_a", "A", "current", "Fault current at to_node.", ("fault_current_to", ""),
                ("fault_current_end_a", "A")),
        _text("pole_id", "Pole."), _text("from_pole", "Pole at from_node."), _text("to_pole", "Pole at to_node."),
        _STATUS, *_of_sections(c for c in LINE_COLUMNS if c != "tie_section_id"), *_DEVICE, *_SERVED),
    DEVICE_ROWS: (
        _text("device_id", "Name of the device."), *_PLACES, *_ENDS_OR_POLES, _PHASES, _NORMAL, _STATUS,
        *(f for f in _DEVICE if f.name != "device_id"), *_of_sections(("location", "area", "peak_load_a"))),
    CUSTOMERS: (
        _text("transformer_id", "Name of the transformer, or the one that a meter hangs on."),
        _text("customer_id", "Name of the meter."), *_PLACES, _PHASES, _STATUS,
        _word("customer_class", ("residential", "small_ci", "large_ci"), "Class of the customers."),
        _number("energy_kwh", "kWh/yr", "energy", "Energy a year; load_kw where that is blank."), *_SERVED,
        *_of_sections(("location",))),
    SOURCES: (
        _text("node_id", "Node where a feeder begins."), _text("feeder_id", "Name of the feeder."),
        _number("fault_current_a", "A", "current", "Current of a fault to ground there."),
        _number("fault_current_three_phase_a", "A", "current", "Current of a three-phase fault there."),
        Field(ColumnRule("x_over_r", low=0.0, help="Reactance over resistance of the source.")),
        *_of_sections(("system_kv",))),
    OUTAGE_ROWS: (
        _text("event_id", "One outage."), _text("device_id", "Device that opened."), _PLACES[0],
        _text("transformer_id", "Transformer."), _PLACES[2], _PLACES[1], _text("feeder_id", "Feeder."),
        *(Field(replace(c, required=False)) for c in OUTAGES if c.name in ("started", "restored", "customers",
                                                                           "cause")),
        Field(ColumnRule("duration", unit="h", low=None, help="Length of the outage, where restored is not given."),
              "time",
              alias=(("duration_h", "h"), ("duration_min", "min"), ("duration_s", "s"))),
        _word("fault_kind", ("temporary", "permanent")), _word("planned", ("true", "false")), _STATUS),
    OPERATION_ROWS: (
        _text("device_id"), _text("segment_id"), _text("from"), _text("to"), _text("operations"), _text("kind")),
    SETTINGS_ROWS: tuple(_text(name) for name in (
        "device_id", "segment_id", "element", "operation", "pickup_a", "curve", "time_dial", "added_time_s")),
    CURVE_ROWS: tuple(_text(c.name) for c in CURVES),
}
TABLE_KINDS = tuple(FIELDS)
# Of each group one column at the least; geometry stands for a place.
REQUIRED: dict[str, tuple[tuple[str, ...], ...]] = {
    SEGMENTS: (("segment_id",), ("from_node", "parent_id", "from_pole"), ("to_node", "parent_id", "to_pole")),
    DEVICE_ROWS: (("device_id",), ("segment_id", "node_id", "pole_id", "from_node"), ("device",)),
    CUSTOMERS: (("transformer_id", "customer_id"), ("segment_id", "node_id", "pole_id", "transformer_id")),
    SOURCES: (("node_id",), ("feeder_id",)),
    OUTAGE_ROWS: (("started",), ("restored", "duration"),
                  ("device_id", "segment_id", "transformer_id", "pole_id", "node_id", "feeder_id")),
    OPERATION_ROWS: (("device_id", "segment_id"), ("from",)),
    SETTINGS_ROWS: (("device_id", "segment_id"), ("element",), ("operation",), ("pickup_a",), ("curve",)),
    CURVE_ROWS: (("curve",), ("current_a",), ("time_s",)),
}
PLACE_COLUMNS = frozenset(("from_node", "to_node", "parent_id", "segment_id", "node_id", "pole_id", "transformer_id"))
IDS = {SEGMENTS: "segment_id", DEVICE_ROWS: "device_id"}


def field_of(kind: str, name: str) -> tuple[Field, str] | None:
    """The field of a kind that a name of ours stands for, and the unit that the name states ("" for none)."""
    for field in FIELDS[kind]:
        if field.name == name:
            return field, ""
        for alias, unit in field.alias:
            if alias == name:
                return field, unit
    return None


def names_of(kind: str) -> list[str]:
    """Every name of ours that a header of the kind may have."""
    return [name for field in FIELDS[kind] for name in (field.name, *(alias for alias, _ in field.alias))]
