"""Which of our columns a user's header may be: by name, by a word of the trade, by likeness."""

from __future__ import annotations

import re

from reliability.schema.columns import TABLES
from reliability.schema.nearest import Names

LEAVE = ""                         # a header that is left aside
# Words that exports of asset and outage systems use; our collection, common practice, no source.
WORDS: dict[str, tuple[str, ...]] = {
    "section_id": ("section", "section no", "line section", "segment", "segment id", "line id", "tap", "tap no",
                   "tap id",
                   "element", "element id", "branch", "branch id", "protective device id", "interrupting device"),
    "lateral_id": ("lateral", "lateral no", "tap", "tap no", "tap id", "branch", "section", "section id", "fuse id",
                   "element"),
    "parent_id": ("parent", "upstream", "upstream id", "upline", "upline id", "upline element", "fed from",
                  "source section",
                  "from section", "upstream section", "parent section", "feeds from", "previous section"),
    "feeder_id": ("feeder", "feeder no", "feeder name", "circuit", "circuit no", "circuit id", "circuit name"),
    "device": ("device type", "protection", "protective device", "equipment", "equipment type", "device kind"),
    "length_km": ("km", "length", "length in km", "line km", "kilometres", "kilometers", "route length km"),
    "length_mi": ("mi", "miles", "length in miles", "line miles", "length miles", "circuit miles"),
    "main_length_km": ("main km", "main length", "trunk km", "backbone km"),
    "main_length_mi": ("main miles", "trunk miles", "backbone miles"),
    "customers": ("customer count", "cust", "custs", "no of customers", "number of customers", "consumers", "members",
                  "meters", "customers served", "customers out", "customers affected", "customers interrupted",
                  "cust affected", "consumers affected", "members out"),
    "customers_residential": ("residential", "residential customers", "res cust"),
    "customers_small_ci": ("small commercial", "small ci", "commercial customers"),
    "customers_large_ci": ("large commercial", "industrial", "large ci", "industrial customers"),
    "load_kw": ("kw", "average kw", "avg kw", "average load", "load", "mean load kw"),
    "peak_load_a": ("peak amps", "peak a", "peak load", "amps", "peak current", "load amps", "max amps"),
    "phases": ("phase count", "no of phases", "number of phases", "ph", "phasing", "nr phases"),
    "fault_current_source_a": ("fault amps source", "fault current source", "max fault", "max fault amps", "isc source",
                               "fault current at start", "source fault amps", "near end fault"),
    "fault_current_end_a": ("fault amps end", "fault current end", "min fault", "min fault amps", "isc end",
                            "fault current at end", "end fault amps", "far end fault"),
    "fuse_link": ("fuse", "fuse size", "link", "link size", "fuse rating", "fuse type"),
    "repair_hours": ("repair time", "mean repair hours", "mttr", "repair h"),
    "tie_probability": ("tie", "tie available", "transfer probability", "backfeed probability"),
    "line_fault_rate_per_km": ("fault rate", "failure rate", "faults per km", "fault rate per km"),
    "line_fault_rate_per_mi": ("faults per mile", "fault rate per mile", "failure rate per mile"),
    "operations_to_lockout": ("lockout", "shots", "shots to lockout", "operations", "trips to lockout"),
    "fast_operations": ("fast trips", "fast shots", "fast curves"),
    "minimum_trip_a": ("min trip", "minimum trip", "pickup", "pickup amps", "minimum pickup"),
    "dead_time_s": ("dead time", "reclose interval", "reclosing interval", "open interval"),
    "event_id": ("event", "event no", "outage", "outage id", "outage no", "incident", "incident id", "incident no",
                 "case",
                 "ticket", "order no"),
    "started": ("start", "start time", "off time", "time off", "outage start", "begin", "began", "interrupted",
                "date off",
                "outage date", "out time", "start date", "time out"),
    "restored": ("end", "end time", "on time", "time on", "restore time", "restoration time", "restoration", "date on",
                 "end date", "back on", "time in", "restored at"),
    "cause": ("cause code", "cause description", "reason", "outage cause", "root cause"),
    "fault_kind": ("temporary or permanent", "fault type", "kind"),
    "planned": ("scheduled", "planned outage", "is planned", "prearranged"),
    "generation_kw": ("generation", "pv kw", "solar kw", "dg kw"),
    "capacitor_kvar": ("capacitor", "capacitors", "kvar", "cap bank kvar"),
}


def fold(header: str) -> str:
    """A header without case, punctuation and the breaks between words that CamelCase hides."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header)
    return " ".join(re.sub(r"[\W_#]+", " ", spaced.casefold()).split())


def suggest(headers: list[str], table: str) -> dict[str, str]:
    """For each header the column of a table that it probably is, or LEAVE; no column twice."""
    columns = [c.name for c in TABLES[table]]
    taken: set[str] = set()
    found: dict[str, str] = {}
    for find in (_by_name, _by_word, _by_likeness):
        for header in headers:
            if header not in found:
                name = find(fold(header), [c for c in columns if c not in taken])
                if name:
                    found[header] = name
                    taken.add(name)
    return {header: found.get(header, LEAVE) for header in headers}


def _by_name(header: str, columns: list[str]) -> str | None:
    return next((c for c in columns if fold(c) == header), None)


def _by_word(header: str, columns: list[str]) -> str | None:
    bare = header.removesuffix(" a").removesuffix(" no").strip()
    return next((c for c in columns if header in WORDS.get(c, ()) or bare in WORDS.get(c, ())), None)


def _by_likeness(header: str, columns: list[str]) -> str | None:
    owner = {word: c for c in columns for word in (fold(c), *WORDS.get(c, ()))}
    near = Names(owner).nearest(header)
    return owner[near] if near and len(header) > 4 else None


def guess_table(file: str, headers: list[str]) -> str:
    """Which table a file is: by its name, else by the columns that its headers are, then by those they may be."""
    stem = fold(file.rpartition(".")[0])
    for table in TABLES:
        if table in stem.split():
            return table

    def score(table: str) -> tuple[int, float, int]:
        exact = sum(_by_name(fold(h), [c.name for c in TABLES[table]]) is not None for h in headers)
        hits = set(suggest(headers, table).values())
        required = [c.name for c in TABLES[table] if c.required]
        return exact, sum(name in hits for name in required) / len(required), len(hits)

    return max(TABLES, key=score)


def column_map(chosen: dict[str, str]) -> tuple[dict[str, str], list[str]]:
    """`[columns.…]` of study.toml for a choice of columns by header: names to headers, and headers to ignore."""
    names = {name: header for header, name in chosen.items()
             if name and re.sub(r"[\s\-]+", "_", header.strip().casefold()) != name}
    return names, [header for header, name in chosen.items() if not name and header]
