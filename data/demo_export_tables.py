"""Tables beside the lines: devices, transformers, sources, counters and settings of the geographic system, outages of
the other."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from demo_segments import Lines

DEVICES = {"breaker": "CB", "recloser": "RECLOSER", "lateral_recloser": "TAP RECLOSER",
           "sectionalizer": "SECTIONALIZER", "switch": "LOAD BREAK SW"}
TRIPPINGS = {"": "", "single_phase": "1-POLE", "single_phase_three_phase_lockout": "1-POLE, 3-POLE LOCKOUT"}
# Theirs → ours.
DEVICE_COLUMNS = {"DEV_NO": "device_id", "LOCATION": "location", "COUNTS": "counts", "SHOTS": "operations_to_lockout",
                  "FAST_SHOTS": "fast_operations", "MIN_TRIP_A": "minimum_trip_a", "DEAD_S": "dead_time_s",
                  "LONGEST_DEAD_S": "longest_dead_time_s", "NO_RECLOSE_SHARE": "reclosing_off_share"}
CUSTOMERS_PER_TRANSFORMER = 4
SUMMED = {"RES": "customers_residential", "SM_COM": "customers_small_ci", "LG_COM": "customers_large_ci",
          "CUST_3PH": "customers_three_phase"}
TRANSFORMER_OUTAGES, CANCELLED, TWICE = 90, 30, 5      # rows of the outage system beside those of the demo
WORDS = {"temporary": "TEMP", "permanent": "PERM", "": ""}


def devices(rows: list[dict], lines: Lines) -> list[dict]:
    """Every device but fuses, on the first span of its section; open ties between two nodes."""
    found = []
    for row in rows:
        if row["device"] in DEVICES:
            found.append({theirs: row.get(ours, "") for theirs, ours in DEVICE_COLUMNS.items()} | {
                "TYPE": DEVICES[row["device"]], "SEG_ID": lines.of_section[row["section_id"]][0], "STATE": "N.C.",
                "PHASING": lines.letters[row["section_id"]], "TRIPS": TRIPPINGS[row.get("tripping", "")]})
    pairs = {tuple(sorted((row["section_id"], row["tie_section_id"]))) for row in rows if row.get("tie_section_id")}
    for k, pair in enumerate(sorted(pairs)):
        ends = [lines.node[name] for name in pair]
        found.append({"DEV_NO": f"T{k + 1:02d}", "TYPE": "TIE SW", "STATE": "N.O.", "PHASING": "ABC",
                      "FROM_NODE": ends[0], "TO_NODE": ends[1]})
    return found


def sources(rows: list[dict], lines: Lines) -> list[dict]:
    return [{"NODE": lines.node[row["area"]], "FEEDER": row["feeder_id"], "KV": 12.47, "SUBSTATION": row["area"]}
            for row in rows if not row["parent_id"]]


def transformers(rng: np.random.Generator, rows: list[dict], lines: Lines) -> dict[str, list[dict]]:
    """Transformers of each section, with its customers, load and kVA shared out to the last digit."""
    found: dict[str, list[dict]] = {}
    number = 0
    for row in rows:
        n = row["customers"]
        count = max(1, round(n / CUSTOMERS_PER_TRANSFORMER))
        classes = np.repeat(np.arange(3), [row["customers_residential"], row["customers_small_ci"],
                                           row["customers_large_ci"]])
        three = np.arange(n) >= n - row["customers_three_phase"]        # the largest are served by three phases
        at = rng.permutation(np.concatenate([np.arange(count), rng.integers(0, count, n - count)]))
        weight = np.bincount(at, np.array([1.0, 3.0, 30.0])[classes], count)
        kilowatts, kva = _shared(row["load_kw"], 0.1, weight), _shared(float(row["connected_kva"]), 2.5, weight)
        spans = lines.of_section[row["section_id"]]
        made = []
        for k in range(count):
            here, number = at == k, number + 1
            numbers = [int((classes[here] == c).sum()) for c in range(3)] + [int(three[here].sum())]
            made.append({"XFMR_ID": f"X{number:05d}", "SEG_ID": spans[int(rng.integers(len(spans)))], "KVA": kva[k],
                         "CUST": int(here.sum()), **dict(zip(SUMMED, numbers, strict=True)), "LOAD_KW": kilowatts[k]})
        found[row["section_id"]] = made
    return found


def _shared(total: float, unit: float, weight: np.ndarray) -> list[str]:
    """A total in whole units, shared out by weight without a remainder."""
    edges = np.round(np.cumsum(weight) / weight.sum() * round(total / unit)).astype(int)
    return [f"{steps * unit:.1f}" for steps in np.diff(edges, prepend=0).tolist()]


def outages(rng: np.random.Generator, records: list[dict], place: Mapping[str, dict], served: list[dict]) -> list[dict]:
    """Rows of the outage system. place: DEV_NO or SEG_ID of each section. served: transformers."""
    return [_outage(record, {"XFMR_ID": record["transformer"]} if "transformer" in record else
                    place.get(record["section_id"], {"DEV_NO": record["section_id"]}))
            for record in with_others(rng, records, served)]


def with_others(rng: np.random.Generator, records: list[dict], served: list[dict]) -> list[dict]:
    """Records with others: of transformers, which name them, cancelled ones with that status, some entered twice.

    served: transformers, each with XFMR_ID and CUST.
    """
    rows = list(records)
    for k in range(TRANSFORMER_OUTAGES):
        like, one = records[int(rng.integers(len(records)))], served[int(rng.integers(len(served)))]
        begin = pd.Timestamp(like["started"] or like["restored"]) + pd.Timedelta(hours=int(rng.integers(30, 90)))
        end = begin + pd.Timedelta(minutes=int(rng.integers(40, 260)))
        rows.append({"event_id": f"T{k + 1:04d}", "started": str(begin), "restored": str(end), "customers": one["CUST"],
                     "cause": "transformer", "fault_kind": "permanent", "planned": "", "transformer": one["XFMR_ID"]})
    for k in rng.choice(len(records), CANCELLED, replace=False).tolist():
        rows.append(rows[k] | {"event_id": f"C{k:05d}", "status": "CANCELLED"})
    rows += [dict(rows[k]) for k in rng.choice(len(records), TWICE, replace=False).tolist()]
    return rows


def _outage(record: dict, where: dict) -> dict:
    row = {"JOB": record["event_id"], **where, "CUST_OUT": record["customers"], "CAUSE": record["cause"].upper(),
           "FAULT": WORDS[record["fault_kind"]], "TYPE": "PLANNED" if record["planned"] else "UNPLANNED",
           "STATUS": record.get("status", "CLOSED")}
    for name, text in (("OFF", record["started"]), ("ON", record["restored"])):
        if text:
            at = pd.Timestamp(text)
            row |= {f"DATE_{name}": f"{at:%m/%d/%Y}", f"TIME_{name}": f"{at:%I:%M:%S %p}"}
    return row
