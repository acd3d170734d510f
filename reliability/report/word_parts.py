"""Pieces of a word processor's file written as its own markup: styles, fields, bookmarks, footers, equal bytes."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from reliability.report import palette
from reliability.report.type_width import FACE

# the file says nothing of when it was made, so that equal runs give equal bytes
DOCUMENT_MADE = (1980, 1, 1, 0, 0, 0)
TEXT_SIZE, TABLE_SIZE = 10.0, 8.5
CELL, NUMBER_STYLE, HEAD_STYLE = "Table text", "Table number", "Table head"
CONTENTS = ("toc 1", "toc 2")
# of each style: size in points, bold, colour, space before and after in points
_STYLES = {
    "Normal": (TEXT_SIZE, False, palette.INK, 0.0, 5.0), "Title": (26.0, True, palette.INK, 0.0, 10.0),
    "Heading 1": (15.0, True, palette.BLUE, 18.0, 6.0), "Heading 2": (12.0, True, palette.INK, 12.0, 4.0),
    "Caption": (TEXT_SIZE, True, palette.INK, 8.0, 4.0), "Subtitle": (13.0, False, palette.SOFT, 0.0, 18.0),
    CELL: (TABLE_SIZE, False, palette.INK, 0.0, 0.0), NUMBER_STYLE: (TABLE_SIZE, False, palette.INK, 0.0, 0.0),
    HEAD_STYLE: (TABLE_SIZE, True, palette.INK, 0.0, 0.0), CONTENTS[0]: (TEXT_SIZE, False, palette.INK, 3.0, 1.0),
    CONTENTS[1]: (TEXT_SIZE, False, palette.SOFT, 0.0, 1.0), "Intense Quote": (TEXT_SIZE, False, palette.INK, 6.0, 6.0),
    "List Bullet": (TEXT_SIZE, False, palette.INK, 0.0, 3.0),
}


def element(docx: Any, tag: str, /, **attributes: object) -> Any:
    """An element of the markup's own namespace: `element(docx, "fldChar", fldCharType="begin")`."""
    made = docx.oxml.OxmlElement(f"w:{tag}")
    for key, value in attributes.items():
        made.set(docx.oxml.ns.qn(f"w:{key}"), str(value))
    return made


def styles(document: Any, docx: Any) -> None:
    """Types, colours and spaces of the document; styles that the template lacks are added."""
    known = {style.name for style in document.styles}
    for name, (size, bold, colour, before, after) in _STYLES.items():
        style = document.styles[name] if name in known else document.styles.add_style(
            name, docx.enum.style.WD_STYLE_TYPE.PARAGRAPH, name in CONTENTS)
        style.font.name, style.font.size, style.font.bold = FACE, docx.shared.Pt(size), bold
        style.font.italic, style.font.color.rgb = False, docx.shared.RGBColor.from_string(colour.lstrip("#"))
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for theme in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
            fonts.attrib.pop(docx.oxml.ns.qn(f"w:{theme}"), None)
        for script in ("cs", "eastAsia"):
            fonts.set(docx.oxml.ns.qn(f"w:{script}"), FACE)
        layout = style.paragraph_format
        layout.space_before, layout.space_after = docx.shared.Pt(before), docx.shared.Pt(after)
    document.styles["Caption"].paragraph_format.keep_with_next = True
    align = docx.enum.text.WD_ALIGN_PARAGRAPH
    document.styles[NUMBER_STYLE].paragraph_format.alignment = align.RIGHT
    quote = document.styles["Intense Quote"].paragraph_format
    quote.left_indent, quote.right_indent = docx.shared.Pt(10), docx.shared.Pt(0)
    for name in ("Title", "Intense Quote"):
        _side_rule(document.styles[name], docx, left=name == "Intense Quote")


def _side_rule(style: Any, docx: Any, left: bool) -> None:
    """A note has a rule beside it; a title has none at all."""
    layout = style.element.get_or_add_pPr()
    for old in layout.findall(docx.oxml.ns.qn("w:pBdr")):
        layout.remove(old)
    if left:
        borders = element(docx, "pBdr")
        borders.append(element(docx, "left", val="single", sz=18, space=6, color=palette.ORANGE.lstrip("#")))
        layout.insert_element_before(borders, "w:shd", "w:tabs", "w:suppressAutoHyphens", "w:spacing", "w:ind", "w:jc",
                                     "w:rPr")


def field(paragraph: Any, docx: Any, instruction: str, shown: str = "") -> None:
    """A field with what stands there until the word processor fills it."""
    begin_field(paragraph, docx, instruction)
    paragraph.add_run(shown)
    end_field(paragraph, docx)


def begin_field(paragraph: Any, docx: Any, instruction: str) -> None:
    """The beginning of a field; what stands in it follows, until `end_field`."""
    text = element(docx, "instrText")
    text.set("{http://www.w3.org/XML/1998/namespace}space", "preserve")
    text.text = f" {instruction} "
    for part in (element(docx, "fldChar", fldCharType="begin"), text, element(docx, "fldChar", fldCharType="separate")):
        paragraph.add_run()._r.append(part)


def end_field(paragraph: Any, docx: Any) -> None:
    """The end of a field."""
    paragraph.add_run()._r.append(element(docx, "fldChar", fldCharType="end"))


def bookmark(paragraph: Any, docx: Any, number: int, name: str) -> None:
    """Mark a paragraph, so that a field can name its page."""
    start = element(docx, "bookmarkStart", id=number, name=name)
    paragraph._p.insert(1 if paragraph._p.pPr is not None else 0, start)
    paragraph._p.append(element(docx, "bookmarkEnd", id=number))


def fill_when_opened(document: Any, docx: Any) -> None:
    """Let the word processor fill the fields, the pages of the contents above all, when the file is opened."""
    settings = document.settings.element
    after = ("w:hdrShapeDefaults", "w:footnotePr", "w:endnotePr", "w:compat")
    place = next((child for tag in after for child in settings.findall(docx.oxml.ns.qn(tag))), None)
    wanted = element(docx, "updateFields", val="true")
    if place is None:
        settings.append(wanted)
    else:
        place.addprevious(wanted)


def equal_bytes(made: bytes) -> bytes:
    """The same file with a fixed day on each of its parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(made)) as parts, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as kept:
        for part in parts.infolist():
            kept.writestr(zipfile.ZipInfo(part.filename, DOCUMENT_MADE), parts.read(part), zipfile.ZIP_DEFLATED)
    return out.getvalue()
