"""Cells of a sheet that its reader loses: errors, formulas without a value, numbers that a format shows otherwise."""

from __future__ import annotations

import re

from reliability.xlsx.archive import Broken, Parts

NO_VALUE = "#FORMULA"       # text of a cell whose formula has no value in the file
_CELL = re.compile(
    rb"<(?:[\w.-]+:)?(?:row\b([^>]*)>|c\b(?:([^>]*?)/>|([^>]*)>(.*?)</(?:[\w.-]+:)?c\s*>))", re.DOTALL)
_ATTRIBUTE = re.compile(rb"""(?:^|\s)([rst])\s*=\s*["']([^"']*)["']""")
_VALUE = re.compile(rb"<(?:[\w.-]+:)?v\b[^>/]*>\s*([^<\s][^<]*)<")
_FORMULA = re.compile(rb"<(?:[\w.-]+:)?f\b")
_INLINE = re.compile(rb"<(?:[\w.-]+:)?is\b")
_ERROR = re.compile(rb"""\st\s*=\s*["']e["']""")
_FILLED = re.compile(rb"<(?:[\w.-]+:)?(?:v|is)\b[^>/]*>")
_HIDDEN = re.compile(rb"""<(?:[\w.-]+:)?row\b[^>]*\shidden\s*=\s*["'](?:1|true)["']""")
# the errors that the reader knows; newer ones would have it refuse the whole workbook
_OTHER_ERROR = re.compile(
    rb"""(\st\s*=\s*["']e["'][^>]*>(?:\s*<(?:[\w.-]+:)?f\b[^>]*(?:/>|>[^<]*</[^>]*>))?\s*<(?:[\w.-]+:)?v\b[^>]*>)"""
    rb"\s*(?!#(?:DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!)\s*<)[^<]*<")
_HIDDEN_COLUMNS = re.compile(rb"""<(?:[\w.-]+:)?col\b[^>]*\shidden\s*=\s*["'](?:1|true)["'][^>]*>""")
_ENDS = re.compile(rb"""\s(min|max)\s*=\s*["'](\d{1,5})["']""")
_ROW_END = re.compile(rb"</(?:[\w.-]+:)?row\s*>")
_ROW_NUMBER = re.compile(rb"""<(?:[\w.-]+:)?ROW\b[^>]*?\sR\s*=\s*["'](\d+)["']""")     # in capitals
_CELL_NAME = re.compile(rb"""<(?:[\w.-]+:)?C\b[^>]*?\sR\s*=\s*["']([A-Z]+\d+)["']""")
_LETTERS = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_NO_STRING = re.compile(rb"""s["'][^<>]*>\s*<(?:[\w.-]+:)?v\b[^>/]*>(?!\s*\d)""")
_ASIDE = re.compile(r"\[[^\]]*\]|[_*].")      # colours and conditions; space as wide as a character, and fill
_LITERAL = re.compile(r'"[^"]*"|\\.')


def is_filled(xml: bytes) -> bool:
    """Whether any cell of a sheet has a value."""
    return _FILLED.search(xml) is not None


def hidden_rows(xml: bytes) -> int:
    """Number of rows of a sheet that are hidden."""
    return len(_HIDDEN.findall(xml)) if b"hidden" in xml else 0


def hidden_columns(xml: bytes, width: int) -> int:
    """Number of columns of a sheet that are hidden, of so many that hold anything."""
    found: set[int] = set()
    for column in _HIDDEN_COLUMNS.findall(xml) if b"hidden" in xml else ():
        ends = {name: int(place) for name, place in _ENDS.findall(column)}
        found.update(range(ends.get(b"min", 1), min(ends.get(b"max", 0), width) + 1))
    return len(found)


def holds_twice(xml: bytes) -> bool:
    """Whether a sheet holds a row or a cell twice, of which its reader would take the last alone."""
    seen: set[bytes] = set()
    start = 0
    for end in _ROW_END.finditer(xml):
        capitals = xml[start:end.start()].upper()
        start = end.end()
        names = _CELL_NAME.findall(capitals)
        number = names[0].lstrip(_LETTERS) if names else next(iter(_ROW_NUMBER.findall(capitals)[-1:]), None)
        if len(set(names)) < len(names) or number in seen:
            return True
        if number is not None:
            seen.add(number)
    return False


