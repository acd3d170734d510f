"""The columns of the tables that go with a run, in words with their units: a row a file and column.

They explain a column to somebody who has the file alone; heads of tables on the screen, in two or three words, are in
`ui/headers.py`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from reliability.network.application_catalogue import CHECKS
from reliability.schema.columns import COLUMN_TABLES
from reliability.schema.devices import LATERAL_DEVICES
from reliability.schema.units import SHARE_UNIT

COLUMNS_FILE = "columns.csv"
WHAT = "What each column of the tables is, with its unit"
PER_YEAR, MONEY_UNIT = "per year", "money of the study"
_AVOIDED = {"customer_interruptions": "customer interruptions", "customer_minutes": "customer-minutes",
            "callouts": "call-outs", "saidi_minutes": "minutes of SAIDI", "saifi": "SAIFI"}
WHEN = {"found": "as found", "left": "as left", "backup": "of the backup", "existing": "today"}
UNIT_ENDINGS = {"a": "A", "s": "s", "ohm": "Ω", "megohm": "MΩ"}
# words and unit by column of the result tables
RESULT_COLUMNS: dict[str, tuple[str, str]] = {
    **{c.key: (f"Application check, its verdict: {c.label}", "") for c in CHECKS},
    **{f"{key}_avoided": (f"Fewer {words} than as built", PER_YEAR) for key, words in _AVOIDED.items()},
    **{f"{name}_callouts": (f"Call-outs that end with: {name}", PER_YEAR)
       for name in ("refuse", "reset", "patrol", "repair")},
    **{f"units_{d}": (f"Units of {d.replace('_', ' ')}s, one a phase", "units") for d in LATERAL_DEVICES},
    "lateral_id": ("Section that heads the lateral", ""), "section_id": ("Section", ""), "feeder_id": ("Feeder", ""),
    "backup_id": ("Section of the reclosing device behind it", ""), "device_id": ("Number of the device", ""),
    "location": ("Where it stands", ""), "device": ("Device at the source end", ""), "scenario": ("Scenario", ""),
    "year": ("Year of the plan, 0 now", ""), "what": ("Lateral, or backup whose settings change", ""),
    "verdict": ("Worst verdict of the checks that decide", ""), "not_passed": ("Checks that are not passed", ""),
    "rated_current_a": ("Rated current of the sectionalizer", "A"),
    "actuating_current_a": ("Current from which it counts", "A"), "counts": ("Counts to open", "counts"),
    "counts_in_model": ("Counts that results are computed with", "counts"),
    "unseen_share": ("Share of its faults below the actuating current", SHARE_UNIT),
    "customers": ("Customers beyond", "customers"), "cost": ("Cost of its faults", f"{MONEY_UNIT} {PER_YEAR}"),
    "customer_interruptions": ("Sustained customer interruptions by its faults", PER_YEAR),
    "customer_minutes": ("Customer-minutes of interruption by its faults", f"min {PER_YEAR}"),
    "momentary_events": ("Momentary events, of customers on it or by its faults", PER_YEAR),
    "momentary_interruptions": ("Momentary interruptions that its customers see", PER_YEAR),
    "callouts": ("Call-outs for its faults", PER_YEAR), "rank": ("Place by net present value", ""),
    "capex": ("Capital", MONEY_UNIT), "npv": ("Net present value", MONEY_UNIT),
                                              "units": ("Units, one a phase", "units"),
    "budget": ("Budget", MONEY_UNIT), "laterals": ("Laterals converted", "laterals"),
    "backup_settings_changed": ("Breakers and reclosers with other fast operations", "devices"),
    "fast_operations_of_backup": ("Fast operations of the backup", "operations"),
    "momentary_events_added": ("More momentary events than as built", PER_YEAR),
    "maifi_e_added": ("More MAIFI_E than as built", "1/yr"),
    "worst_feeder_maifi_e_added": ("The same on the feeder where it is most", "1/yr"),
    "saidi_minutes_avoided_reclosing_on": ("Minutes of SAIDI avoided with reclosing on everywhere", "min/yr"),
    "saidi_minutes_avoided_reclosing_off": ("Minutes of SAIDI avoided with reclosing off", "min/yr"),
    "break_even_reclosing_off_share": ("Share of faults with reclosing off at which the gain in SAIDI turns",
                                       SHARE_UNIT),
    "gap": ("How far from the optimum the choice may be", SHARE_UNIT),
    "cumulative_capex": ("Capital up to this row", MONEY_UNIT), "cumulative_npv": ("NPV up to this row", MONEY_UNIT),
    "cumulative_saidi_minutes_avoided": ("Minutes of SAIDI avoided up to this row", "min/yr"),
    "probability_npv_positive": ("Probability that its NPV is above 0", SHARE_UNIT),
    "stays_chosen_share": ("Share of draws in which it is chosen again", SHARE_UNIT),
    "failure_rate": ("Sustained interruptions that a customer there sees", PER_YEAR),
    "outage_hours": ("Hours without supply that a customer there sees", f"h {PER_YEAR}"),
    "callout_saving": ("Crew work saved", MONEY_UNIT), "energy_saving": ("Margin on energy saved", MONEY_UNIT),
    "incentive": ("Incentive earned", MONEY_UNIT),
    "interruption_cost_saving": ("Customers' interruption costs saved", MONEY_UNIT),
    "inspection": ("Inspection", MONEY_UNIT), "net": ("Savings less capital and inspection", MONEY_UNIT),
    "discounted": ("The same at its present value", MONEY_UNIT),
    "assumption": ("Key of the assumption in study.toml", ""), "label": ("The assumption in words", ""),
    "unit": ("Unit of value, low, high and break_even", ""), "value": ("The study's value", "see unit"),
    "low": ("Low end of its range", "see unit"), "high": ("High end of its range", "see unit"),
    "range": ("Who states the range", ""),
    "npv_low": ("NPV at the low end", MONEY_UNIT), "npv_high": ("NPV at the high end", MONEY_UNIT),
    "swing": ("Difference of NPV between both ends", MONEY_UNIT),
                                              "first_order": ("First-order Sobol' index", SHARE_UNIT),
    "total": ("Total Sobol' index", SHARE_UNIT), "first_order_error": ("Standard error of first_order", SHARE_UNIT),
    "total_error": ("Standard error of total", SHARE_UNIT), "break_even": ("Value at which the NPV is 0", "see unit"),
    "break_even_in_range": ("Whether that is within the range", ""),
}


def columns_listed(files: Mapping[str, bytes], inputs: str) -> bytes:
    """columns.csv: file, column, what it is and unit of each CSV among files by path; below `inputs` are inputs."""
    text = io.StringIO()
    writer = csv.writer(text, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerow(("file", "column", "what", "unit"))
    for path, content in files.items():
        if not path.endswith(".csv"):
            continue
        table = path.rpartition("/")[2].removesuffix(".csv")
        known = _stated(table) if path.startswith(f"{inputs}/") else RESULT_COLUMNS
        for column in _header(content):
            writer.writerow((path, column, *(known.get(column) or _otherwise(column))))
    return text.getvalue().encode()


def _stated(table: str) -> dict[str, tuple[str, str]]:
    """Words and unit by column of a table that a study may bring."""
    return {c.name: (c.help, c.unit) for c in COLUMN_TABLES.get(table, ())}


def _otherwise(column: str) -> tuple[str, str]:
    """Words and unit of a column of another name: that of a result or of a section, before or after the work, or only
    its name.
    """
    when, _, rest = column.partition("_")
    if when in WHEN and rest:
        words, unit = _otherwise(rest)
        return f"{words.rstrip('.')} ({WHEN[when]})", unit
    known = RESULT_COLUMNS.get(column) or _stated("sections").get(column)
    stem, _, end = column.rpartition("_")
    words, unit = known or ((stem, UNIT_ENDINGS[end]) if stem and end in UNIT_ENDINGS else (column, ""))
    return words if known else words.replace("_", " ").capitalize(), unit


def _header(content: bytes) -> list[str]:
    first = content[:content.find(b"\n") + 1 or len(content)].decode("utf-8-sig", "replace")
    return next(csv.reader([first]), [])
