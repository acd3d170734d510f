"""Any workbook is rows or a problem, whatever is broken in its names, dimensions, references and relations."""

from __future__ import annotations

import os
import random
import re
from collections.abc import Callable

import pytest

from reliability.schema.problems import StudyError
from reliability.study.tables import read_rows
from reliability.study.workbook import read_sheets
from tests.workbooks import Sheet, packed, parts_of, rows

TABLE = rows(["id", "n"], ["a", 1], ["b", 2.5])
_REFUSED = "not an .xlsx workbook|far too much|the file is empty|visible sheets|more than 500 columns"
STRINGS = "xl/sharedStrings.xml"
_NAMES = ["xl/tables/data.xml", "xl/worksheets/SHEET1.XML", "../sheet.xml", "/etc/passwd", "a" * 300,
          "xl\\worksheets\\s.xml"]
_REFERENCES = ["xfd1048576", "XFD1048576", "A0", "A99999999999", "ZZZZ1", "1A", "", "A-1", "$A$1", "é1", "A1:B2",
               "AAA1048576"]
_RANGES = ["A1:XFD1048576", "B2:A1", "A1:A1048577", "A1", "", ":", "A0:B0", "A1:ZZZZ9"]
_MARKS = ["<", "&", "<!DOCTYPE x [<!ENTITY a 'b'>]>", "<x>", "\0", ""]
_NUMBERS = ["-1", "0", "4294967296", "99999999999999999999", "1e999", "", "x", "NaN"]


def broken_workbook(random_: random.Random) -> bytes:
    """A small workbook with some of its parts broken: names, dimensions, references, shared strings, relations."""
    shared = '<row r="4"><c r="A4" t="s"><v>0</v></c><c r="B4" t="s"><v>1</v></c></row>'
    part = random_.choice(["", *_NAMES])
    parts = parts_of(Sheet(TABLE + shared, part=part, before='<dimension ref="A1:B4"/>',
                           after='<mergeCells count="1"><mergeCell ref="A2:A3"/></mergeCells>'), formats=("000",))
    parts[STRINGS] = '<sst count="2" uniqueCount="2"><si><t>c</t></si><si><r><t>d</t></r></si></sst>'
    parts["xl/_rels/workbook.xml.rels"] = parts["xl/_rels/workbook.xml.rels"].replace(
        "</Relationships>", '<Relationship Id="rId98" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
        'relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>')
    for _ in range(random_.randint(1, 4)):
        _break(parts, random_)
    content = packed(parts)
    if random_.random() < 0.1:
        at = random_.randrange(len(content))
        content = content[:at] + bytes([random_.randrange(256)]) + content[at + 1:]
    return content


def _break(parts: dict[str, str], random_: random.Random) -> None:
    name = random_.choice(list(parts))
    text = parts[name]
    swaps = [(r'(<c r=")[^"]*', _REFERENCES), (r'(<row r=")[^"]*', _NUMBERS), (r'(ref=")[^"]*', _RANGES),
             (r'((?:unique)?[cC]ount=")[^"]*', _NUMBERS), (r"(<v>)[^<]*", _NUMBERS), (r'(Target=")[^"]*', _NAMES),
             (r'( t=")[^"]*', ["s", "e", "b", "d", "n", "str", "?"]), (r'( [rI]d=")[^"]*', ["rId1", "rId9", ""]),
             (r'(state=")[^"]*', ["hidden", "veryHidden", "x"]), (r'(formatCode=")[^"]*', ["0" * 5000, "[[[", "\\"])]
    pattern, values = random_.choice(swaps)
    places = list(re.finditer(pattern, text))
    kind = random_.random()
    if places and kind < 0.75:
        place = random_.choice(places)
        parts[name] = text[:place.start()] + place[1] + random_.choice(values) + text[place.end():]
    elif kind < 0.85:
        at = random_.randrange(max(len(text), 1))
        parts[name] = text[:at] + random_.choice(_MARKS) + text[at + 3:]
    elif kind < 0.93:
        parts[name.upper() if random_.random() < 0.5 else random_.choice(_NAMES)] = parts.pop(name)
    else:
        parts[name] = text * 3


def outcome(reader: Callable[[str, bytes], object], content: bytes) -> str:
    """Why a workbook is refused, "" where it is read."""
    try:
        reader("t.xlsx", content)
    except StudyError as error:
        return str(error)
    return ""


@pytest.mark.slow
def test_any_workbook_is_rows_or_a_problem():
    """XLSX_EXAMPLES=36000 in the environment takes an hour and draws others each time."""
    drawn = int(os.environ.get("XLSX_EXAMPLES", "60"))
    random_ = random.Random(22 if drawn == 60 else None)
    read = 0
    for _ in range(drawn):
        content = broken_workbook(random_)
        for reader in (read_rows, lambda name, content: read_sheets(name, content, 40_000_000)):
            message = outcome(reader, content)
            assert not message or re.search(_REFUSED, message), content
            read += not message
    assert 0 < read < 2 * drawn
