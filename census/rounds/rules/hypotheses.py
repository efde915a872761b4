"""What may lie behind a difference: simple guesses from the evidence, best first, never verdicts."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from itertools import pairwise

from inventory.book.rules.kinds import ARRIVALS, DEPARTURES

from .settings import DEFAULTS, CensusSettings
from .words import How


class Cause(StrEnum):
    BELOW_ZERO = "book below zero"
    MINIMUM = "minimum count"
    DOUBLE = "entered twice"
    OPPOSITE = "opposite difference"
    LOOK_ALIKE = "look-alike"
    NOT_SEEN = "known animals not seen"
    UNIT = "units mixed up"
    WRITE_IN = "written in beside it"
    DIVIDES = "divides"
    CROSSED = "moved between counts"
    LATE = "entered since the count"
    UNEXPLAINED = "unexplained"


_NOTHING_FOUND = "nothing found in the book or on other lines"


@dataclass(frozen=True, slots=True)
class Passage:
    """A flow of a line's lot as evidence: ``n`` with the sign of its effect on the line's place."""

    lot: int
    kind: str
    n: int
    happened_at: datetime
    entered_at: datetime
    entered_by: str
    words: str
    event: str = ""


@dataclass(frozen=True, slots=True)
class Difference:
    """One compared row as the guesses see it. ``moment``: the count moment; ``typed_at``: when the
    count came in; ``not_seen``: (accession, name) of the roll-call; ``passages``: what happened to its
    lots in the period."""

    ref: str
    place: str
    taxon: str
    unit: str
    book: int
    count: int
    at_least: bool = False
    look_alike_set: str = ""
    can_divide: bool = False
    written_in: bool = False
    open: bool = True
    not_seen: Sequence[tuple[str, str]] = field(default_factory=tuple)
    moment: datetime | None = None
    typed_at: datetime | None = None
    passages: Sequence[Passage] = field(default_factory=tuple)

    @property
    def difference(self) -> int:
        return self.count - self.book


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A guess with its evidence in words. ``explains``: animals of the difference, with its sign.

    ``how``: the way to settle it if a person agrees; ``other``: the other line, ``event`` the event
    to take back, ``accessions`` the animals, where there are any.
    """

    cause: Cause
    words: str
    explains: int
    how: How | None = None
    other: str = ""
    event: str = ""
    accessions: tuple[str, ...] = ()


def explain(
    one: Difference, others: Sequence[Difference], settings: CensusSettings = DEFAULTS
) -> list[Hypothesis]:
    """Guesses for one differing row, those first that explain all of it; the last is *unexplained*."""
    found = [
        *_below_zero(one),
        *_minimum(one),
        *_doubles(one, settings),
        *_partners(one, others),
        *_not_seen(one),
        *_units(one, others),
        *_writings(one, others),
        *_divides(one),
    ]
    # A guess that explains the whole difference comes before one that explains a part of it.
    found.sort(key=lambda guess: (abs(one.difference - guess.explains), list(Cause).index(guess.cause)))
    found += _since(one)
    if not any(guess.explains == one.difference for guess in found):
        # What was written in has no lot yet that could be adjusted.
        how = None if one.written_in else How.ADJUSTMENT
        found.append(Hypothesis(Cause.UNEXPLAINED, _NOTHING_FOUND, one.difference, how))
    return found


def _below_zero(one: Difference) -> Iterable[Hypothesis]:
    if one.book < 0:
        words = f"the book has {one.book}: arrivals, births or a move in were never entered"
        yield Hypothesis(Cause.BELOW_ZERO, words, one.difference, How.LATE_EVENT)


def _minimum(one: Difference) -> Iterable[Hypothesis]:
    if one.at_least and one.difference < 0:
        words = f"at least {one.count} seen: no proof of a loss; drain, or count at night"
        yield Hypothesis(Cause.MINIMUM, words, one.difference, How.OBSERVATION)


def _doubles(one: Difference, settings: CensusSettings) -> Iterable[Hypothesis]:
    """Two like entries within minutes of each other, one of which would explain a difference."""
    ordered = sorted(one.passages, key=lambda one: (one.lot, one.kind, one.n, one.entered_at))
    for first, second in pairwise(ordered):
        alike = (first.lot, first.kind, first.n) == (second.lot, second.kind, second.n)
        if not alike or first.kind not in (*ARRIVALS, *DEPARTURES):
            continue
        apart = (second.entered_at - first.entered_at).total_seconds()
        same_hour = abs((second.happened_at - first.happened_at).total_seconds()) < 3600
        if apart > settings.double_entry_minutes * 60 or not same_hour:
            continue
        if one.difference * -second.n > 0:
            words = f"{second.words}, entered twice by {second.entered_by}, {apart:.0f} s apart"
            yield Hypothesis(Cause.DOUBLE, words, -second.n, How.LATE_EVENT, event=second.event)


