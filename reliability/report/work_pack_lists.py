"""The lists of the work pack, as the page prints them: contents, laterals, backups to be set."""

from __future__ import annotations

from reliability.formats import count
from reliability.network.model import Model
from reliability.network.protection import protection
from reliability.report.work_pack_jobs import HOLD_MARK, NO_SHEET, WorkPack
from reliability.report.work_pack_pages import Pages
from reliability.report.work_pack_steps import quantity


def contents(pack: WorkPack, pages: Pages) -> list[tuple[str, str, str]]:
    """(part, how much of it, pages) of each part behind the cover."""
    jobs, sheets = pack.jobs, len(pages.holds)
    held, without = sum(pages.holds), int((jobs["status"] == NO_SHEET).sum())
    laterals = count(len(jobs), "lateral") + (f", {without} of them without a sheet: another device" if without else "")
    first_sheet = pages.first_reset + len(pages.resets)
    parts = [
        ("Laterals by year and feeder", laterals, pages.first_list, len(pages.lists)),
        ("Bill of materials", count(round(jobs["units"].sum()), "unit"), pages.first_materials, len(pages.materials)),
        ("Backups whose fast operations change", count(len(pack.resets), "backup"), pages.first_reset,
         len(pages.resets)),
        ("Sheets in the order of travel", f"{count(sheets, 'sheet')}: {sheets - held} ready, {held} on {HOLD_MARK}",
         first_sheet, pages.card - first_sheet),
        ("Card for after an operation", "one card, for any lateral of this pack", pages.card,
         pages.total - pages.card + 1)]
    return [(part, many, f"{first}–{first + more - 1}" if more > 1 else str(first))
            for part, many, first, more in parts if more]


def lists(pack: WorkPack, pages: Pages) -> list[list[dict[str, str]]]:
    """The lines of each page of the list of laterals: a heading, or what is said of a lateral."""
    checks, jobs, sheets = pack.checks, pack.jobs, iter(pages.sheets)
    network, rows = checks.network, []
    for at, device, units, status in zip(jobs["at"].tolist(), jobs["device"].tolist(), jobs["units"].tolist(),
                                         jobs["status"].tolist(), strict=True):
        head = int(checks.proposal.head[at])
        hold, page = (0, 0) if status == NO_SHEET else next(sheets)
        rows.append({"heading": "", "name": str(network.names[head]), "where": str(network.text["location"][head]),
                     "units": quantity(units), "device": str(device), "status": str(status),
                     "rating": "" if status == NO_SHEET else quantity(checks.proposal.rated_a[at], "A"),
                     "page": f"{hold}–{page}" if hold else str(page) if page else ""})
    return [[rows[line.job] if line.job >= 0 else {"heading": line.heading} for line in page] for page in pages.lists]


def resets(pack: WorkPack, pages: Pages) -> list[list[dict[str, str]]]:
    """The backups whose fast operations change, page by page."""
    network, place = pack.checks.network, {str(i): k for k, i in enumerate(pack.checks.network.ids)}
    today = protection(Model(network, pack.checks.values)).fast

    def row(backup_id: str, year: int, fast: float) -> dict[str, str]:
        at = place[backup_id]
        return {"year": pack.year_name(year), "name": str(network.names[at]),
                "where": str(network.text["location"][at]), "feeder": str(network.feeder_ids[network.feeder[at]]),
                "today": quantity(today[at]), "proposed": quantity(fast)}

    return [[row(*values) for values in zip(page["backup_id"].tolist(), page["year"].tolist(),
                                            page["fast_operations"].tolist(), strict=True)] for page in pages.resets]
