"""Make data/wooded_town_exports, what the systems of an invented town utility would hand over, and data/wooded_town,
the study that the importer makes of it.

    python data/generate_town.py

Lines come from town_network.py, spans and devices from town_spans.py, the tables beside them from town_tables.py, the
recipe and the answers from town_recipe.py. The exports without records are imported first; six years of records are
drawn from that study's own outcome table, at fault rates that differ from lateral to lateral, and exported as well.
"""

from __future__ import annotations

import shutil
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "data")]

from demo_export_tables import with_others  # noqa: E402
from demo_exports import write_table  # noqa: E402
from demo_operations import COUNTED, NOT_KNOWN, REPORTED, operations  # noqa: E402
from demo_records import Past, records  # noqa: E402
from demo_routes import feature_collection, longitude_latitude  # noqa: E402
from town_network import STATIONS, town_lines  # noqa: E402
from town_recipe import STUDY_TOML, recipe  # noqa: E402
from town_spans import RECLOSER, TIE, Spans, sources, spans  # noqa: E402
from town_tables import CODES, device_of_sections, outage, settings, transformers_and_meters  # noqa: E402

from reliability.intake import Imported, import_exports, read_recipe  # noqa: E402
from reliability.study import Study  # noqa: E402

SEED = 29
YEARS = range(2019, 2025)
LINE_FAULT_RATE = 0.35           # a km and year, where no class of trees is stated: nowhere
ODDITIES = {"no end": 7, "unknown place": 6, "no place": 9, "times swapped": 0, "planned": 45, "twice": 4}
TIE_CHANCES = (0.7, 0.5, 0.6, 0.75)
RECLOSERS = (REPORTED, COUNTED, NOT_KNOWN)    # how their operations are known, in turn
STUDY = Path(__file__).parent / "wooded_town"
EXPORTS = STUDY.with_name("wooded_town_exports")


def write_network(rng: np.random.Generator, folder: Path) -> tuple[Spans, list[dict]]:
    """The exports but for records; returns spans and transformers with their customers."""
    lines = town_lines(rng)
    of = spans(rng, lines)
    served, meters = transformers_and_meters(rng, lines, of)
    for area in STATIONS:
        rows = [row for row in of.rows if row["DISTRICT"] == area]
        name = f"lines_{area.lower().replace(' ', '_')}"
        text = feature_collection([_feature(rows[k]) for k in rng.permutation(len(rows))], name=name)
        (folder / f"{name}.geojson").write_text(text, encoding="utf-8")
    write_table(folder / "protection_and_switches.csv", of.devices)
    write_table(folder / "transformers.csv", [served[k] for k in rng.permutation(len(served))])
    write_table(folder / "meters.csv", [meters[k] for k in rng.permutation(len(meters))])
    write_table(folder / "feeders.csv", sources())
    write_table(folder / "relay_settings.csv", settings(of))
    ties = [row["DEVICE"] for row in of.devices if row["KIND"] == TIE]
    causes = {code: cause for cause, code in CODES.items()}
    (folder / "import.toml").write_text(recipe(causes, zip(ties, TIE_CHANCES, strict=True)), encoding="utf-8")
    (folder / "study.toml").write_text(STUDY_TOML, encoding="utf-8")
    customers = Counter(meter["XFMR"] for meter in meters)
    return of, [{"XFMR_ID": row["XFMR"], "CUST": customers[row["XFMR"]]} for row in served]


def _feature(span: dict) -> dict:
    """A span in longitude and latitude, as RFC 7946 has it."""
    return {"type": "Feature", "properties": {key: value for key, value in span.items() if key != "route"},
            "geometry": {"type": "LineString", "coordinates": longitude_latitude(span["route"]).round(6).tolist()}}


def write_records(rng: np.random.Generator, folder: Path, study: Study, of: Spans, served: list[dict]) -> int:
    """Outages, a file a year, and counter readings; returns how many rows of outages there are."""
    device = device_of_sections(study.network)
    section = {number: name for name, number in zip(study.network.ids, study.network.text["device_id"], strict=True)}
    reclosers = [row["DEVICE"] for row in of.devices if row["KIND"] == RECLOSER]
    known = {str(section[name]): RECLOSERS[k % len(RECLOSERS)] for k, name in enumerate(reclosers)}
    known |= {str(name): REPORTED for name in study.network.ids[study.network.parent < 0]}
    drawn = records(rng, study, Past(YEARS, LINE_FAULT_RATE, known, ODDITIES))
    rows = [outage(record, device) for record in with_others(rng, drawn.outages, served)]
    for year in YEARS:
        write_table(folder / f"outage_cases_{year}.csv", [row for row in rows if row["STARTED"].startswith(str(year))])
    entries = {"counter": "READING", "ignore": "REPLACED"}
    write_table(folder / "counter_readings.csv", [
        {"DEVICE": device[row["section_id"]], "DATE_FROM": row["from"], "DATE_TO": row["to"],
         "STEPS": row["operations"], "ENTRY": entries[row["kind"]]}
        for row in operations(rng, known, drawn.operations, YEARS)])
    return len(rows)


def imported(folder: Path) -> Imported:
    """The study that the recipe in a folder of exports makes of them, as far as its files are there."""
    whole = read_recipe((folder / "import.toml").read_bytes())
    return import_exports(folder, replace(whole, files=tuple(f for f in whole.files if any(folder.glob(f.file)))))


def main() -> None:
    for folder in (EXPORTS, STUDY):
        shutil.rmtree(folder, ignore_errors=True)
    EXPORTS.mkdir()
    rng = np.random.default_rng(SEED)
    of, served = write_network(rng, EXPORTS)
    study = imported(EXPORTS).study()
    count = write_records(np.random.default_rng([SEED, 1]), EXPORTS, study, of, served)
    imported(EXPORTS).save(STUDY)
    print(f"{len(study.sections)} sections, {len(study.network.candidates)} laterals, "
          f"{study.sections['customers'].sum():.0f} customers, {count} rows of outages")


if __name__ == "__main__":
    main()
