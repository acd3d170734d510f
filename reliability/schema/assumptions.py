"""Every assumption of a study: its unit, bounds, default, source and help, in one table.

The table feeds the reader of study.toml, the app's labels and sliders, the report's list
of assumptions and the method note; no other place states a default or a bound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast

from reliability.schema.columns import DELAYED, FAST, MOST_COUNTS
from reliability.schema.values import Assumptions

Kind = Literal["number", "whole", "shares", "choice", "text", "flag"]

AS_BUILT_SETTINGS, MAY_CHANGE = "as_built", "may_change"
OURS = "our assumption"
PRACTICE = "common practice, no source"
RECLOSING = "from memory: 83.25, 10.05 and 1.42 % of all faults cleared by reclosing once, twice, three times"
CUSTOMER_COSTS = "LBNL-6941E, 2015, dollars of 2013; from memory"


@dataclass(frozen=True)
class Assumption:
    """One key of study.toml; `low` and `high` are inclusive bounds in `unit`, `elements` labels of single shares."""

    table: str
    key: str
    label: str
    unit: str
    default: float | int | tuple[float, ...] | str | None
    low: float | None = None
    high: float | None = None
    kind: Kind = "number"
    step: float = 0.0
    source: str = OURS
    help: str = ""
    choices: tuple[str, ...] = ()
    elements: tuple[str, ...] = ()


@dataclass(frozen=True)
class Range:
    """Low / likely / high of an uncertain assumption, a PERT (scaled beta, λ = 4) law."""

    low: float
    likely: float
    high: float

    @property
    def mean(self) -> float:
        """Mean of the PERT law: (low + 4 likely + high) / 6."""
        return (self.low + 4.0 * self.likely + self.high) / 6.0


def _hours(key: str, label: str, default: float, help_text: str, table: str = "restoration") -> Assumption:
    return Assumption(table, key, label, "h", default, 0.0, 1000.0, step=0.25, help=help_text)


def _money(key: str, label: str, unit: str, default: float, help_text: str, high: float = 1e9) -> Assumption:
    step = 10.0 ** max(len(str(int(default))) - 2, -1) if default else 1.0
    return Assumption("costs", key, label, unit, default, 0.0, high, step=step, help=help_text)


def _limit(key: str, label: str, unit: str, help_text: str) -> Assumption:
    """A limit of a measurement on site, which the maker of the device states."""
    return Assumption("inspection", key, label, unit, None, 0.0, 1e6, step=0.1,
                      help=f"{help_text}; printed in the work pack. Blank: see the maker's sheet.")


ASSUMPTIONS: tuple[Assumption, ...] = (
    Assumption("faults", "line_fault_rate_per_km", "Line fault rate", "faults/(km·yr)", 0.2, 0.0, 100.0,
               step=0.01, help="Temporary and permanent faults of overhead line, where a section states no rate."),
    Assumption("faults", "temporary_fraction", "Temporary fraction", "0–1", 0.75, 0.0, 1.0, step=0.01,
               source=PRACTICE, help="Share of faults that clear once the line is dead for a moment."),
    Assumption("faults", "clearing_shares", "Clearing in dead time 1, 2, 3", "0–1", (0.879, 0.106, 0.015), 0.0, 1.0,
               kind="shares", source=RECLOSING,
               help="Of the temporary faults, the shares that clear in the first, second and third dead time.",
               elements=("Clearing in dead time 1", "Clearing in dead time 2", "Clearing in dead time 3")),
    Assumption("faults", "phases_involved", "One, two, three phases involved", "0–1", (0.75, 0.20, 0.05), 0.0, 1.0,
               kind="shares", source=PRACTICE, help="Shares of faults on a three-phase section by phases involved.",
               elements=("One phase involved", "Two phases involved", "Three phases involved")),
    Assumption("faults", "yearly_cv", "Storminess between years", "cv", 0.2, 0.0, 3.0, step=0.05,
               help="Coefficient of variation of the yearly multiplier on all fault rates (gamma, mean 1)."),
    Assumption("faults", "rates", "Fault rates from", "", "assumed", kind="choice", choices=("assumed", "learned"),
               help="assumed: the rates stated here and in the sections; learned: from the outage records."),

    _hours("repair_hours", "Repair", 3.0, "Mean time to repair a permanent fault, where a section states none."),
    _hours("switching_hours", "Switching", 1.0, "Mean time to isolate a fault and restore from either side."),
    _hours("refuse_hours", "Replace fuse after a temporary fault", 1.5,
           "Mean time to patrol a lateral and replace its fuse."),
    _hours("reset_hours", "Reset after a temporary fault", 1.5,
           "Mean time to close a sectionalizer or lateral recloser that opened on a temporary fault."),
    _hours("patrol_hours", "Patrol after a lockout", 1.5,
           "Mean time to patrol and close a breaker or recloser that locked out on a temporary fault."),
    Assumption("restoration", "patrol_reclosing_off_hours", "Patrol after a lockout with reclosing off", "h", None, 0.0,
               1000.0, step=0.25, help="Mean time to walk the line before it is energized again; blank: as after any "
               "other lockout (patrol_hours)."),
    Assumption("restoration", "cv", "Spread of restoration times", "cv", 0.8, 0.0, 5.0, step=0.05,
               help="Coefficient of variation of the lognormal multiplier on all times of one event."),

    Assumption("protection", "operations_to_lockout", "Operations to lockout", "operations", 4, 1, 10, "whole", 1,
               PRACTICE, "Openings of a reclosing device until it stays open."),
    Assumption("protection", "fast_operations", "Fast operations", "operations", 2, 0, 9, "whole", 1,
               PRACTICE, "Openings on the fast curve, first in the sequence; 0 where fast tripping is blocked."),
    Assumption("protection", "fast_clearing_time_s", "Fast clearing time", "s", 0.08, 0.005, 10.0, step=0.01,
               help="Clearing time of the backup's fast operation; with the fuse link it gives the saving ceiling."),
    Assumption("protection", "sectionalizer_counts", "Sectionalizer counts", "counts", 2, 1, MOST_COUNTS, "whole", 1,
               PRACTICE, "Openings of the backup that a sectionalizer counts before it opens."),
    Assumption("protection", "fuse_failure", "Fuse fails to clear", "0–1", 0.0, 0.0, 1.0, step=0.005,
               help="Probability that a fuse fails to do its part and the device above acts."),
    Assumption("protection", "sectionalizer_failure", "Sectionalizer fails to open", "0–1", 0.01, 0.0, 1.0, step=0.005,
               help="Probability that a sectionalizer fails to do its part and the device above acts."),
    Assumption("protection", "reclosing_off_share", "Faults while reclosing is off", "0–1", 0.0, 0.0, 1.0, step=0.001,
               help="Share of faults, not of hours, that happen while reclosing is off (hot-line tags, fire-risk "
               "days), where a reclosing device states none. No sectionalizer opens then."),
    Assumption("protection", "reclosing_off_trip", "Trip while reclosing is off", "", DELAYED, kind="choice",
               choices=(DELAYED, FAST), help="Curve of the one operation while reclosing is off."),
    Assumption("protection", "fault_current_factor", "Fault currents over those stated", "×", 1.0, 0.1, 10.0, step=0.05,
               help="Multiplies fault currents, never pickups or ceilings: stronger sources lose a coordination that "
               "held on paper."),
    Assumption("protection", "fuse_melting_factor", "Melting time that may be used", "×", 0.75, 0.05, 1.0, step=0.05,
               source=PRACTICE, help="Share of a link's minimum melting time that a clearing may last without harm to "
               "it; lower where several fast operations heat the link."),
    Assumption("protection", "wrong_link_share", "Fuses with the next larger link", "0–1", 0.0, 0.0, 1.0, step=0.01,
               help="Share of fuses that hold the next larger link of their type: errors in refusing."),
    Assumption("protection", "fuse_arcing_time_s", "Arcing time of a link", "s", 0.013, 0.0, 1.0, step=0.001,
               source=PRACTICE, help="From the melting of a link to the end of the current, about eight tenths of a "
               "cycle; on top of the maximum melting time of the reference table."),
    Assumption("protection", "system_kv", "System voltage", "kV", 12.47, 0.1, 100.0, step=0.01,
               source=PRACTICE, help="Nominal line-to-line voltage, where a section states none."),
    Assumption("protection", "bil_kv", "Basic insulation level", "kV", 95.0, 1.0, 1000.0, step=5.0,
               source=PRACTICE, help="Lightning impulse level asked of equipment, where a section states none."),
    Assumption("protection", "load_margin", "Margin of rating over load", "×", 1.25, 1.0, 5.0, step=0.05,
               help="A sectionalizer's continuous rating is at least this times the peak load."),
    Assumption("protection", "cold_load_factor", "Cold-load pickup", "× peak load", 2.0, 1.0, 10.0, step=0.1,
               help="Load on restoration after a long outage; it may not exceed the actuating current."),

    Assumption("application", "actuating_ratio", "Actuating current over rating", "×", 1.6, 1.0, 10.0, step=0.05,
               source=PRACTICE, help="Current from which a sectionalizer counts, over its continuous rating, where a "
               "section states none."),
    Assumption("application", "fault_current_margin", "Margin of fault current over actuating current", "×", 1.25, 1.0,
               10.0, step=0.05, help="The smallest fault current that a sectionalizer must see is at least this times "
               "its actuating current; covers fault resistance and errors of the study."),
    Assumption("application", "minimum_trip_share", "Actuating current over the backup's minimum trip, at most", "0–1",
               0.8, 0.1, 1.0, step=0.05, source=PRACTICE,
               help="So that a sectionalizer counts whenever its backup trips."),
    Assumption("application", "dead_line_threshold_a", "Dead-line threshold", "A", 0.3, 0.001, 100.0, step=0.05,
               source=PRACTICE, help="A sectionalizer takes the line for dead at or below this current."),
    Assumption("application", "recognition_s", "Recognition time", "s", 0.1, 0.0, 10.0, step=0.01, source=PRACTICE,
               help="Time below the dead-line threshold until an opening of the backup is counted."),
    Assumption("application", "drop_out_s", "Drop-out time", "s", 0.2, 0.0, 10.0, step=0.05,
               help="From recognition to open contacts; it ends before the backup recloses."),
    Assumption("application", "memory_s", "Memory time", "s", 25.0, 0.1, 1000.0, step=1.0,
               help="How long a sectionalizer keeps its counts; the backup's whole sequence fits into it."),
    Assumption("application", "longest_dead_time_s", "Longest dead time", "s", 15.0, 0.0, 1000.0, step=0.5,
               source=PRACTICE, help="Dead times of the backup after the first, which is the dead_time_s of its "
               "section, where that states no longest one. Breakers often have 15 to 30 s."),
    Assumption("application", "delayed_clearing_time_s", "Delayed clearing time", "s", 1.0, 0.01, 100.0, step=0.1,
               help="Clearing time of the backup's delayed operations at the smallest fault current."),
    Assumption("application", "momentary_withstand_a", "Momentary withstand", "A", 12500.0, 1.0, 1e6, step=500.0,
               help="Asymmetric current of the first half cycle that the device offered stands; see its data sheet."),
    Assumption("application", "asymmetry_factor", "Asymmetry of the fault current", "×", 1.6, 1.0, 2.0, step=0.05,
               source=PRACTICE, help="Asymmetric over symmetric fault current in the first half cycle, at the most."),
    Assumption("application", "short_time_withstand_a", "Short-time withstand", "A", 6300.0, 1.0, 1e6, step=100.0,
               help="Symmetric current that the device offered carries for as long as the backup takes to clear."),
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

    _money("crew_rate_per_hour", "Crew rate", "per h", 150.0, "A crew with its overheads, in normal time.", 1e6),
    Assumption("costs", "overtime_share", "Call-outs in overtime", "0–1", 0.6, 0.0, 1.0, step=0.05,
               help="Share of call-outs outside working hours."),
    Assumption("costs", "overtime_multiplier", "Overtime multiplier", "×", 1.5, 1.0, 10.0, step=0.1,
               source=PRACTICE, help="Overtime rate over the normal rate."),
    _money("vehicle_per_callout", "Vehicle", "per call-out", 60.0, "Vehicles used by one call-out."),
    _hours("refuse_crew_hours", "Crew time, replace fuse", 2.0,
           "Crew hours charged to one call-out that replaces a fuse.", "costs"),
    _hours("reset_crew_hours", "Crew time, reset", 2.0, "Crew hours charged to one reset call-out.", "costs"),
    _hours("patrol_crew_hours", "Crew time, patrol", 2.0, "Crew hours charged to one patrol call-out.", "costs"),
    _hours("repair_crew_hours", "Crew time, repair", 4.0, "Crew hours charged to one repair call-out.", "costs"),
    _money("fuse_link_cost", "Fuse link", "per fuse replaced", 10.0, "Material of one call-out that replaces a fuse."),
    _money("actuator_cost", "Actuator", "per operation", 60.0, "Spent at each operation of a sectionalizer."),
    _money("repair_material_cost", "Repair material", "per repair call-out", 300.0, "Material of one repair."),
    _money("fuse_cost", "Fuse cutout, installed", "per unit", 350.0, "One unit a phase, for a conversion to a fuse."),
    _money("sectionalizer_cost", "Sectionalizer, installed", "per unit", 2200.0, "One unit a phase."),
    _money("lateral_recloser_cost", "Lateral recloser, installed", "per unit", 5500.0, "One unit a phase."),
    _money("backup_settings_cost", "Changed backup settings", "per device", 1500.0,
           "Each breaker or recloser whose fast operations a scenario changes."),
    _money("inspection_cost_per_year", "Inspection", "per unit and year", 15.0, "Each converted unit, every year."),
    _money("energy_margin_per_kwh", "Energy margin", "per kWh", 0.06, "Margin lost with energy not supplied.", 1e3),
    _money("incentive_per_saidi_minute", "Incentive on SAIDI", "per minute and year", 0.0,
           "What the utility gains a year per minute of SAIDI less."),
    _money("incentive_per_saifi", "Incentive on SAIFI", "per 1.0 and year", 0.0,
           "What the utility gains a year per 1.0 of SAIFI less."),
    Assumption("costs", "interruption_cost_factor", "Escalation of interruption costs", "×", 1.0, 0.0, 100.0, step=0.05,
               help="From the money of the interruption cost table to that of the study. The default table is in "
                    "dollars of 2013 and 1 leaves it there; consumer prices of the United States rose by about 1.35 "
                    "from 2013 to 2024 (from memory)."),
    Assumption("costs", "momentary_cost_factor", "Value of a momentary event", "×", 1.0, 0.0, 100.0, step=0.05,
               help="Times the momentary values of the interruption cost table: surveys price one event, not the tenth "
               "of a year."),
    Assumption("costs", "interruption_costs", "Interruption cost table", "file", None, kind="text",
               source=CUSTOMER_COSTS,
               help="A table of cost per event by class and duration in the study folder; blank: the default table."),

    Assumption("finance", "discount_rate", "Discount rate", "per year", 0.07, -0.5, 1.0, step=0.005,
               help="Rate at which later money is discounted."),
    Assumption("finance", "escalation_rate", "Escalation", "per year", 0.02, -0.5, 1.0, step=0.005,
               help="Yearly growth of all savings."),
    Assumption("finance", "horizon_years", "Horizon", "yr", 20, 1, 100, "whole", 1,
               help="Years over which benefits count; also the length of one simulated trial."),
    Assumption("finance", "perspective", "Perspective", "", "utility", kind="choice", choices=("utility", "society"),
               help="utility: crew, material, energy margin, incentive; society: crew, material, interruption cost."),

    Assumption("choice", "objective", "Choose for", "", "npv", kind="choice", choices=("npv", "saidi"),
               help="npv: the highest net present value within the limits; saidi: the largest SAIDI reduction."),
    Assumption("choice", "backup_settings", "Fast tripping in the choice", "", AS_BUILT_SETTINGS, kind="choice",
               choices=(AS_BUILT_SETTINGS, MAY_CHANGE),
               help="as_built: breakers and reclosers keep their fast operations; may_change: the choice may also set "
                    "each of them to none, or to fast_operations (two where that is 0), for backup_settings_cost."),
    Assumption("choice", "budget", "Budget", "money", None, 0.0, 1e12, step=10_000.0,
               help="Capital in all; blank: no limit. Ignored by the frontier, which runs over all budgets."),
    Assumption("choice", "yearly_budget", "Budget a year", "money per year", None, 0.0, 1e12, step=10_000.0,
               help="Capital in each year of the programme; blank: no limit."),
    Assumption("choice", "yearly_units", "Units a year", "units per year", None, 0, 10_000_000, "whole", 10,
               help="Units that can be had or installed in each year of the programme; blank: no limit."),
    Assumption("choice", "programme_years", "Years of the programme", "yr", 5, 1, 50, "whole", 1,
               help="Years over which conversions may be spread."),
    Assumption("choice", "added_maifi_e", "Most added MAIFI_E", "events/(customer·yr)", None, 0.0, 1000.0, step=0.1,
               help="Cap on the momentary events that the choice adds, over the system; blank: no limit."),
    Assumption("choice", "added_maifi_e_feeder", "Most added MAIFI_E of a feeder", "events/(customer·yr)", None, 0.0,
               1000.0, step=0.1, help="The same for the worst feeder; blank: no limit."),
    Assumption("choice", "saidi_reduction_minutes", "Least SAIDI reduction", "min/yr", None, 0.0, 525_600.0, step=0.5,
               help="What the choice must reach; blank: nothing asked."),

    Assumption("simulation", "trials", "Trials", "trials", None, 1, 10_000_000, "whole", 100,
               help="Each trial is one horizon under one draw of the unknowns; blank: 200 at least, and until the "
                    "standard error of every SAIDI difference is under 1 % of it, or a cap is reached."),
    Assumption("simulation", "seed", "Seed", "", 1, 0, 2**63 - 1, "whole", 1,
               help="Same seed, same digits."),

    Assumption("history", "date_order", "Date order of the records", "", "", kind="choice",
               choices=("", "day_first", "month_first"),
               help="How 03/04/2024 is to be read; blank: from dates of the file that can be read one way only."),
    Assumption("history", "time_zone", "Time zone of the records", "", None, kind="text",
               help="Name in the IANA database of time zones; with it durations over a clock change are exact."),
    Assumption("history", "records_from", "Records from", "day", None, kind="text",
               help="First day the records cover, like 2019-01-01; blank: judged from the records."),
    Assumption("history", "records_to", "Records to", "day", None, kind="text",
               help="Last day the records cover; blank: judged from the records."),
    Assumption("history", "include_planned", "Count planned interruptions", "", True, kind="flag",
               help="false leaves planned interruptions out of all indices from records."),
    Assumption("history", "major_event_method", "Major event days by", "", "beta", kind="choice",
               choices=("beta", "fixed"), source="IEEE Std 1366-2012, annex B",
               help="beta: days above exp(α + 2.5 β) of up to five earlier years; fixed: the days listed."),
    Assumption("history", "major_event_days", "Listed major event days", "days", None, kind="text",
               help="For the fixed method: days like 2024-02-11, separated by commas."),
    Assumption("history", "prior_groups", "Laterals that are alike", "", "", kind="choice",
               choices=("", "phases", "customer_class", "device", "feeder"),
               help="Learned rates are pulled towards the mean of the laterals of the same group; blank: of all."),
    Assumption("history", "expected_rate_ratio", "Expected effect of a conversion", "×", None, 0.0, 1.0, step=0.05,
               help="Interruptions after over before; blank: 1 less the temporary fraction."),

    _limit("actuator_ohm_low", "Least resistance of an actuator", "Ω", "Between the leads of a good one"),
    _limit("actuator_ohm_high", "Largest resistance of an actuator", "Ω", "Between the leads of a good one"),
    _limit("leads_to_body_megohm", "Insulation of an actuator, more than", "MΩ", "From the joined leads to the body"),
    _limit("nut_torque_ft_lbf", "Torque of terminal nuts", "ft·lbf", "Of the nuts at the terminals"),
    _limit("meter_ma", "Current of the meter, at most", "mA", "What the meter may send through an actuator"),
)

# Tables inside a table whose keys are the user's own (causes, years, section ids); they reach `Study.extra`.
FREE_TABLES: dict[str, dict[str, str]] = {
    "choice": {
        "laterals": 'laterals forced into the choice or out of it, "in" or "out": "tap-01" = "in"',
    },
    "history": {
        "causes": 'your causes, each "temporary" or "permanent": "Tree contact" = "temporary"',
        "customers_served": "customers served in a year: 2024 = 1500",
        "conversions": 'the day each section at the head of a lateral was converted: "tap-01" = 2024-05-01',
    },
}

BY_KEY: dict[str, Assumption] = {a.key: a for a in ASSUMPTIONS}
TABLES: tuple[str, ...] = tuple(dict.fromkeys(a.table for a in ASSUMPTIONS))


def label_of(key: str) -> str:
    """Label of an assumption, or of one element of a share: "phases_involved.1" is "Two phases involved"."""
    name, _, element = key.partition(".")
    return BY_KEY[name].elements[int(element)] if element else BY_KEY[name].label


def defaults() -> Assumptions:
    """Default value of every assumption, by key."""
    return cast(Assumptions, {a.key: a.default for a in ASSUMPTIONS})
