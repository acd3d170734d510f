"""Which column a header of a table stands for: by its name, by a word of the trade, or by likeness.

The one matcher of headers, for the messages of `check` as for the suggestions of the app.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from reliability.schema.columns import COLUMN_TABLES, ColumnRule
from reliability.schema.nearest import LONGEST_WORD

CUT = 10            # letters of a header in the tables of a shapefile, dBase's; longer ones are cut (from memory)
SHORTEST_HEADER = 5        # letters; a shorter header is like too many words
LIKE_REQUIRED, LIKE_OTHER = 0.7, 0.8    # likeness of 0 to 1 from which a header stands for a column (our choice)
# Words that exports of asset and outage systems use; our collection, common practice, no source.
TRADE_WORDS: dict[str, tuple[str, ...]] = {
    "section_id": ("section", "section no", "line section", "segment", "segment id", "line id", "tap", "tap no",
                   "tap id", "element", "element id", "facility", "facility id", "branch", "branch id",
                   "protective device id", "interrupting device"),
    "lateral_id": ("lateral", "lateral no", "tap", "tap no", "tap id", "branch", "section", "section id", "fuse id",
                   "element"),
    "parent_id": ("parent", "upstream", "upstream id", "upline", "upline id", "upline element", "fed from",
                  "source section", "from section", "upstream section", "parent section", "feeds from",
                  "previous section"),
    "feeder_id": ("feeder", "feeder no", "feeder name", "circuit", "circuit no", "circuit id", "circuit name"),
    "device": ("device type", "protection", "protective device", "equipment", "equipment type", "device kind",
               "kind", "type", "subtype"),
    "length_km": ("km", "length", "length in km", "line km", "kilometres", "kilometers", "route length km"),
    "length_mi": ("mi", "miles", "length in miles", "line miles", "length miles", "circuit miles"),
    "main_length_km": ("main km", "main length", "trunk km", "backbone km"),
    "main_length_mi": ("main miles", "trunk miles", "backbone miles"),
    "customers": ("customer count", "no of customers", "consumers", "members", "meters", "customers served",
                  "customers out", "customers affected", "customers interrupted", "consumers affected", "members out",
                  "connected customers", "customers connected", "customers restored", "connections",
                  "interrupted customers", "interrupted connections"),
    "customers_residential": ("residential", "residential customers", "res customers"),
    "customers_small_ci": ("small commercial", "small ci", "commercial customers", "sm com"),
    "customers_large_ci": ("large commercial", "industrial", "large ci", "industrial customers", "lg com"),
    "customers_three_phase": ("three phase customers", "cust 3ph", "customers on three phases"),
    "load_kw": ("kw", "average kw", "average load", "load", "mean load kw"),
    "peak_load_a": ("peak amps", "peak a", "peak load", "amps", "peak current", "load amps", "max amps"),
    "phases": ("phase count", "no of phases", "phasing", "phase designation", "phase code", "phase config"),
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
    "system_kv": ("kv", "nominal kv", "line kv"),
    "dead_time_s": ("dead s", "dead time", "reclose interval", "reclosing interval", "open interval"),
    "longest_dead_time_s": ("longest dead time", "longest reclose interval", "longest open interval"),
    "event_id": ("out no", "out id", "job", "job no", "event", "event no", "outage", "outage id", "outage no",
                 "incident",
                 "incident id", "incident no",
                 "case", "ticket", "order no", "fault no", "fault id"),
    "started": ("start", "start time", "off time", "time off", "outage start", "begin", "began", "interrupted",
                "date off", "outage date", "out time", "start date", "time out", "out", "off"),
    "restored": ("end", "end time", "on time", "time on", "restore time", "restoration time", "restoration", "date on",
                 "end date", "back on", "time in", "restored at", "outage end", "restored time", "time restored",
                 "date restored", "restoration date", "in", "on"),
    "cause": ("cause code", "cause description", "reason", "outage cause", "root cause"),
    "fault_kind": ("temporary or permanent", "fault type", "kind"),
    "planned": ("scheduled", "planned outage", "is planned", "prearranged"),
    "segment_id": ("segment", "segment no", "span", "span id", "line id", "line segment", "conductor id",
                   "facility id", "facility", "section id", "line section", "element id", "edge id", "branch id",
                   "asset id", "cable id"),
    "from_node": ("from", "from bus", "node from", "node 1", "start node", "begin node", "source node", "upstream node",
                  "from id", "from element", "from junction", "from point", "bus 1"),
    "to_node": ("to", "to bus", "node to", "node 2", "end node", "load node", "downstream node", "to id", "to element",
                "to junction", "to point", "bus 2"),
    "from_pole": ("from structure", "pole from", "pole 1", "start pole", "begin pole", "source pole", "upstream pole",
                  "upstream structure", "up pole", "from pole"),
    "to_pole": ("to structure", "pole to", "pole 2", "end pole", "load pole", "downstream pole", "downstream structure",
                "down pole", "to pole"),
    "node_id": ("node", "bus", "bus id", "junction", "junction id", "at node"),
    "pole_id": ("pole", "pole no", "structure", "structure id", "structure no", "support id"),
    "transformer_id": ("transformer", "transformer no", "transformer bank", "bank id", "bank no", "service point id",
                       "facility id"),
    "customer_id": ("meter", "meter id", "meter no", "account", "account no", "service id", "premise",
                    "premise id"),
    "device_id": ("device", "device no", "device name", "equipment id", "equipment no", "facility id", "switch no",
                  "asset id",
                  "device operated", "interrupting device", "isolating device"),
    "length_ft": ("ft", "feet", "length in feet", "line feet", "span feet", "span ft", "shape length ft",
                  "conductor feet"),
    "length_m": ("m", "metres", "length in m", "length in metres", "length in meters", "line metres", "span m",
                 "shape length m"),
    "length": ("span length", "line length", "measured length", "conductor length"),
    "normal_state": ("normal position", "normal status", "position", "normally open", "switch position",
                     "switch status"),
    "conductor": ("conductor size", "conductor type", "wire", "wire size"),
    "construction": ("construction type", "overhead underground", "oh ug", "line type", "installation"),
    "status": ("state", "lifecycle", "record status", "life cycle status", "work status", "account status",
               "service status", "meter status"),
    "duration": ("outage duration", "length of outage", "duration hours"),
    "duration_min": ("duration minutes", "minutes", "outage minutes", "minutes out"),
    "customer_class": ("rate class", "class", "revenue class", "customer type"),
    "energy_kwh": ("kwh", "annual kwh", "yearly kwh", "energy"),
    "connected_kva": ("kva", "transformer kva", "rated kva", "kva rating", "bank kva"),
    "fault_current_from_a": ("if from", "fault current from", "fault amps from", "from fault current", "isc from"),
    "fault_current_to_a": ("if to", "fault current to", "fault amps to", "to fault current", "isc to"),
    "fault_current_a": ("fault current", "source fault current", "fault amps", "short circuit current"),
    "area": ("operating area", "op area", "district", "region", "division", "service center"),
    "location": ("street", "address", "grid", "grid reference", "location id"),
    "from": ("previous reading date", "last reading date", "read from", "from date", "event time", "operated",
             "time of operation"),
    "to": ("reading date", "read date", "read to", "to date", "this reading date"),
    "operations": ("steps", "counts", "count", "operations count", "trips", "openings", "counter difference"),
    "generation_kw": ("gen kw", "generation", "pv kw", "solar kw", "dg kw"),
    "capacitor_kvar": ("cap kvar", "capacitor", "capacitors", "kvar", "cap bank kvar"),
}
# What the words of a header are short for; our collection, common practice, no source.
ABBREVIATIONS: dict[str, str] = {
    "amp": "a", "amps": "a", "ampere": "a", "amperes": "a", "avg": "average", "ave": "average", "cct": "circuit",
    "ckt": "circuit", "cur": "current", "cust": "customers", "custs": "customers", "customer": "customers",
    "dev": "device", "elem": "element", "equip": "equipment", "fac": "facility", "constr": "construction",
    "desig": "designation", "dt": "date", "dttm": "time", "fdr": "feeder", "flt": "fault",
    "ident": "id", "identifier": "id", "inc": "incident", "lat": "lateral", "len": "length", "lgth": "length",
    "max": "maximum", "min": "minimum", "nbr": "no", "nd": "node", "nr": "no", "num": "no", "number": "no",
    "ph": "phases",
    "phase": "phases", "pk": "peak", "prot": "protective", "res": "residential", "seg": "segment", "sect": "section",
    "sec": "section", "upln": "upline", "upstr": "upstream", "xfmr": "transformer", "xfrmr": "transformer",
    "xfmrs": "transformer",
}


def exact_name(header: str) -> str:
    """A header as a column is named: spaces around, case, and spaces or hyphens for underscores make no difference."""
    return re.sub(r"[\s\-]+", "_", header.strip().casefold())


def in_both_units(name: str) -> tuple[str, ...]:
    """A column's name and, where it holds a length or a rate per length, that of the column in the other unit."""
    for unit, other in (("_km", "_mi"), ("_mi", "_km")):
        if name.endswith(unit):
            return name, name.removesuffix(unit) + other
    return (name,)


