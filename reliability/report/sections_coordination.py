"""Section on coordination: what fuses and reclosing devices do by feeder and lateral, and as fault currents grow."""

from __future__ import annotations

import pandas as pd

from reliability.faults.coordination_view import OUTCOME_WORDS
from reliability.formats import noun_for
from reliability.report import charts_coordination
from reliability.report.blocks import Block, Column, Heading, Missing, Section, Table, Text, words
from reliability.report.content import Content, Coordinated, proposed_conversions
from reliability.report.figures import Figure, Sentence, say
from reliability.report.places import place_columns, with_names
from reliability.schema.columns import KM_PER_MILE

COORDINATION_TITLE = "Coordination of fuses and reclosing devices"
HEADS = {"saved": "Fuse saved", "both": "Both", "fuse_alone": "Fuse alone", "unknown": "Current unknown",
         "no_fuse": "No fuse in between", "not_set": "No fast operation set"}
OPERATION = Column("operation", "Operation")


def coordination(content: Content) -> Section:
    """Fuse saved, both or fuse alone: as built, with every device working and reclosing on."""
    found = content.coordination
    if found is None:
        return Section("coordination", COORDINATION_TITLE, (Missing("Coordination: it was not computed in this run."),))
    blocks: list[Block] = [
        words("On one operation of the recloser or breaker either it alone clears the fault (the fuse is saved), or it "
              "opens and the fuse melts as well (both), or the fuse clears before it (fuse alone). Which of them "
              "depends on the fault current, so it may change along a lateral.",
              "Figures are for today's protection with every device working, links as recorded and reclosing on. The "
              "fuse nearest the fault counts. Where fault currents are not known, the faults are shown apart."),
        Text(_rules(found)), Heading("Feeders"), *_feeders(found, content.study.in_miles),
        Heading("As fault currents grow"), _growth(found)]
    blocks += [Heading("Laterals proposed for conversion"), *_proposed(content, found)]
    return Section("coordination", COORDINATION_TITLE, tuple(blocks))


def _rules(found: Coordinated) -> Sentence:
    """How many laterals are judged by curves, how many by the assumed fast clearing time."""
    rules = found.laterals.drop_duplicates("lateral_id")["rule"]
    curves, simple = (int((rules == rule).sum()) for rule in ("curves", "fast clearing time"))
    return say("{a} {fuses} by the time-current curves of link and device; {b} by the assumed fast clearing time, as "
               "the link or the settings of the device are not known.", a=Figure(curves, "count"),
               fuses=noun_for(curves, "lateral fuse is judged", "lateral fuses are judged"), b=Figure(simple, "count"))


def _feeders(found: Coordinated, miles: bool) -> list[Table]:
    """Length and faults a year of each feeder by outcome, laterals and mains together."""
    made, length = [], "mi" if miles else "km"
    for key, title, unit, kind in (("faults_per_year", "Faults of each feeder by what an operation does", "1/yr",
                                    "ratio"), ("km", "Line of each feeder by what an operation does", length,
                                                "amount")):
        wide = found.feeders.pivot_table(index=["feeder_id", "operation"], columns="outcome", values=key,
                                         aggfunc="sum", sort=False).reset_index()
        wide = wide.rename(columns={name: short for short, name in OUTCOME_WORDS.values()})
        wide.columns.name = None
        if key == "km" and miles:
            wide[wide.columns.difference(["feeder_id", "operation"])] /= KM_PER_MILE
        sheet = "Coordination, faults" if key == "faults_per_year" else f"Coordination, {length}"
        made.append(Table(f"coordination-{key}", title, (
            Column("feeder_id", "Feeder"), OPERATION, *_columns(wide, kind, unit)), wide, sheet, 40))
    return made


def _columns(frame: pd.DataFrame, kind: str, unit: str = "") -> tuple[Column, ...]:
    """A column an outcome that occurs."""
    return tuple(Column(key, head, kind, unit) for key, head in HEADS.items() if (frame[key].fillna(0.0) > 0).any())


def _growth(found: Coordinated) -> Table:
    return Table("coordination-growth", "Share of the faults on laterals, as the source grows", (
        Column("fault_current_factor", "Fault currents, ×", "ratio"), OPERATION, *_columns(found.growth, "share")),
        found.growth, "Coordination, growth",
        note="Fault currents are multiplied by the factor; pickups, links and settings stay as they are.")


def _proposed(content: Content, found: Coordinated) -> list[Block]:
    """Shares of the laterals chosen, and pictures of the first of them."""
    chosen = proposed_conversions(content)
    if chosen is None or not len(chosen):
        return [Missing("Curves of laterals: no lateral is proposed for conversion in this run.")]
    order = {str(name): k for k, name in enumerate(chosen["section_id"])}
    rows = found.laterals[found.laterals["lateral_id"].isin(order.keys())]
    rows = rows.iloc[rows["lateral_id"].map(order).argsort(kind="stable")].reset_index(drop=True)
    network = content.study.network
    rows = with_names(network, rows.assign(fast_operations=rows["fast_operations"].astype(float)), "lateral_id",
                      "recloser_id")
    return [Table("coordination", "Share of the faults of each lateral proposed, best first", (
        *place_columns(network, rows, "lateral_id", "Lateral"), Column("fuse_link", "Link"),
        *place_columns(network, rows, "recloser_id", "Recloser or breaker"),
        Column("fast_operations", "Fast operations", "whole"), Column("rule", "Judged by"), OPERATION,
        Column("faults_per_year", "Faults", "index", "1/yr"), *_columns(rows, "share")), rows, "Coordination", 24),
        *(charts_coordination.curves(one, k) for k, one in enumerate(found.curves, 1))]
