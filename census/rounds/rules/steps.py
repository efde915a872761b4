"""From an accepted cause to the decisions of the census that settle it."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from census.differences.rules.causes import Cause
from census.differences.rules.facts import Line
from census.differences.rules.possible import Hints, Possible
from inventory.book.rules.kinds import EventKind

from .settling import Settling
from .words import How

# The way each cause is settled; missing ones post nothing: count again, wait, ask.
HOW: Mapping[Cause, How] = {
    Cause.BELOW_ZERO: How.LATE_EVENT,
    Cause.MINIMUM: How.OBSERVATION,
    Cause.ESTIMATE: How.COUNT_STANDS,
    Cause.DRIFT: How.ADJUSTMENT,
    Cause.DOUBLE: How.LATE_EVENT,
    Cause.EDITED: How.LATE_EVENT,
    Cause.JOINED: How.LATE_MOVE,
    Cause.MOVE: How.LATE_MOVE,
    Cause.ELSEWHERE: How.LATE_MOVE,
    Cause.LOOK_ALIKE: How.CHANGE_OF_NAME,
    Cause.OTHER_NAME: How.OBSERVATION,
    Cause.SWAPPED: How.CHANGE_OF_NAME,
    Cause.SEX_CHANGE: How.REGROUP,
    Cause.DIVIDED: How.LATE_EVENT,
    Cause.BORN: How.LATE_EVENT,
    Cause.SETTLED: How.LATE_EVENT,
    Cause.INTRODUCED: How.OBSERVATION,
    Cause.LATE_DEATH: How.LATE_EVENT,
    Cause.LETTER: How.LATE_EVENT,
    Cause.NOT_SEEN: How.MISSING,
    Cause.EATEN: How.ADJUSTMENT,
    Cause.LOSS: How.ADJUSTMENT,
    Cause.GAIN: How.ADJUSTMENT,
}
_LATE_KIND = {
    Cause.BELOW_ZERO: EventKind.BORN,
    Cause.DIVIDED: EventKind.DIVIDED,
    Cause.BORN: EventKind.BORN,
    Cause.SETTLED: EventKind.SETTLED,
    Cause.LETTER: EventKind.DIED,
}
# The field of a decision's evidence is this long.
_EVIDENCE = 250


@dataclass(frozen=True, slots=True)
class Step:
    """One decision of a proposal: on which line, what is stated, and the line that gets the animals.

    ``keeper``: the search or the query needs an owner; the one who keeps the place, unless a person
    says otherwise. ``officer``: it concerns the permit officer.
    """

    line: str
    settling: Settling
    to_line: str = ""
    keeper: bool = False
    officer: bool = False


def steps_of(
    possible: Possible, n: int, lines: Mapping[str, Line], *, today: date, zone: tzinfo
) -> list[Step]:
    """The decisions that ``n`` animals of a cause would make; none where a person must say more."""
    if possible.recount or possible.cause not in HOW:
        return []
    loses, gains = lines.get(possible.candidate.loses), lines.get(possible.candidate.gains)
    on = loses or gains
    if on is None:
        return []
    return list(_Stating(possible, n, on, gains if loses else None, today, zone).steps())


@dataclass(frozen=True, slots=True)
class _Stating:
    """What is stated on ``on``; ``to`` is the other line of a pair."""

    possible: Possible
    n: int
    on: Line
    to: Line | None
    today: date
    zone: tzinfo

    @property
    def hints(self) -> Hints:
        return self.possible.hints

    def steps(self) -> Iterator[Step]:
        by_how: dict[How, Callable[[], Iterator[Step]]] = {
            How.OBSERVATION: self._observed,
            How.COUNT_STANDS: self._stands,
            How.ADJUSTMENT: self._adjusted,
            How.LATE_EVENT: self._late_event,
            How.LATE_MOVE: self._moved,
            How.CHANGE_OF_NAME: self._renamed,
            How.REGROUP: self._regrouped,
            How.MISSING: self._missing,
        }
        yield from by_how[HOW[self.possible.cause]]()

    def _step(self, settling: Settling, *, keeper: bool = False, officer: bool = False) -> Step:
        return Step(self.on.key, settling, self.to.key if self.to else "", keeper, officer)

    @property
    def evidence(self) -> str:
        return self.possible.words[:_EVIDENCE]

    def _observed(self) -> Iterator[Step]:
        reason = "minimum count" if self.possible.cause is Cause.MINIMUM else ""
        stated = Settling(How.OBSERVATION, reason=reason, evidence=self.evidence)
        for line in (self.on, self.to):
            if line is not None:
                yield Step(line.key, stated, officer=self.possible.cause is Cause.INTRODUCED)

    def _stands(self) -> Iterator[Step]:
        yield self._step(Settling(How.COUNT_STANDS, evidence=self.evidence))

    def _adjusted(self) -> Iterator[Step]:
        if self.on.written_in:
            return  # what was written in has no lot yet that could be adjusted
        sign = self.possible.candidate.effect(self.on.key)
        yield self._step(
            Settling(
                How.ADJUSTMENT,
                reason=self.hints.reason,
                n=sign * self.n,
                accessions=tuple(one.accession for one in self.on.not_seen) if self.on.individuals else (),
                drift=self.possible.cause is Cause.DRIFT,
                evidence=self.evidence,
            )
        )

    def _late_event(self) -> Iterator[Step]:
        cause = self.possible.cause
        if cause in (Cause.DOUBLE, Cause.EDITED):
            yield self._step(
                Settling(
                    How.LATE_EVENT,
                    reason=self.hints.reason,
                    kind=EventKind.REVERSED,
                    happened=self.today.isoformat(),
                    reverses=self.hints.event,
                    evidence=self.evidence,
                )
            )
            return
        if self.on.written_in:
            yield from self._written_in()
            return
        kind = _LATE_KIND.get(cause)
        happened = self.hints.happened or self._span()
        born = any(p.kind == EventKind.BORN for p in self.on.passages) or self.on.counts_in_from
        if kind is None or not happened or (cause is Cause.BELOW_ZERO and not born):
            return
        if self.on.individuals and len(self.hints.accessions) != self.n:
            return
        yield self._step(
            Settling(
                How.LATE_EVENT,
                reason=self.hints.reason,
                n=0 if self.on.individuals else self.n,
                accessions=self.hints.accessions if self.on.individuals else (),
                kind=kind,
                happened=happened,
                cause="not known" if kind is EventKind.DIED else "",
                evidence=self.evidence,
            )
        )

    def _written_in(self) -> Iterator[Step]:
        """It changes no book: it is kept as seen, or waits for its day."""
        if self.possible.cause is Cause.BORN and self.hints.due:
            stated = Settling(How.YOUNG_APART, evidence=self.evidence, due=self.hints.due)
            yield self._step(stated, keeper=True)
        elif self.on.letter:
            yield self._step(Settling(How.OBSERVATION, evidence=self.evidence))

    def _moved(self) -> Iterator[Step]:
        place = self.hints.place
        happened = self.hints.last_seen.isoformat() if self.hints.last_seen else self._span()
        wrong_animals = self.on.individuals and len(self._named()) != self.n
        if not place or not happened or wrong_animals:
            return
        if self.possible.cause is Cause.ELSEWHERE and not self.hints.last_seen:
            return  # nobody has seen it there: the sheet comes first
        stated = Settling(
            How.LATE_MOVE,
            reason=self.hints.reason,
            n=0 if self.on.individuals else self.n,
            accessions=self._named(),
            happened=happened,
            to_place=place,
            evidence=self.evidence,
        )
        if self.to is not None and self.to.written_in:
            # What was written in has no lot of its own: the book has it now, and the line is a note.
            yield Step(self.on.key, stated)
            yield Step(self.to.key, Settling(How.OBSERVATION, evidence=self.evidence))
        else:
            yield self._step(stated)

    def _named(self) -> tuple[str, ...]:
        if not self.on.individuals:
            return ()
        return self.hints.accessions or tuple(one.accession for one in self.on.not_seen)

    def _renamed(self) -> Iterator[Step]:
        if self.on.individuals and len(self._named()) != self.n:
            return
        yield self._step(
            Settling(
                How.CHANGE_OF_NAME,
                reason=self.hints.reason,
                n=0 if self.on.individuals else self.n,
                accessions=self._named(),
                to_accession=self.hints.to_accession,
                evidence=self.evidence,
            )
        )

    def _regrouped(self) -> Iterator[Step]:
        yield self._step(
            Settling(
                How.REGROUP,
                reason=self.hints.reason,
                n=self.n,
                from_sex=self.hints.from_sex,
                to_sex=self.hints.to_sex,
                evidence=self.evidence,
            )
        )

    def _missing(self) -> Iterator[Step]:
        if self.on.individuals and len(self._named()) != self.n:
            return
        yield self._step(
            Settling(
                How.MISSING,
                n=0 if self.on.individuals else self.n,
                accessions=self._named(),
                last_seen=self.hints.last_seen,
                due=self.hints.due,
                evidence=self.evidence,
            ),
            keeper=True,
            officer=self.hints.due is not None,
        )

    def _span(self) -> str:
        """An interval as the book takes it: from what is known last to the count, in the house's time."""
        until = self._local(self.hints.until)
        since = self._local(self.hints.since)
        if until is None:
            return ""
        return f"{since:%Y-%m-%dT%H:%M}/{until:%Y-%m-%dT%H:%M}" if since else f"{until:%Y-%m-%dT%H:%M}"

    def _local(self, moment: datetime | None) -> datetime | None:
        return moment.astimezone(self.zone) if moment else None