def _partners(one: Difference, others: Sequence[Difference]) -> Iterable[Hypothesis]:
    """Opposite differences: the same taxon elsewhere (a move), a look-alike in the same place."""
    for other in others:
        if other.ref == one.ref or other.unit != one.unit or other.written_in or not other.open:
            continue
        if one.difference * other.difference >= 0:
            continue
        shared = min(abs(one.difference), abs(other.difference))
        explains = shared if one.difference > 0 else -shared
        at = f"{other.ref} ({other.place}) differs by {other.difference:+d}"
        if other.taxon == one.taxon:
            words = f"{at}: a move that was not entered?"
            yield Hypothesis(Cause.OPPOSITE, words, explains, How.LATE_MOVE, other.ref)
        elif one.look_alike_set and other.look_alike_set == one.look_alike_set and other.place == one.place:
            words = f"{at}: {other.taxon} looks alike"
            yield Hypothesis(Cause.LOOK_ALIKE, words, explains, How.CHANGE_OF_NAME, other.ref)


def _not_seen(one: Difference) -> Iterable[Hypothesis]:
    if one.difference < 0 and 0 < len(one.not_seen) <= -one.difference:
        names = ", ".join(name for _, name in one.not_seen)
        accessions = tuple(accession for accession, _ in one.not_seen)
        words = f"{names}: search, and look in the notes of the veterinarian"
        yield Hypothesis(Cause.NOT_SEEN, words, -len(accessions), How.MISSING, accessions=accessions)


def _units(one: Difference, others: Sequence[Difference]) -> Iterable[Hypothesis]:
    for other in others:
        mixed = other.taxon == one.taxon and other.place == one.place and other.unit != one.unit
        if mixed and one.difference > 0 and one.difference == other.count:
            words = f"the line of {other.unit}s here counts {other.count}: were they added in? Ask a recount"
            yield Hypothesis(Cause.UNIT, words, one.difference, other=other.ref)
    if one.unit == "colony" and one.book > 0 and one.count >= 3 * one.book:
        words = f"{one.count} for {one.book} colonies: were parts counted? Ask a recount"
        yield Hypothesis(Cause.UNIT, words, one.difference)


def _writings(one: Difference, others: Sequence[Difference]) -> Iterable[Hypothesis]:
    """An animal of the same genus written in in the same place may be the one that is short on its line."""
    genus = one.taxon.split()[:1]
    for other in others:
        if not other.written_in or not other.open or other.taxon.split()[:1] != genus:
            continue
        if other.place == one.place and one.difference < 0 < other.count and other.ref != one.ref:
            explains = -min(-one.difference, other.count)
            words = f"{other.ref}: {other.count} written in here as {other.taxon!r}"
            yield Hypothesis(Cause.WRITE_IN, words, explains, How.OBSERVATION, other.ref)


def _divides(one: Difference) -> Iterable[Hypothesis]:
    if one.can_divide and one.difference > 0:
        yield Hypothesis(Cause.DIVIDES, "this kind multiplies by itself", one.difference, How.ADJUSTMENT)


def _since(one: Difference) -> Iterable[Hypothesis]:
    """What the reader should know, though it is in the book already and explains nothing more."""
    if one.moment is None or one.typed_at is None:
        return
    late = [
        passage
        for passage in one.passages
        if passage.entered_at > one.typed_at and passage.happened_at <= one.moment
    ]
    book = one.book - sum(passage.n for passage in late)
    for passage in late:
        words = (
            f"book moved {book} to {book + passage.n} since the count, by {passage.words} "
            f"({passage.entered_by} on {passage.entered_at:%Y-%m-%d})"
        )
        book += passage.n
        yield Hypothesis(Cause.LATE, words, 0)
    for passage in one.passages:
        if passage.happened_at > one.moment and passage.kind == "moved":
            yield Hypothesis(Cause.CROSSED, f"after the count: {passage.words}", 0)
