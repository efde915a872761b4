"""What came of a load: numbers by sheet, what was changed, and what was wrong."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from ...rules.drafts import Problem
from ..register import Registered

# (what is being done, how much is done, of how much or None when nobody knows)
Progress = Callable[[str, int, int | None], None]

KEPT = 200


@dataclass(slots=True)
class SheetTally:
    """How many rows a sheet has, and what they were to the book. For events, events are counted."""

    sheet: str
    rows: int = 0
    new: int = 0
    changed: int = 0
    already_there: int = 0

    def add(self, registered: Registered) -> None:
        """Counts what came of some rows."""
        self.new += registered.new
        self.changed += registered.changed
        self.already_there += registered.already_there


@dataclass(slots=True)
class LoadReport:
    """What a load did. ``problems`` and ``changes`` keep the first 200, the counts count all.

    When there is any problem, nothing was loaded.
    """

    sheets: dict[str, SheetTally] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    problem_count: int = 0
    changes: list[str] = field(default_factory=list)
    change_count: int = 0
    names_to_review: int = 0
    refused_lots: dict[str, None] = field(default_factory=dict)
    """Accession numbers of the lots that refused rows are about, in their order."""
    dry_run: bool = False

    @property
    def loaded(self) -> bool:
        """True when the book now says what the file says."""
        return not self.problem_count and not self.dry_run

    def tally(self, sheet: str) -> SheetTally:
        """The numbers of one sheet; sheets stand in the order in which they are first asked for."""
        return self.sheets.setdefault(sheet, SheetTally(sheet))

    def refuse(self, *problems: Problem) -> None:
        """Notes what is wrong."""
        self.problem_count += len(problems)
        self.problems.extend(problems[: KEPT - len(self.problems)])

    def note(self, sheet: str, changes: Iterable[str]) -> None:
        """Notes what is changed, in words."""
        for change in changes:
            self.change_count += 1
            if len(self.changes) < KEPT:
                self.changes.append(f"{sheet} {change}")
