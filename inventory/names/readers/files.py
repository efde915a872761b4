"""Opens the files of an archive: in a folder, in a zip, or one table by itself.

Nothing is ever unpacked to disk. What a zip says of itself is looked at before a byte is read:
names that point outside, a file that stands there twice, sizes that no list of names has.
"""

import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import IO
from xml.etree import ElementTree
from xml.parsers import expat

from .source import ArchiveError

# The largest list of names that is published has 8 million rows and 2.3 GB, packed 4 to 10 times.
LARGEST_FILE = 64 * 1024**3
LARGEST_RATIO = 200
# Small files may be packed any number of times: a table of blanks does no harm.
SMALL_FILE = 64 * 1024**2
LONGEST_XML = 5_000_000

_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError)


class Files:
    """The files beside each other in a folder or a zip; ``location`` is the name there."""

    def __init__(self, path: Path) -> None:
        """Raises :class:`ArchiveError` when ``path`` is neither, or a zip that is not to be trusted."""
        self.path = path
        self._in_zip: dict[str, zipfile.ZipInfo] | None = None
        if not path.exists():
            raise ArchiveError(str(path), "there is no such file or folder")
        if path.is_file():
            self._in_zip = _directory(path)

    def size(self, location: str) -> int:
        """Bytes, unpacked. Raises :class:`ArchiveError` when there is no such file."""
        if self._in_zip is None:
            return self._inside(location).stat().st_size
        return self._member(self._in_zip, location).file_size

    @contextmanager
    def open(self, location: str) -> Iterator[IO[bytes]]:
        """The file, to be read with :func:`read`."""
        if self._in_zip is None:
            with self._inside(location).open("rb") as file:
                yield file
            return
        member = self._member(self._in_zip, location)
        with zipfile.ZipFile(self.path) as packed:
            try:
                raw: IO[bytes] = packed.open(member)
            except _DAMAGE as error:
                raise _damaged(location, error) from error
            with raw:
                yield raw

    def xml(self, location: str) -> ElementTree.Element:
        """A small document without declarations of its own. Raises :class:`ArchiveError`."""
        with self.open(location) as raw:
            content = read(raw, LONGEST_XML + 1, location)
        if len(content) > LONGEST_XML:
            raise ArchiveError(location, f"more than {LONGEST_XML:,} bytes; no such document is that long")
        _refuse_declarations(content, location)
        try:
            return ElementTree.fromstring(content)
        except (ElementTree.ParseError, ValueError, LookupError) as error:
            # Namespaces, which expat alone does not look at.
            raise ArchiveError(location, f"not well-formed XML: {error}") from error

    def _inside(self, location: str) -> Path:
        _refuse_outside(location, "meta.xml")
        inside = (self.path / location).resolve()
        if not inside.is_relative_to(self.path.resolve()) or not inside.is_file():
            raise ArchiveError(location, f"expected in {self.path}, not found")
        return inside

    def _member(self, directory: dict[str, zipfile.ZipInfo], location: str) -> zipfile.ZipInfo:
        """The file at the top of the zip, or within the one folder that some zips have there."""
        _refuse_outside(location, "meta.xml")
        found = [location] if location in directory else []
        if not found:
            found = [name for name in directory if name.count("/") == 1 and name.endswith(f"/{location}")]
        if not found:
            raise ArchiveError(location, f"expected in {self.path.name}, not found")
        if len(found) > 1:
            raise ArchiveError(location, f"stands in {self.path.name} more than once: {', '.join(found)}")
        member = directory[found[0]]
        _refuse_bomb(member, location)
        return member


def read(raw: IO[bytes], size: int, location: str, line: int | None = None) -> bytes:
    """Up to ``size`` bytes. Raises :class:`ArchiveError` where the file is cut off or damaged."""
    try:
        return raw.read(size)
    except _DAMAGE as error:
        raise _damaged(location, error, line) from error


def _damaged(location: str, error: Exception, line: int | None = None) -> ArchiveError:
    why = str(error) or "it ends too early"
    what = f"cannot be read on: {why}. The file is cut off or damaged; fetch it again"
    return ArchiveError(location, what, line)


def _directory(path: Path) -> dict[str, zipfile.ZipInfo]:
    if not zipfile.is_zipfile(path):
        with path.open("rb") as raw:
            cut_off = raw.read(4) == b"PK\x03\x04"
        if cut_off:
            what = "a zip file that is cut off: its list of contents, at the end, is missing. Fetch it again"
        else:
            what = "expected a folder or a zip file with a meta.xml inside, or a table as .tsv, .txt or .csv"
        raise ArchiveError(str(path), what)
    try:
        with zipfile.ZipFile(path) as packed:
            members = packed.infolist()
    except _DAMAGE as error:
        raise _damaged(str(path), error) from error
    directory: dict[str, zipfile.ZipInfo] = {}
    for member in members:
        _refuse_outside(member.filename, path.name)
        if member.filename in directory:
            raise ArchiveError(path.name, f"{member.filename} stands in it twice; which one holds?")
        directory[member.filename] = member
    return directory


def _refuse_outside(location: str, said_by: str) -> None:
    path = PurePosixPath(location)
    if path.is_absolute() or ".." in path.parts or "\\" in location or ":" in location:
        raise ArchiveError(said_by, f'"{location}" points outside the archive; not found')


def _refuse_bomb(member: zipfile.ZipInfo, location: str) -> None:
    if member.file_size > LARGEST_FILE:
        what = f"{member.file_size:,} bytes unpacked; at most {LARGEST_FILE:,} are read"
        raise ArchiveError(location, what)
    if member.file_size > max(SMALL_FILE, LARGEST_RATIO * member.compress_size):
        what = (
            f"{member.compress_size:,} bytes would become {member.file_size:,}; no list of names packs "
            f"more than {LARGEST_RATIO} to one. Unpack it yourself if you trust it"
        )
        raise ArchiveError(location, what)


def _refuse_declarations(content: bytes, location: str) -> None:
    """Entities can grow without end or reach for other files; no meta.xml needs any.

    Expat itself reads the document for this, so that no encoding hides a declaration.
    """

    def refuse(*_: object) -> None:
        what = "has declarations of a document type or entities, which no such file needs"
        raise ArchiveError(location, what, parser.CurrentLineNumber)

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    try:
        parser.Parse(content, True)
    except expat.ExpatError as error:
        raise ArchiveError(location, f"not well-formed XML: {error}", error.lineno) from error
    except (ValueError, LookupError) as error:
        # Encodings that Python knows, and that are none of a text.
        raise ArchiveError(location, f"not in an encoding of XML: {error}") from error