def with_known_errors(xml: bytes) -> bytes:
    """A sheet whose errors are all of those that its reader knows."""
    return _OTHER_ERROR.sub(rb"\1#N/A<", xml)


def names_no_string(xml: bytes) -> bool:
    """Whether any cell names a shared text by what is no number, which its reader would take for the first."""
    return _NO_STRING.search(xml) is not None


def number_formats(parts: Parts) -> dict[bytes, int]:
    """Styles that show a whole number with other characters than its digits.

    The style's index as a cell names it → the digits that it fills up with zeros, −1 where it adds other characters.
    """
    root = parts.xml(next((n for n in parts if n.rpartition("/")[2] == "styles.xml"), ""))
    codes = {e.get("numFmtId"): e.get("formatCode", "") for e in root.iter() if e.tag.endswith("}numFmt")}
    styles = list(next((e for e in root.iter() if e.tag.endswith("}cellXfs")), ()))
    digits = {str(k).encode(): shown_digits(codes.get(style.get("numFmtId"), "")) for k, style in enumerate(styles)}
    return {style: shown for style, shown in digits.items() if shown}


def shown_digits(code: str) -> int:
    """Digits that a number format fills up with zeros, 0 where it does not; −1 where it adds other characters."""
    shown = _ASIDE.sub("", code.partition(";")[0])
    if re.fullmatch("0{2,}", shown):
        return len(shown)
    bare = _LITERAL.sub("", shown)
    if not re.search("[0#?]", bare) or re.search("[$€£¥%eEdmyhs@]", bare) or "$" in shown:
        return 0    # a day, a text, money, a share or a power
    return -1 if bare != shown or re.search("^0{2,}|[^0#?,. ]", bare) else 0


def notable_cells(xml: bytes, styles: dict[bytes, int]) -> dict[tuple[int, int], str | int]:
    """Cells, by row and column from 0, and what is notable of each: the text of an error, NO_VALUE, or the digits that
    its style fills up (see `number_formats`)."""
    formulas = b"<f" in xml or b":f" in xml
    styled = any(b's="' + style + b'"' in xml or b"s='" + style + b"'" in xml for style in styles)
    if not (formulas or styled or _ERROR.search(xml)):
        return {}       # the usual sheet, without a look at every cell
    found: dict[tuple[int, int], str | int] = {}
    row, column = -1, -1
    for match in _CELL.finditer(xml):
        attributes = dict(_ATTRIBUTE.findall(next(a for a in match.groups() if a is not None)))
        if match[1] is not None:
            row, column = int(attributes[b"r"]) - 1 if b"r" in attributes else row + 1, -1
            continue
        row, column = _place(attributes[b"r"]) if b"r" in attributes else (row, column + 1)
        what = _notable(match[4] or b"", attributes, styles)
        if what:
            found[row, column] = what
    return found


def _notable(body: bytes, attributes: dict[bytes, bytes], styles: dict[bytes, int]) -> str | int:
    """What is notable of a cell with this content; 0 where nothing is."""
    kind, value = attributes.get(b"t", b"n"), _VALUE.search(body)
    if kind == b"e":
        return value[1].decode("utf-8", "replace").strip() if value else "#N/A"
    # the empty text is a value of a formula too, where it stands there
    empty = kind == b"str" and _FILLED.search(body) is not None
    if not value and not empty and _FORMULA.search(body) and not _INLINE.search(body):
        return NO_VALUE
    return styles.get(attributes.get(b"s", b""), 0) if kind == b"n" and value else 0


def _place(reference: bytes) -> tuple[int, int]:
    """Row and column from 0 of a reference such as AB12."""
    match = re.fullmatch(rb"([A-Z]{1,3})([0-9]{1,7})", reference.upper())
    if match is None:
        raise Broken
    column = 0
    for letter in match[1]:
        column = 26 * column + letter - 64
    return int(match[2]) - 1, column - 1
