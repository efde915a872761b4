"""What the head and the foot of a report say, the same on the page, in the workbook and in print."""

from collections.abc import Callable, Sequence
from datetime import date, datetime, tzinfo

from inventory.book.rules.days import day_in_words
from inventory.book.rules.scope import Scope
from inventory.book.rules.words import MINUS

from .question import Basis, Question

SCOPE_WORDS = {
    Scope.HERE: "here: all animals on the premises, whoever owns them",
    Scope.OURS: "ours: all animals that the house owns, wherever they are",
    Scope.ALL: "all: what is on the premises and what the house owns elsewhere",
}


def moment_in_words(moment: datetime, zone: tzinfo) -> str:
    """``6 October 2026 09:10`` in the house's zone."""
    local = moment.astimezone(zone)
    return f"{day_in_words(local.date())} {local:%H:%M}"


def moment_in_address(moment: datetime, zone: tzinfo) -> str:
    """``2026-10-06T09:10`` in the house's zone, to the second where it has any; with its offset in the hour
    that comes twice when the clocks go back. Read by the form it is the same moment again."""
    local = moment.astimezone(zone)
    plain = local.replace(tzinfo=None, fold=0)
    if plain.replace(tzinfo=zone).utcoffset() != plain.replace(tzinfo=zone, fold=1).utcoffset():
        return local.isoformat()
    return plain.isoformat(timespec="auto" if plain.second or plain.microsecond else "minutes")


def title_of(question: Question) -> str:
    """``Population change, 1 July 2026 to 30 September 2026``."""
    return f"Population change, {day_in_words(question.first_day)} to {day_in_words(question.last_day)}"


def basis_in_words(question: Question, closings: Sequence[str | None], zone: tzinfo) -> str:
    """The basis; ``closings`` are the closings honoured at the opening and at the closing."""
    known = "now" if question.known_at is None else f"at {moment_in_words(question.known_at, zone)}"
    if question.basis is Basis.KNOWN:
        return f"as known {known}"
    opening, closing = (closing or f"not closed, as known {known}" for closing in closings)
    return f"as reported (opening: {opening}; closing: {closing})"


NOT_OVER = "not over yet"
"""The heading of what :func:`running_in_words` says, in the head of a file and over the column of a csv."""


def running_in_words(question: Question, today: date, *, say: Callable[[date], str] = day_in_words) -> str:
    """That the period is not over yet, of a report as known now; else empty. ``say`` says a day."""
    if question.known_at is not None or question.last_day < today:
        return ""
    return (
        f"The period is not over: the closing is what the book holds on {say(today)}, "
        f"and changes until the end of {say(question.last_day)}."
    )


def ties_in_words(untied: Sequence[str]) -> str:
    """The identity check of the foot."""
    if not untied:
        return (
            f"Ties: opening + in {MINUS} out + late = closing on every row,"
            " and every closing is what the book holds at the end."
        )
    return f"Does not tie on {len(untied)} rows: {', '.join(untied)}. Run the command verify."


def signed(n: int) -> str:
    """``+3``, ``-2``, ``0``."""
    return f"{n:+d}" if n else "0"
