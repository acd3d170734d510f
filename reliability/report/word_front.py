"""Cover, list of contents, headings, footers and turned pages of a word processor's file."""

from __future__ import annotations

from typing import Any

from reliability.cautions import CAUTION
from reliability.report import palette
from reliability.report.blocks import LONGEST_PRINTED, Document, Heading
from reliability.report.figures import unbroken_text
from reliability.report.type_width import text_width
from reliability.report.word_layout import TURNED, UPRIGHT
from reliability.report.word_parts import CONTENTS, TEXT_SIZE, begin_field, bookmark, element, end_field, field
from reliability.report.word_tables import clean
from reliability.schema.problems import shorten

BLANK_LINE = "_" * 40
LETTER_POINTS = (612.0, 792.0)       # Letter, in points
PAGE_MARGIN = 57.6


def cover(document: Any, docx: Any, made: Document) -> None:
    """A page of its own: kind of document, study, its one sentence and facts; what is not stated can be filled in."""
    first = document.sections[0]
    _sides(first, docx, turned=False)
    first.different_first_page_header_footer = True
    kind = document.add_paragraph(clean(made.kind), style="Subtitle")
    kind.paragraph_format.space_before = docx.shared.Pt(130)
    document.add_paragraph(shorten(made.name, LONGEST_PRINTED), style="Title")
    if made.lead:
        lead = document.add_paragraph(clean(unbroken_text(made.lead)))
        lead.paragraph_format.space_after = docx.shared.Pt(26)
        lead.runs[0].font.size = docx.shared.Pt(TEXT_SIZE + 2)
    for label, value in made.facts:
        line = document.add_paragraph()
        line.paragraph_format.tab_stops.add_tab_stop(docx.shared.Pt(130))
        line.paragraph_format.space_before = docx.shared.Pt(6)
        line.add_run(label).font.color.rgb = docx.shared.RGBColor.from_string(palette.SOFT.lstrip("#"))
        line.add_run("\t" + (shorten(value, LONGEST_PRINTED) or BLANK_LINE))
    note = document.add_paragraph(CAUTION, style="Intense Quote")
    note.paragraph_format.space_before = docx.shared.Pt(50)


def contents(document: Any, docx: Any, made: Document) -> None:
    """The list of contents: a field that holds the titles until the word processor fills it, pages included."""
    title = document.add_paragraph("Contents", style="Subtitle")
    title.paragraph_format.page_break_before = True
    for number, style in enumerate(CONTENTS):
        layout = document.styles[style].paragraph_format
        layout.left_indent = docx.shared.Pt(16 * number)
        layout.tab_stops.add_tab_stop(docx.shared.Pt(UPRIGHT), docx.enum.text.WD_TAB_ALIGNMENT.RIGHT,
                                      docx.enum.text.WD_TAB_LEADER.DOTS)
    entries = _headings(made)
    for number, (level, text) in enumerate(entries, start=1):
        line = document.add_paragraph(style=CONTENTS[level - 1])
        if number == 1:
            begin_field(line, docx, r'TOC \o "1-2" \h \z \u')
        link = element(docx, "hyperlink", anchor=mark(number), history=1)
        link.append(line.add_run(clean(text))._r)
        line._p.append(link)
        if number == len(entries):
            end_field(line, docx)


def _headings(made: Document) -> list[tuple[int, str]]:
    """Level and text of every heading in its order."""
    found = []
    for number, section in enumerate(made.sections, start=1):
        found.append((1, f"{number}. {section.title}"))
        found += [(2, block.text) for block in section.blocks if isinstance(block, Heading)]
    return found


def mark(number: int) -> str:
    """Name of the bookmark at heading number `number`, from 1."""
    return f"_Toc{number:08d}"


def heading(document: Any, docx: Any, text: str, level: int) -> None:
    """A heading with its bookmark, in the order of `contents`; the first begins a page."""
    number = len(document.element.body.findall(f".//{docx.oxml.ns.qn('w:bookmarkStart')}")) + 1
    made = document.add_heading(clean(text), level)
    bookmark(made, docx, number, mark(number))
    if number == 1:
        made.paragraph_format.page_break_before = True


def page(document: Any, docx: Any, turned: bool) -> None:
    """Go on on a page that is turned or upright; nothing happens where it is already."""
    landscape = docx.enum.section.WD_ORIENTATION.LANDSCAPE
    if (document.sections[-1].orientation == landscape) != turned:
        part = document.add_section(docx.enum.section.WD_SECTION.NEW_PAGE)
        part.different_first_page_header_footer = False
        _sides(part, docx, turned)
        part.footer.is_linked_to_previous = False
        _footer_line(part.footer.paragraphs[0], docx, document.sections[0].footer.paragraphs[0].text.split("\t")[0],
                     TURNED if turned else UPRIGHT)


def _sides(part: Any, docx: Any, turned: bool) -> None:
    orientation = docx.enum.section.WD_ORIENTATION
    across, down = (LETTER_POINTS[1], LETTER_POINTS[0]) if turned else LETTER_POINTS
    part.orientation = orientation.LANDSCAPE if turned else orientation.PORTRAIT
    part.page_width, part.page_height = docx.shared.Pt(across), docx.shared.Pt(down)
    part.left_margin = part.right_margin = part.top_margin = part.bottom_margin = docx.shared.Pt(PAGE_MARGIN)


def footer(document: Any, docx: Any, text: str) -> None:
    """What the document is, and page n of m, below every page but the cover."""
    _footer_line(document.sections[0].footer.paragraphs[0], docx, text, UPRIGHT)


def _footer_line(paragraph: Any, docx: Any, text: str, width: float) -> None:
    size = TEXT_SIZE - 1.5
    while text_width(text, size) > 0.8 * width:
        text = text[:-2] + "…"
    paragraph.style.font.size = docx.shared.Pt(size)
    paragraph.paragraph_format.tab_stops.clear_all()
    paragraph.paragraph_format.tab_stops.add_tab_stop(docx.shared.Pt(width), docx.enum.text.WD_TAB_ALIGNMENT.RIGHT)
    paragraph.add_run(clean(text) + "\tPage ")
    field(paragraph, docx, "PAGE", "1")
    paragraph.add_run(" of ")
    field(paragraph, docx, "NUMPAGES", "1")
