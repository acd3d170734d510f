"""Broken studies whose fault lies in customers' costs, in the records and their settings, or in the flat form.

They join those of `broken_studies`; tests/test_broken.py runs them all.
"""

from __future__ import annotations

from tests.broken_studies import GOOD_OUTAGE, HEAD, MAIN, OUT_HEAD, ROWS, STUDIES, TAP, case, outages, sections, toml

__all__ = ["STUDIES"]

# --- customers' costs -------------------------------------------------------------------------------------------
COSTS_TOML = toml('[costs]\ninterruption_costs = "costs.csv"')
COST_HEAD = "customer_class,momentary,min_30,h_1,h_4,h_8,h_16"
COST_ROWS = ("residential,1,2,3,4,5,6", "small_ci,1,2,3,4,5,6", "large_ci,1,2,3,4,5,6")


def costs(*rows: str, head: str = COST_HEAD) -> str:
    return "\n".join([head, *rows]) + "\n"


case("cost-negative-in-the-table", ["costs.csv: row 2 | momentary | '-1'"], study_toml=COSTS_TOML,
     costs_csv=costs("residential,-1,2,3,4,5,6", *COST_ROWS[1:]))
case("cost-falls-with-time", ["costs.csv: row 3 | h_4 | '2'"], study_toml=COSTS_TOML,
     costs_csv=costs(COST_ROWS[0], "small_ci,1,2,3,2,5,6", COST_ROWS[2]))
case("cost-not-a-number", ["costs.csv: row 4 | h_16 | 'nan'"], study_toml=COSTS_TOML,
     costs_csv=costs(*COST_ROWS[:2], "large_ci,1,2,3,4,5,nan"))
case("cost-infinite", ["costs.csv: row 4 | h_16 | 'inf'"], study_toml=COSTS_TOML,
     costs_csv=costs(*COST_ROWS[:2], "large_ci,1,2,3,4,5,inf"))
case("cost-class-twice", ["costs.csv: row 3 | customer_class | 'residential'", "costs.csv | small_ci"], study_toml=COSTS_TOML,
     costs_csv=costs(COST_ROWS[0], *COST_ROWS[::2]))
case("cost-class-unknown", ["costs.csv: row 3 | 'small-ci' | small_ci"], study_toml=COSTS_TOML,
     costs_csv=costs(COST_ROWS[0], "small-ci,1,2,3,4,5,6", COST_ROWS[2]))
case("cost-class-missing", ["costs.csv | large_ci"], study_toml=COSTS_TOML, costs_csv=costs(*COST_ROWS[:2]))
case("cost-column-twice", ["costs.csv: row 1 | h_1"], study_toml=COSTS_TOML,
     costs_csv=costs(*(row + ",9" for row in COST_ROWS), head=COST_HEAD + ",h_1"))
case("cost-table-empty", ["costs.csv | empty"], study_toml=COSTS_TOML, costs_csv="")
case("cost-table-of-another-alphabet", ["costs.csv"], study_toml=COSTS_TOML, costs_csv=costs(*COST_ROWS).encode("utf-16"))
case("cost-table-elsewhere", ["study.toml: row 3 | interruption_costs | study folder"],
     study_toml=toml('[costs]\ninterruption_costs = "/etc/hostname"'))
case("cost-table-that-no-file-can-be", ["study.toml: row 3 | interruption_costs"],
     study_toml=toml('[costs]\ninterruption_costs = "a\\u0000b"'))
case("cost-table-is-a-number", ["study.toml: row 3 | interruption_costs"], study_toml=toml("[costs]\ninterruption_costs = 5"))

PARTED = "section_id;parent_id;device;length_km;customers;fault_current_source_a\n"
case("sections-thousands-by-points", ["sections.csv: row 2 | '3.900' | thousands", "sections.csv: row 3 | '2.700' | thousands"],
     sections_csv=PARTED + "main;;breaker;2,4;10;3.900\ntap;main;fuse;1;5;2.700\n")
case("sections-thousands-by-commas", ["sections.csv: row 2 | '3,900' | thousands", "sections.csv: row 3 | '2,700' | thousands"],
     sections_csv=PARTED + "main;;breaker;2.4;10;3,900\ntap;main;fuse;1;5;2,700\n")
case("sections-below-a-title", ["sections.csv: row 1 | 'Inventory of 2024'".replace("'", "") + " | remove the rows above row 3"],
     sections_csv="Inventory of 2024,,,,\n\n" + sections(*ROWS))
case("toml-decimal-comma", ["study.toml: row 3 | repair_hours = 3,5 | decimal point"],
     study_toml='name = "broken"\n[restoration]\nrepair_hours = 3,5\n')
# --- [history] and records --------------------------------------------------------------------------------------
GOOD = {"outages_csv": outages(GOOD_OUTAGE)}


