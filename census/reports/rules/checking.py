"""What must tie in a report, found in one pass over its lines: long reports make each line once."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from inventory.book.rules.columns import Numbers
from inventory.book.rules.words import MINUS

from .document import Document, Figure, Identity, Kind, Line, Part, Said, Table


@dataclass(frozen=True, slots=True)
class Held:
    """One identity on one line or total: what came, what went, and what it must come to."""

    identity: Identity
    came: int
    went: int
    result: int

    @property
    def off(self) -> int:
        return self.came - self.went - self.result


def held(part: Part, line: Line | None, figures: Mapping[str, Figure]) -> Iterator[Held]:
    """The identities that hold for a line, or for a total (``line`` is None)."""
    if line is not None and line.free:
        return
    for identity in part.identities:
        if line is None and not identity.on_totals:
            continue
        came = sum(figures[key].number for key in identity.plus)
        went = sum(figures[key].number for key in identity.minus)
        yield Held(identity, came, went, figures[identity.result].number)


def _off(identity: Identity, numbers: Mapping[str, int]) -> int:
    """The same as :attr:`Held.off`, of numbers of which those that are 0 may be missing."""
    came = sum(numbers[key] for key in identity.plus if key in numbers)
    went = sum(numbers[key] for key in identity.minus if key in numbers)
    return came - went - numbers.get(identity.result, 0)


class Check:
    """Is told every line with its figures, then says what does not tie."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self._summed = {
            part.key: [
                column.key
                for column in part.columns
                if column.summed and column.kind in (Kind.NUMBER, Kind.SIGNED)
            ]
            for part in document.parts
        }
        self._asked = {
            part.key: {said.column for said in document.said if said.part == part.key}
            for part in document.parts
        }
        self._labels = {
            part.key: any(said.label for said in document.said if said.part == part.key)
            for part in document.parts
        }
        self._sums: dict[int, dict[str, int]] = {}
        self._added: defaultdict[tuple[str, str, str, str], int] = defaultdict(int)
        self._wrong: list[str] = []

    def line(self, part: Part, table: Table, line: Line, figures: Mapping[str, Figure]) -> bool:
        """One line; the figures are those of ``line``, made once by who asks. Whether the line ties."""
        # Most figures of a long report are 0, which nothing is added for.
        numbers = {key: one.value for key, one in figures.items() if isinstance(one.value, int) and one.value}
        sums = self.sums(part, table)
        asked, labelled = self._asked[part.key], self._labels[part.key]
        for key, n in numbers.items():
            if key in sums:
                sums[key] += line.sign * n
            if key in asked:
                self._added[part.key, key, table.unit, ""] += n
                if labelled:
                    self._added[part.key, key, table.unit, line.label] += n
        if line.free or not any(_off(identity, numbers) for identity in part.identities):
            return True
        self._wrong.append(_called(line))
        return False

    def columns(self, part: Part, table: Table, numbers: Mapping[str, Numbers]) -> None:
        """All lines of a table at once: the same as :meth:`line` of each."""
        sums = self.sums(part, table)
        for key, column in numbers.items():
            n = int(column.sum())
            if key in sums:
                sums[key] += n
            if key in self._asked[part.key]:
                self._added[part.key, key, table.unit, ""] += n
                if self._labels[part.key]:
                    for line, of_line in zip(table.lines, column.tolist(), strict=True):
                        self._added[part.key, key, table.unit, line.label] += of_line
        off = np.zeros(len(table.lines), dtype=np.bool_)
        for identity in part.identities:
            left = np.zeros(len(table.lines), dtype=np.int64)
            for keys, sign in ((identity.plus, 1), (identity.minus, -1), ((identity.result,), -1)):
                for key in keys:
                    if key in numbers:
                        left += sign * numbers[key]
            off |= left != 0
        self._wrong += [_called(table.lines[at]) for at in np.flatnonzero(off).tolist()]

    def sums(self, part: Part, table: Table) -> dict[str, int]:
        """The sums of a table's lines so far, by column."""
        found = self._sums.get(id(table))
        if found is None:
            found = self._sums[id(table)] = dict.fromkeys(self._summed[part.key], 0)
        return found

    def added(self, said: Said) -> int:
        """The sum of a column over the lines of one unit, and of one label where it is limited."""
        return self._added[said.part, said.column, said.unit, said.label]

    def failures(self) -> list[str]:
        """Every row, total and sum that does not tie, as people name them; none in a report that is right."""
        wrong = [*self._document.untied, *self._wrong]
        for part in self._document.parts:
            for table in part.tables():
                if not table.total_label:
                    continue
                sums = self.sums(part, table)
                if any(sums[key] != table.total[key].number for key in sums) or any(
                    one.off for one in held(part, None, table.total)
                ):
                    wrong.append(f"total of {part.title} ({table.unit})")
        wrong += [
            f"{said.what} ({said.unit})" for said in self._document.said if self.added(said) != said.value
        ]
        return wrong


def _called(line: Line) -> str:
    return f"line {line.number}, {line.name.accepted if line.name else line.label}"


def failures(document: Document) -> list[str]:
    """What does not tie in a whole report: of whole columns where a table has them, else line by line."""
    check = Check(document)
    for part in document.parts:
        for table in part.tables():
            if table.numbers is not None:
                check.columns(part, table, table.numbers())
                continue
            for line in table.lines:
                check.line(part, table, line, line.figures)
    return check.failures()


def check_in_words(wrong: Sequence[str], document: Document) -> str:
    """The identity check of the foot."""
    if wrong:
        return f"Does not tie: {'; '.join(wrong)}. Run the command verify."
    return document.ties or (
        f"Ties: opening + in {MINUS} out + late = closing on every line, every total is the sum of its lines,"
        " and every closing is what the book holds at the end."
    )
