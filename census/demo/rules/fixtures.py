"""The demo house as it is written down in ``fixtures/demo``: read, typed, nothing computed.

All of it is invented, save the names of the animals.
"""

import csv
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from pathlib import Path

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures" / "demo"
SEXES = ("male", "female", "hermaphrodite", "unknown")
ANIMAL = "animal"
PRESENCE = "presence"


def read_rows(name: str) -> list[dict[str, str]]:
    """The rows of one csv file of the demo house, as text."""
    with (FIXTURES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def number(text: str) -> int:
    """A whole number as people leave it: blank is zero."""
    return int(text) if text else 0


@dataclass(frozen=True, slots=True)
class DemoLot:
    """One lot. ``background`` names the group whose death rate it follows; blank: none."""

    lot: str
    name: str
    kind: str
    unit: str
    sex: str
    owner: str
    house_name: str
    marks: str
    count_class: str
    background: str


@dataclass(frozen=True, slots=True)
class Row:
    """One line of one event, shaped like a row of the workbook's events, with lots by their key.

    ``happened`` is as in the workbook; ``entered`` is a local date and time.
    """

    ref: str
    kind: str
    happened: str
    entered: str
    entered_by: str
    lot: str = ""
    place: str = ""
    to_place: str = ""
    to_lot: str = ""
    males: int = 0
    females: int = 0
    hermaphrodites: int = 0
    unknown: int = 0
    party: str = ""
    permit: str = ""
    cause: str = ""
    reason: str = ""
    reverses: str = ""
    approved_by: str = ""
    device: str = ""
    evidence: str = ""
    note: str = ""

    @property
    def by_sex(self) -> tuple[int, int, int, int]:
        return self.males, self.females, self.hermaphrodites, self.unknown

    @property
    def total(self) -> int:
        return sum(self.by_sex)


@dataclass(frozen=True, slots=True)
class Quarter:
    """One row of the table of closed periods; animals only. Empty figures: not closed yet."""

    code: str
    starts: date
    ends: date
    opening: int
    in_: int
    out: int
    found: int
    unaccounted: int
    closing: int
    closing_version_2: int | None
    moon_jelly_deaths: int
    closed_at: datetime | None
    reclosed_at: datetime | None

    @property
    def newest_closing(self) -> int:
        return self.closing if self.closing_version_2 is None else self.closing_version_2

    @property
    def all_out(self) -> int:
        """Animals that left, with what was entered after the first closing."""
        return self.out + self.closing - self.newest_closing


@dataclass(frozen=True, slots=True)
class CensusRow:
    """One row of the running census: the book of its lots at one place, and what was counted.

    ``also_listed``: individuals on the line of whom the book has no event.
    """

    line: str
    place: str
    name: str
    unit: str
    lots: tuple[str, ...]
    also_listed: tuple[str, ...]
    written_in: bool
    count_class: str
    opening: int
    taken: int
    born: int
    moved_in: int
    died: int
    edited: int
    book_at_count: int | None
    after_count: int
    book_at_end: int | None
    mfu: tuple[int, int, int] | None
    counted_at: datetime | None
    text: Mapping[str, str]

    @property
    def on_the_sheet(self) -> tuple[str, ...]:
        """All lots of the line."""
        return self.lots + self.also_listed


@dataclass(frozen=True, slots=True)
class Background:
    """What dies without a story: per cent a month by group, factors by month, and how people slip.

    ``opening_lines``: lines of the first load, those of presence-only lots among them.
    """

    per_cent_a_month: Mapping[str, float]
    month_factor: Mapping[int, float]
    per_cent_late: float
    entries_to_a_double: int
    entries_to_a_correction: int
    opening_lines: int


def read_lots() -> list[DemoLot]:
    return [DemoLot(**row) for row in read_rows("lots.csv")]


def read_history() -> list[Row]:
    """The events that are written down one by one, in the order of the file."""
    return _event_rows("history.csv")


def read_slips() -> list[Row]:
    """Slips that lie in the tray: they happened, and the book does not know them yet."""
    return _event_rows("slips.csv")


def _event_rows(name: str) -> list[Row]:
    numbers = {"males", "females", "hermaphrodites", "unknown"}
    columns = [field.name for field in fields(Row)]
    return [
        Row(**{column: number(row[column]) if column in numbers else row[column] for column in columns})  # type: ignore[arg-type]
        for row in read_rows(name)
    ]


def read_quarters() -> list[Quarter]:
    return [
        Quarter(
            code=row["period"],
            starts=date.fromisoformat(row["starts"]),
            ends=date.fromisoformat(row["ends"]),
            opening=number(row["opening"]),
            in_=number(row["in"]),
            out=number(row["out"]),
            found=number(row["found"]),
            unaccounted=number(row["unaccounted"]),
            closing=number(row["closing"]),
            closing_version_2=int(row["closing_version_2"]) if row["closing_version_2"] else None,
            moon_jelly_deaths=number(row["moon_jelly_deaths"]),
            closed_at=_moment(row["closed_at"]),
            reclosed_at=_moment(row["reclosed_at"]),
        )
        for row in read_rows("quarters.csv")
    ]


def read_census() -> list[CensusRow]:
    return [
        CensusRow(
            line=row["line"],
            place=row["place"],
            name=row["name"],
            unit=row["unit"],
            lots=tuple(row["lots"].split()),
            also_listed=tuple(row["also_listed"].split()),
            written_in=row["record"] == "write-in",
            count_class=row["count_class"],
            opening=number(row["opening"]),
            taken=number(row["taken"]),
            born=number(row["born"]),
            moved_in=number(row["moved_in"]),
            died=number(row["died"]),
            edited=number(row["edited"]),
            book_at_count=int(row["book_at_count"]) if row["book_at_count"] else None,
            after_count=number(row["after_count"]),
            book_at_end=int(row["book_at_end"]) if row["book_at_end"] else None,
            mfu=_mfu(row["mfu"]),
            counted_at=_moment(row["counted_at"]),
            text=row,
        )
        for row in read_rows("census_2026_q3.csv")
    ]


def read_background() -> Background:
    rows = read_rows("background.csv")
    values = {(row["what"], row["name"]): float(row["value"]) for row in rows}
    return Background(
        per_cent_a_month={n: v for (what, n), v in values.items() if what.startswith("per cent that die")},
        month_factor={int(n): v for (what, n), v in values.items() if what == "factor of the month"},
        per_cent_late=values["per cent of deaths entered late", "deaths"],
        entries_to_a_double=int(values["entries to one double", "doubles"]),
        entries_to_a_correction=int(values["entries to one correction", "corrections"]),
        opening_lines=int(values["lines in the opening load", "opening"]),
    )


def keeper_of(place: str, day: date) -> str:
    """Who keeps a place on a day, and so enters what happens there."""
    for row in _KEEPERS:
        if row["place"] == place and (not row["until"] or day.isoformat() <= row["until"]):
            return row["keeper"]
    raise ValueError(f"no keeper for {place!r} on {day} in keepers.csv")


def _moment(text: str) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def _mfu(text: str) -> tuple[int, int, int] | None:
    if not text:
        return None
    males, females, unknown = (int(part) for part in text.split("."))
    return males, females, unknown


_KEEPERS = read_rows("keepers.csv")