def history(text: str) -> str:
    return toml("[history]\n" + text)


case("history-zone-unknown", ["study.toml: row | history.time_zone | 'Mars/Base'"], study_toml=history('time_zone = "Mars/Base"'), **GOOD)
case("history-zone-misspelt", ["history.time_zone | 'America/Chcago' | did you mean 'America/Chicago'"],
     study_toml=history('time_zone = "America/Chcago"'))
case("history-zone-without-records", ["study.toml: row | history.time_zone"], study_toml=history('time_zone = "../../etc/passwd"'))
case("history-day-of-no-month", ["study.toml: row | history.records_from | '2024-13-01'"], study_toml=history('records_from = "2024-13-01"'), **GOOD)
case("history-ends-before-it-begins", ["study.toml: row | history.records_to"],
     study_toml=history('records_from = "2024-05-01"\nrecords_to = "2024-04-01"'), **GOOD)
case("history-major-day-is-no-day", ["study.toml: row | history.major_event_days | 'storm'"],
     study_toml=history('major_event_days = "2024-05-01, storm"'), **GOOD)
case("history-method-unknown", ["study.toml | major_event_method"], study_toml=history('major_event_method = "gamma"'), **GOOD)
case("history-groups-unknown", ["study.toml | prior_groups"], study_toml=history('prior_groups = "colour"'), **GOOD)
case("history-ratio-above-one", ["study.toml | expected_rate_ratio"], study_toml=history("expected_rate_ratio = 2"), **GOOD)
case("history-chosen-by-luck", ["study.toml | chosen_by | earlier_records"], study_toml=history('chosen_by = "luck"'), **GOOD)
case("history-chosen-backwards", ["study.toml: row | history.chosen_to"],
     study_toml=history('chosen_from = 2024-05-01\nchosen_to = 2024-04-01'), **GOOD)
case("history-chosen-some-day", ["study.toml: row | history.chosen_from | 'spring'"], study_toml=history('chosen_from = "spring"'), **GOOD)
case("history-planned-perhaps", ["study.toml | include_planned"], study_toml=history('include_planned = "perhaps"'), **GOOD)
case("history-key-unknown", ["study.toml | time_zon | time_zone"], study_toml=history('time_zon = "UTC"'), **GOOD)
case("history-cause-neither", ["study.toml: row | causes.tree | 'sometimes'"], study_toml=history('[history.causes]\ntree = "sometimes"'), **GOOD)
case("history-served-in-no-year", ["study.toml: row | customers_served.soon"], study_toml=history("[history.customers_served]\nsoon = 12"), **GOOD)
case("history-served-by-nobody", ["study.toml: row | customers_served.2024 | '0'"], study_toml=history("[history.customers_served]\n2024 = 0"), **GOOD)
case("history-conversion-of-nothing", ["study.toml: row | conversions.tup | lateral"],
     study_toml=history('[history.conversions]\ntup = 2024-05-01'), **GOOD)
case("history-conversion-of-a-main", ["study.toml: row | conversions.main | lateral"],
     study_toml=history('[history.conversions]\nmain = 2024-05-01'), **GOOD)
case("history-fixed-without-days", ["study.toml: row | history.major_event_method | major_event_days"],
     study_toml=history('major_event_method = "fixed"'), **GOOD)
case("history-days-without-commas", ["study.toml: row | history.major_event_days | not a day"],
     study_toml=history('major_event_days = "2024-05-01 2024-05-02"'), **GOOD)
case("history-conversion-some-day", ["study.toml: row | conversions.tap | 'soon'"], study_toml=history('[history.conversions]\ntap = "soon"'), **GOOD)
case("learned-without-the-years", ["sections.csv: row 3 | years_observed"], study_toml=toml('[faults]\nrates = "learned"'),
     sections_csv=sections(MAIN + ",", TAP + ",4", head=HEAD + ",faults_observed"))
case("outages-empty", ["outages.csv | empty"], outages_csv="")
case("outages-without-a-date", ["outages.csv: row 2 | started | 'soon'"], outages_csv=outages("e1,tap,soon,later,5,,,"))
case("outages-none-in-the-period", ["outages.csv | no row can be used"], study_toml=history('records_from = "2030-01-01"'), **GOOD)
case("outages-header-twice", ["outages.csv | cause"], outages_csv=outages(GOOD_OUTAGE + ",x", head=OUT_HEAD + ",cause"))
case("outages-as-no-workbook", ["outages.xlsx | not an .xlsx workbook"], outages_xlsx=b"records")
case("outages-both-csv-and-xlsx", ["outages.xlsx | keep one"], outages_xlsx=b"PK", **GOOD)
case("outages-row-too-long", ["outages.csv: row 2"], outages_csv=outages(GOOD_OUTAGE + ",more,and more"))
case("outages-of-another-alphabet", ["outages.csv"], outages_csv=outages(GOOD_OUTAGE).encode("utf-16"))
case("records-with-gaps", ["finding: missing_started 1", "finding: missing_restored 1", "finding: missing_customers 1",
                           "finding: missing_event_id 1", "finding: blank_section 1"], 0, outages_csv=outages(
    GOOD_OUTAGE, "e2,tap,,2024-03-02T11:00,5,,,", "e3,tap,2024-03-03T10:00,,5,,,", "e4,tap,2024-03-04T10:00,2024-03-04T11:00,,,,",
    ",tap,2024-03-05T10:00,2024-03-05T11:00,5,,,", "e6,,2024-03-06T10:00,2024-03-06T11:00,5,,,"))
