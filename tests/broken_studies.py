"""Studies with one fault each (or few), and what must be said about them.

Those of `broken_records` and `broken_tables` join them; tests/test_broken.py runs them all.
"""

from __future__ import annotations

import io
import zipfile
from typing import NamedTuple

import openpyxl


class BrokenStudy(NamedTuple):
    """A study's files by name, the exit status that the commands end with, and what must be said.

    Each entry of `says` is one thing to be said. Its words, separated by " | ", stand in one line of the messages;
    "finding: code n" is a finding of the records, counted n times.
    """

    files: dict[str, bytes]
    status: int
    says: list[str]


HEAD = "section_id,parent_id,device,length_km,customers"
ROWS = ("main,,breaker,2,10", "tap,main,fuse,1,5", "end,main,,1,3")
TOML = 'name = "broken"\n'
OUT_HEAD = "event_id,section_id,started,restored,customers,cause,fault_kind,planned"
GOOD_OUTAGE = "e1,tap,2024-03-01T10:00:00,2024-03-01T12:00:00,5,tree,temporary,"
STUDIES: dict[str, BrokenStudy] = {}


def case(name: str, says: list[str], status: int = 2, **files: str | bytes | None) -> None:
    """Files by name with "_" for "."; None leaves one out."""
    if name in STUDIES:
        raise ValueError(f"{name} stands twice")
    whole = {"study_toml": TOML, "sections_csv": "\n".join([HEAD, *ROWS]) + "\n"} | files
    STUDIES[name] = BrokenStudy(
        {key.replace("_", ".", 1) if key.count("_") == 1 else key: v.encode() if isinstance(v, str) else v
         for key, v in whole.items() if v is not None}, status, says)


def sections(*rows: str, head: str = HEAD) -> str:
    return "\n".join([head, *rows]) + "\n"


def outages(*rows: str, head: str = OUT_HEAD) -> str:
    return "\n".join([head, *rows]) + "\n"


