"""Accepts and refuses proposals: what is accepted becomes decisions of the census, like any others."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from typing import TypeVar

from django.db import transaction

from census.differences.models import Refusal
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import ApprovalAsked, Census, Decision, Line
from ..queries.explaining import Answer, answer, counts_of, names
from ..queries.find import line_called
from ..queries.reading import read_census
from ..queries.settings import settings_of
from ..rules.hypotheses import Hypothesis
from ..rules.settings import CensusSettings
from ..rules.settling import Settling
from ..rules.steps import Step
from ..rules.who import DECIDES
from ..rules.words import How
from .allowed import require
from .approving import ask_approval
from .decide import decide_line
from .refused import CensusRefused

Done = TypeVar("Done")


@dataclass(frozen=True, slots=True)
class Under:
    """What stands under an acceptance beside the one who accepts: approvals, owner, a note."""

    approved_by: Person | None = None
    countersigned_by: Person | None = None
    owner: str = ""
    note: str = ""


@transaction.atomic
def accept_proposals(
    *,
    census: Census,
    keys: Sequence[str],
    by: Person,
    now: datetime,
    zone: tzinfo,
    under: Under | None = None,
    settings: CensusSettings | None = None,
) -> list[Decision]:
    """Accepts the proposals called ``keys``, all or none, as they are made now.

    The house is read again: a proposal that is no longer made, for the book or a count has moved since
    the page was shown, is refused. Each becomes one decision or two, by the rules of any decision:
    approvals, who counted, what the count supports. Raises :class:`CensusRefused`.
    """
    require(by, DECIDES, "accept a proposal")
    found = _made_now(census, keys, now=now, settings=settings)
    problems = [_gone(key) for key in keys if key not in found]
    if problems:
        raise CensusRefused(*problems)
    return _each_step(
        [found[key] for key in dict.fromkeys(keys)],
        lambda step: _decide(step, under or Under(), by=by, now=now, zone=zone, settings=settings),
    )


@transaction.atomic
def ask_for_proposals(
    *,
    census: Census,
    keys: Sequence[str],
    by: Person,
    now: datetime,
    zone: tzinfo,
    owner: str = "",
    note: str = "",
) -> list[ApprovalAsked | Decision]:
    """The same, but what needs a name that is not there waits until that person approves it.

    Raises :class:`CensusRefused`.
    """
    require(by, DECIDES, "ask for an approval")
    found = _made_now(census, keys, now=now, settings=None)
    problems = [_gone(key) for key in keys if key not in found]
    if problems:
        raise CensusRefused(*problems)
    under = Under(owner=owner, note=note)

    def ask(step: Step) -> ApprovalAsked | Decision:
        line, settling = _stated(step, under, by, now, zone)
        other = line_called(step.to_line) if step.to_line else None
        return ask_approval(line=line, settling=settling, by=by, now=now, zone=zone, other_line=other)

    return _each_step([found[key] for key in dict.fromkeys(keys)], ask)


def _gone(key: str) -> str:
    """A key names the cause, and the lines that it is about."""
    cause, _, about = key.partition(" / ")
    what = f"{about}: {cause.replace('_', ' ')}" if about else cause
    return f"{what} is not proposed any more: it was decided meanwhile, or the book or a count has moved"


def _each_step(chosen: Iterable[Hypothesis], do: Callable[[Step], Done]) -> list[Done]:
    """Does every step of what was chosen, all or none; the problems of all are told together."""
    done: list[Done] = []
    problems: list[str] = []
    for one in chosen:
        if not one.acceptable:
            problems.append(f"{one.key}: this is nothing to accept: {one.words}")
            continue
        for step in one.steps:
            try:
                with transaction.atomic():
                    done.append(do(step))
            except CensusRefused as refused:
                problems += refused.problems
    if problems:
        raise CensusRefused(*problems)
    return done


@transaction.atomic
def refuse_proposal(*, census: Census, key: str, by: Person, now: datetime, why: str = "") -> Refusal:
    """Keeps that a proposal was refused; it is not made again of the same counts.

    Refusing the same again gives the first refusal. Raises :class:`CensusRefused` when it is not made,
    or when it is what is left unexplained: a line cannot be left without any.
    """
    require(by, DECIDES, "refuse a proposal")
    told = answer(census, read_census(census), now=now)
    found = _by_key(told, [key]).get(key)
    lines = [line for name, line in told.lines.items() if names(key, name)]
    earlier = Refusal.objects.filter(proposal=key, counts=counts_of(lines)).first()
    if earlier is not None:
        return earlier
    if found is None:
        raise CensusRefused(_gone(key))
    if found.cause.is_rest:
        raise CensusRefused(
            "What is unexplained cannot be refused: accept another proposal, ask a recount, or make it an "
            "open query with an owner."
        )
    return Refusal.objects.create(
        proposal=key,
        counts=counts_of(lines),
        words=f"{found.cause}: {found.words}",
        why=why[:300],
        refused_by=by,
        refused_at=now,
    )


def _made_now(
    census: Census, keys: Sequence[str], *, now: datetime, settings: CensusSettings | None
) -> dict[str, Hypothesis]:
    return _by_key(answer(census, read_census(census, settings=settings), settings=settings, now=now), keys)


def _by_key(told: Answer, keys: Iterable[str]) -> dict[str, Hypothesis]:
    wanted = set(keys)
    every: Mapping[str, Hypothesis] = {
        one.key: one for found in told.by_row.values() for one in found if one.key in wanted
    }
    return dict(every)


def _decide(
    step: Step, under: Under, *, by: Person, now: datetime, zone: tzinfo, settings: CensusSettings | None
) -> Decision:
    line, settling = _stated(step, under, by, now, zone)
    return decide_line(
        line=line,
        settling=settling,
        by=by,
        now=now,
        zone=zone,
        approved_by=under.approved_by,
        countersigned_by=under.countersigned_by,
        other_line=line_called(step.to_line) if step.to_line else None,
        settings=settings,
    )


def _stated(step: Step, under: Under, by: Person, now: datetime, zone: tzinfo) -> tuple[Line, Settling]:
    """The line of a step, and what is stated about it with its owner, its day and its note."""
    line, settling = line_called(step.line), step.settling
    if settling.how is How.MISSING and settling.due is None:
        settling = replace(settling, due=_searched_until(line, zone))
    if step.keeper or step.officer:
        settling = replace(settling, owner=under.owner or _owner(step, line, by, now))
    if under.note:
        settling = replace(settling, note=under.note)
    return line, settling


def _searched_until(line: Line, zone: tzinfo) -> date | None:
    """A search goes on for the days that the house has set, from the first count that missed them."""
    first = line.counts.filter(replaced_by=None).order_by("counted_at").first()
    if first is None:
        return None
    days = settings_of(line.sheet.census).individual_search_days
    return first.counted_at.astimezone(zone).date() + timedelta(days=days)


def _owner(step: Step, line: Line, by: Person, now: datetime) -> str:
    """The permit officer where the law asks for a notice, else who keeps the tank, else who decides."""
    here = Person.objects.filter(left_on=None)
    if step.officer:
        officer = here.filter(user__groups__name=Role.PERMIT_OFFICER.value).order_by("name").first()
        if officer is not None:
            return officer.name
    today = now.date()
    keeper = here.filter(
        keepings__place=line.place_id, keepings__since__lte=today, keepings__until=None
    ).order_by("name")
    first = keeper.first()
    return first.name if first else by.name