def match_names(headers: Collection[str], columns: Sequence[ColumnRule], taken: Collection[str] = ()) -> dict[str, str]:
    """Header → the column it probably stands for; headers that stand for none are left out.

    No column is given twice, nor in both units unless both are named exactly. A column that is
    required is found by less likeness than another. taken: columns that have a header already.
    """
    found: dict[str, str] = {}
    free = {c.name: c for c in columns if c.name not in taken}
    for header in headers:
        if exact_name(header) in free:
            found[header] = exact_name(header)
            del free[found[header]]
    words = {h: words_of(h) for h in headers if h not in found}

    def exclude(name: str) -> None:
        for column in in_both_units(name):
            free.pop(column, None)

    def take(header: str, name: str) -> None:
        found[header] = name
        exclude(name)

    for name in (*taken, *found.values()):
        exclude(name)
    for meanings in (_names_called, _names_meant):
        for header in [h for h in words if h not in found]:
            names = meanings(words[header], columns)
            matches = [n for n in names if n in free]
            if matches:
                take(header, matches[0])
            elif names:
                del words[header]      # another header stands for the same already
    for header in [h for h in words if h not in found and len(h) == CUT]:
        names = [n for n in _names_begun(words[header], columns) if n in free]
        if len(names) == 1:
            take(header, names[0])
    alike = [h for h in words if h not in found and SHORTEST_HEADER <= len(words[h]) <= LONGEST_WORD]
    for header, name in _by_likeness(alike, free):
        if header not in found and name in free:
            take(header, name)
    return {header: found[header] for header in headers if header in found}