def workbook(rows: list[list[object]]) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    made, same = io.BytesIO(), io.BytesIO()
    book.save(made)
    # packed again without the day, so that the same bytes come out each time
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(same, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(zipfile.ZipInfo(name), b"" if name == "docProps/core.xml" else old.read(name))
    return same.getvalue()


def toml(text: str) -> str:
    return TOML + text + "\n"


MAIN, TAP = ROWS[0], ROWS[1]
case("no-study-toml", ["study.toml"], study_toml=None)
case("no-sections", ["sections.csv"], sections_csv=None)
case("empty-sections", ["sections.csv"], sections_csv="")
case("header-only", ["sections.csv"], sections_csv=HEAD + "\n")
case("both-csv-and-xlsx", ["sections.xlsx"], sections_xlsx=b"PK")
case("xlsx-that-is-none", ["sections.xlsx"], sections_csv=None, sections_xlsx=b"this is no workbook")
case("utf16", ["sections.csv"], sections_csv=sections(*ROWS).encode("utf-16"))
case("nul-bytes", ["sections.csv"], sections_csv=sections(MAIN, "t\0ap,main,fuse,1,5").encode())
case("duplicate-header", ["sections.csv", "customers"], sections_csv=sections("main,,breaker,2,1,1", head=HEAD + ",customers"))
case("unknown-column", ["custmers", "customers"], sections_csv=sections("main,,breaker,2,1", head=HEAD.replace("customers", "custmers")))
case("missing-length", ["length_km"], sections_csv=sections("main,,breaker,1", head="section_id,parent_id,device,customers"))
case("ragged-row", ["row 3"], sections_csv=sections(MAIN, TAP + ",extra,cells"))
case("duplicate-id", ["row 3", "tap"], sections_csv=sections(MAIN, TAP, TAP))
case("blank-id", ["row 3", "section_id"], sections_csv=sections(MAIN, ",main,fuse,1,5"))
case("unknown-parent", ["row 3", "parent_id", "'mian'", "main"], sections_csv=sections(MAIN, "tap,mian,fuse,1,5"))
case("cycle", ["a → b → a"], sections_csv=sections(MAIN, "a,b,,1,1", "b,a,,1,1"))
case("own-parent", ["a → a"], sections_csv=sections(MAIN, "a,a,,1,1"))
case("root-without-breaker", ["row 2", "device"], sections_csv=sections("main,,fuse,1,1"))
case("unknown-device", ["row 3", "'fuze'", "fuse"], sections_csv=sections(MAIN, "tap,main,fuze,1,5"))
case("length-is-text", ["row 3", "length_km", "'long'"], sections_csv=sections(MAIN, "tap,main,fuse,long,5"))
case("length-negative", ["row 3", "length_km", "'-1'"], sections_csv=sections(MAIN, "tap,main,fuse,-1,5"))
case("length-nan", ["row 3", "length_km", "'nan'"], sections_csv=sections(MAIN, "tap,main,fuse,nan,5"))
case("length-infinite", ["row 3", "length_km", "'inf'"], sections_csv=sections(MAIN, "tap,main,fuse,inf,5"))
case("length-huge", ["row 3", "length_km"], sections_csv=sections(MAIN, "tap,main,fuse,1e400,5"))
case("customers-half", ["row 3", "customers", "'2.5'"], sections_csv=sections(MAIN, "tap,main,fuse,1,2.5"))
case("customers-blank", ["row 3", "customers"], sections_csv=sections(MAIN, "tap,main,fuse,1,"))
case("fraction-above-one", ["row 3", "temporary_fraction", "'1.2'"],
     sections_csv=sections(MAIN + ",", TAP + ",1.2", head=HEAD + ",temporary_fraction"))
case("classes-do-not-sum", ["row 3", "customers"],
     sections_csv=sections(MAIN + ",10,0,0", TAP + ",1,1,1", head=HEAD + ",customers_residential,customers_small_ci,customers_large_ci"))
case("fast-not-below-lockout", ["row 2", "fast_operations", "'4'"],
     sections_csv=sections(MAIN + ",4,4", TAP + ",,", head=HEAD + ",operations_to_lockout,fast_operations"))
case("counts-too-many", ["row 3", "counts", "'3'"],
     sections_csv=sections(MAIN + ",3,1,", "tap,main,sectionalizer,1,5,,,3", head=HEAD + ",operations_to_lockout,fast_operations,counts"))
case("counts-of-four", ["row 3", "counts", "'4'"], sections_csv=sections(MAIN + ",", "tap,main,sectionalizer,1,5,4", head=HEAD + ",counts"))
case("more-phases-than-parent", ["row 3", "phases", "'3'"], sections_csv=sections(MAIN + ",1", TAP + ",3", head=HEAD + ",phases"))
case("four-phases", ["row 3", "phases", "'4'"], sections_csv=sections(MAIN + ",3", TAP + ",4", head=HEAD + ",phases"))
case("km-and-mi", ["row 3", "length_mi"], sections_csv=sections(MAIN + ",", TAP + ",1", head=HEAD + ",length_mi"))
case("unknown-link", ["row 3", "fuse_link", "'17X'"], sections_csv=sections(MAIN + ",", TAP + ",17X", head=HEAD + ",fuse_link"))
case("current-of-zero", ["row 3", "fault_current_end_a", "'0'"],
     sections_csv=sections(MAIN + ",,", TAP + ",900,0", head=HEAD + ",fault_current_source_a,fault_current_end_a"))
case("tie-above-one", ["row 3", "tie_probability", "'2'"], sections_csv=sections(MAIN + ",", TAP + ",2", head=HEAD + ",tie_probability"))
case("toml-syntax", ["study.toml: row 2", "not valid TOML"], study_toml='name = "x"\n[faults\n')
case("toml-not-utf8", ["study.toml"], study_toml=b'name = "\xff\xfe"\n')
case("no-name", ["study.toml", "name"], study_toml="currency = \"USD\"\n")
case("unknown-table", ["fualts", "faults"], study_toml=toml("[fualts]\nyearly_cv = 0.1"))
case("unknown-key", ["temprary_fraction", "temporary_fraction"], study_toml=toml("[faults]\ntemprary_fraction = 0.5"))
case("number-as-text", ["study.toml: row 3 | restoration.repair_hours | without quotation marks"], study_toml=toml('[restoration]\nrepair_hours = "3"'))
case("number-as-flag", ["repair_hours"], study_toml=toml("[restoration]\nrepair_hours = true"))
case("toml-nan", ["cv"], study_toml=toml("[restoration]\ncv = nan"))
case("toml-infinite", ["cv"], study_toml=toml("[restoration]\ncv = inf"))
case("toml-out-of-bounds", ["temporary_fraction", "1.5"], study_toml=toml("[faults]\ntemporary_fraction = 1.5"))
case("range-upside-down", ["repair_hours"], study_toml=toml("[restoration]\nrepair_hours = { low = 3, likely = 2, high = 4 }"))
case("range-incomplete", ["repair_hours"], study_toml=toml("[restoration]\nrepair_hours = { low = 3, high = 4 }"))
case("range-of-a-whole-number", ["operations_to_lockout"],
     study_toml=toml("[protection]\noperations_to_lockout = { low = 3, likely = 4, high = 5 }"))
case("shares-do-not-sum", ["clearing_shares"], study_toml=toml("[faults]\nclearing_shares = [0.5, 0.1, 0.1]"))
case("two-shares", ["phases_involved"], study_toml=toml("[faults]\nphases_involved = [0.5, 0.5]"))
case("fast-default-not-below", ["fast_operations"], study_toml=toml("[protection]\noperations_to_lockout = 2\nfast_operations = 2"))
case("whole-number-is-half", ["horizon_years"], study_toml=toml("[finance]\nhorizon_years = 2.5"))
case("unknown-perspective", ["perspective", "utility"], study_toml=toml('[finance]\nperspective = "owner"'))
case("scenario-without-name", ["scenario"], study_toml=toml('[[scenarios]]\ndevice = "fuse"'))
case("scenario-twice", ["Plan"], study_toml=toml('[[scenarios]]\nname = "Plan"\n[[scenarios]]\nname = "Plan"'))
case("scenario-unknown-device", ["sectionaliser", "sectionalizer"],
     study_toml=toml('[[scenarios]]\nname = "Plan"\ndevice = "sectionaliser"'))
case("scenario-unknown-lateral", ["'tup'", "tap"], study_toml=toml('[[scenarios]]\nname = "Plan"\nlaterals = ["tup"]'))
case("scenario-of-the-main", ["'end'"], study_toml=toml('[[scenarios]]\nname = "Plan"\nlaterals = ["end"]'))
case("scenario-unknown-key", ["contz", "counts"], study_toml=toml('[[scenarios]]\nname = "Plan"\ncontz = 2'))
case("scenario-counts-too-many", ["counts are lowered"], 0,
     study_toml=toml('[protection]\noperations_to_lockout = 3\nfast_operations = 1\n[[scenarios]]\nname = "Plan"\ncounts = 3'))
case("cost-table-outside", ["interruption_costs"], study_toml=toml('[costs]\ninterruption_costs = "../costs.csv"'))
case("cost-table-not-there", ["costs.csv"], study_toml=toml('[costs]\ninterruption_costs = "costs.csv"'))
case("cost-table-wrong", ["costs.csv"], study_toml=toml('[costs]\ninterruption_costs = "costs.csv"\n[finance]\nperspective = "society"'),
     costs_csv="customer_class,momentary\nresidential,free\n")
case("learned-without-records", ["rates"], study_toml=toml('[faults]\nrates = "learned"'))
case("settled-neither-in-nor-out", ["tap", "maybe"], study_toml=toml('[choice.laterals]\ntap = "maybe"'))
case("settled-unknown-lateral", ["tup"], study_toml=toml('[choice.laterals]\ntup = "in"'))
case("outages-missing-column", ["outages.csv", "restored"], outages_csv=outages("e1,tap", head="event_id,section_id"))
case("outages-ambiguous-dates", ["date_order"],
     outages_csv=outages("e1,tap,03/04/2024 10:00,03/04/2024 12:00,5,,,", "e2,tap,05/06/2024 10:00,05/06/2024 12:00,5,,,"))
case("outages-unknown-column", ["outages.csv", "weather"], outages_csv=outages(GOOD_OUTAGE + ",sun", head=OUT_HEAD + ",weather"))
case("outages-year-zero", [], 0, outages_csv=outages(GOOD_OUTAGE, "e2,tap,0000-01-01T00:00:00,0000-01-01T01:00:00,5,,,"))
case("outages-year-ten-thousand", [], 0, outages_csv=outages(GOOD_OUTAGE, "e2,tap,10000-01-01T00:00:00,10000-01-01T01:00:00,5,,,"))
case("outages-dirty", [], 0, outages_csv=outages(
    GOOD_OUTAGE, GOOD_OUTAGE, "e2,nowhere,2024-03-02T10:00:00,,5,,,", "e3,tap,2024-03-03T10:00:00,2024-03-03T09:00:00,5,,maybe,",
    "e4,tap,soon,later,many,,,perhaps", "e5,tap,2024-03-04T10:00:00,2024-03-04T11:00:00,5000,,,yes"))
case("feeders-without-laterals", ["laterals"], sections_csv=None, feeders_csv="feeder_id,customers,main_length_km\nf1,10,2\n")
case("flat-and-sections", ["both sections and feeders"], feeders_csv="feeder_id,customers,main_length_km\nf1,10,2\n",
     laterals_csv="lateral_id,feeder_id,customers,length_km\nl1,f1,3,1\n")
case("flat-unknown-feeder", ["laterals.csv", "'f2'"], sections_csv=None, feeders_csv="feeder_id,customers,main_length_km\nf1,10,2\n",
     laterals_csv="lateral_id,feeder_id,customers,length_km\nl1,f2,3,1\n")
case("flat-too-many-customers", ["customers"], sections_csv=None, feeders_csv="feeder_id,customers,main_length_km\nf1,2,2\n",
     laterals_csv="lateral_id,feeder_id,customers,length_km\nl1,f1,3,1\n")
case("mapped-column-not-there", ["Tap No"], study_toml=toml('[columns.sections]\nsection_id = "Tap No"'))


# --- tables -----------------------------------------------------------------------------------------------------
case("quotation-mark-never-closed", ["sections.csv | quotation mark"], sections_csv=sections(MAIN, '"tap,main,fuse,1,5'))
case("text-after-a-quotation-mark", ["sections.csv | quotation mark"], sections_csv=sections(MAIN, '"ta"p,main,fuse,1,5'))
case("comma-as-decimal-sign", ["row 3 | length_km | '1,5'"], sections_csv=sections(MAIN, 'tap,main,fuse,"1,5",5'))
case("thousands-with-a-comma", ["row 3 | customers | '1,200'"], sections_csv=sections(MAIN, 'tap,main,fuse,1,"1,200"'))
case("bytes-of-no-alphabet", ["sections.csv: row 3 | neither UTF-8 nor Windows-1252"],
     sections_csv=sections(MAIN).encode() + b"t\x81p,main,fuse,1,5\n")
case("workbook-called-csv", ["sections.csv | workbook"], sections_csv=b"PK\x03\x04" + b"\0" * 40)
case("workbook-cut-short", ["sections.xlsx | not an .xlsx workbook"], sections_csv=None, sections_xlsx=workbook([HEAD.split(",")])[:200])
case("workbook-without-a-table", ["sections.xlsx"], sections_csv=None, sections_xlsx=workbook([]))
case("workbook-with-text-for-a-number", ["sections.xlsx: row 3 | length_km | 'long'"], sections_csv=None,
     sections_xlsx=workbook([HEAD.split(","), MAIN.split(","), ["tap", "main", "fuse", "long", 5]]))
case("workbook-with-a-formula-error", ["sections.xlsx: row 3 | length_km"], sections_csv=None,
     sections_xlsx=workbook([HEAD.split(","), MAIN.split(","), ["tap", "main", "fuse", "#DIV/0!", 5]]))
case("customers-negative", ["row 3 | customers | '-5'"], sections_csv=sections(MAIN, "tap,main,fuse,1,-5"))
case("customers-not-a-number", ["row 3 | customers | 'nan'"], sections_csv=sections(MAIN, "tap,main,fuse,1,nan"))
case("customers-beyond-counting", ["row 3 | customers | '1e30'"], sections_csv=sections(MAIN, "tap,main,fuse,1,1e30"))
case("number-in-hexadecimal", ["row 3 | length_km | '0x10'"], sections_csv=sections(MAIN, "tap,main,fuse,0x10,5"))
case("number-with-an-underscore", ["row 3 | length_km | '1_0'"], sections_csv=sections(MAIN, "tap,main,fuse,1_0,5"))
case("root-with-a-switch", ["row 2 | device | 'switch'"], sections_csv=sections("main,,switch,1,1"))
case("root-with-a-lateral-recloser", ["row 2 | device | 'lateral_recloser'"], sections_csv=sections("main,,lateral_recloser,1,1"))
case("root-without-a-device", ["row 2 | device"], sections_csv=sections("main,,,1,1"))
case("rate-negative", ["row 3 | line_fault_rate_per_km | '-0.1'"],
     sections_csv=sections(MAIN + ",", TAP + ",-0.1", head=HEAD + ",line_fault_rate_per_km"))
case("equipment-rate-infinite", ["row 3 | equipment_fault_rate | 'Infinity'"],
     sections_csv=sections(MAIN + ",", TAP + ",Infinity", head=HEAD + ",equipment_fault_rate"))
case("rates-per-km-and-per-mi", ["line_fault_rate_per_mi"],
     sections_csv=sections(MAIN + ",0.1,0.2", head=HEAD + ",line_fault_rate_per_km,line_fault_rate_per_mi"))
case("dead-time-zero", ["row 2 | dead_time_s | '0'"], sections_csv=sections(MAIN + ",0", head=HEAD + ",dead_time_s"))
case("longest-dead-time-below-the-shortest", ["row 2 | longest_dead_time_s | '1'"],
     sections_csv=sections(MAIN + ",2,1", head=HEAD + ",dead_time_s,longest_dead_time_s"))
case("tie-to-nowhere", ["row 3 | tie_section_id | 'mian'"], sections_csv=sections(MAIN + ",,", TAP + ",0.5,mian", head=HEAD + ",tie_probability,tie_section_id"))
case("ceiling-negative", ["row 3 | saving_ceiling_a | '-1'"], sections_csv=sections(MAIN + ",", TAP + ",-1", head=HEAD + ",saving_ceiling_a"))
case("no-operation-to-lockout", ["row 2 | operations_to_lockout | '0'"],
     sections_csv=sections(MAIN + ",0", head=HEAD + ",operations_to_lockout"))
case("counts-in-halves", ["row 3 | counts | '1.5'"], sections_csv=sections(MAIN + ",", "tap,main,sectionalizer,1,5,1.5", head=HEAD + ",counts"))
case("phases-zero", ["row 3 | phases | '0'"], sections_csv=sections(MAIN + ",", TAP + ",0", head=HEAD + ",phases"))
case("load-not-a-number", ["row 3 | load_kw | 'NaN'"], sections_csv=sections(MAIN + ",", TAP + ",NaN", head=HEAD + ",load_kw"))
case("faults-observed-in-halves", ["row 3 | faults_observed | '2.5'"],
     sections_csv=sections(MAIN + ",,", TAP + ",2.5,10", head=HEAD + ",faults_observed,years_observed"))
case("several-problems-at-once", ["row 2 | length_km | '-2'", "row 3 | section_id | 'main'", "row 3 | parent_id | 'nowhere'",
                                  "row 4 | device | 'sectionaliser' | sectionalizer", "row 4 | customers | 'x'", "study.toml | cv"],
     sections_csv=sections("main,,breaker,-2,10", "main,nowhere,fuse,1,5", "end,main,sectionaliser,1,x"),
     study_toml=toml("[restoration]\ncv = -1"))
case("characters-that-a-terminal-obeys", ["row 3 | parent_id"], sections_csv=sections(MAIN, "tap,\x1b[31mmain\x07,fuse,1,5"))

# --- study.toml -------------------------------------------------------------------------------------------------
case("name-is-a-number", ["study.toml: row 1 | name"], study_toml="name = 3\n")
case("name-is-blank", ["study.toml: row 1 | name"], study_toml='name = "  "\n')
case("key-twice", ["study.toml: row 4 | already defined above | keep one of the two"], study_toml=toml("[faults]\nyearly_cv = 0.1\nyearly_cv = 0.2"))
case("table-is-a-number", ["study.toml | faults"], study_toml=toml("faults = 3"))
case("table-is-a-list", ["study.toml | faults"], study_toml=toml("[[faults]]\nyearly_cv = 0.1"))
case("key-outside-its-table", ["study.toml: row 2 | repair_hours | restoration"], study_toml=toml("repair_hours = 3"))
case("currency-is-a-number", ["study.toml: row 2 | currency"], study_toml=toml("currency = 3"))
case("scenarios-are-text", ["study.toml | scenarios"], study_toml=toml('scenarios = "all"'))
case("scenario-is-a-number", ["study.toml | scenarios"], study_toml=toml("scenarios = [1]"))
case("scenario-called-as-built", ["study.toml | As built"],
     study_toml=toml('[[scenarios]]\nname = "As built"\ncounts = 2'))
case("scenario-of-some-laterals", ["study.toml | laterals | some"], study_toml=toml('[[scenarios]]\nname = "Plan"\nlaterals = "some"'))
case("scenario-of-numbers", ["study.toml | laterals"], study_toml=toml('[[scenarios]]\nname = "Plan"\nlaterals = [1, 2]'))
case("scenario-without-counting", ["study.toml | counts"], study_toml=toml('[[scenarios]]\nname = "Plan"\ncounts = 0'))
case("scenario-counts-in-halves", ["study.toml | counts"], study_toml=toml('[[scenarios]]\nname = "Plan"\ncounts = 1.5'))
case("scenario-fast-negative", ["study.toml | fast_operations"], study_toml=toml('[[scenarios]]\nname = "Plan"\nfast_operations = -1'))
case("scenario-fast-not-below", ["study.toml | fast_operations"],
     study_toml=toml('[[scenarios]]\nname = "Plan"\nfast_operations = 4'))
case("scenario-applicable-perhaps", ["study.toml | applicable_only"],
     study_toml=toml('[[scenarios]]\nname = "Plan"\napplicable_only = "yes"'))
case("scenario-with-a-range", ["study.toml | counts"],
     study_toml=toml('[[scenarios]]\nname = "Plan"\ncounts = { low = 1, likely = 2, high = 3 }'))
case("share-negative", ["study.toml | clearing_shares"], study_toml=toml("[faults]\nclearing_shares = [1.2, -0.1, -0.1]"))
case("shares-are-text", ["study.toml | clearing_shares"], study_toml=toml('[faults]\nclearing_shares = "0.8, 0.1, 0.1"'))
case("share-not-a-number", ["study.toml | phases_involved"], study_toml=toml("[faults]\nphases_involved = [nan, 0.5, 0.5]"))
case("range-of-infinity", ["study.toml | repair_hours"], study_toml=toml("[restoration]\nrepair_hours = { low = 1, likely = 2, high = inf }"))
case("range-outside-the-bounds", ["study.toml | temporary_fraction"],
     study_toml=toml("[faults]\ntemporary_fraction = { low = 0.5, likely = 0.9, high = 1.1 }"))
case("range-with-another-key", ["study.toml | repair_hours"],
     study_toml=toml("[restoration]\nrepair_hours = { low = 1, likely = 2, high = 3, most = 4 }"))
case("rates-from-elsewhere", ["study.toml | rates | learned"], study_toml=toml('[faults]\nrates = "leaned"'))
case("discount-of-all", ["study.toml | discount_rate"], study_toml=toml("[finance]\ndiscount_rate = -1"))
case("horizon-of-nothing", ["study.toml | horizon_years | 0"], study_toml=toml("[finance]\nhorizon_years = 0"))
case("horizon-for-ever", ["study.toml | horizon_years | 5000"], study_toml=toml("[finance]\nhorizon_years = 5000"))
case("trials-of-none", ["study.toml | trials"], study_toml=toml("[simulation]\ntrials = 0"))
case("trials-true", ["study.toml | trials"], study_toml=toml("[simulation]\ntrials = true"))
case("seed-negative", ["study.toml | seed"], study_toml=toml("[simulation]\nseed = -1"))
case("seed-beyond-bounds", ["study.toml | seed"], study_toml=toml("[simulation]\nseed = 99999999999999999999999"))
case("number-as-a-date", ["study.toml | cv"], study_toml=toml("[restoration]\ncv = 2024-01-01"))
case("overtime-above-one", ["study.toml | overtime_share"], study_toml=toml("[costs]\novertime_share = 1.5"))
case("cost-negative", ["study.toml | actuator_cost"], study_toml=toml("[costs]\nactuator_cost = -5"))
case("choice-of-an-unknown-kind", ["study.toml | objective"], study_toml=toml('[choice]\nobjective = "cheapest"'))
case("choice-budget-negative", ["study.toml | budget"], study_toml=toml("[choice]\nbudget = -1"))
case("choice-key-unknown", ["study.toml | budgte | budget"], study_toml=toml("[choice]\nbudgte = 1"))
case("choice-units-in-halves", ["study.toml | yearly_units"], study_toml=toml("[choice]\nyearly_units = 1.5"))
case("choice-laterals-are-a-list", ["study.toml | laterals"], study_toml=toml('[choice]\nlaterals = ["tap"]'))
case("settled-with-a-number", ["study.toml: row | laterals.tap"], study_toml=toml("[choice.laterals]\ntap = 1"))
case("header-mapped-twice", ["study.toml"], study_toml=toml('[columns.sections]\ncustomers = "Cust"\nload_kw = "Cust"'),
     sections_csv=sections("main,,breaker,2,10", head=HEAD.replace("customers", "Cust")))
case("header-of-an-unknown-column", ["study.toml | custmers | customers"], study_toml=toml('[columns.sections]\ncustmers = "Cust"'))
case("header-of-an-unknown-table", ["study.toml | section | sections"], study_toml=toml('[columns.section]\ncustomers = "Cust"'))
case("header-mapped-to-a-number", ["study.toml | customers"], study_toml=toml("[columns.sections]\ncustomers = 5"))
case("needed-column-ignored", ["customers"], study_toml=toml('[columns.sections]\nignore = ["customers"]'))
case("scenario-beside-a-wrong-length", ["sections.csv: row 3 | length_km | one", "study.toml | fast_operations | 9",
                                        "study.toml | history.conversions.tip | lateral"],
     study_toml=toml('[[scenarios]]\nname = "Plan"\nfast_operations = 9\n[history.conversions]\ntip = 2024-01-01'),
     sections_csv=sections(MAIN, "tap,main,fuse,one,5"))
case("scenario-with-a-number-among-laterals", ["study.toml | 5 | quotation marks", "study.toml | tip | no section"],
     study_toml=toml('[[scenarios]]\nname = "Plan"\nlaterals = [5, "tip"]'))
case("scenario-with-two-faults", ["study.toml | device | fuze", "study.toml | tip | no section"],
     study_toml=toml('[choice]\nproposed = "Plan"\n[[scenarios]]\nname = "Plan"\ndevice = "fuze"\nlaterals = ["tip"]'))
case("curves-of-nothing-readable", ["curves.csv"], curves_csv=b"\x81\x8d\x8f",
     settings_csv="section_id,element,operation,pickup_a,curve,time_dial\nmain,phase,delayed,400,own curve,1\n")
case("decimal-commas", ["study.toml: row 3 | 1,5", "study.toml: row 4 | 0,8", "study.toml | perspective | utility"],
     study_toml=toml('[restoration]\nrepair_hours = 1,5\ncv = 0,8\n[finance]\nperspective = "utilty"'))
