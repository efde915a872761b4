"""What a question about populations is answered with: sections of words, a chart, and the table behind it.

One form for the page and the command. A cell is a value with where its events are.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from inventory.names.rules.italics import Italics

FEW = 20
"""Below this many animals no share is given in per cent: animals say more."""


@dataclass(frozen=True, slots=True)
class Datum:
    """A value in a table; ``text`` is how a person reads it, ``href`` the events behind it."""

    value: str | int | float | None
    text: str = ""
    href: str = ""

    @property
    def shown(self) -> str:
        if self.text or self.value is None:
            return self.text
        if isinstance(self.value, int):
            return f"{self.value:,}".replace("-", "\N{MINUS SIGN}")
        return str(self.value)

    @property
    def numeric(self) -> bool:
        return isinstance(self.value, int | float)


@dataclass(frozen=True, slots=True)
class Table:
    """``columns`` are (key, heading); the first heads its row. ``italic``: rows are named by taxa.

    The columns ``taxa`` have scientific names whatever the rows are named by.
    """

    caption: str
    columns: Sequence[tuple[str, str]]
    rows: Sequence[Sequence[Datum]]
    italic: bool = False
    taxa: Collection[str] = ("name",)

    @property
    def taxa_at(self) -> frozenset[int]:
        """The columns with scientific names, which are printed in italics."""
        return frozenset(
            at for at, (key, _) in enumerate(self.columns) if (key in self.taxa if at else self.italic)
        )

    def records(self) -> list[dict[str, str | int | float | None]]:
        """Rows by column, for files."""
        return [
            {key: cell.value for (key, _), cell in zip(self.columns, row, strict=True)} for row in self.rows
        ]


@dataclass(frozen=True, slots=True)
class Section:
    """``charts`` are drawings; ``table`` has the same figures. ``words`` say what is to be seen."""

    title: str
    words: str
    table: Table | None = None
    charts: Sequence[str] = ()
    notes: Sequence[str] = ()
    open: bool = True
    """The table stands open; closed where a chart says it and the table is long."""
    small: bool = False
    """The charts are small ones, which stay small when there is only one."""
    italics: Italics | None = None
    """Finds the scientific names in title, words and notes, where there are any."""


@dataclass(frozen=True, slots=True)
class Answer:
    """All that one question brings."""

    sections: Sequence[Section]
    head: Sequence[tuple[str, str]] = field(default=())


def share(n: int, of: int) -> str:
    """ "12 of 40 (30 %)", and below 20 animals only "3 of 5"."""
    if of < FEW:
        return f"{n} of {of}"
    return f"{n:,} of {of:,} ({100 * n / of:.0f} %)"
