"""import.toml of the wooded town's exports, with the answers to what nobody exports, and its study.toml."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

RECIPE = """\
# How the exports in this folder become a study: python -m reliability import data/wooded_town_exports \\
#     --recipe data/wooded_town_exports/import.toml --out my-study
version = 1

[join]
tolerance_m = 0.5

[time]
clock = 24

[[files]]
file = "lines_*.geojson"
kind = "segments"
columns = { segment_id = "LINE", from_node = "POLE_A", to_node = "POLE_B", length = "MILES", phases = "WIRES", \
conductor = "CONDUCTOR", construction = "BUILD", feeder_id = "CIRCUIT", area = "DISTRICT", \
line_fault_rate_per_mi = "TREES", capacitor_kvar = "CAP_KVAR" }
units = { length = "mi", line_fault_rate_per_mi = "per mi" }

[[files]]
file = "protection_and_switches.csv"
kind = "devices"
columns = { device_id = "DEVICE", from_node = "SOURCE_SIDE", to_node = "LOAD_SIDE", device = "KIND", \
normal_state = "POSITION", phases = "WIRES", location = "SITE", fuse_link = "LINK", peak_load_a = "PEAK_AMPS", \
operations_to_lockout = "TRIPS_TO_LOCKOUT", dead_time_s = "FIRST_DEAD_S", longest_dead_time_s = "LAST_DEAD_S", \
tripping = "OPENS" }

[[files]]
file = "transformers.csv"
kind = "customers"
columns = { transformer_id = "XFMR", segment_id = "LINE", connected_kva = "KVA", generation_kw = "SOLAR_KW" }
units = { connected_kva = "kVA" }

[[files]]
file = "meters.csv"
kind = "customers"
columns = { customer_id = "METER", transformer_id = "XFMR", customer_class = "CLASS", \
customers_three_phase = "SERVICE", energy_kwh = "KWH_YEAR" }
units = { energy_kwh = "kWh/yr" }

[[files]]
file = "feeders.csv"
kind = "sources"
columns = { node_id = "BUS", feeder_id = "CIRCUIT", system_kv = "KV", fault_current_three_phase_a = "AMPS_3PH", \
fault_current_a = "AMPS_GROUND", x_over_r = "X_OVER_R" }

[[files]]
file = "outage_cases_*.csv"
kind = "outages"
columns = { event_id = "CASE", device_id = "DEVICE", transformer_id = "XFMR", started = "STARTED", \
duration = "MINUTES", customers = "CUSTOMERS_OUT", cause = "CAUSE", fault_kind = "CREW_FOUND", planned = "ARRANGED" }
units = { duration = "min" }
leave_out = { CASE_STATE = ["CANCELLED"] }

[[files]]
file = "counter_readings.csv"
kind = "operations"
columns = { device_id = "DEVICE", from = "DATE_FROM", to = "DATE_TO", operations = "STEPS", kind = "ENTRY" }

[[files]]
file = "relay_settings.csv"
kind = "settings"
columns = { device_id = "DEVICE", element = "ELEMENT", operation = "CURVE_SET", pickup_a = "PICKUP_AMPS", \
curve = "CURVE", time_dial = "DIAL", added_time_s = "OPENING_S" }

# Faults a mile and year that the classes of the tree survey stand for, temporary and permanent; the records move them.
[values.segments.line_fault_rate_per_mi]
"HEAVY" = 0.95
"SOME" = 0.65
"FEW" = 0.5

[values.segments.construction]
"POLES" = "overhead"
"CABLE" = "underground"

[values.devices.device]
"BREAKER" = "breaker"
"RECLOSER 1-PH" = "recloser"
"CUTOUT" = "fuse"
"GANG SWITCH" = "switch"
"TIE SWITCH" = "switch"

[values.devices.normal_state]
"CLOSED" = "closed"
"OPEN" = "open"

