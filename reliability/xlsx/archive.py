"""The parts of a workbook: unpacked with a limit, and which of them holds which sheet."""

from __future__ import annotations

import io
import posixpath
import struct
import zipfile
import zlib
from collections.abc import Iterator
from xml.etree import ElementTree

_PIECE = 2**20
_RELATIONS = ("{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id",
              "{http://purl.oclc.org/ooxml/officeDocument/relationships}id")    # transitional and strict, ISO/IEC 29500


class Broken(Exception):
    """The bytes are no workbook that can be read."""


class Large(Exception):
    """The workbook unpacks into too much."""


class Parts:
    """The parts of an archive by their names in lower case.

    content: the archive. most: bytes that all of them may unpack into, measured whatever the archive declares; Large
    beyond. Broken where two parts have one name, or a part is packed in a way that workbooks are not.
    """

    def __init__(self, content: bytes, most: int) -> None:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            infos = archive.infolist()
        self._parts: dict[str, bytes] = {}
        for info in infos:
            name, pieces = info.filename.casefold(), []
            if name in self._parts:
                raise Broken
            for piece in _unpacked(content, info):
                pieces.append(piece)
                most -= len(piece)
                if most < 0:
                    raise Large
            self._parts[name] = b"".join(pieces)

    def __contains__(self, name: str) -> bool:
        return name in self._parts

    def __iter__(self) -> Iterator[str]:
        return iter(self._parts)

    def read(self, name: str) -> bytes:
        """Content of a part."""
        return self._parts[name]

    def packed(self, name: str, content: bytes) -> bytes:
        """The archive again, with other content of one part."""
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w") as archive:
            for part, own in self._parts.items():
                archive.writestr(zipfile.ZipInfo(part), content if part == name else own)
        return stream.getvalue()

    def xml(self, name: str) -> ElementTree.Element:
        """Root of a part; an element without any where there is no such part."""
        # memory and time of this process are bounded, and external entities are not followed
        return ElementTree.fromstring(self.read(name)) if name in self else ElementTree.Element("none")  # noqa: S314


def _unpacked(content: bytes, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """Pieces of one part as its bytes really unpack."""
    start = part.header_offset
    name_length, extra_length = struct.unpack("<HH", content[start + 26:start + 30])
    start += 30 + name_length + extra_length
    packed = content[start:start + part.compress_size]
    if part.compress_type == zipfile.ZIP_STORED:
        yield packed
        return
    if part.compress_type != zipfile.ZIP_DEFLATED:
        raise Broken
    engine = zlib.decompressobj(-15)
    while not engine.eof:
        piece = engine.decompress(packed, _PIECE)
        packed = engine.unconsumed_tail
        if not piece and not packed:
            return
        yield piece


def sheet_parts(parts: Parts) -> list[str]:
    """Name of the part of each sheet, in the order of the workbook, "" where it has none."""
    home = "xl/workbook.xml"
    for relation in parts.xml("_rels/.rels"):
        if relation.get("Type", "").endswith("/officeDocument"):
            home = _target("", relation)
    folder, _, file = home.rpartition("/")
    targets = {relation.get("Id"): _target(folder, relation)
               for relation in parts.xml(f"{folder}/_rels/{file}.rels".lstrip("/"))}
    sheets = [e for e in parts.xml(home).iter() if e.tag.rpartition("}")[2] == "sheet"]
    return [targets.get(next(filter(None, map(sheet.get, _RELATIONS)), ""), "") for sheet in sheets]


def _target(folder: str, relation: ElementTree.Element) -> str:
    """Name of the part that a relation of a part in `folder` leads to."""
    target = relation.get("Target", "").replace("\\", "/")
    return posixpath.normpath(posixpath.join("/" + folder, target)).lstrip("/").casefold()
