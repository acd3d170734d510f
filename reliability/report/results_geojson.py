"""results.geojson: the sections where they run, with what a run says of them, for the user's own maps (RFC 7946)."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from reliability.business.break_even import BREAK_EVEN
from reliability.network.application_catalogue import VERDICTS
from reliability.network.devices import NO_DEVICE
from reliability.network.place_names import FIELD_NAMES
from reliability.report.numbers import none_for_nan
from reliability.results import Results
from reliability.schema.devices import DEVICES

RESULTS_FILE = "results.geojson"
OF_SELECTION = ("npv", "customer_minutes_avoided", BREAK_EVEN)


def results_geojson(results: Results) -> str:
    """A feature a section in the order of the user's file, in WGS 84; null where nothing exists, a route included.

    Properties: section_id, feeder_id, lateral_id (null on a main), device, device_id, location, segment_ids (where the
    study has segments); failure_rate (1/yr) and outage_hours (h/yr) as built, as in sections.csv; and of the lateral:
    verdict of the application checks, chosen (by the best choice; null without one), and where it is chosen its
    device_chosen, npv, customer_minutes_avoided (a year) and break_even_reclosing_off_share. Raises ValueError where
    the study has no routes.
    """
    routes = results.study.routes
    if routes is None:
        raise ValueError("the study has no routes")
    features = [{"type": "Feature", "geometry": _geometry(routes.lines_of(row)), "properties": properties}
                for row, properties in enumerate(_properties(results))]
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, allow_nan=False) + "\n"


def _geometry(lines: list[list[list[float]]]) -> dict[str, Any] | None:
    if not lines:
        return None
    return {"type": "LineString", "coordinates": lines[0]} if len(lines) == 1 else {
        "type": "MultiLineString", "coordinates": lines}


def _properties(results: Results) -> list[dict[str, Any]]:
    """Of every section, in the order of the user's file."""
    network, expected = results.network, results.expected[0]
    order = np.argsort(network.row)
    head = network.unit[order]
    columns = {
        "section_id": network.ids[order].astype(str).tolist(),
        "feeder_id": network.feeder_ids[network.feeder[order]].astype(str).tolist(),
        "lateral_id": [str(network.ids[h]) if h >= 0 else None for h in head.tolist()],
        "device": [DEVICES[d] if d != NO_DEVICE else None for d in network.device[order].tolist()],
        **{name: [text or None for text in network.text[name][order].tolist()] for name in FIELD_NAMES},
        **_segments(results, order),
        "failure_rate": expected.failure_rate[order].tolist(), "outage_hours": expected.outage_hours[order].tolist()}
    of_lateral = _of_laterals(results)
    nothing = dict.fromkeys(next(iter(of_lateral.values()), {}))
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    return none_for_nan([row | of_lateral.get(h, nothing) for row, h in zip(rows, head.tolist(), strict=True)])


def _segments(results: Results, order: np.ndarray) -> dict[str, list[list[str]]]:
    """The segments that each section was made from; no column where the study does not say."""
    segments = results.study.segments
    if segments is None:
        return {}
    found = segments.groupby("section_id", sort=False)["segment_id"].agg(list).to_dict()
    return {"segment_ids": [found.get(str(name), []) for name in results.network.ids[order]]}


def _of_laterals(results: Results) -> dict[int, dict[str, Any]]:
    """Results of each lateral by the position of its head."""
    checks, network = results.checks_as_proposed, results.network
    verdict = dict(zip(checks.proposal.head.tolist(), checks.verdict.tolist(), strict=True))
    chosen: dict[str, dict[str, Any]] = {}
    if results.plan is not None:
        rows = results.plan.choice.selection
        rows = rows[rows["what"] == "lateral"]
        chosen = {str(row["section_id"]): {str(k): v for k, v in row.items()} for row in rows.to_dict("records")}
    made = {}
    for head in network.candidates.tolist():
        row = chosen.get(str(network.ids[head]), {})
        made[head] = {"verdict": VERDICTS[verdict[head]] if head in verdict else None,
                      "chosen": None if results.plan is None else bool(row), "device_chosen": row.get("device"),
                      **{key: row.get(key) for key in OF_SELECTION}}
    return made
