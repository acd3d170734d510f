"""Broken studies of another class: what spreadsheets lose or change, times, units, and what was read otherwise in silence.

They join those of `broken_studies` and `broken_records`; tests/test_broken.py runs them all.

    python -m tests.broken_tables FOLDER    # writes them all there, for a look
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.broken_records import STUDIES
from tests.broken_studies import GOOD_OUTAGE, HEAD, MAIN, OUT_HEAD, TAP, case, outages, sections, toml
from tests.workbooks import Sheet, packed, parts_of, raw_workbook, rows

__all__ = ["STUDIES", "write"]

HEADERS = HEAD.split(",")
TABLE = [HEADERS, ["main", None, "breaker", 2, 10], ["tap", "main", "fuse", 1, 5], ["end", "main", None, 1, 3]]


def with_cell(row: int, column: int, value: object) -> list[list[object]]:
    """The table with one cell replaced; row as a spreadsheet counts, column from 0."""
    return [[value if (k, at) == (row, column) else v for at, v in enumerate(record)]
            for k, record in enumerate(TABLE, 1)]


def book(name: str, says: list[str], *sheets: Sheet, status: int = 2, formats: tuple[str, ...] = ()) -> None:
    """A study whose sections are a workbook of these sheets."""
    case(name, says, status, sections_csv=None, sections_xlsx=raw_workbook(*sheets, formats=formats))


# --- workbooks that would end the process -------------------------------------------------------------------------
FAR = '<row r="1048576"><c r="{}"><v>1</v></c></row>'
LARGE = ["sections.xlsx | unpacks into far too much"]
book("workbook-far-cell-in-lower-case", LARGE, Sheet(rows(*TABLE) + FAR.format("xfd1048576")))
book("workbook-far-cell-in-another-part", LARGE, Sheet(rows(*TABLE) + FAR.format("XFD1048576"), part="xl/tables/data.xml"))
book("workbook-far-cell-with-a-prefix", LARGE, Sheet(
    rows(*TABLE) + '<x:row xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main" r="1048576"><x:c '
    'r="XFD1048576"><x:v>1</x:v></x:c></x:row>'))
book("workbook-far-error", LARGE, Sheet(rows(*TABLE) + '<row r="1048576"><c r="XFD1048576" t="e"><v>#N/A</v></c></row>'))
case("outages-far-cell-in-lower-case", ["outages.xlsx | unpacks into far too much"],
     outages_xlsx=raw_workbook(Sheet(rows(["event_id"], ["e1"]) + FAR.format("xfd1048576"))))
case("workbook-sheet-in-no-part", ["sections.xlsx | not an .xlsx workbook"], sections_csv=None,
     sections_xlsx=packed({n: t for n, t in parts_of(Sheet(rows(*TABLE))).items() if "worksheets" not in n}))

# --- cells without a value ----------------------------------------------------------------------------------------
ERROR = "an error of a spreadsheet"
for error in ("#N/A", "#REF!", "#VALUE!"):
    book(f"workbook-with-{error.strip('#!').replace('/', '').lower()}-for-a-parent", [f"sections.xlsx: row 3 | parent_id | '{error}' | {ERROR}"],
         Sheet(rows(*with_cell(3, 1, f'<c r="B3" t="e"><v>{error}</v></c>'))))
book("workbook-with-an-error-for-a-device", [f"row 3 | device | '#NAME?' | {ERROR}"], Sheet(rows(*with_cell(3, 2, '<c r="C3" t="e"><v>#NAME?</v></c>'))))
book("workbook-with-an-error-for-a-number", [f"row 3 | customers | '#REF!' | {ERROR}"],
     Sheet(rows(*with_cell(3, 4, '<c r="E3" t="e"><f>A9</f><v>#REF!</v></c>'))))
book("workbook-with-a-formula-never-calculated", ["row 3 | parent_id | a formula whose value is not in the file | let it calculate"],
     Sheet(rows(*with_cell(3, 1, '<c r="B3"><f>A2</f></c>'))))
book("workbook-with-an-empty-value-of-a-formula", ["row 4 | device | a formula whose value is not in the file"],
     Sheet(rows(*with_cell(4, 2, '<c r="C4"><f>A2</f><v></v></c>'))))
book("workbook-with-a-shared-formula", ["row 3 | customers | a formula whose value is not in the file"],
     Sheet(rows(*with_cell(3, 4, '<c r="E3"><f t="shared" si="0"/></c>'))))
book("workbook-with-merged-parents", ["row 4 | parent_id | covered by merged cells | unmerge"],
     Sheet(rows(*with_cell(4, 1, None)), after='<mergeCells><mergeCell ref="B3:B4"/></mergeCells>'))
book("workbook-with-merged-numbers", ["row 3 | customers | covered by merged cells"],
     Sheet(rows(*with_cell(3, 4, None)), after='<mergeCells><mergeCell ref="D3:E3"/></mergeCells>'))
case("error-in-a-text-of-csv", [f"sections.csv: row 3 | area | '#N/A' | {ERROR}"],
     sections_csv=sections(MAIN + ",north", TAP + ",#N/A", head=HEAD + ",area"))
case("numbered-error-in-csv", [f"sections.csv: row 3 | location | 'Err:502' | {ERROR}"],
     sections_csv=sections(MAIN + ",", TAP + ",Err:502", head=HEAD + ",location"))
case("error-in-the-records", [f"outages.csv: row 3 | section_id | '#N/A' | {ERROR}", f"outages.csv: row 3 | customers | '#REF!' | {ERROR}",
                              f"outages.csv: row 3 | planned | '#VALUE!' | {ERROR}"],
     outages_csv=outages(GOOD_OUTAGE, "e2,#N/A,2024-03-02T10:00,2024-03-02T11:00,#REF!,,,#VALUE!"))

# --- sheets -------------------------------------------------------------------------------------------------------
book("workbook-with-the-table-hidden", ["sections.xlsx | the visible sheets are empty | sections | show the sheet"],
     Sheet("", "Cover"), Sheet(rows(*TABLE), "sections", "hidden"))
book("workbook-with-a-hidden-sheet-first", ["sections.xlsx | the sheet 'Now' was read | 1 hidden sheet not (Old)"],
     Sheet(rows(["nothing"], [1]), "Old", "veryHidden"), Sheet(rows(*TABLE), "Now"), status=0)
book("workbook-with-two-sheets", ["sections.xlsx | the sheet 'Sections' was read | 1 visible sheet not (Read me)"],
     Sheet(rows(["What this is"]), "Read me"), Sheet(rows(*TABLE), "Sections"), status=0)
book("workbook-with-hidden-rows", ["sections.xlsx | 2 hidden rows read like the others"],
     Sheet(rows(*TABLE).replace('<row r="3"', '<row r="3" hidden="1"').replace('<row r="4"', '<row r="4" hidden="true"')), status=0)
book("workbook-with-hidden-columns", ["sections.xlsx | 2 hidden columns read like the others"],
     Sheet(rows(*TABLE), before='<cols><col min="2" max="3" hidden="1" width="9"/></cols>'), status=0)
book("workbook-with-a-row-twice", ["sections.xlsx | not an .xlsx workbook that can be read"],
     Sheet(rows(*TABLE).replace('<row r="4"', '<row r="3"').replace('4" t=', '3" t=')))
book("workbook-with-a-cell-twice", ["sections.xlsx | not an .xlsx workbook that can be read"],
     Sheet(rows(*TABLE).replace('<c r="B3"', '<c r="a3"')))

# --- ids that a spreadsheet has changed ---------------------------------------------------------------------------
DIGITS = "held as a number with decimals or of more than fifteen digits"
book("workbook-with-a-long-id", [f"sections.xlsx: row 3 | section_id | {DIGITS}"], Sheet(rows(*with_cell(3, 0, 1234567890123456))))
book("workbook-with-an-id-of-two-numbers", [f"row 3 | section_id | '12.1' | {DIGITS} | format the column as text"],
     Sheet(rows(*with_cell(3, 0, '<c r="A3" s="1"><v>12.1</v></c>'))), formats=("0.00",))
book("workbook-with-a-day-for-an-id", ["row 3 | section_id | held as a day or time"],
     Sheet(rows(*with_cell(3, 0, '<c r="A3" s="1"><v>45363</v></c>'))), formats=("d\\-m",))
book("workbook-with-a-day-for-a-link", ["row 3 | location | held as a day or time"],
     Sheet(rows(*(record + more for record, more in zip(TABLE, (["location"], [None], ['<c r="F3" s="1"><v>45363</v></c>'], [None]), strict=True)))),
     formats=("d\\-m",))
book("workbook-with-an-id-shown-otherwise", ["row 3 | section_id | '7' | its format shows otherwise"],
     Sheet(rows(*with_cell(3, 0, '<c r="A3" s="1"><v>7</v></c>'))), formats=("&quot;T-&quot;00",))
book("workbook-with-true-for-an-id", ["row 3 | section_id | 'true' | held as true or false"],
     Sheet(rows(*with_cell(3, 0, '<c r="A3" t="b"><v>1</v></c>'))))
book("workbook-with-zeros-before-a-parent-that-has-none", ["row 3 | parent_id | '0007'"],
     Sheet(rows(HEADERS, ["7", None, "breaker", 2, 10], ["tap", '<c r="B3" s="1"><v>7</v></c>', "fuse", 1, 5])), formats=("0000",))
case("id-shortened-in-csv", ["sections.csv: row 3 | section_id | '1.23457E+15' | power of ten"],
     sections_csv=sections(MAIN, "1.23457E+15,main,fuse,1,5"))
case("event-shortened-in-csv", ["outages.csv: row 2 | event_id | '2.02403E+11' | power of ten"],
     outages_csv=outages(GOOD_OUTAGE.replace("e1", "2.02403E+11")))

# --- times --------------------------------------------------------------------------------------------------------
CHICAGO = toml('[history]\ntime_zone = "America/Chicago"')


def steps(*times: str) -> str:
    """Records whose starts and ends are written so."""
    return outages(*(f"e{k},tap,{start},{end},5,,," for k, (start, end) in enumerate(zip(times[::2], times[1::2], strict=True), 1)))


case("records-with-basic-times", ["finding: utc_offset_converted 2"], 0, study_toml=CHICAGO,
     outages_csv=steps("20240325T1000Z", "20240325T1130Z", "2024-03-26T10:00+05", "2024-03-26T10:00:00+4:30", "2024-03-27 10:00", "2024-03-27 11:00"))
case("records-with-offsets-beside-none", ["outages.csv: row 2 | started | '20240325T1000Z' | not all times state | time_zone"],
     outages_csv=steps("20240325T1000Z", "20240325T1130Z", "2024-03-27 10:00", "2024-03-27 11:00"))
case("records-all-with-an-offset", ["finding: utc_offset 2"], 0,
     outages_csv=steps("20240325T1000-06", "20240325T1130-06", "2024-03-27T10:00-05:00", "2024-03-27T11:00-05:00"))
case("records-with-two-forms-of-dates", ["finding: mixed_date_forms 1"], 0,
     outages_csv=steps("2024-04-03 10:00", "2024-04-03 11:00", "25/03/2024 10:00", "25/03/2024 11:00", "26/03/2024 10:00", "26/03/2024 11:00"))
case("records-with-offsets-of-no-zone", ["outages.csv: row 3 | started | '2024-03-26T10:00+19:00' | not readable as a date",
                                         "outages.csv: row 4 | started | '2024-03-27T10:00+05:75' | write it like"],
     outages_csv=steps("2024-03-25T10:00", "2024-03-25T11:00", "2024-03-26T10:00+19:00", "2024-03-26T11:00", "2024-03-27T10:00+05:75", "2024-03-27T11:00"))
COUNTER = "section_id,from,to,operations\n"
case("operations-with-offsets-beside-none", ["operations.csv: row 2 | from | '20240101T00Z' | not all times state | time_zone"],
     operations_csv=COUNTER + "main,20240101T00Z,2024-02-01T10:00,3\n")
case("operations-with-offsets", ["operations.csv: 1 row with an offset from UTC: converted to the local time of America/Chicago"], 0,
     study_toml=CHICAGO, operations_csv=COUNTER + "main,20240101T00Z,20240201T00Z,3\n")
case("operations-with-two-forms-of-dates", ["operations.csv: 1 row with dates of another form than most of the file"], 0,
     operations_csv=COUNTER + "main,2024-01-02,2024-02-03,3\nmain,2024-02-03,2024-03-04,2\nmain,25/03/2024,30/03/2024,1\n")

# --- units --------------------------------------------------------------------------------------------------------
case("hours-that-are-minutes", ["sections.csv: the median of repair_hours is 180 h | Is it in minutes?"], 0,
     sections_csv=sections(MAIN + ",150", TAP + ",180", "end,main,,1,3,240", head=HEAD + ",repair_hours"))
case("hours-that-are-seconds", ["sections.csv: row 3 | repair_hours | '10800' | must lie between 0 and 1"],
     sections_csv=sections(MAIN + ",", TAP + ",10800", head=HEAD + ",repair_hours"))
case("kilometres-that-are-metres", ["sections.csv: the median of length_km is 800 km | Is it in metres or feet?"], 0,
     sections_csv=sections("main,,breaker,2000,10", "tap,main,fuse,500,5", "end,main,,800,3"))
case("amperes-that-are-kiloamperes", ["sections.csv: the median of fault_current_source_a is 3.55 A | Is it in kiloamperes?"], 0,
     sections_csv=sections(MAIN + ",4.2,2.9", TAP + ",2.9,1.8", head=HEAD + ",fault_current_source_a,fault_current_end_a"))
case("kilovolts-that-are-volts", ["sections.csv: row 2 | system_kv | '12470' | must lie between 0.1 and 100"],
     sections_csv=sections(MAIN + ",12470", TAP + ",12470", head=HEAD + ",system_kv"))
case("seconds-that-are-milliseconds", ["sections.csv: the median of dead_time_s is 500 s | Is it in milliseconds"], 0,
     sections_csv=sections(MAIN + ",500", TAP + ",", head=HEAD + ",dead_time_s"))
case("span-that-is-a-year", ["sections.csv: row 3 | years_observed | '2019' | must lie between 0 and 100"],
     sections_csv=sections(MAIN + ",,", TAP + ",4,2019", head=HEAD + ",faults_observed,years_observed"))
case("rate-per-hundred-kilometres", ["study.toml: faults.line_fault_rate_per_km is 20 | Is it in faults per 100 km"], 0,
     study_toml=toml("[faults]\nline_fault_rate_per_km = 20"))
case("toml-hours-that-are-minutes", ["study.toml: restoration.switching_hours is 60 h | Is it in minutes?", "study.toml: costs.refuse_crew_hours is 120 h"], 0,
     study_toml=toml("[restoration]\nswitching_hours = 60\n[costs]\nrefuse_crew_hours = 120"))
case("failure-in-per-cent", ["study.toml: protection.fuse_failure is 1; | Is it in per cent?"], 0, study_toml=toml("[protection]\nfuse_failure = 1"))
case("pickup-in-kiloamperes", ["settings.csv: the median of pickup_a is 0.4 A | Is it in kiloamperes?"], 0,
     settings_csv="section_id,element,operation,pickup_a,curve,time_dial\nmain,phase,fast,0.4,ieee_very_inverse,0.05\n")
case("some-hours-that-are-minutes", ["sections.csv: repair_hours of end is 180 h | Is it in minutes?"], 0,
     sections_csv=sections(MAIN + ",3", TAP + ",4", "end,main,,1,3,180", head=HEAD + ",repair_hours"))
case("kva-in-volt-amperes", ["the connected kVA a customer is 5 | 000 kVA | Is it in volt-amperes"], 0,
     sections_csv=sections("main,,breaker,2,0,", "tap,main,fuse,1,5,25000", "end,main,,1,3,15000", head=HEAD + ",connected_kva"))
case("year-for-a-count-of-faults", ["the median of faults_observed is 2 | 020 faults | Is it in a calendar year?"], 0,
     sections_csv=sections(MAIN + ",,", TAP + ",2019,5", head=HEAD + ",faults_observed,years_observed"))
case("benchmarks-in-hours", ["report.benchmark_saidi_min is 1.5 min/yr | Is it in hours", "report.benchmark_caidi_min is 0.8 min"], 0,
     study_toml=toml("[report]\nbenchmark_saidi_min = 1.5\nbenchmark_caidi_min = 0.8"))
case("returns-in-per-cent", ["finance.equity_rate is 0.95 per year | Is it in per cent?"], 0, study_toml=toml("[finance]\nequity_rate = 0.95"))
SETTINGS_HEAD = "section_id,element,operation,pickup_a,curve,time_dial\n"
case("pickup-in-amperes-of-the-relay", ["settings.csv: the pickup of a phase element is below the peak load of its section at main. Is it in amperes of the relay"], 0,
     sections_csv=sections(MAIN + ",120", TAP + ",", head=HEAD + ",peak_load_a"),
     settings_csv=SETTINGS_HEAD + "main,phase,delayed,5,ieee_very_inverse,1\nmain,ground,delayed,5,ieee_very_inverse,1\n")
case("dials-of-another-scale", ["the median time_dial of other elements is 150 | Is it in per cent"], 0,
     settings_csv=SETTINGS_HEAD + "main,phase,fast,400,ieee_very_inverse,100\nmain,phase,delayed,400,ieee_very_inverse,200\n")
case("readings-in-place-of-steps", ["operations.csv: more than 1 | steps a year at main | readings, in place of its steps"], 0,
     operations_csv="section_id,from,to,operations,kind\nmain,2023-01-01,2024-01-01,4875,\nmain,2024-01-01,2024-01-02,900,ignore\n")

# --- read otherwise in silence ------------------------------------------------------------------------------------
for name, first, second in (("zeros", "1.000", "2.000"), ("digits", "1.035", "2.000")):
    case(f"customers-of-thousands-by-points-{name}", [f"sections.csv: row 2 | customers | '{first}' | thousands", "sections.csv: row 3 | customers | '2.000' | thousands"],
         sections_csv=sections(f"main,,breaker,2,{first}", f"tap,main,fuse,1,{second}"))
case("customers-with-decimals-where-others-show-them", [], 0, sections_csv=sections("main,,breaker,2.450,10.000", "tap,main,fuse,0.900,5.000"))
case("outage-customers-of-thousands", ["outages.csv: row 2 | customers | '1.200' | thousands"], outages_csv=outages(GOOD_OUTAGE.replace(",5,", ",1.200,")))
case("outage-customers-by-another-rule", ["finding: customers_not_a_number 3"], 0, outages_csv=outages(
    GOOD_OUTAGE, *(f"e{k},tap,2024-04-0{k}T10:00,2024-04-0{k}T11:00,{n},,," for k, n in enumerate(("0x5", "1_0", "1e13"), 1))))
case("outage-customers-with-a-decimal-comma", ["finding: blank_section 1"], 0, outages_csv=outages(
    "e1;;2024-03-01T10:00;2024-03-01T12:00;5,0;tree;;", head=OUT_HEAD.replace(",", ";")))
case("feeder-of-another-name-than-the-parents", ["1 of 2 sections with another feeder_id than their parent's (tap) | Is feeder_id or parent_id wrong?"], 0,
     sections_csv=sections(MAIN + ",F1", TAP + ",F2", head=HEAD + ",feeder_id"))
case("feeder-misspelt-far-out", ["1 of 3 sections with another feeder_id than their parent's (end) | Is feeder_id or parent_id wrong?"], 0,
     sections_csv=sections(MAIN + ",F1", TAP + ",", "end,main,,1,3,F-1", head=HEAD + ",feeder_id"))
case("feeder-that-begins-at-a-recloser", ["1 of 2 sections with another feeder_id than their parent's (tap): a feeder begins there"], 0,
     sections_csv=sections(MAIN + ",F1", "tap,main,recloser,1,5,F2", head=HEAD + ",feeder_id"))
case("link-without-a-device", ["sections.csv: row 4 | fuse_link | '40K' | no device holds it"],
     sections_csv=sections(MAIN + ",", TAP + ",65K", "end,main,,1,3,40K", head=HEAD + ",fuse_link"))
case("counts-without-a-device", ["1 of 2 sections with counts but no sectionalizer: it is not used there"], 0,
     sections_csv=sections(MAIN + ",", TAP + ",2", head=HEAD + ",counts"))
case("operations-of-a-fuse", ["1 of 2 sections with operations_to_lockout but no breaker or recloser or lateral_recloser"], 0,
     sections_csv=sections(MAIN + ",4", TAP + ",4", head=HEAD + ",operations_to_lockout"))
case("short-row-that-has-shifted", ["sections.csv: row 3 | '5' | fewer cells than headers"], sections_csv=sections(MAIN + ",3.0", "tap,main,1,5", head=HEAD + ",repair_hours"))
case("short-row-in-the-records", ["outages.csv: row 3 | fewer cells than headers"], outages_csv=outages(GOOD_OUTAGE, "e2,2024-03-02T10:00,2024-03-02T11:00,5"))

for name, written in (("a-comma", '"1,200"'), ("a-space", "1 200"), ("an-apostrophe", "1'200"), ("a-narrow-space", "12\u202f345")):
    case(f"outage-customers-of-thousands-by-{name}", ["outages.csv: row 2 | customers | thousands"], outages_csv=outages(GOOD_OUTAGE.replace(",5,", f",{written},")))
case("more-on-three-phases-than-there-are", ["sections.csv: row 3 | customers_three_phase | '6' | more than the customers of the section (5)"],
     sections_csv=sections(MAIN + ",10", TAP + ",6", head=HEAD + ",customers_three_phase"))
for name, other in (("case", "TAP"), ("a-blank", "t ap"), ("an-encoding", "ｔａｐ"), ("what-is-not-seen", "ta\u200bp"), ("a-zero", "0tap")):
    case(f"ids-that-differ-in-{name}", ["1 section_id that differ from another only in case, blanks, zeros | 'tap'"], 0,
         sections_csv=sections(MAIN, TAP, f"{other},main,,1,3"))
case("feeders-that-differ-in-case", ["1 feeder_id that differ from another only in case | 'F1' and 'f1'"], 0,
     sections_csv=sections(MAIN + ",F1", TAP + ",", "b,,breaker,1,2,f1", head=HEAD + ",feeder_id"))
case("two-sources-of-one-feeder", ["1 feeder with more than one source (F1 at main, b)"], 0,
     sections_csv=sections(MAIN + ",F1", TAP + ",", "b,,breaker,1,2,F1", head=HEAD + ",feeder_id"))
case("sections-without-length", ["1 of 3 sections without length and device: no line fault happens there"], 0, sections_csv=sections(MAIN, TAP, "end,main,,0,3"))


def write(folder: Path) -> None:
    """Write every study into a folder of its own name under `folder`, which must hold none of them."""
    for name, study in STUDIES.items():
        (folder / name).mkdir(parents=True)
        for file, content in study.files.items():
            (folder / name / file).write_bytes(content)


if __name__ == "__main__":
    write(Path(sys.argv[1]))
