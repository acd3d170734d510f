"""Sections on laterals: the selection, the application checks."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from reliability.business.break_even import BREAK_EVEN
from reliability.business.constraints import fast_settings
from reliability.business.frontier import UNITS_OF
from reliability.business.stability import STAYS, WORTH_IT
from reliability.formats import DASH, noun_for, shown
from reliability.network.application import (
    ApplicationChecks,
    application_frame,
    evidence_frame,
    spare_counts,
    verdict_counts,
    verdicts_said,
    wrong_links,
    wrong_links_said,
)
from reliability.network.application_catalogue import PASS, VERDICTS, WHOLE_NUMBERS
from reliability.report import charts, sections_map
from reliability.report.blocks import Block, Column, Heading, Missing, Section, Table, Text
from reliability.report.content import Content, Selected
from reliability.report.figures import Figure, Name, Sentence, pointer, resolve, say
from reliability.report.frontier_mix import devices, unproven
from reliability.report.places import place_columns, with_names
from reliability.report.reporting import calendar_years
from reliability.report.sentences_break_even import SHARE_KIND, selection_saidi_gain
from reliability.report.status_totals import ON_HOLD, STATUS_LABELS, STATUS_SUMS

AMOUNT_COLUMNS = (Column("customers", "Customers", "count"),
                  Column("customer_interruptions", "Customer interruptions", "amount", "1/yr"),
                  Column("customer_minutes", "Customer-minutes", "count", "1/yr"),
                  Column("momentary_events", "Momentary events", "amount", "1/yr"),
                  Column("callouts", "Call-outs", "index", "1/yr"))
EVIDENCE_ROWS = 200_000     # more make the workbook slow to open; our choice


def selection(content: Content) -> Section:
    """The laterals chosen, the trade between money and SAIDI, the programme by year."""
    title, chosen = "Selection and programme", content.selected
    if chosen is None:
        return Section("selection", title, (Missing("The selection: it was not made in this run."),))
    blocks: list[Block] = [Text(say("{m}", m=chosen.message)), Text((_settings(content),))]
    if chosen.feasible:
        blocks.append(_totals(content, chosen))
        if statuses := _by_status(content):
            blocks.append(statuses)
        if turns := selection_saidi_gain(content):
            blocks.append(Text(turns))
        if len(chosen.frame):
            blocks.append(_selected(content, chosen.frame, "selection", "Laterals and settings chosen, best NPV first"))
    blocks += sections_map.selection_map(content)
    blocks += _frontier(content, chosen)
    blocks += _programme(content, chosen)
    return Section("selection", title, tuple(blocks))


def _settings(content: Content) -> str:
    """Whether the choice may change fast tripping, and where that is asked for."""
    if content.study.values["proposed"] is not None:
        return "The proposal is the scenario that the study names; nothing was chosen within limits."
    if fast := fast_settings(content.study.values):
        return (f"The choice may set breakers and reclosers to {' or '.join(map(str, fast))} fast operations, each for "
                "the cost of changed settings.")
    return "The choice leaves the fast operations of breakers and reclosers as built, as the study asks."


PROPOSAL_TOTALS = (("laterals", "Laterals converted", "count", ""), ("units", "Units installed", "count", ""),
                   ("backup_settings_changed", "Backup settings changed", "count", ""),
                   ("capex", "Capital", "money", "money"),
                   ("npv", "NPV", "money", "money"), ("saidi_minutes_avoided", "SAIDI avoided", "minutes", "min/yr"),
                   ("saifi_avoided", "SAIFI avoided", "index", "1/yr"),
                   ("maifi_e_added", "MAIFI_E added", "index", "1/yr"),
                   ("worst_feeder_maifi_e_added", "MAIFI_E added on the worst feeder", "index", "1/yr"),
                   ("callouts_avoided", "Call-outs avoided", "amount", "1/yr"),
                   (BREAK_EVEN, "Break-even share of faults with reclosing off", SHARE_KIND, ""),
                   (STAYS, "Share of the laterals that stay chosen over the draws", SHARE_KIND, ""))


def _totals(content: Content, chosen: Selected) -> Table:
    """Totals side by side, a column each, so that every number keeps its own format."""
    kept = [t for t in PROPOSAL_TOTALS if t[0] in chosen.totals]
    frame = pd.DataFrame({"what": ["The proposal"], **{k: [float(chosen.totals[k])] for k, *_ in kept}})
    paths = pd.DataFrame({"what": [""], **{k: [_known(content, k)] for k, *_ in kept}})
    units = {"money": content.currency}
    columns = tuple(Column(k, label, kind, units.get(unit, unit)) for k, label, kind, unit in kept)
    return Table("selection-totals", "Expected cost and benefit of the proposal",
                 (Column("what", "Choice"), *columns), frame, "Selection totals", paths=paths)


def _by_status(content: Content) -> Table | None:
    """What is ready, what waits for its application checks, and both together; None where nothing is chosen."""
    found = content.at("choice", "by_status")
    if not found:
        return None
    kept = [t for t in PROPOSAL_TOTALS if t[0] in ("laterals", *STATUS_SUMS)]
    rows = [(STATUS_LABELS[name], ("by_status", name)) for name in found] + [("Total", ("totals",))]
    frame = pd.DataFrame({"status": [label for label, _ in rows], **{
        k: [float(content.at("choice", *place, k)) for _, place in rows] for k, *_ in kept}})
    paths = pd.DataFrame({"status": "", **{k: [pointer("choice", *place, k) for _, place in rows] for k, *_ in kept}})
    units = {"money": content.currency}
    return Table("selection-status", "What can be installed at once, and what is on hold", (
        Column("status", "Status"), *(Column(k, label, kind, units.get(unit, unit)) for k, label, kind, unit in kept)),
        frame, "Selection by status", paths=paths,
        note="Every other figure of the proposal counts what is on hold in full." if ON_HOLD in found else "")


def _known(content: Content, key: str) -> str:
    path = pointer("choice", "totals", key)
    return path if resolve(content.summary, path) is not None else ""


def _selected(content: Content, frame: pd.DataFrame, key: str, title: str, shown_rows: int = 30) -> Table:
    network = content.study.network
    frame, year = _dated(content, with_names(network, frame, "section_id"))
    columns = (
        Column("year", year, "whole"), Column("what", "What", where="sheet"),
        *place_columns(network, frame, "section_id", "Lateral or backup"),
        Column("feeder_id", "Feeder"), Column("device", "Device", where="sheet"),
        Column("counts", "Counts", "whole", where="sheet"), Column("setting", "New device or setting", where="page"),
        Column("verdict", "Application checks"),
        Column("fast_operations_of_backup", "Fast operations of backup", "whole", where="sheet"),
        Column("units", "Units", "count"),
        Column("capex", "Capital", "money", content.currency), Column("npv", "NPV", "money", content.currency),
        Column(WORTH_IT, "Probability that NPV is above 0", "probability"),
        Column(STAYS, "Share of draws that choose it again", "share", where="sheet"),
        Column("customer_interruptions_avoided", "Customer interruptions avoided", "amount", "1/yr", where="sheet"),
        Column("customer_minutes_avoided", "Customer-minutes avoided", "count", "1/yr"),
        Column("momentary_events_added", "Momentary events added", "amount", "1/yr"),
        Column("callouts_avoided", "Call-outs avoided", "index", "1/yr"),
        Column(BREAK_EVEN, "Break-even share of faults with reclosing off", SHARE_KIND),
        Column("cumulative_capex", "Capital so far", "money", content.currency),
        Column("cumulative_npv", "NPV so far", "money", content.currency),
        Column("cumulative_saidi_minutes_avoided", "SAIDI avoided so far", "minutes", "min/yr"))
    frame = frame.assign(device=frame["device"].astype(str).str.replace("_", " ")).reset_index(drop=True)
    frame["setting"] = [_setting(row) for row in frame.to_dict("records")]
    if content.selected is not None and content.selected.verdicts:
        frame["verdict"] = frame["section_id"].astype(str).map(content.selected.verdicts).fillna(DASH)
    kept = tuple(c for c in columns if c.key in frame)
    return Table(key, title, kept, frame[[c.key for c in kept]], key.capitalize(), shown_rows)


def _dated(content: Content, frame: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """The frame with calendar years where it has years, and how their column is called."""
    if "year" not in frame:
        return frame, "Year"
    years, name = calendar_years(content.study, content.history, frame["year"])
    return frame.assign(year=years), name


def _setting(row: dict[Any, Any]) -> str:
    """What is put there, in words."""
    if row["what"] != "lateral":
        return f"{shown(row['fast_operations_of_backup'], 'whole')} fast operations"
    counts = row["counts"]
    return str(row["device"]) + (f", {int(counts)} counts" if counts == counts and counts is not None else "")


def _frontier(content: Content, chosen: Selected) -> list[Block]:
    frame = chosen.frontier
    if frame is None or not len(frame):
        return [Missing("The trade between money and SAIDI: it was not computed in this run.")]
    by_device = [Column(UNITS_OF + d, f"{d.replace('_', ' ').capitalize()}s", "count") for d in devices(frame)]
    changes = "backup_settings_changed" in frame and bool(frame["backup_settings_changed"].any())
    said: list[Block] = [Text(say("{m}", m=more))] if (more := unproven(frame)) else []
    return [charts.frontier(content, frame), *said, Table("frontier", "The largest SAIDI reduction for each budget", (
        Column("budget", "Budget", "money", content.currency), Column("capex", "Spent", "money", content.currency),
        Column("laterals", "Laterals", "count"), Column("units", "Units", "count"), *by_device,
        *([Column("backup_settings_changed", "Backup settings changed", "count")] if changes else []),
        Column("saidi_minutes_avoided", "SAIDI avoided", "minutes", "min/yr"),
        Column("maifi_e_added", "MAIFI_E added", "index", "1/yr"), Column("npv", "NPV", "money", content.currency)),
        frame.reset_index(drop=True), "Frontier", 40)]


def _programme(content: Content, chosen: Selected) -> list[Block]:
    if chosen.programme is None:
        return [Missing("A programme by year: none was asked for in this run.")]
    blocks: list[Block] = [Heading("Programme by year")]
    if chosen.programme_message:
        blocks.append(Text(say("{m}", m=chosen.programme_message)))
    if len(chosen.programme):
        blocks.append(_by_year(content, chosen.programme))
        blocks.append(_selected(content, chosen.programme, "programme", "Programme, lateral by lateral", 0))
    return blocks


def _by_year(content: Content, frame: pd.DataFrame) -> Table:
    """The programme summed by year."""
    sums = frame.assign(laterals=(frame["what"] == "lateral").astype(float)).groupby("year", as_index=False).agg(
        laterals=("laterals", "sum"), units=("units", "sum"), capex=("capex", "sum"), npv=("npv", "sum"),
        capital=("cumulative_capex", "last"), saidi=("cumulative_saidi_minutes_avoided", "last"))
    sums, year = _dated(content, sums)
    return Table("programme-years", "Programme by year, expected values", (
        Column("year", year, "whole"), Column("laterals", "Laterals", "count"), Column("units", "Units", "count"),
        Column("capex", "Capital", "money", content.currency), Column("npv", "NPV", "money", content.currency),
        Column("capital", "Capital so far", "money", content.currency),
        Column("saidi", "SAIDI avoided so far", "minutes", "min/yr")), sums, "Programme by year")


def application(content: Content) -> Section:
    """Can the laterals take the device."""
    title, checks = "Application checks", content.application
    if checks is None:
        return Section("application", title, (Missing("The application checks: they were not made in this run."),))
    counts = verdict_counts(checks).astype(dict.fromkeys(VERDICTS, float)).reset_index(drop=True)
    blocks: list[Block] = [
        Text(say("{n} {laterals} checked for a sectionalizer: {said}.", n=Figure(len(checks), "count"),
                 laterals=noun_for(len(checks), "lateral"), said=verdicts_said(checks))),
        Text(_judged_as(content, checks)),
        Text(("A lateral has the gravest verdict of the checks that decide: fail before unknown before review before "
              "pass. What is for review or unknown is settled before anything is installed.",)),
        Table("verdicts", "Laterals by check and verdict", (
            Column("label", "Check"), *(Column(v, v.capitalize(), "count") for v in VERDICTS)), counts, "Verdicts")]
    blocks += sections_map.verdict_map(content)
    failing, network = with_names(checks.network, _not_passing(checks), "lateral_id"), checks.network
    if (checks.verdict != PASS).any():
        blocks.append(Table("application", "Laterals that do not pass, the first of them",
              (*place_columns(network, failing, "lateral_id", "Lateral"), Column("verdict", "Verdict"),
               Column("rated_current_a", "Rating", "any", "A"), Column("counts", "Counts", "whole"),
               Column("actuating_current_a", "Actuating current", "any", "A"),
               Column("unseen_share", "Faults not seen", "share"),
               Column("not_passed", "Failed, unknown or for review")),
              failing, "Application", 12, whole="Laterals that do not pass"))
    links = with_names(network, wrong_links(checks), "lateral_id")
    blocks.append(Text(say("{said}.", said=wrong_links_said(checks))))
    if len(links):
        blocks.append(Table("wrong-links", "Existing fuses with another link than asked for, the first of them", (
            *place_columns(network, links, "lateral_id", "Lateral"), Column("fuse_link", "Link"),
            Column("rating_a", "Rating", "any", "A"),
            Column("asked_a", "Asked for", "any", "A"), Column("finding", "Finding")), links, "Wrong links", 12,
            whole="Existing fuses with another link than asked for"))
    if len(checks) * len(checks.checks) <= EVIDENCE_ROWS:
        blocks.append(Table("evidence", "Evidence by lateral and check", (
            Column("lateral_id", "Lateral"), Column("label", "Check"), Column("value", "Value", "any"),
            Column("unit", "Unit"),
            Column("limit", "Limit", "any"), Column("margin", "Margin", "ratio", "×"),
            Column("spare", "Counts to spare", "whole"), Column("verdict", "Verdict"),
            Column("reason", "Reason")), _evidence(checks), "Evidence", 0))
    return Section("application", title, tuple(blocks))


def _judged_as(content: Content, checks: ApplicationChecks) -> Sentence:
    """With which counts the laterals are judged: those proposed with their own."""
    counts, proposed = checks.scenario.counts, content.selected is not None and bool(content.selected.verdicts)
    how = say("with the counts that the study states") if counts is None else say(
        "with {n} {counts}, as the scenario {s} sets them", n=Figure(counts, "count"), counts=noun_for(counts, "count"),
        s=Name(checks.scenario.name))
    return say("Laterals that are proposed are judged as they are to be set there, the others {how}.", how=how) if (
        proposed) else say("They are judged {how}.", how=how)


def _evidence(checks: ApplicationChecks) -> pd.DataFrame:
    """The evidence with the margin of what is counted in counts, of all else as a factor."""
    evidence = evidence_frame(checks)
    counted = evidence["unit"].eq(WHOLE_NUMBERS)
    return evidence.assign(spare=spare_counts(evidence), margin=evidence["margin"].mask(counted))


def _not_passing(checks: ApplicationChecks) -> pd.DataFrame:
    """Rows of application.csv of the laterals that do not pass, the gravest verdict first."""
    gravest_first = np.argsort(-checks.verdict, kind="stable")
    frame = application_frame(checks).iloc[gravest_first[checks.verdict[gravest_first] != PASS]]
    return frame.assign(counts=frame["counts"].astype(float)).reset_index(drop=True)
