"""What is read of a line, and the row in which lines are compared: one, or those of a joined set."""

from dataclasses import dataclass, field

from inventory.book.models import Lot
from inventory.book.queries.quantities import Held

from ..models import Count, Decision, Line, Recount
from ..rules.accuracy import is_measured
from ..rules.compare import Comparison
from ..rules.words import LineKind, LineState, Verdict

NOTHING = Held()


@dataclass(slots=True)
class LineRead:
    """One line as it stands. ``counts`` and ``books`` by round; ``at_end``: the book at the cut-off."""

    line: Line
    lots: list[Lot]
    counts: dict[int, Count] = field(default_factory=dict)
    typed_before: list[Count] = field(default_factory=list)
    recounts: list[Recount] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    books: dict[int, Held] = field(default_factory=dict)
    at_end: Held = NOTHING

    @property
    def latest(self) -> Count | None:
        """The count that stands: the last one, and of three counts of class C the middle one."""
        return self.middle_of_three or (self.counts[max(self.counts)] if self.counts else None)

    @property
    def middle_of_three(self) -> Count | None:
        """Of three counts of many animals none is right: the middle one is taken. Not so where exact
        numbers are asked for, which no majority decides, nor where a number is the least there is."""
        if self.line.count_class != "C" or len(self.counts) < 3:
            return None
        counts = [(c.value, c.round, c) for c in self.counts.values() if c.value is not None]
        if len(counts) < len(self.counts) or any(c.at_least for *_, c in counts):
            return None
        return sorted(counts, key=lambda one: one[:2])[len(counts) // 2][-1]

    @property
    def rounds_asked(self) -> int:
        return max((recount.round for recount in self.recounts), default=1)

    def present(self, round_: int) -> int:
        """Animals that the book has there, and not missing, at the moment of that round."""
        return present(self.books[round_])


@dataclass(slots=True)
class Row:
    """What is compared: one line, or the lines of a joined set on their sum."""

    parts: list[LineRead]
    first: Comparison | None
    latest: Comparison | None
    confirmed: bool
    state: LineState
    decision: Decision | None
    reopened: bool

    @property
    def line(self) -> Line:
        return self.parts[0].line

    @property
    def name(self) -> str:
        taxon = self.line.taxon
        return taxon.scientific_name if taxon else self.line.written_name

    @property
    def place_codes(self) -> str:
        return " + ".join(dict.fromkeys(part.line.place.code for part in self.parts))

    @property
    def refs(self) -> str:
        return " + ".join(str(part.line) for part in self.parts)

    @property
    def measured(self) -> bool:
        """True for the lines of which record accuracy is made."""
        return is_measured(self.line.kind, self.line.unit, self.line.count_class)

    @property
    def counted(self) -> bool:
        return all(part.counts for part in self.parts)

    @property
    def blank(self) -> list[LineRead]:
        """Its lines that nobody counted. Letters are not meant: they are due once a year, and told apart."""
        if self.line.kind == LineKind.PRESENCE:
            return []
        return [part for part in self.parts if not part.counts]

    @property
    def n_counts(self) -> int:
        """How often all of it was counted."""
        return min(len(part.counts) for part in self.parts)

    @property
    def middle_of_three(self) -> bool:
        """What stands is the middle of three counts."""
        return all(part.middle_of_three for part in self.parts)

    @property
    def counts_disagree(self) -> bool:
        """Counted more than once, and what was counted last was not found before."""
        return self.n_counts > 1 and not self.confirmed

    @property
    def missing(self) -> int:
        """Animals the book has as missing at the latest count."""
        return sum(part.books[part.latest.round].missing for part in self.parts if part.latest)

    @property
    def counters(self) -> list[str]:
        """Who counted, each once, in order of rounds."""
        names = [
            count.counter.name if count.counter else count.party
            for part in self.parts
            for _, count in sorted(part.counts.items())
        ]
        return list(dict.fromkeys(names))

    @property
    def one_counter_only(self) -> bool:
        """A class A line that stands on the first count alone: it wants a second counter."""
        first_only = all(set(part.counts) == {1} for part in self.parts)
        counts = self.measured or self.line.kind == LineKind.WRITE_IN
        return counts and self.line.count_class == "A" and first_only

    @property
    def book_must_move(self) -> bool:
        """A class B count inside its tolerance that a second count confirmed: it always moves the book."""
        return must_move(self.line, self.latest, confirmed=self.confirmed)

    @property
    def needs_settling(self) -> bool:
        """True while signing must wait for this line."""
        if self.state is LineState.SETTLED or not self.counted:
            return False
        if self.line.kind == LineKind.WRITE_IN or self.state is LineState.RECOUNT:
            return True
        if self.latest is None:
            return False
        return self.latest.verdict is Verdict.OUTSIDE or self.book_must_move


def present(held: Held) -> int:
    """Animals that somebody could see."""
    return held.total - held.missing


def must_move(line: Line, latest: Comparison | None, *, confirmed: bool) -> bool:
    """A class B count inside its tolerance that a second one confirmed."""
    inside = latest is not None and latest.verdict is Verdict.INSIDE
    return confirmed and line.count_class == "B" and inside
