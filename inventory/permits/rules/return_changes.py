"""What has become of a return's records: record by record, cell by cell, the old and the new."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from .statements import LINE, MARK, Kept, Values, heading_of

# A correction is told by the cells that it changed, another release by the names that it changed.
_NOT_TOLD = frozenset({"amended", "nameAccordingTo", "taxonID", LINE, MARK})
# What a backbone calls it: the animals are the same.
NAMES = ("scientificName", "scientificNameAuthorship")


class What(StrEnum):
    """How a record differs."""

    CHANGED = "changed"
    NEW = "new"
    GONE = "no longer in it"
    NAME = "called otherwise"


@dataclass(frozen=True, slots=True)
class Was:
    """A record as it was or is: its line (0: none yet), what it says, the rows of take and trip behind it."""

    line: int
    values: Values
    take_row: int
    trip_row: int


@dataclass(frozen=True, slots=True)
class CellChange:
    """One column of one record."""

    code: str
    old: Kept
    new: Kept

    @property
    def heading(self) -> str:
        """The column in words."""
        return heading_of(self.code)

    @property
    def words(self) -> str:
        """ "kept: 5, before 6\""""
        return f"{self.heading}: {_said(self.new)}, before {_said(self.old)}"


@dataclass(frozen=True, slots=True)
class Change:
    """One record that differs. ``take`` is the identifier that stays through corrections."""

    take: str
    what: What
    before: Was | None
    after: Was | None
    cells: Sequence[CellChange] = ()

    @property
    def line(self) -> int:
        """Its line in the return; 0: it was not there."""
        return self.before.line if self.before else 0

    @property
    def values(self) -> Values:
        """What names the record to a reader."""
        told = self.after or self.before
        assert told is not None
        return told.values

    @property
    def to_amend(self) -> bool:
        """False where only the backbone calls the animals otherwise."""
        return self.what is not What.NAME

    @property
    def words(self) -> str:
        """What an amended return says beside the row."""
        if self.what is What.NEW:
            return "new in this version"
        if self.what is What.GONE:
            return "withdrawn"
        return f"changed: {'; '.join(cell.words for cell in self.cells)}"


def _said(value: Kept) -> str:
    return "nothing" if value in (None, "") else str(value)


def compare(
    before: Mapping[str, Was], after: Mapping[str, Was], *, columns: Collection[str] = ()
) -> list[Change]:
    """Every record that differs, in the order of the lines, new ones last.

    ``columns`` narrows what is looked at; none: all.
    """
    changes = []
    for take, was in before.items():
        now = after.get(take)
        if now is None:
            changes.append(Change(take, What.GONE, was, None))
            continue
        cells = [
            CellChange(code, value, now.values.get(code))
            for code, value in was.values.items()
            if code not in _NOT_TOLD and (not columns or code in columns) and value != now.values.get(code)
        ]
        if cells:
            changes.append(Change(take, _what(was, now, cells), was, now, cells))
    new = [Change(take, What.NEW, None, now) for take, now in after.items() if take not in before]
    return sorted(changes, key=lambda change: change.line) + new


def _what(was: Was, now: Was, cells: Sequence[CellChange]) -> What:
    """A name that was open, or that somebody corrected, is a change of the record."""
    same_row = was.take_row == now.take_row
    only_names = all(cell.code in NAMES for cell in cells)
    named = bool(was.values.get("scientificName"))
    return What.NAME if same_row and only_names and named else What.CHANGED
