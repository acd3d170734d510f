"""The crews' work pack as a page to print: cover, lists, a sheet a lateral, and the card for after an operation."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from reliability.cautions import CAUTION
from reliability.cells import write_csv
from reliability.formats import count, missing
from reliability.network.application_remedies import open_points_of
from reliability.report import palette
from reliability.report.charts_map import lateral_map
from reliability.report.picture import load, svg
from reliability.report.plain_words import without_keys
from reliability.report.work_pack_jobs import HOLD_MARK, WorkPack
from reliability.report.work_pack_lists import contents, lists, resets
from reliability.report.work_pack_pages import pages_of
from reliability.report.work_pack_rows import (
    BACKUP,
    COUNTER_READING,
    DEVICE_ENTRIES,
    TAG,
    WORK,
    revision_of,
    work_pack_rows,
)
from reliability.report.work_pack_sketch import lateral_sketch
from reliability.report.work_pack_steps import AFTER_OPERATION, BEFORE_SERVICE, quantity
from reliability.schema.devices import BY_NAME
from reliability.schema.problems import shorten
from reliability.tasks import HERE, Workers

WORK_PACK_TEMPLATE = "work_pack.html.j2"
VERIFY = ("Rating, counts and actuating current are verified against the curves and data sheets of the devices before "
          "anything is installed. The instructions that come with the device go before this sheet.")
WORK_PACK_CAUTIONS = (CAUTION, VERIFY)
NOT_KNOWN = "not known"
MOST_UNITS_ON_A_CARD = 3          # columns of the card for after an operation, which may be for any lateral


def write_work_pack(folder: str | Path, pack: WorkPack, workers: Workers = HERE) -> tuple[Path, Path]:
    """Write work_pack.csv and work_pack.html into a folder that exists; returns the two paths."""
    csv, page = Path(folder) / "work_pack.csv", Path(folder) / "work_pack.html"
    write_csv(work_pack_rows(pack), csv)
    page.write_text(work_pack_html(pack, workers), encoding="utf-8")
    return csv, page


def work_pack_html(pack: WorkPack, workers: Workers = HERE) -> str:
    """One self-contained HTML page; every page of it prints on one of Letter or A4 and bears its number.

    workers: draw its pictures.
    """
    environment = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True,
                              undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    environment.filters |= {
        "number": quantity, "short": lambda text, most=40: shorten(text, most), "device": _device_label,
        "count": lambda many, noun: count(int(many), noun), "plain": without_keys,
        "sentence": lambda text: text[:1].upper() + text[1:]}
    pages = pages_of(pack)
    rows = work_pack_rows(pack).to_dict("records")
    if workers.forks and pack.view is not None:
        load()
    pictures = workers.in_order([partial(_picture, pack, *_head_and_backup(pack, place), f"picture-{place}")
                                 for place in range(len(rows))], small=True)
    sheets = [_sheet(pack, {str(key): value for key, value in row.items()}, *numbers, place, *picture)
              for place, (row, numbers, picture) in enumerate(zip(rows, pages.sheets, pictures, strict=True))]
    values = pack.checks.values
    return environment.get_template(WORK_PACK_TEMPLATE).render(
        colours=palette.css(), pack=pack, revision=revision_of(pack), cautions=WORK_PACK_CAUTIONS,
        pages=pages, contents=contents(pack, pages), sheets=sheets,
        lists=lists(pack, pages), resets=resets(pack, pages), not_known=NOT_KNOWN,
        after_pages=[[sheets[k] for k in page] for page in pages.after], tag=TAG, work=WORK, hold=HOLD_MARK,
        before=[step.printed(values) for step in BEFORE_SERVICE],
        after=[step.printed(values) for step in AFTER_OPERATION], most_units=MOST_UNITS_ON_A_CARD)


def _head_and_backup(pack: WorkPack, place: int) -> tuple[int, int]:
    proposal, at = pack.checks.proposal, int(pack.with_sheet.iloc[place]["at"])
    return int(proposal.head[at]), int(proposal.backup[at])


def _sheet(pack: WorkPack, row: dict[str, Any], hold_page: int, page: int, place: int, picture: Markup,
           words: str) -> dict[str, Any]:
    """All that stands on the sheet of one row, number `place` of the pack."""
    job = pack.with_sheet.iloc[place]
    network, at = pack.checks.network, int(job["at"])
    head, backup = _head_and_backup(pack, place)
    location = network.text["location"]
    return row | {
        "name": str(network.names[head]), "where": str(location[head]),
        "device_number": str(network.text["device_id"][head]),
        "backup_name": str(network.names[backup]) if backup >= 0 else "",
        "backup_where": str(location[backup]) if backup >= 0 else "",
        "page": page, "hold_page": hold_page, "held": hold_page > 0, "releasable": bool(job["releasable"]),
        "year_name": pack.year_name(int(job["year"])), "points": open_points_of(pack.checks, at),
        "picture": picture, "picture_words": words,
        "of_the_device": [(label, _proposed(row, column, unit)) for column, label, unit in DEVICE_ENTRIES],
        "of_the_backup": [*((label, _proposed(row, column, unit)) for column, label, unit in BACKUP),
                          (COUNTER_READING[1], "")],
    }


def _picture(pack: WorkPack, head: int, backup: int, key: str) -> tuple[Markup, str]:
    """The map of a lateral and its backup, or a sketch where the study has no route of it; and the same in words."""
    network = pack.checks.network
    chart = None if pack.view is None else lateral_map(network, pack.view, head, backup, key=key, miles=pack.miles)
    if chart is None:
        return lateral_sketch(network, head, backup, key, pack.miles)
    return Markup(svg(chart)), f"{chart.description} Zone of the backup in grey."  # noqa: S704 - svg() escapes


def _proposed(row: dict[str, Any], column: str, unit: str) -> str:
    """A setting as proposed, with what stands today or what the study assumes where that is another."""
    text = quantity(row[column], unit) or NOT_KNOWN
    other = {"counts": ("counts_in_scenario", "study:"),
             "fast_operations": ("fast_operations_today", "today")}.get(column)
    if other is None or missing(row[other[0]]) or quantity(row[other[0]]) == quantity(row[column]):
        return text
    return f"{text} ({other[1]} {quantity(row[other[0]])})"


def _device_label(name: str) -> str:
    return BY_NAME[name].label if name in BY_NAME else name