case("records-with-impossible-numbers", ["finding: customers_not_a_number 5"], 0, outages_csv=outages(
    GOOD_OUTAGE, *(f"e{k},tap,2024-04-0{k}T10:00,2024-04-0{k}T11:00,{n},,," for k, n in
                   enumerate(("nan", "inf", "-3", "2.5", "many"), 1))))
case("records-with-impossible-times", ["finding: started_not_a_date 2", "finding: over_30_days 1", "finding: date_without_time 1",
                                       "finding: utc_offset_converted 1"], 0, study_toml=history('time_zone = "UTC"'),
     outages_csv=outages(
    GOOD_OUTAGE, "e2,tap,2024-02-30T10:00,2024-03-02T11:00,5,,,", "e3,tap,2024-03-03T25:61,2024-03-03T11:00,5,,,",
    "e4,tap,2024-03-04T10:00,2024-06-04T11:00,5,,,", "e5,tap,2024-07-05,2024-07-06,5,,,",
    "e6,tap,2024-08-06T10:00Z,2024-08-06T11:00Z,5,,,"))
case("records-that-contradict", ["finding: customers_above_section 1", "finding: overlapping_steps 1", "finding: event_id_reused 1"], 0,
     outages_csv=outages(
    GOOD_OUTAGE, "e1,tap,2024-09-01T10:00,2024-09-01T12:00,5,,,", "e2,tap,2024-03-04T10:00,2024-03-04T11:00,9,,,",
    "e3,main,2024-05-04T10:00,2024-05-04T12:00,9,,,", "e3,main,2024-05-04T11:00,2024-05-04T13:00,9,,,"))
case("records-planned-and-left-out", ["finding: planned_left_out 1"], 0, study_toml=history("include_planned = false"),
     outages_csv=outages(GOOD_OUTAGE, "e2,tap,2024-03-04T10:00,2024-03-04T11:00,5,,,true"))

# --- the flat form ----------------------------------------------------------------------------------------------
FEEDER = "feeder_id,customers,main_length_km\nf1,10,2\n"
LATERAL_HEAD = "lateral_id,feeder_id,customers,length_km"


def flat(feeders: str | None = FEEDER, laterals: str | None = f"{LATERAL_HEAD}\nl1,f1,3,1\n") -> dict[str, object]:
    return {"sections_csv": None, "feeders_csv": feeders, "laterals_csv": laterals}


case("laterals-without-feeders", ["feeders.csv | missing"], **flat(feeders=None))
case("flat-without-a-feeder", ["feeders.csv | no feeder"], **flat(feeders="feeder_id,customers,main_length_km\n"))
case("flat-feeder-twice", ["feeders.csv: row 3 | feeder_id | 'f1'"], **flat(feeders=FEEDER + "f1,10,2\n"))
case("flat-lateral-twice", ["laterals.csv: row 3 | lateral_id | 'l1'"], **flat(laterals=f"{LATERAL_HEAD}\nl1,f1,3,1\nl1,f1,3,1\n"))
case("flat-lateral-called-as-its-feeder", ["'f1'"], **flat(laterals=f"{LATERAL_HEAD}\nf1,f1,3,1\n"))
case("flat-main-without-a-length", ["feeders.csv: row 2 | main_length_km"], **flat(feeders="feeder_id,customers,main_length_km\nf1,10,\n"))
case("flat-length-negative", ["laterals.csv: row 2 | length_km | '-1'"], **flat(laterals=f"{LATERAL_HEAD}\nl1,f1,3,-1\n"))
case("flat-unknown-device", ["laterals.csv: row 2 | device | 'fuze' | fuse"], **flat(laterals=f"{LATERAL_HEAD},device\nl1,f1,3,1,fuze\n"))
case("flat-feeder-with-a-fuse", ["feeders.csv: row 2 | device | 'fuse'"], **flat(feeders="feeder_id,customers,main_length_km,device\nf1,10,2,fuse\n"))
case("flat-lateral-of-a-lateral", ["laterals.csv: row 3 | feeder_id | 'l1'"], **flat(laterals=f"{LATERAL_HEAD}\nl1,f1,3,1\nl2,l1,3,1\n"))
