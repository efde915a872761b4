"""The background check: asks an online service about names of the review queue, one after another."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inventory.people.models import Person

from ..models import CheckState, NameCheck, OnlineLookup, OnlinePause, OnlineRequest
from ..queries.online import (
    Due,
    OnlineAnswer,
    due,
    is_on,
    latest_answer,
    online_answer,
    question_of,
    settled_requests,
)
from ..rules.answer import as_json
from ..rules.parse import storable
from ..rules.reply import Reply, State

Ask = Callable[["Due"], Reply]

# A check that was killed holds its place no longer than this; one that runs renews it at each name.
_LEASE = timedelta(hours=1)
# When a name is asked again after a failure, unless the service says otherwise.
_AGAIN = {
    State.NO_ANSWER: timedelta(hours=1),
    State.OFFLINE: timedelta(minutes=10),
    State.REFUSED: timedelta(days=1),
    State.UNREADABLE: timedelta(days=1),
}
# Another attempt by the next check makes no sense for these: the person is told, the request is done.
_FINAL = (State.REFUSED, State.UNREADABLE)
_PATIENCE = 3


@dataclass(frozen=True, slots=True)
class Checked:
    """One line that was asked about, and what came of it."""

    check: NameCheck
    answer: OnlineAnswer


@dataclass(slots=True)
class Run:
    """One background check. ``stopped`` says why it ended before the end; blank when it did not."""

    checked: list[Checked] = field(default_factory=list)
    stopped: str = ""


def check_online(ask: Ask, *, clock: Callable[[], datetime], limit: int, cache_days: float) -> Run:
    """Asks about up to ``limit`` lines of the queue that have no fresh answer.

    Each answer is kept at once, so that a killed check loses nothing. Only one check runs at a
    time. It ends early when the service wants to be left alone, when there is no way to it, and
    after three names in a row without an answer; nothing is asked again before the service allows.
    """
    run = Run()
    run.stopped = _take_turn(clock())
    if run.stopped:
        return run
    try:
        silent = 0
        for line in due(now=clock(), limit=limit):
            reply = ask(line)
            now = clock()
            lookup = _keep(line, reply, now=now, fresh_for=timedelta(days=cache_days))
            run.checked.append(Checked(line.check, online_answer(line.check, lookup)))
            silent = silent + 1 if reply.state is State.NO_ANSWER else 0
            if reply.stop or silent >= _PATIENCE:
                run.stopped = reply.sentence
                break
            OnlinePause.objects.filter(pk=1).update(busy_until=now + _LEASE)
    finally:
        OnlinePause.objects.filter(pk=1).update(busy_until=None)
        OnlineRequest.objects.filter(pk__in=settled_requests(now=clock())).delete()
    return run


def ask_later(check: NameCheck, *, by: Person, now: datetime) -> str:
    """Puts a line at the front of the queue for the next background check; the sentence says so.

    Nothing is asked here. With a fresh answer at hand, or nothing to ask about, nothing changes.
    """
    if check.state == CheckState.DECIDED:
        return f"“{check.typed}” has been decided already; GBIF is not asked."
    if question_of(check) is None:
        return f"“{check.typed}” is not one scientific name, so there is nothing to ask GBIF about."
    known = latest_answer(check)
    if known and known.is_fresh(now):
        return f"GBIF's answer is at hand. {known.said(now)}"
    OnlineRequest.objects.get_or_create(check_of=check, defaults={"wanted_at": now, "wanted_by": by})
    text = f"“{check.typed}” is at the front of the queue: the next background check asks GBIF about it."
    return text if is_on() else f"{text} Asking GBIF is switched off in this house for now."


@transaction.atomic
def clear(*, now: datetime, expired_only: bool) -> int:
    """Removes kept answers, all or those that have expired; how many. People's requests stay."""
    kept = OnlineLookup.objects.filter(expires_at__lte=now) if expired_only else OnlineLookup.objects.all()
    n, _ = kept.delete()
    if not expired_only:
        OnlinePause.objects.all().delete()
    return n


def _take_turn(now: datetime) -> str:
    """Takes the turn; or says why not."""
    OnlinePause.objects.get_or_create(pk=1)
    pause = OnlinePause.objects.get(pk=1)
    if pause.not_before and pause.not_before > now:
        until = timezone.localtime(pause.not_before).isoformat(" ", "minutes")
        return f"GBIF wants to be left alone until {until}: nothing was asked."
    free = Q(busy_until__isnull=True) | Q(busy_until__lte=now)
    taken = OnlinePause.objects.filter(free, pk=1).update(busy_until=now + _LEASE)
    return "" if taken else "Another check is running: nothing was asked."


@transaction.atomic
def _keep(line: Due, reply: Reply, *, now: datetime, fresh_for: timedelta) -> OnlineLookup:
    question = line.question
    wait = fresh_for if reply.state is State.ANSWERED else _AGAIN[reply.state]
    if reply.pause is not None:
        pause = timedelta(seconds=reply.pause)
        wait = max(wait, pause)
        OnlinePause.objects.filter(pk=1).update(not_before=now + pause)
    stated = {
        "name": question.name,
        "rank": question.rank,
        "classification": list(question.beside),
        "checklist": question.checklist,
        "state": reply.state.value,
        "sentence": storable(reply.sentence),
        "asked_at": now,
        "expires_at": now + wait,
    }
    if reply.answer:
        stated |= {"answer": as_json(reply.answer), "answered_at": now, "asked_for": line.check}
    lookup, _ = OnlineLookup.objects.update_or_create(key=question.key, defaults=stated)
    if reply.state in _FINAL:
        OnlineRequest.objects.filter(check_of=line.check).delete()
    return lookup
