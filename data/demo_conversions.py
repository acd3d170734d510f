"""Fifteen laterals of the invented cooperative that were converted three years before its records end.

Chosen for their length, not for what the records said: the longest overhead ones of one phase, without fused branches,
on two feeders where breakers do not trip fast. Two crews did one every few days.
"""

from __future__ import annotations

import datetime as dt

from demo_protection import is_branch

from reliability.schema.scenarios import Conversion, Scenario

FEEDERS = ("AC3", "MI3")
LATERALS = 15
FIRST_DAY, DAYS_BETWEEN = dt.date(2022, 10, 10), 4
COUNTS = 3
PLAN = f"""\
[[report.plans]]
name = "Pilot of sectionalizers on long laterals"
year = 2022
promised = "20 laterals of AC3 and MI3 converted in 2022; sustained interruptions on them down by two thirds"
done = "{LATERALS} laterals converted from October to December 2022; five put off, as their poles were due for \
replacement"
cost = 33000
laterals = "all"
"""


def converted(rows: list[dict]) -> dict[str, dt.date]:
    """section_id of each converted lateral, and the day; rows of sections.csv as they were before."""
    branched = {row["section_id"].split("s")[0].removesuffix("a") for row in rows if is_branch(row)}
    plain = [row for row in rows if row["device"] == "fuse" and row["feeder_id"] in FEEDERS and row["phases"] == 1
             and row.get("fuse_link") and not row.get("construction") and not is_branch(row)
             and row["section_id"] not in branched]
    longest = sorted(plain, key=lambda row: (-row["length_km"], row["section_id"]))[:LATERALS]
    names = sorted(row["section_id"] for row in longest)
    return {name: FIRST_DAY + dt.timedelta(days=DAYS_BETWEEN * k) for k, name in enumerate(names)}


def as_scenario(days: dict[str, dt.date]) -> Scenario:
    """The same conversions as a scenario of the network before them."""
    return Scenario("Converted", {name: Conversion("sectionalizer", COUNTS) for name in days})


def convert(rows: list[dict], days: dict[str, dt.date]) -> str:
    """Put the sectionalizers into the rows; returns [history.conversions] with what stood there before."""
    lines = ["[history.conversions]"]
    for row in rows:
        if row["section_id"] in days:
            lines.append(f'{row["section_id"]} = {{ day = {days[row["section_id"]]}, device = "fuse", '
                         f'fuse_link = "{row["fuse_link"]}" }}')
            row |= {"device": "sectionalizer", "fuse_link": "", "counts": COUNTS}
    return "\n".join(lines) + "\n"
