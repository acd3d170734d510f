"""Tables beside the wooded town's lines: transformers, meters, settings of the reclosing devices, outages."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from demo_protection import RECLOSER_S, VERY, inverse_pair
from town_network import MAIN, STREET, Line
from town_spans import BREAKER, RECLOSER, Spans

from reliability.network.tree import Network

HOMES_A_TRANSFORMER = {"street": 6, "woods": 3}
HOME_KVA, SHOP_KVA, PLANT_KVA = (15, 25, 37.5, 50), (25, 37.5, 50), (500, 750, 1000)
HOME_KWH, SHOP_KWH, PLANT_KWH = 8600.0, 24_000.0, 1_900_000.0       # a year, mean
SOLAR_SHARE = 0.015              # of the transformers
THREE_PHASE_SHOPS = 0.3          # of the shops on lines of three phases
# Phase and ground pickups, A, and dials of the delayed curves. Fast curves are set in the devices, and blocked.
SETTINGS = {BREAKER: (("phase", 600, 3.0), ("ground", 300, 4.0)), RECLOSER: (("phase", 100, 1.5),)}
BREAKER_S, FAST_DIAL = 0.05, 0.05
CODES = {"tree contact": "TR1", "lightning": "LTG", "animal": "ANI", "wind": "WND", "unknown": "UNK",
         "tree fell on line": "TR2", "broken pole": "POL", "failed equipment": "EQP", "vehicle": "VEH",
         "broken conductor": "CND", "transformer": "XFR", "scheduled work": "SCH"}
FAULTS = {"temporary": "NOTHING FOUND", "permanent": "REPAIRED", "": ""}


def transformers_and_meters(rng: np.random.Generator, lines: list[Line], of: Spans) -> tuple[list[dict], list[dict]]:
    """Transformers on the spans, and the meters that hang on them, a row each."""
    served, meters = [], []
    for line, ids in zip(lines, of.of_line, strict=True):
        near = "street" if line.kind in (MAIN, STREET) else "woods"
        groups = [("R", n) for n in _groups(rng, line.homes, HOMES_A_TRANSFORMER[near])]
        groups += [("GS", 1)] * line.shops + [("LP", 1)] * line.plants
        for word, count in groups:
            number = f"T{len(served) + 1:05d}"
            served.append({"XFMR": number, "LINE": ids[int(rng.integers(len(ids)))], "KVA": _kva(rng, word, count),
                           "SOLAR_KW": round(rng.uniform(3.0, 9.0), 1) if rng.random() < SOLAR_SHARE else 0})
            phases = len(line.phases) == 3 and (word == "LP" or (word == "GS" and rng.random() < THREE_PHASE_SHOPS))
            meters += [{"METER": f"M{len(meters) + k + 1:06d}", "XFMR": number, "CLASS": word,
                        "SERVICE": "3-PHASE" if phases else "1-PHASE", "KWH_YEAR": _kwh(rng, word)}
                       for k in range(count)]
    return served, meters


def _groups(rng: np.random.Generator, homes: int, usual: int) -> list[int]:
    """Homes on each transformer of a line, one at the least."""
    if not homes:
        return []
    count = max(1, round(homes / usual))
    return (1 + rng.multinomial(homes - count, np.full(count, 1.0 / count))).tolist()


def _kva(rng: np.random.Generator, word: str, count: int) -> float:
    if word != "R":
        return float(rng.choice(SHOP_KVA if word == "GS" else PLANT_KVA))
    return float(next((size for size in HOME_KVA if size >= 6.0 * count), HOME_KVA[-1]))


def _kwh(rng: np.random.Generator, word: str) -> int:
    mean = {"R": HOME_KWH, "GS": SHOP_KWH, "LP": PLANT_KWH}[word]
    return round(mean * rng.lognormal(-0.08, 0.4), -1 if word == "R" else -2)


def settings(of: Spans) -> list[dict]:
    """Rows of the settings: very inverse throughout."""
    words = {"phase": "PHASE", "ground": "EARTH", "fast": "FAST", "delayed": "SLOW", VERY: "VERY INVERSE"}
    return [{"DEVICE": device["DEVICE"], "ELEMENT": words[row["element"]], "CURVE_SET": words[row["operation"]],
             "PICKUP_AMPS": row["pickup_a"], "CURVE": words[row["curve"]], "DIAL": row["time_dial"],
             "OPENING_S": row["added_time_s"]}
            for device in of.devices for element, pickup, dial in SETTINGS.get(device["KIND"], ())
            for row in inverse_pair(element, pickup, VERY, FAST_DIAL, dial,
                                    BREAKER_S if device["KIND"] == BREAKER else RECLOSER_S)]


def outage(record: dict, device: Mapping[str, str]) -> dict:
    """A row of the outage system: the device that opened or the transformer, start and minutes.

    record: as in outages.csv. device: of each section, the one that protects it.
    """
    section = record["section_id"] if "transformer" not in record else ""
    minutes = ""
    if record["started"] and record["restored"]:
        minutes = round((pd.Timestamp(record["restored"]) - pd.Timestamp(record["started"])).total_seconds() / 60)
    return {"CASE": record["event_id"], "DEVICE": device.get(section, section), "XFMR": record.get("transformer", ""),
            "STARTED": record["started"].replace("T", " "), "MINUTES": minutes, "CUSTOMERS_OUT": record["customers"],
            "CAUSE": CODES[record["cause"]], "CREW_FOUND": FAULTS[record["fault_kind"]],
            "ARRANGED": "Y" if record["planned"] else "N", "CASE_STATE": record.get("status", "DONE")}


def device_of_sections(network: Network) -> dict[str, str]:
    """Number of the protective device at or above each section, by section_id."""
    return dict(zip(network.ids.tolist(), network.text["device_id"][network.protective].tolist(), strict=True))
