"""Whether a zipped workbook may be opened: measured before the reader sees it, because headers lie and the reader trusts them."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from io import BytesIO

from domain.errors import RuleBroken

UPLOAD_MOST = 20 * 1024 * 1024
"""The largest file that is taken [bytes]."""
UNPACKED_MOST = 200 * 1024 * 1024
"""The most that a workbook may be unpacked [bytes]."""
RATIO_MOST = 100
"""The most that a workbook may grow when it is unpacked [times]."""
ENTRIES_MOST = 1000
ROWS_MOST = 200_000
COLUMNS_MOST = 64
TEXT_CELLS_MOST = 1024 * 1024 * 1024
"""The most text that the cells of a workbook may repeat from its table of shared strings [bytes]."""

_CHUNK = 1024 * 1024
_OVERLAP = 1024
_LOCAL_HEADER = 30
_ENCRYPTED = 0x1
_WORKBOOK = "xl/workbook.xml"
_OTHER_WORKBOOKS = frozenset(("content.xml", "xl/workbook.bin"))
"""Parts of other formats, which the reader would take as well, and which are not measured here."""
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
# What the start of a reference beyond the caps looks like; then the cells and rows, the references in one, and what shows that there is
# nothing in it: where there is something, the reader would lay out every cell up to it. Each expression looks at a character once.
_PERHAPS_FAR = re.compile(rb"""=\s*["'](?:[A-Za-z]{3}\d|[C-Zc-z][A-Za-z]\d|[Bb][M-Zm-z]\d|[A-Za-z]{0,2}(?:[2-9]\d{5}|\d{7}))""")
_PLACED = re.compile(rb"<(?:\w+:)?(?:c|row)(?=\s)[^<>]*+(?<!/)>")
_FAR = re.compile(rb"""\sr\s*+=\s*+["'](?:[A-Za-z]{3,}+\d|[C-Zc-z][A-Za-z]\d|[Bb][M-Zm-z]\d|[A-Za-z]{0,2}0*+(?P<row>\d{6,12}))""")
_NOTHING_IN_IT = re.compile(rb"\s*+(?:</|<c\s[^<>]*\br\s*+=)")
_SHARED = re.compile(rb"<(?:\w+:)?si\b")
_VALUE_CELL = re.compile(rb"(?P<cell><(?:\w+:)?c\s[^<>]*+>)\s*+<(?:\w+:)?v>\s*+0*+(?P<value>\d{0,9})")
_SAYS_SHARED = re.compile(rb"""\bt\s*+=\s*+["']s["']""")


def refuse_unsafe_workbook(content: bytes) -> None:
    """Refuse a file that is no readable workbook or would not stay small when it is opened.

    Raises:
        RuleBroken: Broken, encrypted or an older format; too many parts; unpacked larger than the caps; cells beyond the caps.
    """
    if content.startswith(_OLE):
        raise _refused(
            "workbook-locked", "The workbook has a password, or is of the format before .xlsx. Save it as .xlsx without a password."
        )
    parts = _parts(content)
    unpacked, references = 0, 0
    for part in parts:
        before = b""
        for chunk in _unpacked(content, part):
            unpacked += len(chunk)
            _refuse_growth(unpacked, packed=len(content))
            _refuse_far_cells(before + chunk)
            references += chunk.count(b't="s"') + chunk.count(b"t='s'")
            before = chunk[-_OVERLAP:]
    _refuse_repetition(content, parts, references=references)


def _parts(content: bytes) -> list[zipfile.ZipInfo]:
    try:
        with zipfile.ZipFile(BytesIO(content)) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError) as broken:
        raise _broken() from broken
    if len(parts) > ENTRIES_MOST:
        raise _refused("workbook-too-large", f"The workbook has {len(parts)} parts; at most {ENTRIES_MOST} are taken.")
    if any(part.flag_bits & _ENCRYPTED for part in parts):
        raise _refused("workbook-locked", "The workbook is encrypted. Save it without a password.")
    _refuse_growth(sum(part.file_size for part in parts), packed=len(content))
    names = {part.filename.replace("\\", "/").lower() for part in parts}
    if _WORKBOOK not in names or names & _OTHER_WORKBOOKS:
        raise _refused("not-a-workbook", "This is a packed file, but no .xlsx workbook.")
    return parts


