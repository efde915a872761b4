"""Looks at a workbook from outside, before anything in it is unpacked.

An .xlsx is a zip archive (ECMA-376 part 2); one with a password is an OLE compound file that holds
a stream ``EncryptedPackage`` (MS-OFFCRYPTO 2.3.1). A zip of a few megabytes can unpack to
gigabytes, but its directory states every size, and no more than stated is ever unpacked.
"""

import re
import zipfile
import zlib
from pathlib import Path

from .source import NotReadable

_OLE = bytes.fromhex("d0cf11e0a1b11ae1")
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_CHUNK = 1 << 20

# A workbook of 200,000 event rows unpacks to about 100 MiB.
MOST_UNPACKED = 2 << 30
# Text shared by cells is held in memory as long as the file is open.
MOST_SHARED_TEXT = 64 << 20
# Sheets of numbers and repeated words shrink 10- to 50-fold; deflate's limit is 1,032-fold.
MOST_RATIO = 200
SMALL = 16 << 20
MOST_PARTS = 10_000


def check(path: Path) -> None:
    """Raises :class:`NotReadable` unless ``path`` is a zip archive that holds a workbook of sane size."""
    with path.open("rb") as file:
        head = file.read(8)
    if not head:
        raise NotReadable("the file is empty; expected a workbook (.xlsx)")
    if head == _OLE:
        raise NotReadable(_why_ole(path))
    if path.suffix.lower() == ".csv":
        raise NotReadable("this is one csv file; give the folder that holds it (places.csv, lots.csv, ...)")
    if not zipfile.is_zipfile(path):
        raise NotReadable("not a workbook; expected an .xlsx file, or a folder of .csv files")
    try:
        with zipfile.ZipFile(path) as archive:
            _check_directory(archive.infolist())
    except zipfile.BadZipFile as error:
        raise NotReadable(f"the workbook is damaged ({error}); save it again") from None


def holds_formulas(path: Path) -> bool:
    """Whether any sheet has a formula; reads the sheets' text once, without parsing it.

    Also refuses a part with a document type declaration: no workbook has one, and it is the door
    of entity expansion.
    """
    try:
        return _scan(path)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError) as error:
        raise NotReadable(f"the workbook is damaged ({error}); save it again") from None


def _scan(path: Path) -> bool:
    found = False
    with zipfile.ZipFile(path) as archive:
        for part in archive.infolist():
            if not part.filename.lower().endswith((".xml", ".rels")):
                continue
            with archive.open(part) as stream:
                tail = b""
                while chunk := stream.read(_CHUNK):
                    if not tail and (b"<!DOCTYPE" in chunk or b"<!ENTITY" in chunk):
                        raise NotReadable(f"{part.filename} declares a document type; no workbook does that")
                    if not found and "worksheets/" in part.filename:
                        found = _FORMULA.search(tail + chunk) is not None
                    tail = chunk[-64:]
                    if found or "worksheets/" not in part.filename:
                        break
    return found


def _check_directory(parts: list[zipfile.ZipInfo]) -> None:
    if any(part.flag_bits & 1 for part in parts):
        raise NotReadable("the archive is protected with a password; save the workbook without one")
    names = {part.filename.lower() for part in parts}
    if "[content_types].xml" not in names or not any(name.endswith("workbook.xml") for name in names):
        raise NotReadable("a zip archive, but not a workbook; save it as .xlsx")
    unpacked = sum(part.file_size for part in parts)
    packed = sum(part.compress_size for part in parts)
    shared = sum(part.file_size for part in parts if part.filename.lower().endswith("sharedstrings.xml"))
    if len(parts) > MOST_PARTS or unpacked > MOST_UNPACKED or shared > MOST_SHARED_TEXT:
        raise NotReadable(
            f"the workbook would unpack to {unpacked >> 20} MiB in {len(parts)} parts, more than is taken; "
            "divide it, or save it as csv"
        )
    if unpacked > SMALL and unpacked > MOST_RATIO * max(packed, 1):
        raise NotReadable(
            f"the workbook is packed {unpacked // max(packed, 1)}-fold ({unpacked >> 20} MiB when unpacked), "
            "which no workbook of records is; delete unused formatted rows, or save it as csv"
        )


def _why_ole(path: Path) -> str:
    """An OLE file is a workbook with a password, or one of the format before 2007."""
    with path.open("rb") as file:
        tail = b""
        while chunk := file.read(_CHUNK):
            if _ENCRYPTED in tail + chunk:
                return "the workbook is encrypted; open it, remove the password, and save it again"
            tail = chunk[-len(_ENCRYPTED) :]
    return "a workbook of the old format (.xls); save it as .xlsx"
