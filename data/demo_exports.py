"""Make data/exports: the demo as two other systems would hand it over, and the recipe that makes a study of it.

The geographic system gives spans between nodes (GeoJSON in metres of a projected coordinate system, lengths in feet),
devices, transformers and sources; the outage system, in two files of three years, outages by device, segment or
transformer with times of twelve hours, month first.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from demo_export_tables import devices, outages, sources, transformers
from demo_maker import write
from demo_recipe import recipe
from demo_routes import SYSTEM, feature_collection
from demo_segments import segments

SECTION = re.compile(r"\b(?:AC|MI|ST)\d-[LM]\d\d[as\d]*\b")
GEOMETRY_PLACES = 2        # decimals of a metre
OUTAGE_FILES = {"oms_2020-2022.csv": ("2020", "2021", "2022"), "oms_2023-2025.csv": ("2023", "2024", "2025")}


@dataclass(frozen=True)
class Demo:
    """What the exports are made of: the tables of the demo, its study.toml, and where its lines run."""

    tables: Mapping[str, list[dict]]
    toml: str
    lines: dict[str, np.ndarray]


def write_exports(folder: Path, rng: np.random.Generator, demo: Demo) -> None:
    """Every file of the exports; others in the folder go."""
    folder.mkdir(exist_ok=True)
    for path in folder.iterdir():
        path.unlink()
    rows = demo.tables["sections"]
    lines = segments(rng, rows, demo.lines)
    served = transformers(rng, rows, lines)
    all_served = [one for of in served.values() for one in of]
    words = sorted({span["PROT"] for span in lines.spans if "PROT" in span})
    (folder / "oh_primary.geojson").write_text(_spans_text(lines.spans), encoding="utf-8")
    write_table(folder / "protection_devices.csv", devices(rows, lines))
    write_table(folder / "transformers.csv", [all_served[k] for k in rng.permutation(len(all_served))])
    write_table(folder / "substations.csv", sources(rows, lines))
    number = {row["section_id"]: row["device_id"] for row in rows if row["device"]}
    place = {name: {"DEV_NO": number[name]} if name in number else {"SEG_ID": spans[0]}
             for name, spans in lines.of_section.items()}
    _write_outages(folder, outages(rng, demo.tables["outages"], place, all_served))
    for name, columns in (("operations", {"from": "READ_FROM", "to": "READ_TO", "operations": "STEPS", "kind": "KIND"}),
                          ("settings", {})):
        write_table(folder / f"device_{name}.csv", [{"DEV_NO": number[row["section_id"]]} | {
            columns.get(key, key.upper()): value for key, value in row.items() if key != "section_id"}
            for row in demo.tables[name]])
    write_table(folder / "curves.csv", demo.tables["curves"])
    named = {name: number.get(name, spans[0]) for name, spans in lines.of_section.items()}
    (folder / "study.toml").write_text(SECTION.sub(lambda found: named[found[0]], demo.toml), encoding="utf-8")
    (folder / "import.toml").write_text(recipe(words), encoding="utf-8")


def _spans_text(spans: list[dict]) -> str:
    """Spans as GeoJSON, with the coordinate system named as files of before RFC 7946 do."""
    names = list(dict.fromkeys(key for span in spans for key in span if key != "line"))
    features = [{"type": "Feature", "properties": {key: span[key] for key in names if span.get(key, "") != ""},
                 "geometry": {"type": "LineString", "coordinates": span["line"].round(GEOMETRY_PLACES).tolist()}}
                for span in spans]
    system = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{SYSTEM.replace(':', '::')}"}}
    return feature_collection(features, name="oh_primary", crs=system)


def write_table(path: Path, rows: list[dict]) -> None:
    write(path, rows, list(dict.fromkeys(key for row in rows for key in row)))


def _write_outages(folder: Path, rows: list[dict]) -> None:
    names = list(dict.fromkeys(key for row in rows for key in row))
    for k, (file, years) in enumerate(OUTAGE_FILES.items()):
        part = [row for row in rows if (row.get("DATE_OFF", "") or row.get("DATE_ON", ""))[-4:] in years
                or (k and not row.get("DATE_OFF"))]
        write(folder / file, part, names)
