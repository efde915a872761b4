"""A report before it is a page, a workbook, a csv or a print: parts of tables, and what must tie in them.

A part has one set of columns and is one sheet of the workbook; its blocks (an exhibit, say) hold tables of
one unit each, for units are never added together. Every line has a number of its own, under which the annex
of a print tells its events.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from census.change.rules.question import Question
from inventory.book.rules.columns import Numbers

from .entries import Annex
from .permit_bars import Bars


class NothingToTell(ValueError):
    """Rightly asked, and the house has nothing of it: a page says so in words, a file cannot be made."""


class Kind(StrEnum):
    """What a column holds."""

    TEXT = "text"
    NAME = "name"
    NUMBER = "number"
    SIGNED = "signed"
    MFU = "m.f.u"
    PERCENT = "per cent"


@dataclass(frozen=True, slots=True)
class Column:
    """``summed``: the total of a table is the sum of its lines. ``under``: stands small under the column
    before it on a page and in print, in a column of its own in files. ``mark``: what is to be said of the
    whole column, such as a restatement. ``ruled``: a line at its left, where the way of counting changed."""

    key: str
    heading: str
    kind: Kind = Kind.NUMBER
    summed: bool = True
    under: bool = False
    mark: str = ""
    ruled: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing of several that a text names: ``words`` open the page ``at``, ``after`` follows them."""

    words: str
    at: str
    after: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """``value`` is an int where it is a number (None: there is none), a float where it is so many per cent,
    else text.

    ``asked`` is the figure as the page of events is asked for it; ``at`` the address of another page that
    shows what stands behind it. ``pieces`` are the things that a text names, each with its own page.
    """

    value: int | float | str | None
    asked: Mapping[str, str] | None = None
    at: str = ""
    pieces: Sequence[Piece] = ()

    @classmethod
    def of_pieces(cls, pieces: Sequence[Piece], none: str = "") -> "Figure":
        """A text that names several things; ``none`` where there is no one."""
        return cls("; ".join(f"{one.words}{one.after}" for one in pieces) or none, pieces=pieces)

    @property
    def number(self) -> int:
        """The value as a number; nothing counts as 0."""
        return self.value if isinstance(self.value, int) else 0


@dataclass(frozen=True, slots=True)
class Name:
    """A taxon as it is printed: accepted name, what was typed if different, common name.

    ``former``: the names that it had within the period, which its note tells.
    """

    accepted: str
    authorship: str = ""
    typed: tuple[str, ...] = ()
    common: str = ""
    count_class: str = ""
    note: int = 0
    former: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Line:
    """One row. Its figures are made when they are asked for: a long report shows a part of itself.

    ``annex`` is the row's key in the annex, empty when it has none. ``sign``: -1 where the total takes the
    line off. ``free``: the identities of its part do not hold for it (an opening is no flow).
    """

    number: int
    name: Name | None
    label: str
    make: Callable[[], Mapping[str, Figure]]
    annex: tuple[object, ...] = ()
    sign: int = 1
    free: bool = False

    @property
    def figures(self) -> Mapping[str, Figure]:
        return self.make()


@dataclass(frozen=True, slots=True)
class Table:
    """Lines of one unit, with their total; none where ``total_label`` is empty: not all is to be added.

    ``numbers`` makes what the lines hold as whole columns, from which a long report is checked; columns in
    which all is 0 may be missing. Only where no line is taken off or free of the identities.
    """

    unit: str
    lines: Sequence[Line]
    total: Mapping[str, Figure]
    total_label: str = "Total"
    numbers: Callable[[], Mapping[str, Numbers]] | None = None


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing as SVG, which says the same as a table below it."""

    title: str
    svg: str
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    """Of what the report is about: ``alt`` says what is on it, ``credit`` who took it; sides in px.

    ``sha256`` is of the kept file, for who prints it.
    """

    url: str
    width: int
    height: int
    alt: str
    credit: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Block:
    """One place, period or house: a title, lines of (heading, text), tables, and notes below them.

    ``bars`` are what a page draws of its tables.
    """

    title: str
    facts: Sequence[tuple[str, str]]
    tables: Sequence[Table]
    notes: Sequence[str] = ()
    bars: Bars | None = None


@dataclass(frozen=True, slots=True)
class Identity:
    """On every line: the sum of ``plus`` less ``minus`` is ``result``."""

    plus: tuple[str, ...]
    minus: tuple[str, ...]
    result: str
    on_totals: bool = True


@dataclass(frozen=True, slots=True)
class Part:
    """One sheet. ``label`` heads the first column (a place's code, an owner), empty when there is none.

    ``named``: its rows are taxa, which is found once, for files ask it of every line.
    """

    key: str
    title: str
    label: str
    columns: Sequence[Column]
    blocks: Sequence[Block]
    identities: Sequence[Identity] = ()
    words: str = ""
    named: bool = field(init=False)

    def __post_init__(self) -> None:
        named = any(line.name for table in self.tables() for line in table.lines)
        object.__setattr__(self, "named", named)

    def tables(self) -> Iterator[Table]:
        for block in self.blocks:
            yield from block.tables


@dataclass(frozen=True, slots=True)
class Said:
    """A total that the program knows from elsewhere: ``part``'s ``column`` of ``unit`` must come to it.

    ``label`` limits it to the lines of that label.
    """

    what: str
    part: str
    column: str
    unit: str
    value: int
    label: str = ""


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report. ``ties`` says what was checked where it is not the identity of the change.

    ``questions`` are those that its figures answer; ``first_day``, where its days begin before theirs, as
    where nothing was in the book yet. ``untied``: rows of which the book's own reader found
    another closing. ``subject``: the animal that it is about, which was also ``called`` so. ``signers``: who
    signs a print by hand.

    ``read_of`` is the state of the book that it was made of, for what is remembered of it; None where nothing
    is.

    ``takes`` tells what the annex has beside the events of the questions, made when it is printed;
    ``unnamed`` says why a line can be missing there.
    """

    layout: str
    title: str
    head: Sequence[tuple[str, str]]
    parts: Sequence[Part]
    questions: Sequence[Question]
    said: Sequence[Said] = ()
    untied: Sequence[str] = ()
    present_only: Sequence[str] = ()
    notes: Sequence[str] = field(default=())
    ties: str = ""
    charts: Sequence[Chart] = field(default=())
    picture: Picture | None = None
    subject: str = ""
    called: Sequence[str] = ()
    signers: Sequence[str] = ()
    takes: Callable[[], Annex] = dict
    unnamed: str = "had no event in the period"
    first_day: date | None = None
    read_of: object = None

    @property
    def lines(self) -> int:
        """How long it is."""
        return sum(len(table.lines) for part in self.parts for table in part.tables())

    def part(self, key: str) -> Part:
        return next(part for part in self.parts if part.key == key)
