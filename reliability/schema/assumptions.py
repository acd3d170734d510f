"""Every assumption of a study: its unit, bounds, default, source and help, in one table.

The reader of study.toml, the app's labels and sliders, the report's list of assumptions and
the method note take it from here; no other place states a default or a bound.
"""

from __future__ import annotations

from typing import cast

from reliability.schema.assumption_types import Assumption, AssumptionKind
from reliability.schema.columns import DELAYED, FAST, MOST_COUNTS
from reliability.schema.values import Assumptions

AS_BUILT_SETTINGS, MAY_CHANGE = "as_built", "may_change"
PRACTICE = "common practice, no source"
CLEARING_SHARES = "from memory: 83.25, 10.05 and 1.42 % of all faults cleared by reclosing once, twice, three times"
CUSTOMER_COSTS = "LBNL-6941E, 2015, dollars of 2013; from memory"
CONSUMER_PRICES_SOURCE = "index: Bureau of Labor Statistics, CPI-U, annual averages; from memory"


def _hours(key: str, label: str, default: float, help_text: str, table: str = "restoration") -> Assumption:
    return Assumption(table, key, label, "h", default, 0.0, 1000.0, step=0.25, help=help_text)


def _money(key: str, label: str, unit: str, default: float, help_text: str, high: float = 1e9) -> Assumption:
    step = 10.0 ** max(len(str(int(default))) - 2, -1) if default else 1.0
    return Assumption("costs", key, label, unit, default, 0.0, high, step=step, help=help_text)


def _limit(key: str, label: str, unit: str, help_text: str) -> Assumption:
    """A limit of a measurement on site, which the maker of the device states."""
    return Assumption("inspection", key, label, unit, None, 0.0, 1e6, step=0.1,
                      help=f"{help_text}; printed in the work pack. Blank: see the maker's sheet.")


def _header(key: str, label: str, unit: str, help_text: str, low: float | None = None, high: float | None = None,
            kind: AssumptionKind = "text") -> Assumption:
    """What a report states on its face and compares with; nothing is computed from it."""
    return Assumption("report", key, label, unit, None, low, high, kind, 1.0, help=help_text)


