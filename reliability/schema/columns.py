"""Every column a study's tables may have: unit, bounds and meaning, in one table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from reliability.schema.curves import INVERSE
from reliability.schema.devices import BREAKER, DEVICES, RECLOSER, TRIPPINGS

ColumnKind = Literal["text", "number", "whole", "time", "flag"]

MOST_COUNTS = 3  # of a sectionalizer (contract.md, sections.csv)
CUSTOMER_CLASSES = ("residential", "small_ci", "large_ci")
KM_PER_MILE = 1.609344
MOST_FAULTS_PER_KM = 100.0      # a year; as of the assumption of this name
OVERHEAD, UNDERGROUND = "overhead", "underground"
PHASE, GROUND = "phase", "ground"    # elements of a reclosing device
FAST, DELAYED = "fast", "delayed"    # kinds of operation
COUNTER, EVENT, IGNORE = "counter", "event", "ignore"    # rows of what a reclosing device did


@dataclass(frozen=True)
class ColumnRule:
    """One column; `low` and `high` are inclusive, or exclusive at `low` where `above` is set."""

    name: str
    kind: ColumnKind = "number"
    unit: str = ""
    low: float | None = 0.0
    high: float | None = None
    above: bool = False
    required: bool = False
    choices: tuple[str, ...] = ()
    help: str = ""


def _ampere(name: str, help_text: str) -> ColumnRule:
    return ColumnRule(name, unit="A", above=True, help=help_text)


SECTIONS: tuple[ColumnRule, ...] = (
    ColumnRule("section_id", "text", required=True, help="Unique name of the line section."),
    ColumnRule("parent_id", "text", required=True, help="The section towards the source; blank at a source."),
    ColumnRule("device", "text", choices=DEVICES, help="Device at the section's source end; blank: solid connection."),
    ColumnRule("feeder_id", "text", help="Feeder; blank: the root's section_id."),
    ColumnRule("length_km", unit="km", required=True, help="Length; or length_mi."),
    ColumnRule("length_mi", unit="mi", help="Length in miles, in place of length_km."),
    ColumnRule("line_fault_rate_per_km", unit="faults/(km·yr)", high=MOST_FAULTS_PER_KM,
               help="Temporary and permanent faults; blank: [faults]."),
    ColumnRule("line_fault_rate_per_mi", unit="faults/(mi·yr)", high=MOST_FAULTS_PER_KM * KM_PER_MILE,
               help="In place of line_fault_rate_per_km."),
    ColumnRule("equipment_fault_rate", unit="faults/yr", help="Faults not in proportion to length; blank: 0."),
    ColumnRule("temporary_fraction", unit="0–1", high=1.0, help="Share of temporary faults; blank: [faults]."),
    ColumnRule("customers", "whole", required=True, help="Customers served from this section."),
    *(ColumnRule(f"customers_{c}", "whole", help="Customers by class; the classes sum to customers.")
      for c in CUSTOMER_CLASSES),
    ColumnRule("customers_three_phase", "whole", help="Customers served by three phases; blank: 0."),
    ColumnRule("load_kw", unit="kW", help="Average load; blank: 0."),
    ColumnRule("peak_load_a", unit="A", help="Peak load at the section's source end; blank: unknown."),
    ColumnRule("phases", "whole", low=1, high=3, help="1, 2 or 3; blank: 1 at the head of a lateral, 3 at a source, "
               "elsewhere that of the parent."),
    ColumnRule("repair_hours", unit="h", high=1000.0,
               help="Mean repair time of a permanent fault; blank: [restoration]."),
    _ampere("fault_current_source_a", "Fault current at the source end; blank: unknown."),
    _ampere("fault_current_end_a", "Fault current at the far end; blank: unknown."),
    ColumnRule("fuse_link", "text", help="Type and rating such as 65K or 40T; blank: unknown."),
    _ampere("saving_ceiling_a", "Largest current for fuse saving; blank: computed from the link."),
    _ampere("rated_current_a", "Continuous rating of a sectionalizer; blank: chosen by the application rules."),
    _ampere("actuating_current_a", "Current from which a sectionalizer acts; blank: actuating_ratio × rating."),
    ColumnRule("counts", "whole", low=1, high=MOST_COUNTS, help="Counts of a sectionalizer; blank: [protection]."),
    ColumnRule("operations_to_lockout", "whole", low=1, high=10, help="Of a reclosing device; blank: [protection]."),
    ColumnRule("fast_operations", "whole", high=9, help="Of a reclosing device; blank: [protection], 0 in a lateral."),
    _ampere("minimum_trip_a", "Minimum trip of a reclosing device; with rows in settings their least pickup counts; "
            "blank: unknown."),
    ColumnRule("dead_time_s", unit="s", above=True, high=1000.0,
               help="Shortest dead time of a reclosing device; blank: unknown."),
    ColumnRule("longest_dead_time_s", unit="s", above=True, high=1000.0,
               help="Longest dead time of a reclosing device; blank: [application]."),
    ColumnRule("tripping", "text", choices=TRIPPINGS,
               help="Poles of a device that open together; blank: three_phase for a "
               "breaker or recloser, else single_phase."),
    ColumnRule("reclosing_off_share", unit="0–1", high=1.0,
               help="Share of faults while reclosing is off, of a reclosing device; blank: [protection]."),
    ColumnRule("system_kv", unit="kV", low=0.1, high=100.0, help="System voltage; blank: [protection]."),
    ColumnRule("bil_kv", unit="kV", low=1.0, high=1000.0, help="Basic insulation level; blank: [protection]."),
    ColumnRule("tie_probability", unit="0–1", high=1.0,
               help="Alternative supply here: probability that it can carry the transfer; blank: 0."),
    ColumnRule("tie_section_id", "text",
               help="Section on the other side of the tie, whose reclosing device stands behind it; blank: not known."),
    ColumnRule("construction", "text", choices=(OVERHEAD, UNDERGROUND), help="How the line is built; blank: overhead."),
    ColumnRule("device_id", "text", help="The device's own number; blank: none known."),
    ColumnRule("location", "text", help="Pole, street or grid reference; blank: none known."),
    ColumnRule("area", "text", help="Operating area; blank: none known."),
    ColumnRule("connected_kva", unit="kVA", help="Transformers connected in the section; blank: unknown."),
    ColumnRule("faults_observed", "whole", help="Faults counted, for learned rates; blank: from the outage records."),
    ColumnRule("years_observed", unit="yr", high=100.0,
               help="Length of the span in which faults_observed were counted, no calendar year."),
    ColumnRule("generation_kw", unit="kW", help="Generation served from this section; blank: none known."),
    ColumnRule("capacitor_kvar", unit="kvar", help="Capacitors on this section; blank: none known."),
)

OUTAGES: tuple[ColumnRule, ...] = (
    ColumnRule("event_id", "text", required=True, help="One outage; its restoration steps share it."),
    ColumnRule("section_id", "text", help="Section whose protection opened or where the fault was; blank: unknown."),
    ColumnRule("started", "time", required=True, help="ISO 8601, local time."),
    ColumnRule("restored", "time", required=True, help="ISO 8601, local time, of this step."),
    ColumnRule("customers", "whole", required=True, help="Customers interrupted and restored by this step."),
    ColumnRule("cause", "text", help="Cause as recorded; blank: unknown."),
    ColumnRule("fault_kind", "text", choices=("temporary", "permanent"),
               help="temporary or permanent; blank: unknown."),
    ColumnRule("planned", "flag", help="true or false; blank: false."),
)

# The upper bounds of settings are ours: beyond them another unit is meant (kA, cycles, ms).
SETTINGS: tuple[ColumnRule, ...] = (
    ColumnRule("section_id", "text", required=True, help="Section that has the reclosing device at its source end."),
    ColumnRule("element", "text", required=True, choices=(PHASE, GROUND),
               help="phase responds to every fault, ground to those that involve one or two phases."),
    ColumnRule("operation", "text", required=True, choices=(FAST, DELAYED), help="Operations that the row is for."),
    ColumnRule("pickup_a", unit="A", above=True, high=100_000.0, required=True, help="Pickup, primary current."),
    ColumnRule("curve", "text", required=True, help=f"{', '.join(INVERSE)}, or a name in the curves table."),
    ColumnRule("time_dial", above=True, high=1000.0, help="Dial or multiplier, for definite the time in s; blank for a "
               "curve of points: 1."),
    ColumnRule("added_time_s", unit="s", high=10.0, help="Interrupting time of the device; blank: 0."),
)

CURVES: tuple[ColumnRule, ...] = (
    ColumnRule("curve", "text", required=True, help="Name of the curve; a link's own: 65K melting and 65K clearing."),
    ColumnRule("current_a", unit="A", above=True, high=1e6, required=True,
               help="Current of a point, rising in a curve."),
    ColumnRule("time_s", unit="s", above=True, high=1e6, required=True, help="Time at that current."),
)

OPERATIONS: tuple[ColumnRule, ...] = (
    ColumnRule("section_id", "text", required=True, help="Section that has the reclosing device at its source end."),
    ColumnRule("from", "time", required=True,
               help="ISO 8601, local time or a date: start of the span between two readings "
               "of the counter, or the time of an event."),
    ColumnRule("to", "time", help="End of the span; blank: the row is an event."),
    ColumnRule("operations", "whole", unit="steps", high=1e6, help="Steps that the counter made in the span, not its "
               "reading. Where it rolled over, add the counter's range; where it was replaced, give a reading for each "
               "of the two. Blank for an event: 1 opening."),
    ColumnRule("kind", "text", choices=(COUNTER, EVENT, IGNORE), help="counter, event, or ignore, which takes a span "
               "out of the device's readings and events (test operations, a replaced counter); blank: counter where to "
               "is given, else event."),
)

_FLAT_SHARED = tuple(c for c in SECTIONS if c.name not in ("section_id", "parent_id", "device", "feeder_id",
                                                           "length_km", "length_mi", "customers"))

FEEDERS: tuple[ColumnRule, ...] = (
    ColumnRule("feeder_id", "text", required=True, help="Unique name of the feeder."),
    ColumnRule("customers", "whole", required=True, help="All customers of the feeder, laterals included."),
    ColumnRule("main_length_km", unit="km", required=True, help="Length of the main; or main_length_mi."),
    ColumnRule("main_length_mi", unit="mi", help="In place of main_length_km."),
    ColumnRule("device", "text", choices=(BREAKER, RECLOSER), help="Blank: breaker."),
    *_FLAT_SHARED,
)

LATERALS: tuple[ColumnRule, ...] = (
    ColumnRule("lateral_id", "text", required=True, help="Unique name of the lateral."),
    ColumnRule("feeder_id", "text", required=True, help="A feeder of feeders.csv."),
    ColumnRule("device", "text", choices=DEVICES, help="Blank: fuse."),
    ColumnRule("customers", "whole", required=True, help="Customers of the lateral."),
    ColumnRule("length_km", unit="km", required=True, help="Length; or length_mi."),
    ColumnRule("length_mi", unit="mi", help="In place of length_km."),
    *_FLAT_SHARED,
)

COLUMN_TABLES: dict[str, tuple[ColumnRule, ...]] = {
    "sections": SECTIONS, "outages": OUTAGES, "feeders": FEEDERS, "laterals": LATERALS,
    "settings": SETTINGS, "curves": CURVES, "operations": OPERATIONS,
}
