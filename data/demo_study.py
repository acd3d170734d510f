"""study.toml of the demo."""

from __future__ import annotations

STUDY_TOML = """\
# An invented rural cooperative. Every figure is made up; see generate_demo.py beside this folder.
name = "Ostrevale Rural Electric (invented)"
currency = "USD"

[faults]
line_fault_rate_per_km = { low = 0.17, likely = 0.22, high = 0.29 }
temporary_fraction = { low = 0.56, likely = 0.67, high = 0.77 }
clearing_shares = [0.879, 0.106, 0.015]
phases_involved = [0.75, 0.20, 0.05]
yearly_cv = 0.2

[restoration]
repair_hours = { low = 2.2, likely = 3.0, high = 4.5 }
switching_hours = 1.0
refuse_hours = { low = 1.2, likely = 1.6, high = 2.4 }
reset_hours = { low = 1.0, likely = 1.5, high = 2.2 }
patrol_hours = 1.3
cv = 0.8

[protection]
operations_to_lockout = 4
fast_operations = 0
fast_clearing_time_s = 0.08
sectionalizer_counts = 3
fuse_failure = 0.01
sectionalizer_failure = { low = 0.005, likely = 0.01, high = 0.03 }
system_kv = 12.47
bil_kv = 95

[application]
memory_s = 40
inrush_restraint = "yes"

[costs]
crew_rate_per_hour = { low = 130, likely = 160, high = 210 }
overtime_share = 0.6
overtime_multiplier = 1.5
vehicle_per_callout = 70
refuse_crew_hours = 2.2
reset_crew_hours = 2.0
patrol_crew_hours = 2.5
repair_crew_hours = 4.5
fuse_link_cost = 12
actuator_cost = 65
repair_material_cost = 350
fuse_cost = 380
sectionalizer_cost = { low = 1700, likely = 2100, high = 2600 }
lateral_recloser_cost = 5200
backup_settings_cost = 1500
inspection_cost_per_year = 12
energy_margin_per_kwh = 0.06
incentive_per_saidi_minute = 0
incentive_per_saifi = 0
price_year = 2025

[finance]
discount_rate = 0.065
escalation_rate = 0.02
tax_rate = 0.0                   # a cooperative
average_bill_per_month = 135
horizon_years = 20
perspective = "utility"

[records]
momentary = "some"
planned_included = true
storms_included = true

[report]
date = 2026-03-31
prepared_by = "Distribution engineering"
benchmark_saifi = 0.55
benchmark_saidi_min = 50
benchmark_caidi_min = 100
benchmark_source = "invented, as everything here"

[simulation]
seed = 1

[[scenarios]]
name = "All laterals sectionalized"
laterals = "all"
device = "sectionalizer"
counts = 3

# A mixed choice: ST3-L49s1 is a fused branch behind a lateral recloser.
[[scenarios]]
name = "Pilot of five laterals"

[scenarios.laterals]
ST1-L18 = { device = "sectionalizer", counts = 3 }
ST5-L46 = { device = "sectionalizer", counts = 3 }
ST5-L11 = { device = "sectionalizer", counts = 2 }
ST2-L46 = { device = "lateral_recloser" }
ST3-L49s1 = { device = "sectionalizer", counts = 3 }

[[scenarios]]
name = "Fast tripping everywhere"
fast_operations = 2

[[scenarios]]
name = "Fast tripping blocked"
fast_operations = 0
"""
