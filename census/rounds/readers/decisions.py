"""Reads decisions about lines from a csv file, one decision a row."""

import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from inventory.book.readers.source import NotReadable
from inventory.book.rules.drafts import Numbers
from inventory.book.rules.kinds import EventKind

from ..rules.settling import Settling
from ..rules.words import How
from ..rules.written import read_whole

COLUMNS = {
    "line": "CS-26Q3-07 line 5, or a place and a name (E07 Gobius niger); unit in brackets if not animals",
    "how": ", ".join(how.value for how in How),
    "reason": "from the list of reasons; an adjustment must have one",
    "n": "adjustment: with its sign; otherwise how many",
    "males": "sexes, where they are known, in place of n",
    "females": "",
    "hermaphrodites": "",
    "unknown": "",
    "accessions": "which individuals, or which lot, joined with spaces",
    "kind": "kind of a late event",
    "happened": "when a late event or move happened",
    "last_seen": "last day on which missing or lost animals were seen",
    "to_line": "the line that gets the animals of a late move or change of name",
    "to_place": "place of a late move, if it has no line",
    "to_accession": "lot of a change of name, if the other line has several",
    "from_sex": "regroup",
    "to_sex": "regroup",
    "stage": "",
    "to_stage": "regroup",
    "reverses": "ref or identifier of the event that a late reversed event takes back",
    "cause": "cause of a late death",
    "drift": "yes: third census running on the same side (class C inside its error)",
    "approved_by": "the curator, where the rules ask for it",
    "countersigned_by": "the permit officer, where the rules ask for it",
    "evidence": "paper, picture, letter",
    "note": "",
    "owner": "of an open query or a search",
    "due": "day until which it is looked into",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """One row: which line, what is stated, and the other names in it. ``origin``: "row 12"."""

    line: str
    settling: Settling
    to_line: str
    approved_by: str
    countersigned_by: str
    origin: str


def read_decisions(path: Path) -> tuple[list[Asked], list[str]]:
    """The decisions of a csv file, and what is wrong with it: "row 3, column how: ...".

    Columns may stand in any order and be left out, save ``line`` and ``how``.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            header = [name for name in reader.fieldnames or [] if name]
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise NotReadable(f"{path.name} cannot be read as csv in UTF-8: {error}") from error
    problems = [f"row 1: unknown column {name!r}" for name in header if name not in COLUMNS]
    problems += [f"row 1: the column {name} is missing" for name in ("line", "how") if name not in header]
    if problems:
        return [], problems
    problems = list(_repeated(rows))
    asked = [_asked(f"row {number}", row, problems) for number, row in enumerate(rows, start=2)]
    return [one for one in asked if one is not None], problems


def _repeated(rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """A row that says just what another says would be decided twice: a slip, not a second cause."""
    first: dict[tuple[tuple[str, str], ...], int] = {}
    for number, row in enumerate(rows, start=2):
        said = tuple((name, str(value)) for name, value in sorted(row.items(), key=str) if value)
        if said and first.setdefault(said, number) != number:
            yield f"row {number}: the same stands in row {first[said]}; leave one, or say the sum in it"


def read_row(origin: str, row: dict[str, str]) -> tuple[Asked | None, list[str]]:
    """One decision out of texts by column name, as a form or a command line gives them."""
    problems: list[str] = []
    return _asked(origin, row, problems), problems


def _asked(origin: str, row: dict[str, Any], problems: list[str]) -> Asked | None:
    texts = {name: (row.get(name) or "").strip() for name in COLUMNS}
    before = len(problems)

    def read(column: str, reader: Callable[[str], Any]) -> Any:
        if not texts[column]:
            return None
        try:
            return reader(texts[column])
        except ValueError as error:
            problems.append(f"{origin}, column {column}: {error}")
            return None

    how = read("how", _how)
    if how is None and not texts["how"]:
        problems.append(f"{origin}, column how: expected one of {COLUMNS['how']}")
    sexes = [read(name, read_whole) for name in ("males", "females", "hermaphrodites", "unknown")]
    numbers = Numbers(*(n or 0 for n in sexes)) if any(sexes) else None
    n, kind = read("n", _signed) or 0, read("kind", _kind)
    last_seen, due = read("last_seen", _day), read("due", _day)
    drift = bool(read("drift", _yes))
    if len(problems) > before or how is None:
        return None
    settling = Settling(
        how=how,
        n=n,
        numbers=numbers,
        accessions=tuple(texts["accessions"].split()),
        kind=kind,
        last_seen=last_seen,
        due=due,
        drift=drift,
        **{name: texts[name] for name in _PLAIN},
    )
    return Asked(
        line=texts["line"],
        settling=settling,
        to_line=texts["to_line"],
        approved_by=texts["approved_by"],
        countersigned_by=texts["countersigned_by"],
        origin=origin,
    )


_PLAIN = (
    "reason",
    "happened",
    "to_place",
    "to_accession",
    "from_sex",
    "to_sex",
    "stage",
    "to_stage",
    "reverses",
    "cause",
    "evidence",
    "note",
    "owner",
)


def _how(text: str) -> How:
    try:
        return How(text.lower().replace(" ", "_"))
    except ValueError:
        raise ValueError(f"{text!r}; expected one of {COLUMNS['how']}") from None


def _kind(text: str) -> EventKind:
    try:
        return EventKind(text.lower())
    except ValueError:
        raise ValueError(f"{text!r} is not a kind of event") from None


def _signed(text: str) -> int:
    try:
        return int(text.replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        raise ValueError(f"{text!r} is not a whole number") from None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is not a day; expected YYYY-MM-DD") from None


def _yes(text: str) -> bool:
    if text.lower() not in ("yes", "no"):
        raise ValueError(f"{text!r}; expected yes or no")
    return text.lower() == "yes"