[values.devices.tripping]
"GANGED" = "three_phase"
"EACH PHASE" = "single_phase"

[values.customers.customer_class]
"R" = "residential"
"GS" = "small_ci"
"LP" = "large_ci"

[values.customers.customers_three_phase]
"1-PHASE" = 0
"3-PHASE" = 1

[values.outages.cause]
@CAUSES@

[values.outages.fault_kind]
"NOTHING FOUND" = "temporary"
"REPAIRED" = "permanent"

[values.outages.planned]
"Y" = true
"N" = false

[values.operations.kind]
"READING" = "counter"
"REPLACED" = "ignore"

[values.settings.element]
"PHASE" = "phase"
"EARTH" = "ground"

[values.settings.operation]
"FAST" = "fast"
"SLOW" = "delayed"

[values.settings.curve]
"VERY INVERSE" = "ieee_very_inverse"

# Open points that can be closed for a transfer, with the chance that they carry it.
[network.ties]
@TIES@

# What no export says. Sources are strong here: a fast trip would save hardly a fuse, so all of them are blocked.
# Lines run without reclosing only while somebody works on them.
[study.protection]
fast_operations = 0
reclosing_off_share = 0.0015
reclosing_off_trip = "fast"

[study.faults]
rates = "learned"

[study.restoration]
switching_hours = 0.9

[study.records]
momentary = "some"
planned_included = true
storms_included = true
"""

STUDY_TOML = """\
# An invented town utility among trees. Every figure is made up; see data/generate_town.py.
name = "Birkenholt Town Light (invented)"
currency = "USD"

[faults]
temporary_fraction = { low = 0.65, likely = 0.75, high = 0.83 }
clearing_shares = [0.879, 0.106, 0.015]
phases_involved = [0.75, 0.20, 0.05]
yearly_cv = 0.2

[restoration]
# a tree on the line takes its time: two crews and a saw
repair_hours = { low = 2.5, likely = 3.4, high = 5.0 }
refuse_hours = { low = 1.2, likely = 1.7, high = 2.4 }
reset_hours = { low = 1.0, likely = 1.5, high = 2.2 }
patrol_hours = 1.4
cv = 0.8

[protection]
sectionalizer_counts = 3
fuse_failure = 0.01
sectionalizer_failure = { low = 0.005, likely = 0.01, high = 0.03 }
system_kv = 12.47
bil_kv = 95

[application]
memory_s = 45
inrush_restraint = "yes"

[costs]
# trouble crews of two, most of them called out at night or in a storm; they walk the lateral before they close
crew_rate_per_hour = { low = 140, likely = 165, high = 210 }
overtime_share = 0.65
overtime_multiplier = 1.5
vehicle_per_callout = 75
refuse_crew_hours = 2.3
reset_crew_hours = 2.1
patrol_crew_hours = 2.6
repair_crew_hours = 6.0
fuse_link_cost = 12
actuator_cost = 65
repair_material_cost = 420
fuse_cost = 390
sectionalizer_cost = { low = 1900, likely = 2250, high = 2800 }
lateral_recloser_cost = 5400
backup_settings_cost = 1500
inspection_cost_per_year = 15
energy_margin_per_kwh = 0.06
price_year = 2025

[finance]
discount_rate = 0.06
escalation_rate = 0.02
horizon_years = 20
perspective = "utility"

[simulation]
seed = 1

[[scenarios]]
name = "All laterals sectionalized"
laterals = "all"
device = "sectionalizer"
counts = 3
"""


def recipe(causes: Mapping[str, str], ties: Iterable[tuple[str, float]]) -> str:
    """The recipe. causes: code of the outage system → cause. ties: open switches with their chances."""
    words = "\n".join(f'"{code}" = "{cause}"' for code, cause in causes.items())
    chances = "\n".join(f'"{name}" = {chance}' for name, chance in ties)
    return RECIPE.replace("@CAUSES@", words).replace("@TIES@", chances)
