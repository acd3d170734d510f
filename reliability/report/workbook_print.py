"""How sheets print: across the page, one page wide, heads repeated, with study, sheet and page on every page."""

from __future__ import annotations

from collections.abc import Sequence

from xlsxwriter.worksheet import Worksheet

from reliability.report.content import Content
from reliability.schema.problems import shorten

LONGEST_FOOTER = 60
SCALE = 65               # per cent at which sheets of blocks are nearly as wide as a page
PAGE_ROWS = 31           # rows of a page at full size, on the shorter of the two papers
PRINT_MARGINS = {"left": 0.5, "right": 0.5, "top": 0.8, "bottom": 0.7}        # inches


def print_on_pages(sheet: Worksheet, content: Content, heads: tuple[int, int] | None = None) -> None:
    """Set a sheet up for print; heads: first and last row, from 0, that stand on every page."""
    _paper(sheet, content)
    sheet.fit_to_pages(1, 0)
    if heads is not None:
        sheet.repeat_rows(*heads)


def print_in_blocks(sheet: Worksheet, content: Content, tops: Sequence[int], end: int) -> None:
    """Set up a sheet of blocks of rows so that none is cut by the end of a page.

    tops: first row of each block, from 0; end: the row after the last.
    """
    _paper(sheet, content)
    sheet.set_print_scale(SCALE)
    room, begun, breaks = int(PAGE_ROWS * 100 / SCALE), 0, []
    for top, after in zip(tops, [*tops[1:], end], strict=True):
        if after - begun > room and top > begun:
            breaks.append(top)
            begun = top
    sheet.set_h_pagebreaks(breaks)


def _paper(sheet: Worksheet, content: Content) -> None:
    """Orientation, margins, and what stands above and below every page."""
    study = shorten(str(content.summary.get("study") or content.study.name), LONGEST_FOOTER).replace("&", "&&")
    sheet.set_landscape()
    sheet.set_margins(**PRINT_MARGINS)
    sheet.set_header(f"&L{study}&R&A")
    sheet.set_footer("&LPlanning estimates, not settings&RPage &P of &N")