_BENCHMARK = "Limit or target of the regulator, with which the records' index is compared; blank: none is stated."
ASSUMPTIONS: tuple[Assumption, ...] = (
    Assumption("faults", "line_fault_rate_per_km", "Line fault rate", "faults/(km·yr)", 0.2, 0.0, 100.0,
               step=0.01, help="Temporary and permanent faults of overhead line, where a section states no rate."),
    Assumption("faults", "temporary_fraction", "Temporary fraction", "0–1", 0.75, 0.0, 1.0, step=0.01,
               source=PRACTICE, help="Share of faults that clear in a dead time, where a section states none."),
    Assumption("faults", "clearing_shares", "Clearing in dead time 1, 2, 3", "0–1", (0.879, 0.106, 0.015), 0.0, 1.0,
               kind="shares", source=CLEARING_SHARES,
               help="Shares of the temporary faults that clear in the first, second and third dead time (sum 1).",
               elements=("Clearing in dead time 1", "Clearing in dead time 2", "Clearing in dead time 3")),
    Assumption("faults", "phases_involved", "One, two, three phases involved", "0–1", (0.75, 0.20, 0.05), 0.0, 1.0,
               kind="shares", source=PRACTICE,
               help="Shares of faults on a three-phase section by phases involved (sum 1).",
               elements=("One phase involved", "Two phases involved", "Three phases involved")),
    Assumption("faults", "yearly_cv", "Year-to-year variability", "cv", 0.2, 0.0, 3.0, step=0.05,
               help="Coefficient of variation of the yearly multiplier of all fault rates (gamma, mean 1)."),
    Assumption("faults", "rates", "Source of fault rates", "", "assumed", kind="choice", choices=("assumed", "learned"),
               help="assumed: the rates stated here and in the sections; learned: those of the outage records."),

    _hours("repair_hours", "Repair time", 3.0, "Mean time to repair a permanent fault, where a section states none."),
    _hours("switching_hours", "Switching time", 1.0, "Mean time to isolate a fault and restore from either side."),
    _hours("refuse_hours", "Fuse replacement time", 1.5,
           "Mean time to patrol a lateral and replace its fuse after a temporary fault."),
    _hours("reset_hours", "Reset time", 1.5,
           "Mean time to close a sectionalizer or lateral recloser that opened on a temporary fault."),
    _hours("patrol_hours", "Patrol time", 1.5,
           "Mean time to patrol the line and close a breaker or recloser locked out on a temporary fault."),
    Assumption("restoration", "patrol_reclosing_off_hours", "Patrol time with reclosing off", "h", None, 0.0, 1000.0,
               step=0.25, help="Mean time to patrol the line before it is energized again after a trip with reclosing "
               "off; blank: patrol_hours."),
    Assumption("restoration", "cv", "Variability of restoration times", "cv", 0.8, 0.0, 5.0, step=0.05,
               help="Coefficient of variation of the multiplier of all times of one event (lognormal, mean 1)."),

    Assumption("protection", "operations_to_lockout", "Operations to lockout", "operations", 4, 1, 10, "whole", 1,
               PRACTICE, "Openings of a reclosing device up to lockout, where its section states none."),
    Assumption("protection", "fast_operations", "Fast operations", "operations", 2, 0, 9, "whole", 1,
               PRACTICE, "Openings on the fast curve, first in the sequence, where a section states none; 0: fast "
               "tripping blocked."),
    Assumption("protection", "fast_clearing_time_s", "Fast clearing time", "s", 0.08, 0.005, 10.0, step=0.01,
               help="Clearing time of the backup's fast operation; it limits the current for fuse saving."),
    Assumption("protection", "sectionalizer_counts", "Sectionalizer counts", "counts", 2, 1, MOST_COUNTS, "whole", 1,
               PRACTICE, "Openings of the backup after which a sectionalizer opens, where its section states none."),
    Assumption("protection", "fuse_failure", "Fuse failure probability", "0–1", 0.0, 0.0, 1.0, step=0.005,
               help="Probability that a fuse does not clear a fault, so that the device above operates."),
    Assumption("protection", "sectionalizer_failure", "Sectionalizer failure probability", "0–1", 0.01, 0.0, 1.0,
               step=0.005, help="Probability that a sectionalizer does not open, so that the device above operates."),
    Assumption("protection", "reclosing_off_share", "Faults while reclosing is off", "0–1", 0.0, 0.0, 1.0, step=0.001,
               help="Share of faults, not of hours, that happen while reclosing is off (hot-line tags, fire-risk "
               "days), where a reclosing device states none. No sectionalizer opens then."),
    Assumption("protection", "reclosing_off_trip", "Trip while reclosing is off", "", DELAYED, kind="choice",
               choices=(DELAYED, FAST), help="Curve of the only operation while reclosing is off."),
    Assumption("protection", "fault_current_factor", "Fault current multiplier", "×", 1.0, 0.1, 10.0, step=0.05,
               help="Multiplies all fault currents, but neither pickups nor limits of fuse saving: a stronger source "
               "can defeat coordination."),
    Assumption("protection", "fuse_melting_factor", "Usable share of the melting time", "×", 0.75, 0.05, 1.0, step=0.05,
               source=PRACTICE, help="Share of a link's minimum melting time that a fast clearing may last without "
               "damage to the link; lower where several fast operations heat it."),
    Assumption("protection", "wrong_link_share", "Fuses with the next larger link", "0–1", 0.0, 0.0, 1.0, step=0.01,
               help="Share of fuses that hold the next larger link of their type by mistake."),
    Assumption("protection", "fuse_arcing_time_s", "Arcing time of a link", "s", 0.013, 0.0, 1.0, step=0.001,
               source=PRACTICE, help="From the melting of a link to the end of the current, about 0.8 cycles; added to "
               "the maximum melting time of the reference table."),
    Assumption("protection", "system_kv", "System voltage", "kV", 12.47, 0.1, 100.0, step=0.01,
               source=PRACTICE, help="Nominal line-to-line voltage, where a section states none."),
    Assumption("protection", "bil_kv", "Basic insulation level", "kV", 95.0, 1.0, 1000.0, step=5.0,
               source=PRACTICE, help="Lightning impulse withstand required of equipment, where a section states none."),
    Assumption("protection", "load_margin", "Margin of rating over load", "×", 1.25, 1.0, 5.0, step=0.05,
               help="Smallest ratio of a sectionalizer's continuous rating to the peak load."),
    Assumption("protection", "cold_load_factor", "Cold-load pickup", "× peak load", 2.0, 1.0, 10.0, step=0.1,
               help="Load on restoration after a long outage; it must not exceed the actuating current."),

    Assumption("application", "actuating_ratio", "Actuating current over rating", "×", 1.6, 1.0, 10.0, step=0.05,
               source=PRACTICE, help="Ratio of the current from which a sectionalizer counts to its continuous rating, "
               "where a section states no actuating current."),
    Assumption("application", "fault_current_margin", "Margin of fault current over actuating current", "×", 1.25, 1.0,
               10.0, step=0.05, help="Smallest ratio of the least fault current to be detected to the actuating "
               "current of a sectionalizer; covers fault resistance and errors of the study."),
    Assumption("application", "minimum_trip_share", "Actuating current over the backup's minimum trip, at most", "0–1",
               0.8, 0.1, 1.0, step=0.05, source=PRACTICE,
               help="Largest ratio of the two, so that a sectionalizer counts whenever its backup trips."),
    Assumption("application", "dead_line_threshold_a", "Dead-line threshold", "A", 0.3, 0.001, 100.0, step=0.05,
               source=PRACTICE, help="Current at or below which a sectionalizer takes the line to be dead."),
    Assumption("application", "recognition_s", "Recognition time", "s", 0.1, 0.0, 10.0, step=0.01, source=PRACTICE,
               help="Time below the dead-line threshold after which an opening of the backup is counted."),
    Assumption("application", "drop_out_s", "Drop-out time", "s", 0.2, 0.0, 10.0, step=0.05,
               help="Time from recognition to open contacts; it must end before the backup recloses."),
    Assumption("application", "memory_s", "Memory time", "s", 25.0, 0.1, 1000.0, step=1.0,
               help="How long a sectionalizer keeps its counts; the backup's whole sequence fits into it."),
    Assumption("application", "longest_dead_time_s", "Longest dead time", "s", 15.0, 0.0, 1000.0, step=0.5,
               source=PRACTICE, help="Dead times of the backup after the first, which is the dead_time_s of its "
               "section, where that states no longest one. Breakers often have 15 to 30 s."),
    Assumption("application", "delayed_clearing_time_s", "Delayed clearing time", "s", 1.0, 0.01, 100.0, step=0.1,
               help="Clearing time of the backup's delayed operations at the smallest fault current."),
    Assumption("application", "momentary_withstand_a", "Momentary withstand", "A", 12500.0, 1.0, 1e6, step=500.0,
               help="Asymmetric current of the first half cycle that the device withstands; see its data sheet."),
    Assumption("application", "asymmetry_factor", "Asymmetry factor", "×", 1.6, 1.0, 2.0, step=0.05,
               source=PRACTICE, help="Largest ratio of asymmetric to symmetric fault current in the first half cycle."),
    Assumption("application", "short_time_withstand_a", "Short-time withstand", "A", 6300.0, 1.0, 1e6, step=100.0,
               help="Symmetric current that the device carries until the backup clears; see its data sheet."),
    Assumption("application", "device_bil_kv", "Basic insulation level of the device", "kV", 110.0, 1.0, 1000.0,
               step=5.0, help="Lightning impulse level of the device offered; see its data sheet."),

    Assumption("application", "inrush_multiple", "Inrush over rated current", "×", 10.0, 0.0, 50.0, step=1.0,
               source=PRACTICE, help="Inrush of the connected transformers when the line is energized, over their "
               "rated current; 8 to 12 is usual."),
    Assumption("application", "inrush_restraint", "Holds through inrush", "", "", kind="choice",
               choices=("", "yes", "no"), help="Whether the device offered does not take inrush for a fault; see its "
               "data sheet. Without it a healthy lateral counts the inrush after each reclosing. Blank: not known, and "
               "inrush above the actuating current asks for review."),
    Assumption("application", "underground_share", "Underground share of a lateral, at most", "0–1", 0.5, 0.0, 1.0,
               step=0.05, help="Share of a lateral's length that may be underground below an overhead head before the "
               "conversion asks for review: faults of cable are seldom temporary, and each reclosing stresses it."),

    _money("crew_rate_per_hour", "Crew rate", "per h", 150.0, "One crew with overheads, in regular hours.", 1e6),
    Assumption("costs", "overtime_share", "Call-outs in overtime", "0–1", 0.6, 0.0, 1.0, step=0.05,
               help="Share of call-outs outside working hours."),
    Assumption("costs", "overtime_multiplier", "Overtime multiplier", "×", 1.5, 1.0, 10.0, step=0.1,
               source=PRACTICE, help="Ratio of the overtime rate to the regular rate."),
    _money("vehicle_per_callout", "Vehicle cost", "per call-out", 60.0, "All vehicles used for one call-out."),
    _hours("refuse_crew_hours", "Crew hours, fuse replacement", 2.0,
           "Crew hours charged to one call-out that replaces a fuse.", "costs"),
    _hours("reset_crew_hours", "Crew hours, reset", 2.0, "Crew hours charged to one reset call-out.", "costs"),
    _hours("patrol_crew_hours", "Crew hours, patrol", 2.0, "Crew hours charged to one patrol call-out.", "costs"),
    _hours("repair_crew_hours", "Crew hours, repair", 4.0, "Crew hours charged to one repair call-out.", "costs"),
    _money("fuse_link_cost", "Fuse link", "per fuse replaced", 10.0, "Material of one call-out that replaces a fuse."),
    _money("actuator_cost", "Actuator", "per operation", 60.0, "Replaced after each operation of a sectionalizer."),
    _money("repair_material_cost", "Repair material", "per repair call-out", 300.0, "Material of one repair call-out."),
    _money("fuse_cost", "Fuse cutout, installed", "per unit", 350.0, "One unit per phase, for a conversion to a fuse."),
    _money("sectionalizer_cost", "Sectionalizer, installed", "per unit", 2200.0, "One unit per phase."),
    _money("lateral_recloser_cost", "Lateral recloser, installed", "per unit", 5500.0, "One unit per phase."),
    _money("backup_settings_cost", "Change of backup settings", "per device", 1500.0,
           "For each breaker or recloser whose fast operations a scenario changes."),
    _money("inspection_cost_per_year", "Inspection", "per unit and year", 15.0, "For each converted unit."),
    _money("energy_margin_per_kwh", "Energy margin", "per kWh", 0.06, "Margin lost on energy not supplied.", 1e3),
    _money("incentive_per_saidi_minute", "Incentive on SAIDI", "per minute and year", 0.0,
           "Annual gain of the utility for each minute by which SAIDI falls."),
    _money("incentive_per_saifi", "Incentive on SAIFI", "per 1.0 and year", 0.0,
           "Annual gain of the utility for each 1.0 by which SAIFI falls."),
    Assumption("costs", "interruption_cost_factor", "Multiplier of interruption costs", "×", 1.0, 0.0, 100.0, step=0.05,
               help="Multiplies the interruption cost table, beside the escalation from interruption_cost_year to "
                    "price_year: what income, or another currency, makes of it."),
    Assumption("costs", "momentary_cost_factor", "Value of a momentary event", "×", 1.0, 0.0, 100.0, step=0.05,
               help="Multiplies the momentary values of the interruption cost table: surveys value a single event, "
               "not the tenth in a year."),
    Assumption("costs", "interruption_costs", "Interruption cost table", "file", None, kind="text",
               source=CUSTOMER_COSTS,
               help="File in the study folder: cost per event by class and duration; blank: the default table."),
    Assumption("costs", "interruption_cost_year", "Price year of the interruption cost table", "year", None, 2000, 2100,
               "whole", 1, help="Year of the money in the interruption cost table; blank: 2013 for the default table, "
               "not known for a table of the study."),
    Assumption("costs", "price_year", "Price year of the study", "year", None, 2000, 2100, "whole", 1,
               source=CONSUMER_PRICES_SOURCE, help="Year of the study's prices. Interruption costs are escalated to it "
               "by the consumer prices of the United States; blank: not known, and they are not escalated."),
    Assumption("costs", "spare_units_share", "Spare units", "0–1", 0.0, 0.0, 1.0, step=0.01,
               help="Units bought as spares for each unit installed, at its installed price; part of the capital."),

    Assumption("finance", "discount_rate", "Discount rate", "per year", 0.07, -0.5, 1.0, step=0.005,
               help="Annual rate at which future money is discounted."),
    Assumption("finance", "escalation_rate", "Escalation rate", "per year", 0.02, -0.5, 1.0, step=0.005,
               help="Annual growth of all savings."),
    Assumption("finance", "horizon_years", "Horizon", "yr", 20, 1, 100, "whole", 1,
               help="Years over which benefits count; also the length of one simulated trial."),
    Assumption("finance", "perspective", "Perspective", "", "utility", kind="choice", choices=("utility", "society"),
               help="utility: crew, material, energy margin, incentive; society: crew, material, interruption cost."),
    Assumption("finance", "device_life_years", "Life of what is installed", "yr", None, 1, 100, "whole", 1,
               help="Years after which all that was spent in year 0 is spent again, changed settings included, at "
                    "prices that grow by the escalation rate; blank: it lasts through the horizon."),
    Assumption("finance", "equity_share", "Equity share of capital", "0–1", 0.5, 0.0, 1.0, step=0.05,
               help="Share of the rate base that owners or members finance; the rest is debt. For the revenue "
                    "requirement; no discount rate follows from it."),
    Assumption("finance", "equity_rate", "Return on equity", "per year", 0.10, 0.0, 1.0, step=0.005,
               help="Allowed return on the equity share of the rate base, after income tax."),
    Assumption("finance", "debt_rate", "Interest on debt", "per year", 0.05, 0.0, 1.0, step=0.005,
               help="Interest on the debt share of the rate base."),
    Assumption("finance", "tax_rate", "Income tax", "0–1", 0.25, 0.0, 0.9, step=0.01,
               help="Rate on the return on equity, federal and state together; 0 for a cooperative or a municipal "
                    "utility."),
    Assumption("finance", "book_life_years", "Book life", "yr", None, 1, 100, "whole", 1,
               help="Years of straight-line depreciation; blank: the horizon."),
    Assumption("finance", "average_bill_per_month", "Average bill", "money per month", None, 0.0, 1e9, step=1.0,
               help="Of one customer, so that the effect on it can be stated in per cent; blank: not stated."),

    Assumption("choice", "objective", "Objective", "", "npv", kind="choice", choices=("npv", "saidi"),
               help="npv: the highest net present value under the constraints; saidi: the largest SAIDI reduction."),
    Assumption("choice", "backup_settings", "Backup settings", "", AS_BUILT_SETTINGS, kind="choice",
               choices=(AS_BUILT_SETTINGS, MAY_CHANGE),
               help="as_built: breakers and reclosers keep their fast operations; may_change: the selection may set "
                    "each of them to none or to fast_operations (2 where that is 0), at backup_settings_cost."),
    Assumption("choice", "budget", "Budget", "money", None, 0.0, 1e12, step=10_000.0,
               help="Total capital; blank: no limit. The frontier covers all budgets and ignores it."),
    Assumption("choice", "yearly_budget", "Annual budget", "money per year", None, 0.0, 1e12, step=10_000.0,
               help="Capital in each year of the programme; blank: no limit."),
    Assumption("choice", "yearly_units", "Units per year", "units per year", None, 0, 10_000_000, "whole", 10,
               help="Units that can be supplied and installed in each year of the programme; blank: no limit."),
    Assumption("choice", "programme_years", "Programme length", "yr", 5, 1, 50, "whole", 1,
               help="Years over which conversions may be spread."),
    Assumption("choice", "added_maifi_e", "Largest increase of MAIFI_E", "events/(customer·yr)", None, 0.0, 1000.0,
               step=0.1, help="Limit on the MAIFI_E that the selection adds to the system; blank: no limit."),
    Assumption("choice", "added_maifi_e_feeder", "Largest increase of a feeder's MAIFI_E", "events/(customer·yr)",
               None, 0.0, 1000.0, step=0.1, help="The same limit for every single feeder; blank: no limit."),
    Assumption("choice", "saidi_reduction_minutes", "Minimum SAIDI reduction", "min/yr", None, 0.0, 525_600.0, step=0.5,
               help="SAIDI reduction that the selection must reach; blank: none required."),
    Assumption("choice", "proposed", "Proposed scenario", "", None, kind="text",
               help="Name of a scenario of the study that is proposed; blank: what the selection converts."),

    Assumption("simulation", "trials", "Trials", "trials", None, 1, 10_000_000, "whole", 100,
               help="Each trial is one horizon under one draw of the uncertain assumptions; blank: at least 200, and "
                    "until the standard error of every SAIDI difference is below 1 % of it or a limit is reached."),
    Assumption("simulation", "seed", "Seed", "", 1, 0, 2**63 - 1, "whole", 1,
               help="The same seed gives the same results, digit for digit."),
    Assumption("simulation", "default_ranges", "Default ranges", "", True, kind="flag",
               help="true: what has no range of its own is drawn over a default one, if any; false: it is certain."),

    Assumption("history", "date_order", "Date order of the records", "", "", kind="choice",
               choices=("", "day_first", "month_first"),
               help="How to read 03/04/2024; blank: as shown by the dates of the file that have only one reading."),
    Assumption("history", "time_zone", "Time zone of the records", "", None, kind="text",
               help="Name in the IANA time zone database, for exact durations over a clock change; blank: not known."),
    Assumption("history", "records_from", "Start of the records", "day", None, kind="text",
               help="First day that the records cover, such as 2019-01-01; blank: inferred from the records."),
    Assumption("history", "records_to", "End of the records", "day", None, kind="text",
               help="Last day that the records cover; blank: inferred from the records."),
    Assumption("history", "include_planned", "Include planned interruptions", "", True, kind="flag",
               help="true: the indices of the records include planned interruptions; false: they do not."),
    Assumption("history", "count_duplicates_once", "Outages found twice count once", "", True, kind="flag",
               help="true: an outage recorded under two event_ids, and customers interrupted inside an outage of a "
               "device above, count once; false: as recorded. Both are listed in any case."),
    Assumption("history", "major_event_method", "Method for major event days", "", "beta", kind="choice",
               choices=("beta", "fixed"), source="IEEE Std 1366-2012, annex B",
               help="beta: days with a SAIDI above exp(α + 2.5 β) of up to five earlier years; fixed: listed days."),
    Assumption("history", "major_event_days", "Listed major event days", "days", None, kind="text",
               help="For the fixed method: days such as 2024-02-11, separated by commas."),
    Assumption("history", "recorded_reclosing_off_share", "Faults while reclosing was off, in the records", "0–1", None,
               0.0, 1.0, step=0.001, help="Of the time of the records, by which rates are learned, where a reclosing "
               "device states no share; blank: the share that the study has for the time to come."),
    Assumption("history", "prior_groups", "Groups for learned rates", "", "", kind="choice",
               choices=("", "phases", "customer_class", "device", "feeder"),
               help="Learned rates are shrunk towards the mean of the laterals of their group; blank: of all of them."),
    Assumption("history", "expected_rate_ratio", "Expected effect of a conversion", "×", None, 0.0, 1.0, step=0.05,
               help="Interruptions after over before; blank: 1 less the temporary fraction."),
    Assumption("history", "chosen_by", "How converted laterals were chosen", "", "other", kind="choice",
               choices=("records", "earlier_records", "other"),
               help="records: by the records before their conversion; earlier_records: by records that end before "
                    "those begin; other: at random, or by anything else that may tell of their fault rates."),
    Assumption("history", "chosen_from", "Start of the records they were chosen by", "day", None, kind="text",
               help="First day whose records were the basis of the choice; blank: not known."),
    Assumption("history", "chosen_to", "End of the records they were chosen by", "day", None, kind="text",
               help="Last day whose records were the basis of the choice; blank: not known."),

    Assumption("records", "momentary", "Momentary events recorded", "", "some", kind="choice",
               choices=("all", "some", "none"), help="Of breakers and reclosers. all: every one has its momentary "
               "events in the outage records, even where there is none; some: those of which the records hold at least "
               "one; none: the outage records hold none that can be relied on. Events in operations.csv count in any "
               "case."),
    Assumption("records", "planned_included", "Planned work in the records", "", True, kind="flag",
               help="true: planned interruptions are there, marked as such; false: nothing is said of planned work."),
    Assumption("records", "storms_included", "Storms in the records", "", True, kind="flag",
               help="true: days of major storms are there; false: no, and the model of all days is not compared."),

    _header("reporting_year", "Reporting year", "yr", "Calendar year of the report; blank: the last that the records "
            "cover in full.", 1950, 2099, "whole"),
    _header("date", "Date of the report", "day", "Day of the report, such as 2026-03-31; blank: none is printed."),
    _header("prepared_by", "Prepared by", "", "Who prepared the report; blank: left to be filled in."),
    _header("approved_by", "Approved by", "", "Who approved the report; blank: left to be filled in."),
    _header("first_year", "First year of the programme", "yr", "Calendar year of the first conversions and of their "
            "target dates; blank: the year after the reporting year.", 1950, 2099, "whole"),
    _header("programmes", "Programmes in place", "", "Other programmes for reliability, in a sentence or two; blank: "
            "the report says that none is stated."),
    _header("exclusions", "Status of the exclusions", "", "Application and approval of the excluded days, such as a "
            "docket; blank: the report says that none is stated."),
    _header("benchmark_saifi", "Benchmark of SAIFI", "1/yr", _BENCHMARK, 0.0, 1000.0, "number"),
    _header("benchmark_saidi_min", "Benchmark of SAIDI", "min/yr", _BENCHMARK, 0.0, 525_600.0, "number"),
    _header("benchmark_caidi_min", "Benchmark of CAIDI", "min", _BENCHMARK, 0.0, 525_600.0, "number"),
    _header("benchmark_maifi_e", "Benchmark of MAIFI_E", "1/yr", _BENCHMARK, 0.0, 10_000.0, "number"),
    _header("benchmark_source", "Source of the benchmarks", "", "Order, rule or standard that sets them."),
    _header("standard_above_benchmark", "Standard of a year above its benchmark", "0–1", "Share by which an index of "
            "the reporting year may exceed its benchmark, such as 0.2; blank: none.", 0.0, 10.0, "number"),
    _header("standard_above_benchmark_three_years", "Standard of three years above its benchmark", "0–1", "Share by "
            "which the mean of three years may exceed its benchmark, such as 0.1; blank: none.", 0.0, 10.0, "number"),
    _header("moved", "Moved from the study", "", "What a what-if of the app has moved; its run states it."),
    Assumption("report", "benchmark_excludes_major_events", "Benchmarks without major events", "", True, kind="flag",
               source=PRACTICE, help="true: the benchmarks hold for indices without major event days; false: for all "
               "events."),

    _limit("actuator_ohm_low", "Least resistance of an actuator", "Ω", "Between the leads of a good one"),
    _limit("actuator_ohm_high", "Largest resistance of an actuator", "Ω", "Between the leads of a good one"),
    _limit("leads_to_body_megohm", "Insulation of an actuator, more than", "MΩ", "From the joined leads to the body"),
    _limit("nut_torque_ft_lbf", "Torque of terminal nuts", "ft·lbf", "Of the nuts at the terminals"),
    _limit("meter_ma", "Current of the meter, at most", "mA", "What the meter may send through an actuator"),
)

EXACT_TABLES = ("report",)       # tables whose numbers are stated, and may be no ranges
BY_KEY: dict[str, Assumption] = {a.key: a for a in ASSUMPTIONS}
ASSUMPTION_TABLES: tuple[str, ...] = tuple(dict.fromkeys(a.table for a in ASSUMPTIONS))

# What a study with learned rates does not know of them; no key of study.toml, but named among what drives the answer.
RATES_FROM_RECORDS = Assumption("faults", "fault_rates_from_records", "Fault rates, from records", "× learned", 1.0)


def described(key: str) -> Assumption:
    """What an assumption is; key: its own, that of one element of a share, or of `RATES_FROM_RECORDS`."""
    return RATES_FROM_RECORDS if key == RATES_FROM_RECORDS.key else BY_KEY[key.partition(".")[0]]


def label_of(key: str) -> str:
    """Label of an assumption, or of one element of a share: "phases_involved.1" is "Two phases involved"."""
    element = key.partition(".")[2]
    return described(key).elements[int(element)] if element else described(key).label


def defaults() -> Assumptions:
    """Default value of every assumption, by key."""
    # the table is data, so only its test can tell that the keys and values are those of the type
    return cast(Assumptions, {a.key: a.default for a in ASSUMPTIONS})
