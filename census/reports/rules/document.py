"""A report before it is a page, a workbook, a csv or a print: parts of tables, and what must tie in them.

A part has one set of columns and is one sheet of the workbook; its blocks (an exhibit, say) hold tables of
one unit each, for units are never added together. Every line has a number of its own, under which the annex
of a print tells its events.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from census.change.rules.question import Question


class Kind(StrEnum):
    """What a column holds."""

    TEXT = "text"
    NAME = "name"
    NUMBER = "number"
    SIGNED = "signed"
    MFU = "m.f.u"


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
class Figure:
    """``value`` is an int where it is a number (None: there is none), else text.

    ``asked`` is the figure as the page of events is asked for it.
    """

    value: int | str | None
    asked: Mapping[str, str] | None = None

    @property
    def number(self) -> int:
        """The value as a number; nothing counts as 0."""
        return self.value if isinstance(self.value, int) else 0


@dataclass(frozen=True, slots=True)
class Name:
    """A taxon as it is printed: accepted name, what was typed if different, common name."""

    accepted: str
    authorship: str = ""
    typed: tuple[str, ...] = ()
    common: str = ""
    count_class: str = ""
    note: int = 0


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
    """Lines of one unit, with their total."""

    unit: str
    lines: Sequence[Line]
    total: Mapping[str, Figure]
    total_label: str = "Total"


@dataclass(frozen=True, slots=True)
class Block:
    """One place, period or house: a title, lines of (heading, text), tables, and notes below them."""

    title: str
    facts: Sequence[tuple[str, str]]
    tables: Sequence[Table]
    notes: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Identity:
    """On every line: the sum of ``plus`` less ``minus`` is ``result``."""

    plus: tuple[str, ...]
    minus: tuple[str, ...]
    result: str
    on_totals: bool = True


@dataclass(frozen=True, slots=True)
class Part:
    """One sheet. ``label`` heads the first column (a place's code, an owner), empty when there is none."""

    key: str
    title: str
    label: str
    columns: Sequence[Column]
    blocks: Sequence[Block]
    identities: Sequence[Identity] = ()
    words: str = ""

    @property
    def named(self) -> bool:
        """Whether the rows are taxa."""
        return any(line.name for block in self.blocks for table in block.tables for line in table.lines)

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
    """A whole report. ``questions`` are those that its figures answer. ``untied``: rows of which the book's
    own reader found another closing."""

    layout: str
    title: str
    head: Sequence[tuple[str, str]]
    parts: Sequence[Part]
    questions: Sequence[Question]
    said: Sequence[Said] = ()
    untied: Sequence[str] = ()
    present_only: Sequence[str] = ()
    notes: Sequence[str] = field(default=())

    def part(self, key: str) -> Part:
        return next(part for part in self.parts if part.key == key)


def failures(document: Document) -> list[str]:
    """Every row, total and sum that does not tie, as people name them; none in a report that is right."""
    wrong = list(document.untied)
    for part in document.parts:
        for table in part.tables():
            wrong += _wrong_lines(part, table)
    for said in document.said:
        if said.value != added(document.part(said.part), said):
            wrong.append(f"{said.what} ({said.unit})")
    return wrong


def _wrong_lines(part: Part, table: Table) -> Iterator[str]:
    sums = dict.fromkeys((column.key for column in part.columns if column.summed and _counts(column)), 0)
    for line in table.lines:
        figures = line.figures
        for key in sums:
            sums[key] += line.sign * figures[key].number
        if not line.free and any(holds(identity, figures) != 0 for identity in part.identities):
            yield f"line {line.number}, {line.name.accepted if line.name else line.label}"
    if any(sums[key] != table.total[key].number for key in sums) or any(
        holds(identity, table.total) != 0 for identity in part.identities if identity.on_totals
    ):
        yield f"total of {part.title} ({table.unit})"


def _counts(column: Column) -> bool:
    return column.kind in (Kind.NUMBER, Kind.SIGNED)


def holds(identity: Identity, figures: Mapping[str, Figure]) -> int:
    """By how much the identity fails: 0 when it ties."""
    came = sum(figures[key].number for key in identity.plus)
    went = sum(figures[key].number for key in identity.minus)
    return came - went - figures[identity.result].number


def added(part: Part, said: Said) -> int:
    """The sum of a column over the lines of one unit, and of one label where it is limited."""
    return sum(
        line.figures[said.column].number
        for table in part.tables()
        if table.unit == said.unit
        for line in table.lines
        if not said.label or line.label == said.label
    )


def check_in_words(wrong: Sequence[str]) -> str:
    """The identity check of the foot."""
    if not wrong:
        return (
            "Ties: opening + in - out + late = closing on every line, every total is the sum of its lines,"
            " and every closing is what the book holds at the end."
        )
    return f"Does not tie: {'; '.join(wrong)}. Run the command verify."
