"""Proposals in the words and ways of the census: what a cause means for a line, and how to settle it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, tzinfo

from census.differences.rules.causes import Cause, in_words
from census.differences.rules.explain import Explained, Ranked
from census.differences.rules.facts import Line
from census.differences.rules.possible import Possible
from inventory.book.rules.kinds import EventKind

from .steps import HOW, Step, steps_of
from .words import How

# Of a settled line, which cause was accepted; by the reason that goes with it.
_BY_REASON = {
    "late move": Cause.MOVE,
    "joined tanks": Cause.JOINED,
    "look-alike": Cause.LOOK_ALIKE,
    "wrong lot": Cause.SWAPPED,
    "double entry": Cause.DOUBLE,
    "typing": Cause.EDITED,
    "late death entry": Cause.LATE_DEATH,
    "late birth entry": Cause.BORN,
    "brood or young": Cause.BORN,
    "divided": Cause.DIVIDED,
    "settled from sea water": Cause.SETTLED,
    "came with rock, kelp or animals": Cause.CAME_WITH,
    "sex change": Cause.SEX_CHANGE,
    "eaten (suspected)": Cause.EATEN,
    "unexplained loss": Cause.LOSS,
    "unexplained gain": Cause.GAIN,
}


def cause_of_decision(how: str, reason: str) -> Cause | None:
    """The cause that a settled line counts as in the house's history; ``None`` for what tells nothing."""
    if how == How.MISSING:
        return Cause.NOT_SEEN
    return _BY_REASON.get(reason)


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A proposal with its evidence in words. ``explains``: animals of the difference, with its sign.

    ``key`` names it; ``how``: the way to settle it if a person agrees, ``None`` where nothing is to be
    posted (count again, wait, ask). ``steps``: the decisions of it; empty where a person must fill in
    what nobody can know. ``best``: part of the cheapest set of causes. ``likely``: against what comes
    first, or what comes next.
    """

    cause: Cause
    words: str
    explains: int
    how: How | None = None
    other: str = ""
    event: str = ""
    accessions: tuple[str, ...] = ()
    key: str = ""
    steps: tuple[Step, ...] = ()
    best: bool = False
    recount: bool = False
    likely: str = ""
    lines: tuple[str, ...] = ()

    @property
    def acceptable(self) -> bool:
        """True when one click can settle it."""
        return bool(self.steps)


def hypotheses(
    explained: Explained, lines: Mapping[str, Line], *, today: date, zone: tzinfo
) -> list[Hypothesis]:
    """The proposals for one line, those of the cheapest set first."""
    line = explained.line
    told = []
    for ranked in explained.ranked:
        possible = ranked.possible
        steps = tuple(steps_of(possible, ranked.n, lines, today=today, zone=zone))
        ends = possible.candidate.nodes
        effect = possible.candidate.effect(line.key)
        told.append(
            Hypothesis(
                cause=possible.cause,
                words=possible.words,
                explains=effect * ranked.n if line.difference else 0,
                how=_how(possible, steps),
                other=next((node for node in ends if node != line.key), ""),
                event=possible.hints.event,
                accessions=possible.hints.accessions,
                key=possible.candidate.key,
                steps=steps,
                best=ranked.best,
                recount=possible.recount,
                likely=_likely(ranked, explained),
                lines=tuple(ends),
            )
        )
    return told


def _likely(ranked: Ranked, explained: Explained) -> str:
    if ranked.best:
        if explained.second_dearer is None or not explained.second:
            return ""
        next_best = " and ".join(dict.fromkeys(one.possible.cause.value for one in explained.second))
        return f"{in_words(explained.second_dearer)} {next_best}"
    if ranked.regret is None:
        return ""
    return f"what comes first is {in_words(ranked.regret)} this"


def _how(possible: Possible, steps: Sequence[Step]) -> How | None:
    """The way to settle it; ``None`` where nothing is to be decided yet."""
    if possible.recount:
        return None
    return steps[0].settling.how if steps else HOW.get(possible.cause)


def notes_on(line: Line) -> list[Hypothesis]:
    """What the reader should know, though it is in the book already and explains nothing more."""
    if line.moment is None or line.typed_at is None:
        return []
    late = [p for p in line.passages if p.entered_at > line.typed_at and p.happened_at <= line.moment]
    book = line.book - sum(passage.n for passage in late)
    told = []
    for passage in late:
        words = (
            f"book moved {book} to {book + passage.n} since the count, by {passage.words} "
            f"({passage.entered_by} on {passage.entered_at:%Y-%m-%d})"
        )
        book += passage.n
        told.append(Hypothesis(Cause.LATE, words, 0))
    told += [
        Hypothesis(Cause.CROSSED, f"after the count: {passage.words}", 0)
        for passage in line.passages
        if passage.happened_at > line.moment and passage.kind == EventKind.MOVED
    ]
    return told