def _unpacked(content: bytes, part: zipfile.ZipInfo) -> Iterator[bytes]:
    header = content[part.header_offset : part.header_offset + _LOCAL_HEADER]
    if len(header) < _LOCAL_HEADER or not header.startswith(b"PK\x03\x04"):
        raise _broken()
    start = part.header_offset + _LOCAL_HEADER + int.from_bytes(header[26:28], "little") + int.from_bytes(header[28:30], "little")
    packed = content[start : start + part.compress_size]
    if part.compress_type == zipfile.ZIP_STORED:
        yield from (packed[at : at + _CHUNK] for at in range(0, len(packed), _CHUNK))
    elif part.compress_type == zipfile.ZIP_DEFLATED:
        yield from _inflated(packed)
    else:
        raise _broken()


def _inflated(packed: bytes) -> Iterator[bytes]:
    inflating = zlib.decompressobj(-zlib.MAX_WBITS)
    try:
        while packed and not inflating.eof:
            yield inflating.decompress(packed, _CHUNK)
            packed = inflating.unconsumed_tail
    except zlib.error as broken:
        raise _broken() from broken


def _refuse_growth(unpacked: int, *, packed: int) -> None:
    if unpacked > UNPACKED_MOST or unpacked > max(packed * RATIO_MOST, _CHUNK):
        raise _refused(
            "workbook-too-large",
            f"Unpacked, the workbook is beyond {UNPACKED_MOST // 1024 // 1024} MB or {RATIO_MOST} times its size; it is not opened.",
        )


def _refuse_far_cells(xml: bytes) -> None:
    for far in _far_cells(xml) if _PERHAPS_FAR.search(xml) else ():
        if far["row"] is None:
            raise _refused("too-many-columns", f"The sheet has cells beyond its first {COLUMNS_MOST} columns.")
        if int(far["row"]) > ROWS_MOST + ENTRIES_MOST:
            raise _refused("too-many-rows", f"The sheet has cells beyond its first {ROWS_MOST} rows.")


def _far_cells(xml: bytes) -> Iterator[re.Match[bytes]]:
    for placed in _PLACED.finditer(xml):
        if _FAR.search(placed[0]) and not _NOTHING_IN_IT.match(xml, placed.end()):
            yield from _FAR.finditer(placed[0])


def _refuse_repetition(content: bytes, parts: list[zipfile.ZipInfo], *, references: int) -> None:
    tables = (b"".join(_unpacked(content, part)) for part in parts if b"<sst" in next(_unpacked(content, part), b""))
    lengths = [len(one) for text in tables for one in _SHARED.split(text)[1:]]
    if max(lengths, default=0) * references <= TEXT_CELLS_MOST:
        return
    sheets = (b"".join(_unpacked(content, part)) for part in parts)
    repeated = sum(lengths[at] for sheet in sheets for at in _shared_at(sheet) if at < len(lengths))
    if repeated > TEXT_CELLS_MOST:
        raise _refused("workbook-too-large", "The workbook's cells repeat more text than can be held; it is not opened.")


def _shared_at(sheet: bytes) -> Iterator[int]:
    return (int(found["value"] or 0) for found in _VALUE_CELL.finditer(sheet) if _SAYS_SHARED.search(found["cell"]))


def _broken() -> RuleBroken:
    return _refused("workbook-broken", "The workbook cannot be opened; the file is damaged.")


def _refused(code: str, detail: str) -> RuleBroken:
    return RuleBroken(detail, code=code, field="file")
