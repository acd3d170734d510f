"""The report of an import as frames: totals, what matched, what balances."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.intake.customers import SectionLoads
from reliability.intake.device_rows import Devices, is_device
from reliability.intake.findings import AMBER, CUSTOMER, RED, Findings, state_of, state_of_lost
from reliability.intake.kinds import OUTAGE_ROWS
from reliability.intake.outages import Outages
from reliability.intake.outcome import ImportReport
from reliability.intake.placing import ON_LINE, Tree
from reliability.intake.spans import Spans
from reliability.intake.typed import Typed
from reliability.network.forest import topmost
from reliability.schema.columns import KM_PER_MILE
from reliability.schema.devices import DEVICES, LATERAL_DEVICES

ALL_FEEDERS_LABEL = "All"


def import_report(typed: Typed, spans: Spans, tree: Tree, feeder: np.ndarray, frame: pd.DataFrame, parent: np.ndarray,
                  devices: Devices, served: SectionLoads, outages: Outages | None, findings: Findings) -> ImportReport:
    """Totals by feeder, shares matched and the balance of an import. feeder: (n,) of the tree's
    sections. frame: merged sections; parent: (runs,) of them."""
    fed = np.zeros(len(spans), bool)
    fed[tree.span[tree.why == ON_LINE]] = True
    line = ~spans.inserted & (spans.ends[:, 0] != spans.ends[:, 1])
    dead = line & ~fed
    findings.add("topology", "island", "Segments that no source energises: left out",
                 state_of_lost(int(dead.sum()), int(line.sum())), spans.ids[dead], km=float(spans.km[dead].sum()))
    years = _years(outages)
    totals = _totals(frame, parent, outages, feeder, years)
    _note_totals(totals, findings)
    return ImportReport(totals, _matched(spans, line, fed, devices, tree, served, outages),
                        _balance(typed, spans, line, fed, frame, served, outages), findings,
                        {"years": years, "planned_words": _planned(typed)})


def _note_totals(totals: pd.DataFrame, findings: Findings) -> None:
    """No index per customer exists where there are none, no line fails that has no length. totals: a row a feeder, and
    ALL_FEEDERS_LABEL."""
    if not totals["km"].iloc[-1]:
        findings.add("topology", "network_without_length", "No length at all, so that no line has faults: bring a "
                     "column of lengths", RED, [ALL_FEEDERS_LABEL])
    none = totals["customers"].to_numpy(float) == 0.0
    feeders = totals["feeder_id"].to_numpy(object)
    if none[-1]:
        findings.add("customers", "no_customers", "No customers at all, so that SAIFI and SAIDI do not exist: bring a "
                     "table of transformers or meters with their customers, or a column of customers in the segments",
                     RED, [ALL_FEEDERS_LABEL], CUSTOMER)
    else:
        findings.add("customers", "feeder_without_customers", "Feeders without customers: no indices of their own",
                     AMBER, feeders[none], "feeder")


def _years(outages: Outages | None) -> float:
    """Span of the records in years, NaN without."""
    if outages is None or np.isnat(outages.started).all():
        return float("nan")
    days = outages.started[~np.isnat(outages.started)].astype("datetime64[D]")
    return float((days.max() - days.min()).astype(int) + 1) / 365.25


def _planned(typed: Typed) -> dict[str, str]:
    """Word → what it means for `planned`."""
    return {w.word: (w.meaning.values.get("planned", "") if w.meaning else "") for w in typed.words
            if w.column == "planned"}


def _totals(frame: pd.DataFrame, parent: np.ndarray, outages: Outages | None, feeder: np.ndarray, years: float
            ) -> pd.DataFrame:
    device = frame["device"].to_numpy(object).astype(str)
    lateral = topmost(parent, np.isin(device, LATERAL_DEVICES)) == np.arange(len(frame))
    table = pd.DataFrame({"feeder_id": frame["feeder_id"], "sections": 1, "km": frame["length_km"],
                          "customers": frame["customers"].fillna(0.0),
                          "connected_kva": frame["connected_kva"].astype(float),
                          "laterals": lateral.astype(int)})
    for name in DEVICES:
        table[name] = (device == name).astype(int)
    totals = table.groupby("feeder_id", sort=True).sum(min_count=1)      # no kVA brought is no figure, not 0
    totals["mi"] = totals["km"] / KM_PER_MILE
    if outages is not None:
        of = np.where(outages.section >= 0, feeder[np.maximum(outages.section, 0)], "")
        minutes = pd.Series(np.nan_to_num(outages.customer_minutes)).groupby(of).sum()
        events = outages.frame["event_id"].groupby(of).nunique()
        totals["outages_per_year"] = (events / years).reindex(totals.index).fillna(0.0)
        totals["customer_minutes_per_year"] = (minutes / years).reindex(totals.index).fillna(0.0)
    totals.loc[ALL_FEEDERS_LABEL] = totals.sum(min_count=1)
    return totals.reset_index()


def _matched(spans: Spans, line: np.ndarray, fed: np.ndarray, devices: Devices, tree: Tree, served: SectionLoads,
             outages: Outages | None) -> pd.DataFrame:
    km = spans.km
    real = is_device(devices.kinds)
    at = np.array([name in tree.device_at or bool(open_) for name, open_ in
                   zip(devices.ids.tolist(), devices.open.tolist(), strict=True)], bool).reshape(len(devices))
    rows = [("segments", "segments energised", int((line & fed).sum()), int(line.sum())),
            ("km", "length energised, km", float(km[line & fed].sum()), float(km[line].sum())),
            ("devices", "devices placed", int((real & at).sum()), int(real.sum())),
            ("customer_rows", "customer rows placed", served.placed_rows, served.rows),
            ("customers", "customers placed", served.placed_customers, served.customers)]
    if outages is not None:
        placed, minutes = outages.section >= 0, np.nan_to_num(outages.customer_minutes)
        rows += [("outages", "outage rows placed", int(placed.sum()), len(placed)),
                 ("customer_minutes", "customer-minutes placed", float(minutes[placed].sum()), float(minutes.sum()))]
    frame = pd.DataFrame(rows, columns=["key", "what", "matched", "of"])
    frame["share"] = np.where(frame["of"] != 0, frame["matched"] / frame["of"].where(frame["of"] != 0, 1.0), np.nan)
    frame["state"] = [state_of(s) for s in frame["share"]]
    return frame


def _balance(typed: Typed, spans: Spans, line: np.ndarray, fed: np.ndarray, frame: pd.DataFrame, served: SectionLoads,
             outages: Outages | None) -> pd.DataFrame:
    """Totals in, out, and listed in the report: in = out + listed."""
    km_dead = float(spans.km[line & ~fed].sum())
    loops = ~line & ~spans.inserted
    rows = [("km", float(spans.km[~spans.inserted].sum()), float(frame["length_km"].sum()),
             km_dead + float(spans.km[loops].sum())),
            ("customers", served.customers, float(frame["customers"].fillna(0.0).sum()),
             served.customers - served.placed_customers)]
    if outages is not None:
        left = float(typed.rows_left_out.get(OUTAGE_ROWS, 0))
        rows.append(("outage rows", float(len(typed.frame(OUTAGE_ROWS))) + left, float(len(outages.frame)), left))
    return pd.DataFrame(rows, columns=["quantity", "in", "out", "listed"])
