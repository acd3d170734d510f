"""Make data/demo, an invented rural cooperative with six years of outage records, and data/exports, the same as two
other systems would hand it over.

    python data/generate_demo.py

Network, loads and links come from demo_network.py, the reclosing devices and their settings from demo_protection.py,
the laterals converted three years before the records end from demo_conversions.py, records and counters from
demo_records.py and demo_operations.py, places from demo_routes.py. Everything is drawn from one seed. The records are
drawn from the same outcome table that the package computes with, at fault rates that differ from lateral to lateral;
the true rates are written to truth.csv, which no study reads, so that what is learned can be compared with them.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "data")]

from demo_conversions import PLAN, convert, converted  # noqa: E402
from demo_exports import Demo, write_exports  # noqa: E402
from demo_maker import COLUMNS, Maker, write  # noqa: E402
from demo_network import network_rows  # noqa: E402
from demo_operations import known_by, operations  # noqa: E402
from demo_protection import (  # noqa: E402
    add_lateral_reclosers,
    add_names,
    add_service,
    add_settings,
    add_underground,
    curve_rows,
    is_branch,
    name_ties,
)
from demo_records import Past, records  # noqa: E402
from demo_routes import routes, write_routes  # noqa: E402
from demo_study import STUDY_TOML  # noqa: E402

from reliability.study import Study, open_study  # noqa: E402

SEED = 11
YEARS = range(2020, 2026)
LINE_FAULT_RATE = 0.22            # a km and year, fleet mean
ODDITIES = {"no end": 6, "unknown place": 5, "no place": 8, "times swapped": 2, "planned": 40, "twice": 3}
FOLDER = Path(__file__).parent / "demo"


def network_and_settings(rng: np.random.Generator) -> tuple[list[dict], list[dict]]:
    """Rows of sections.csv and settings.csv before the conversions."""
    rows = network_rows(Maker(rng))
    of_protection = np.random.default_rng([SEED, 1])   # what is drawn there moves nothing here
    add_lateral_reclosers(rows)
    name_ties(rows)
    add_underground(rows, of_protection)
    add_service(rows, of_protection)
    settings = add_settings(rows)
    add_names(rows, of_protection)
    return rows, settings


def study_of(toml: str, tables: dict[str, list[dict]]) -> Study:
    """A study of tables by name."""
    with tempfile.TemporaryDirectory() as folder:
        write_study(Path(folder), toml, tables)
        return open_study(folder)


def write_study(folder: Path, toml: str, tables: dict[str, list[dict]]) -> None:
    (folder / "study.toml").write_text(toml, encoding="utf-8")
    for name, rows in tables.items():
        write(folder / f"{name}.csv", rows, COLUMNS[name])


def main() -> None:
    rng = np.random.default_rng(SEED)
    rows, settings = network_and_settings(rng)
    tables = {"sections": rows, "settings": settings, "curves": curve_rows()}
    days, known = converted(rows), known_by(rows)
    drawn = records(rng, study_of(STUDY_TOML, tables), Past(YEARS, LINE_FAULT_RATE, known, ODDITIES, days))
    toml = "\n".join((STUDY_TOML, convert(rows, days), PLAN))
    FOLDER.mkdir(exist_ok=True)
    tables |= {"outages": drawn.outages,
               "operations": operations(np.random.default_rng([SEED, 2]), known, drawn.operations, YEARS)}
    write_study(FOLDER, toml, tables)
    lines = routes(np.random.default_rng([SEED, 3]), rows)
    write_routes(FOLDER / "routes.geojson", lines)
    exported = Demo(tables, toml, lines)
    write_exports(FOLDER.with_name("exports"), np.random.default_rng([SEED, 4]), exported)
    drawn.truth.round(5).to_csv(FOLDER / "truth.csv", index=False, lineterminator="\n")
    taps = [r for r in rows if r["device"] in ("fuse", "sectionalizer", "lateral_recloser") and not is_branch(r)]
    print(f"{len(rows)} sections, {len(taps)} laterals, {sum(r['customers'] for r in rows)} customers, "
          f"{len(drawn.outages)} records, {len(tables['operations'])} readings and events")


if __name__ == "__main__":
    main()
