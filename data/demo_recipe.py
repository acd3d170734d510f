"""import.toml of the demo's exports: every decision that makes a study of them."""

from __future__ import annotations

from collections.abc import Iterable

RECIPE = """\
# How the exports in this folder become a study: python -m reliability import data/exports \\
#     --recipe data/exports/import.toml --out my-study
version = 1

[join]
tolerance_m = 0.5

[time]
order = "month_first"
clock = 12

[[files]]
file = "oh_primary*.geojson"
kind = "segments"
columns = { segment_id = "SEG_ID", from_node = "FROM_NODE", to_node = "TO_NODE", length = "LENGTH_FT", \
phases = "PHASING", conductor = "CONDUCTOR", construction = "CONSTR", feeder_id = "FEEDER", area = "OP_AREA", \
fault_current_from_a = "IF_FROM", fault_current_to_a = "IF_TO", line_fault_rate_per_km = "LINE_FAULTS_KM", \
temporary_fraction = "TEMP_SHARE", repair_hours = "REPAIR_H", peak_load_a = "PEAK_A", tie_probability = "TIE_SHARE", \
generation_kw = "GEN_KW", capacitor_kvar = "CAP_KVAR", location = "LOCATION", device = "PROT", device_id = "DEV_NO" }
units = { length = "ft", line_fault_rate_per_km = "per km" }

[[files]]
file = "protection_devices*.csv"
kind = "devices"
columns = { device_id = "DEV_NO", segment_id = "SEG_ID", from_node = "FROM_NODE", to_node = "TO_NODE", \
device = "TYPE", normal_state = "STATE", phases = "PHASING", location = "LOCATION", counts = "COUNTS", \
operations_to_lockout = "SHOTS", fast_operations = "FAST_SHOTS", minimum_trip_a = "MIN_TRIP_A", \
dead_time_s = "DEAD_S", longest_dead_time_s = "LONGEST_DEAD_S", tripping = "TRIPS", \
reclosing_off_share = "NO_RECLOSE_SHARE" }

[[files]]
file = "transformers*.csv"
kind = "customers"
columns = { transformer_id = "XFMR_ID", segment_id = "SEG_ID", customers = "CUST", customers_residential = "RES", \
customers_small_ci = "SM_COM", customers_large_ci = "LG_COM", customers_three_phase = "CUST_3PH", \
load_kw = "LOAD_KW", connected_kva = "KVA" }
units = { load_kw = "kW", connected_kva = "kVA" }

[[files]]
file = "substations.csv"
kind = "sources"
columns = { node_id = "NODE", feeder_id = "FEEDER", system_kv = "KV" }
ignore = ["SUBSTATION"]

[[files]]
file = "oms_*.csv"
kind = "outages"
columns = { event_id = "JOB", device_id = "DEV_NO", segment_id = "SEG_ID", transformer_id = "XFMR_ID", \
started = ["DATE_OFF", "TIME_OFF"], restored = ["DATE_ON", "TIME_ON"], customers = "CUST_OUT", cause = "CAUSE", \
fault_kind = "FAULT", planned = "TYPE" }
leave_out = { STATUS = ["CANCELLED"] }

[[files]]
file = "device_operations.csv"
kind = "operations"
columns = { device_id = "DEV_NO", from = "READ_FROM", to = "READ_TO", operations = "STEPS", kind = "KIND" }

[[files]]
file = "device_settings.csv"
kind = "settings"
columns = { device_id = "DEV_NO", element = "ELEMENT", operation = "OPERATION", pickup_a = "PICKUP_A", \
curve = "CURVE", time_dial = "TIME_DIAL", added_time_s = "ADDED_TIME_S" }

[[files]]
file = "curves.csv"
kind = "curves"
columns = { curve = "curve", current_a = "current_a", time_s = "time_s" }

[values.segments.device]
@FUSES@

[values.segments.construction]
"OH" = "overhead"
"UG" = "underground"

[values.devices.device]
"CB" = "breaker"
"RECLOSER" = "recloser"
"TAP RECLOSER" = "lateral_recloser"
"SECTIONALIZER" = "sectionalizer"
"LOAD BREAK SW" = "switch"
"TIE SW" = "switch"

[values.devices.normal_state]
"N.C." = "closed"
"N.O." = "open"

[values.devices.tripping]
"1-POLE" = "single_phase"
"1-POLE, 3-POLE LOCKOUT" = "single_phase_three_phase_lockout"

[values.outages.fault_kind]
"TEMP" = "temporary"
"PERM" = "permanent"

[values.outages.planned]
"PLANNED" = true
"UNPLANNED" = false
"""


def recipe(fuses: Iterable[str]) -> str:
    """The recipe. fuses: the words for fuses in the segments' rows, such as FUSE-65K."""
    lines = []
    for word in fuses:
        link = word.removeprefix("FUSE").removeprefix("-")
        lines.append(f'"{word}" = {{ device = "fuse", fuse_link = "{link}" }}' if link else f'"{word}" = "fuse"')
    return RECIPE.replace("@FUSES@", "\n".join(lines))