@functools.lru_cache(4096)
def words_of(header: str) -> str:
    """A header in whole lower-case words: CustServed, CUSTSERVED and "Cust. served" are "customers served"."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header[:4 * LONGEST_WORD])
    words = [w for token in re.sub(r"[\W_]+", " ", spaced.casefold()).split() for w in _split_joined(token)]
    return " ".join(ABBREVIATIONS.get(w, w) for w in words)


def guess_table(file: str, headers: Collection[str]) -> str:
    """Which table a file is: by its name, else by the columns that its headers are, then by those they may be."""
    stem = words_of(file.rpartition(".")[0]).split()
    for table in COLUMN_TABLES:
        if table in stem:
            return table

    def score(table: str) -> tuple[int, float, int]:
        names = {c.name for c in COLUMN_TABLES[table]}
        hits = set(match_names(headers, COLUMN_TABLES[table]).values())
        required = [c.name for c in COLUMN_TABLES[table] if c.required]
        return sum(exact_name(h) in names for h in headers), sum(n in hits for n in required) / len(required), len(hits)

    return max(COLUMN_TABLES, key=score)


def column_map(chosen: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """`[columns.…]` of study.toml for a choice of columns by header: names to headers, and headers to ignore.

    chosen: header → column, "" for a header to ignore. A header that is the column's own name needs no entry.
    """
    names = {name: header for header, name in chosen.items() if name and exact_name(header) != name}
    return names, [header for header, name in chosen.items() if not name and header]


def _names_called(words: str, columns: Sequence[ColumnRule]) -> list[str]:
    return [c.name for c in columns if words_of(c.name) == words]


def _names_meant(words: str, columns: Sequence[ColumnRule]) -> list[str]:
    bare = words.removesuffix(" a").removesuffix(" no")
    return [c.name for c in columns if {words, bare} & _trade_words(c.name)]


def _names_begun(words: str, columns: Sequence[ColumnRule]) -> list[str]:
    """Columns of which a name or word of the trade goes on where a header was cut within its last word."""
    return [c.name for c in columns
            if any(word.startswith(words) for word in (words_of(c.name), *_trade_words(c.name)))]


def _by_likeness(headers: Sequence[str], free: Mapping[str, ColumnRule]) -> list[tuple[str, str]]:
    """Pairs of header and column that are alike enough, the most alike first."""
    owner = {word: name for name in free for word in (words_of(name), *sorted(_trade_words(name)))}
    if not headers or not owner:
        return []
    from rapidfuzz import process  # loaded when first needed: most studies have no such simulation_input
    from rapidfuzz.distance import Indel
    likeness = process.cdist([words_of(h) for h in headers], list(owner), scorer=Indel.normalized_similarity)
    names = list(owner.values())
    enough = np.array([LIKE_REQUIRED if free[name].required else LIKE_OTHER for name in names])
    at, word = np.nonzero(likeness >= enough)
    order = np.argsort(-likeness[at, word], kind="stable")
    return [(headers[i], names[k]) for i, k in zip(at[order], word[order], strict=True)]


@functools.cache
def _trade_words(name: str) -> frozenset[str]:
    return frozenset(words_of(word) for word in TRADE_WORDS.get(name, ()))


@functools.cache
def _vocabulary() -> frozenset[str]:
    """Words of the columns' names, of the trade's words and of the abbreviations; no single letters."""
    names = [c.name.replace("_", " ") for columns in COLUMN_TABLES.values() for c in columns]
    phrases = (*names, *(w for words in TRADE_WORDS.values() for w in words), *ABBREVIATIONS, *ABBREVIATIONS.values())
    return frozenset(word for phrase in phrases for word in phrase.split() if len(word) > 1)


def _split_joined(token: str) -> list[str]:
    """The known words that a token is joined from, as few as possible; the token itself where it is not."""
    known = _vocabulary()
    if token in known or len(token) > LONGEST_WORD:
        return [token]
    best: list[list[str] | None] = [[], *[None] * len(token)]
    for end in range(1, len(token) + 1):
        ways = [[*before, token[start:end]] for start, before in enumerate(best[:end])
                if before is not None and token[start:end] in known]
        best[end] = min(ways, key=len, default=None)
    return best[-1] or [token]
