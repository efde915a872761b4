"""Looks at a workbook from outside, before anything in it is unpacked.

An .xlsx is a zip archive (ECMA-376 part 2); one with a password is an OLE compound file that holds
a stream ``EncryptedPackage`` (MS-OFFCRYPTO 2.3.1). A zip of a few megabytes can unpack to
gigabytes, but its directory states every size, and no more than stated is ever unpacked.
"""

import lzma
import re
import struct
import zipfile
import zlib
from pathlib import Path

from .source import NotReadable

_OLE = bytes.fromhex("d0cf11e0a1b11ae1")
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_OVERRIDE = re.compile(r"<(?:\w+:)?Override\b[^>]*>")
_ATTRIBUTE = re.compile(r"""(\w+)\s*=\s*["']([^"']*)["']""")
_HELD = (
    *("[content_types].xml", "xl/styles.xml", "xl/theme/theme1.xml"),
    *("docprops/core.xml", "docprops/custom.xml"),
)
_MAIN = re.compile(r"\.main\+xml|chartsheet\+xml")
_CHUNK = 1 << 20
# What the zip reader raises for a file in which any byte may have changed.
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, EOFError, OSError, ValueError, KeyError,
    NotImplementedError, RuntimeError, OverflowError,
)  # fmt: skip

# A workbook of 200,000 event rows unpacks to about 100 MiB.
MOST_UNPACKED = 2 << 30
# Text shared by cells is held in memory as long as the file is open: a text of its own is two elements.
MOST_SHARED_TEXT = 64 << 20
MOST_SHARED_TAGS = 1_500_000
# What else the reader takes into memory as a whole. Styles gather over years, but not without end.
MOST_HELD = 4 << 20
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
            _check_held(archive)
    except _DAMAGED as error:
        raise NotReadable(f"the workbook is damaged ({error}); save it again") from None


def holds_formulas(path: Path) -> bool:
    """Whether any sheet has a formula; reads the sheets' text once, without parsing it.

    Also refuses a part with a document type declaration: no workbook has one, and it is the door
    of entity expansion.
    """
    try:
        return _scan(path)
    except _DAMAGED as error:
        raise NotReadable(f"the workbook is damaged ({error}); save it again") from None


def why(error: Exception) -> str:
    """The words of an error in brackets, where they say something to somebody who has only the file."""
    return f" ({error})" if isinstance(error, SyntaxError | zipfile.BadZipFile | zlib.error) else ""


def _scan(path: Path) -> bool:
    found, tags = False, 0
    with zipfile.ZipFile(path) as archive:
        kinds = _kinds(archive)
        for part in archive.infolist():
            shared = _is_shared(part.filename.lower(), kinds.get(part.filename.lower(), ""))
            if not shared and not part.filename.lower().endswith((".xml", ".rels")):
                continue
            with archive.open(part) as stream:
                tail = b""
                while chunk := stream.read(_CHUNK):
                    if not tail and (b"<!DOCTYPE" in chunk or b"<!ENTITY" in chunk):
                        raise NotReadable(f"{part.filename} declares a document type; no workbook does that")
                    if not found and "worksheets/" in part.filename:
                        found = _FORMULA.search(tail + chunk) is not None
                    tail = chunk[-64:]
                    tags += chunk.count(b"<") - chunk.count(b"</") if shared else 0
                    if tags > MOST_SHARED_TAGS:
                        raise NotReadable("it has more pieces of text than are taken; save it as csv")
                    if not shared and (found or "worksheets/" not in part.filename):
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


def _check_held(archive: zipfile.ZipFile) -> None:
    """Looks at parts that are not streamed: those of a fixed name, and those that the list of types names."""
    kinds = _kinds(archive)
    shared = 0
    for part in archive.infolist():
        name = part.filename.lower()
        kind = kinds.get(name, "")
        if _is_shared(name, kind):
            shared += part.file_size
        elif part.file_size > MOST_HELD and (name.endswith(".rels") or name in _HELD or _MAIN.search(kind)):
            raise NotReadable(
                f"{part.filename} would unpack to {part.file_size >> 20} MiB, more than is taken; delete "
                "unused styles and names, or save it as csv"
            )
    if shared > MOST_SHARED_TEXT:
        raise NotReadable(f"the workbook has {shared >> 20} MiB of text, more than is taken; save it as csv")


def _kinds(archive: zipfile.ZipFile) -> dict[str, str]:
    """What the list of content types says of each part, by its name (ECMA-376 part 2, 10.1.2)."""
    listed = next(part for part in archive.infolist() if part.filename.lower() == "[content_types].xml")
    if listed.file_size > MOST_HELD:
        raise NotReadable("its list of content types is larger than that of any workbook; save it again")
    kinds = {}
    for found in _OVERRIDE.finditer(archive.read(listed).decode("utf-8", "replace")):
        said = dict(_ATTRIBUTE.findall(found[0]))
        kinds[said.get("PartName", "").lstrip("/").lower()] = said.get("ContentType", "")
    return kinds


def _is_shared(name: str, kind: str) -> bool:
    return name.endswith("sharedstrings.xml") or "sharedStrings" in kind


def _why_ole(path: Path) -> str:
    """An OLE file is a workbook with a password, or one of the format before 2007."""
    with path.open("rb") as file:
        tail = b""
        while chunk := file.read(_CHUNK):
            if _ENCRYPTED in tail + chunk:
                return "the workbook is encrypted; open it, remove the password, and save it again"
            tail = chunk[-len(_ENCRYPTED) :]
    return "a workbook of the old format (.xls); save it as .xlsx"
