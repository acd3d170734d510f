"""Heads of the columns of tables on the screen: in words with units, and how the numbers below them are written.

A head has two or three words for who sees the table around it, and the unit that the screen shows. What a column of a
file is, in the file's unit and for who has the file alone, is said in `report/columns_listed.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

from reliability.formats import TEXT_KIND


@dataclass(frozen=True)
class Header:
    """Head of a column. label: in words, with the unit; None: of `COLUMN_HEADERS`. kind: of its numbers (`formats`)."""

    label: str | None
    kind: str = "any"


def _of(kind: str, /, **labels: str) -> dict[str, Header]:
    return {key: Header(label, kind) for key, label in labels.items()}


COLUMN_HEADERS: dict[str, Header] = {
    **_of(TEXT_KIND, lateral_id="Lateral, section", feeder_id="Feeder", section_id="Section", backup_id="Backup",
          device_id="Device's number", location="Location", device="Device", verdict="Verdict",
          not_passed="Checks not passed", what="What", in_the_proposal="In the proposal", status="Status", name="Name",
          why="Why", part="Part", change="Change", reclosing="Reclosing", fault="Fault",
          unit="Unit",
          reason="Reason", kind="Kind", treatment="Treatment", note="Note", scenario="Scenario",
          perspective="Perspective", worst_by="Among the worst by", method="Method", file="File", column="Column",
          rule="Rule", remedy="Remedy", key="Key in study.toml", source="Source", meaning="Meaning",
          range_set_by="Range set by", default_range="Default range, ± of the distance to the nearer bound"),
    **_of("count", customers="Customers", customers_below="Customers", phases="Phases", units="Units", counts="Counts",
          fast_operations="Fast operations", fast_operations_of_backup="Fast operations of the backup",
          events="Events", records="Records", interruptions="Customer interruptions",
          customer_minutes="Customer-minutes", customer_minutes_avoided="Customer-minutes avoided, 1/yr",
          laterals="Laterals",
          days_used="Days used", years_used="Years used", converted="Laterals converted", others="Not converted"),
    **_of("whole", year="Year", row="Row"),
    **_of("amount", customer_interruptions_avoided="Customer interruptions avoided, 1/yr",
          momentary_events_added="Momentary events added, 1/yr", callouts_avoided="Call-outs avoided, 1/yr",
          momentary_avoided="Momentary events avoided, 1/yr"),
    **_of("probability", probability_npv_positive="Probability that NPV is above 0"),
    **_of("share", break_even_reclosing_off_share="Reclosing off at which it turns",
          stays_chosen_share="Chosen again, share of draws",
          irr="Internal rate of return"),
    **_of("money", capex="Capital", npv="NPV"),
    **_of("three_digits", value="Value", limit="Limit"),
    **_of("ratio", bcr="Benefit over cost", margin="Margin, ×", ratio="Ratio", low="Low end", high="High end",
          cv="Coefficient of variation", cv_low="Coefficient of variation, low end",
          cv_high="Coefficient of variation, high end", mean_hours="Mean, h", mean_low="Mean, low end, h",
          mean_high="Mean, high end, h", observed_hours="Mean recorded, h", modelled_hours="Mean modelled, h",
          payback_years="Payback, years", discounted_payback_years="Discounted payback, years"),
    **_of("index", saifi="SAIFI, 1/yr", maifi="MAIFI, 1/yr", maifi_e="MAIFI_E, 1/yr", t_med="T_MED, min", alpha="α",
          beta="β"),
    **_of("minutes", saidi_min="SAIDI, min/yr", caidi_min="CAIDI, min"),
    **_of("asai", asai="ASAI"),
}


def header(column: str) -> Header:
    """Head of a column: as in `COLUMN_HEADERS`, else its name in words."""
    known = COLUMN_HEADERS.get(column)
    if known is not None:
        return known
    words = column.replace("_", " ")
    return Header(words[:1].upper() + words[1:])
