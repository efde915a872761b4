"""The takes behind the lines of a permit: for the page of a figure, and for the annex of a print."""

from collections.abc import Mapping

from census.change.rules.question import Question
from inventory.permits.models import Permit
from inventory.permits.queries.accounts import LineAccount, PermitAccount, accounts
from inventory.permits.queries.takes import TakeRead

from ..rules.entries import Annex, Entry
from ..rules.said import Saying


def unit_of(line: LineAccount) -> str:
    return line.line.unit if line.line else line.takes[0].take.unit if line.takes else "animal"


def key_of(permit: Permit, line: LineAccount) -> tuple[object, ...]:
    """Of the line in the annex of a print."""
    return "take", permit.pk, line.number, unit_of(line)


def takes_told(found: Mapping[int, PermitAccount], saying: Saying) -> Annex:
    """What was taken under each line of each permit, oldest first."""
    return {
        key_of(account.permit, line): [_entry(read, saying) for read in line.takes]
        for account in found.values()
        for line in account.lines
    }


def _entry(read: TakeRead, saying: Saying) -> Entry:
    take = read.take
    return Entry(
        event=", ".join(map(str, read.event_ids)),
        happened=saying.happened(read.trip.happened),
        kind=take.verbatim_identification,
        lot=take.lot.accession if take.lot else "",
        way=f"{take.let_go} let go, {take.died} died on the way, {take.kept} kept",
        column="taken",
        n=take.caught,
        entered=take.entered_by.name,
    )


def takes_behind(
    permit: Permit, line: str, unit: str, question: Question, saying: Saying
) -> tuple[str, list[LineAccount]]:
    """The lines of a permit whose takes stand behind a figure: one by its number, "all", or "" for takes that
    no line covers; with the words over them."""
    found = accounts([permit], as_of=question.last_day, zone=saying.zone, known_at=question.known_at)[
        permit.pk
    ]
    lines = [
        one
        for one in found.lines
        if unit_of(one) == unit and (line == "all" or ("" if one.number is None else str(one.number)) == line)
    ]
    words = "all lines" if line == "all" else lines[0].words if lines else "no such line"
    return words, lines
