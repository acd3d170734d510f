"""Workbooks put together part by part, so that tests can write into them what no library writes."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from typing import NamedTuple

_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"


class Sheet(NamedTuple):
    """A sheet of a raw workbook.

    xml: its rows, as in `sheetData`. before, after: what stands around them. part: where it lies in the archive.
    """

    xml: str
    name: str = "Sheet1"
    state: str = "visible"
    before: str = ""
    after: str = ""
    part: str = ""


def cell(reference: str, value: object, attributes: str = "") -> str:
    """A cell with a number, or with text in its place."""
    if isinstance(value, str):
        return f'<c r="{reference}" t="inlineStr"{attributes}><is><t>{value}</t></is></c>'
    return f'<c r="{reference}"{attributes}><v>{value}</v></c>'


def rows(*records: Sequence[object]) -> str:
    """Rows of cells from A1 on: text and numbers, None for none, and XML (text that begins with "<c") as it stands."""
    found = []
    for k, record in enumerate(records, 1):
        cells = [v if isinstance(v, str) and v.startswith("<c ") else cell(f"{chr(65 + at)}{k}", v)
                 for at, v in enumerate(record) if v is not None]
        found.append(f'<row r="{k}">{"".join(cells)}</row>')
    return "".join(found)


def parts_of(*sheets: Sheet, formats: Sequence[str] = ()) -> dict[str, str]:
    """Parts of a workbook by name. formats: number formats; a cell with s="1" has the first."""
    places = [sheet.part or f"xl/worksheets/sheet{k}.xml" for k, sheet in enumerate(sheets, 1)]
    listed = "".join(f'<sheet name="{s.name}" sheetId="{k}" state="{s.state}" r:id="rId{k}"/>'
                     for k, s in enumerate(sheets, 1))
    related = "".join(f'<Relationship Id="rId{k}" Type="{OFFICE}/worksheet" Target="/{place}"/>'
                      for k, place in enumerate(places, 1))
    codes = "".join(f'<numFmt numFmtId="{164 + k}" formatCode="{code}"/>' for k, code in enumerate(formats))
    styles = "".join(f'<xf numFmtId="{164 + k}" applyNumberFormat="1"/>' for k in range(len(formats)))
    typed = "".join(f'<Override PartName="/{place}" ContentType="{_TYPE}.worksheet+xml"/>' for place in places)
    return {
        "[Content_Types].xml": f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
        f'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override '
        f'PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>{typed}</Types>',
        "_rels/.rels": f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{_HEAD}<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">{related}'
        f'<Relationship Id="rId99" Type="{OFFICE}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": f'{_HEAD}<styleSheet xmlns="{MAIN}"><numFmts>{codes}</numFmts><cellXfs><xf numFmtId="0"/>'
        f"{styles}</cellXfs></styleSheet>",
    } | {place: f'{_HEAD}<worksheet xmlns="{MAIN}">{s.before}<sheetData>{s.xml}</sheetData>{s.after}</worksheet>'
         for place, s in zip(places, sheets, strict=True)}


def packed(parts: dict[str, str]) -> bytes:
    """The parts as an archive."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(zipfile.ZipInfo(name), text)
    return stream.getvalue()


def raw_workbook(*sheets: Sheet, formats: Sequence[str] = ()) -> bytes:
    """A workbook of these sheets, see `parts_of`."""
    return packed(parts_of(*sheets, formats=formats))
