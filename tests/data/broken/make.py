"""Write the broken studies of this folder: python tests/data/broken/make.py

Each case is a small study with one fault (or few), and says.txt: the status to end with and
the words that must be told, a line each.
"""

from __future__ import annotations

import shutil
from pathlib import Path

HERE = Path(__file__).parent
HEAD = "section_id,parent_id,device,length_km,customers"
ROWS = ("main,,breaker,2,10", "tap,main,fuse,1,5", "end,main,,1,3")
TOML = 'name = "broken"\n'
OUT_HEAD = "event_id,section_id,started,restored,customers,cause,fault_kind,planned"
GOOD_OUTAGE = "e1,tap,2024-03-01T10:00:00,2024-03-01T12:00:00,5,tree,temporary,"
CASES: dict[str, tuple[dict[str, bytes], int, list[str]]] = {}


def case(name: str, says: list[str], status: int = 2, **files: str | bytes | None) -> None:
    """Files by name with "_" for "."; None leaves one out."""
    whole = {"study_toml": TOML, "sections_csv": "\n".join([HEAD, *ROWS]) + "\n"} | files
    CASES[name] = ({key.replace("_", ".", 1) if key.count("_") == 1 else key: v.encode() if isinstance(v, str) else v
                    for key, v in whole.items() if v is not None}, status, says)


def sections(*rows: str, head: str = HEAD) -> str:
    return "\n".join([head, *rows]) + "\n"


def outages(*rows: str, head: str = OUT_HEAD) -> str:
    return "\n".join([head, *rows]) + "\n"


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
case("number-as-text", ["repair_hours"], study_toml=toml('[restoration]\nrepair_hours = "3"'))
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
case("scenario-counts-too-many", ["counts"],
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


def main() -> None:
    for folder in HERE.iterdir():
        if folder.is_dir():
            shutil.rmtree(folder)
    for name, (files, status, says) in CASES.items():
        (HERE / name).mkdir()
        for file, content in files.items():
            (HERE / name / file).write_bytes(content)
        (HERE / name / "says.txt").write_text("\n".join([str(status), *says]) + "\n", encoding="utf-8")
    print(f"{len(CASES)} studies")


if __name__ == "__main__":
    main()
