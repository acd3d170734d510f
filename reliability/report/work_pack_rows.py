"""work_pack.csv: a row a sheet, with what is proposed, what is to be resolved, and blank fields to fill in."""

from __future__ import annotations

import hashlib

import numpy as np
import pandas as pd

from reliability.cautions import CAUTION
from reliability.network.application import open_points
from reliability.network.application_catalogue import VERDICTS
from reliability.network.application_remedies import open_points_of
from reliability.network.model import Model
from reliability.network.place_names import field_columns
from reliability.network.protection import protection
from reliability.network.rates import fault_currents_a
from reliability.network.tree import NO_DEVICE
from reliability.report.plain_words import without_keys
from reliability.report.work_pack_jobs import PROBABILITY, WorkPack
from reliability.report.work_pack_pages import Pages, pages_of
from reliability.report.work_pack_steps import BEFORE_SERVICE
from reliability.schema.devices import DEVICES

# settings of the device and of its backup: column of the row, label, unit
DEVICE_ENTRIES = (
    ("rated_current_a", "Continuous rating", "A"),
    ("actuating_current_a", "Actuating current", "A"),
    ("counts", "Counts", ""),
)
BACKUP = (
    ("operations_to_lockout", "Operations to lockout", ""),
    ("fast_operations", "Fast operations", ""),
    ("minimum_trip_a", "Minimum trip", "A"),
    ("dead_time_s", "Shortest dead time", "s"),
    ("longest_dead_time_s", "Longest dead time", "s"),
)
COUNTER_READING = ("counter", "Counter, reading", "")
# the tag and the work on a sheet: column of the row, label
TAG = (("tag_number", "Tag number"), ("tag_placed", "Placed by, date, time"),
       ("tag_removed", "Removed by, date, time"))
WORK = (("taken_out_at", "Taken out at"), ("restored_at", "Restored at"), ("done_by", "Signed: done by"),
        ("checked_by", "Signed: checked"), ("checked_on", "Date"))
COLUMNS_TO_FILL_IN = (*(f"{when}_{column}" for when in ("found", "left")
                        for column, _, _ in (*DEVICE_ENTRIES, *BACKUP, COUNTER_READING)),
                      *(column for column, _ in TAG), *(step.column for step in BEFORE_SERVICE),
                      *(column for column, _ in WORK))
COVER = ("date", "prepared_by", "approved_by")      # keys of [report] that stand on the cover
DIGITS_OF_REVISION = 8


def work_pack_rows(pack: WorkPack) -> pd.DataFrame:
    """A row a sheet, in its order; NaN where the study does not know.

    The caution comes first, then page and status of the sheet, the lateral, the units and settings proposed, the
    backup's settings to verify, and the fields to fill in.
    """
    rows, pages = _proposed(pack), pages_of(pack)
    sheets = pack.with_sheet
    resolve = [" ".join(without_keys(point.remedy) for point in open_points_of(pack.checks, at))
               for at in sheets["at"].tolist()]
    first = pd.DataFrame({
        "caution": CAUTION, "revision": revision_of(pack), "page": _page_numbers(pages),
        "year": sheets["year"].where(sheets["year"] > 0).astype("Int64"),
        "status": sheets["status"], "resolve": resolve}, index=rows.index)
    if sheets[PROBABILITY].notna().any():
        rows = rows.assign(**{PROBABILITY: sheets[PROBABILITY]})
    return pd.concat([first, rows, pd.DataFrame("", rows.index, list(COLUMNS_TO_FILL_IN))], axis=1)


def revision_of(pack: WorkPack) -> str:
    """Letters and digits that differ wherever anything proposed, its order, year or status does, and where the date or
    a name of the cover does.
    """
    jobs = pack.jobs.drop(columns=["at", PROBABILITY])
    years = [pack.year_name(year) for year in sorted({*pack.jobs["year"], *pack.resets["year"]})]
    text = "\n".join((*(frame.to_csv(index=False) for frame in (jobs, pack.resets, _proposed(pack))), *years,
                      *(pack.stated(key) for key in COVER)))
    return hashlib.sha256(text.encode()).hexdigest()[:DIGITS_OF_REVISION].upper()


def _page_numbers(pages: Pages) -> list[str]:
    return [f"{hold}, {sheet}" if hold else str(sheet) for hold, sheet in pages.sheets]


def _proposed(pack: WorkPack) -> pd.DataFrame:
    """What is known and proposed of the laterals that have a sheet."""
    checks, at = pack.checks, pack.with_sheet["at"].to_numpy(dtype=int)
    network, settings = checks.network, checks.proposal.some(at)
    model = Model(network, checks.values)
    head, backup = settings.head, np.maximum(settings.backup, 0)
    has_backup = settings.backup >= 0
    return pd.DataFrame({
        "lateral_id": network.ids[head].astype(str),
        "feeder_id": network.feeder_ids[network.feeder[head]].astype(str),
        **field_columns(network.text, head),
        "customers": network.customers_below[head].round().astype(np.int64),
        "existing_device": _device_names(network.device[head]),
        "existing_fuse_link": network.text["fuse_link"][head],
        "verdict": np.array(VERDICTS, dtype=object)[checks.verdict[at]],
        "not_passed": open_points(checks)[at],
        "units": network.phases[head].astype(np.int64),
        "rated_current_a": settings.rated_a,
        "counts": pd.array(settings.counts, dtype="Int64"),
        "counts_in_scenario": pd.array(settings.counts_in_model, dtype="Int64"),
        "actuating_current_a": settings.actuating_a,
        "unseen_share": checks.unseen_share[at],
        "peak_load_a": network.column["peak_load_a"][head],
        "fault_current_source_a": fault_currents_a(model)[0][head],
        "smallest_fault_current_a": checks.check("sees_faults").value[at],
        "backup_id": np.where(has_backup, network.ids[backup].astype(str), ""),
        **{f"backup_{name}": np.where(has_backup, values, "")
           for name, values in field_columns(network.text, backup).items()},
        "backup_device": np.where(has_backup, _device_names(network.device[backup]), ""),
        "operations_to_lockout": pd.array(settings.lockout, dtype="Int64"),
        "fast_operations": pd.array(settings.fast, dtype="Int64"),
        "fast_operations_today": pd.array(np.where(has_backup, protection(model).fast[backup], np.nan), dtype="Int64"),
        "minimum_trip_a": settings.minimum_trip_a,
        "dead_time_s": settings.dead_time_s,
        "longest_dead_time_s": settings.longest_dead_time_s,
    })


def _device_names(codes: np.ndarray) -> np.ndarray:
    return np.array([*DEVICES, ""], dtype=object)[np.where(codes == NO_DEVICE, len(DEVICES), codes)]
