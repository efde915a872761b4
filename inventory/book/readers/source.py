"""What every file of rows offers, whatever its format."""

from collections.abc import Iterator
from types import TracebackType
from typing import NamedTuple, Self

from ..rules.as_typed import Value


class NotReadable(Exception):
    """A file that is not what it should be; the message says what it is and what to do."""


class SheetBroken(Exception):
    """A sheet that can be read up to a point only; ``where`` names the point ("line 12")."""

    def __init__(self, where: str, message: str) -> None:
        super().__init__(message)
        self.where = where
        self.message = message


class Row(NamedTuple):
    """One row: its number as a spreadsheet counts, from 1, and its cells from the first column."""

    number: int
    cells: tuple[Value, ...]


class Source:
    """Sheets of rows. Rows come one by one, so that a large file needs little memory."""

    name: str

    def sheets(self) -> list[str]:
        """Names of the sheets as the file has them."""
        raise NotImplementedError

    def rows(self, sheet: str) -> Iterator[Row]:
        """Rows that are not empty. Raises :class:`SheetBroken` where the sheet cannot be read on."""
        raise NotImplementedError

    def close(self) -> None:
        """Lets go of the file."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
