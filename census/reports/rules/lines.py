"""All lines of a report in order, without a list of them: a page shows two hundred of seventy thousand."""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, chain
from typing import overload

from .document import Document, Line

# Number of the part, of the block in it, of the table in that, and the line.
Place = tuple[int, int, int, Line]


@dataclass(frozen=True, slots=True)
class MadeLines(Sequence[Line]):
    """So many lines of a table, each made when it is asked for by its position."""

    number: int
    make: Callable[[int], Line]

    def __len__(self) -> int:
        return self.number

    @overload
    def __getitem__(self, at: int) -> Line: ...
    @overload
    def __getitem__(self, at: slice) -> list[Line]: ...
    def __getitem__(self, at: int | slice) -> Line | list[Line]:
        if isinstance(at, slice):
            return [self.make(i) for i in range(*at.indices(self.number))]
        return self.make(range(self.number)[at])


class Lines(Sequence[Place]):
    """Every line with where it stands. Only what is asked for is made."""

    def __init__(self, document: Document) -> None:
        self._tables = [
            (p, b, t, table.lines)
            for p, part in enumerate(document.parts)
            for b, block in enumerate(part.blocks)
            for t, table in enumerate(block.tables)
        ]
        self._ends = list(accumulate(len(lines) for *_, lines in self._tables))

    def __len__(self) -> int:
        return self._ends[-1] if self._ends else 0

    @overload
    def __getitem__(self, at: int) -> Place: ...
    @overload
    def __getitem__(self, at: slice) -> list[Place]: ...
    def __getitem__(self, at: int | slice) -> Place | list[Place]:
        if isinstance(at, slice):
            return [self._one(i) for i in range(*at.indices(len(self)))]
        return self._one(range(len(self))[at])

    def __iter__(self) -> Iterator[Place]:
        return chain.from_iterable(((p, b, t, line) for line in lines) for p, b, t, lines in self._tables)

    def _one(self, at: int) -> Place:
        number = bisect_right(self._ends, at)
        p, b, t, lines = self._tables[number]
        return p, b, t, lines[at - self._ends[number] + len(lines)]
