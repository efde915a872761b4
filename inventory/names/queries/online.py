"""What an online service has answered about names of the review queue. Nothing here asks it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import islice
from typing import Any

from django.conf import settings
from django.db.models import Count, F, Max, Min
from django.utils import timezone

from ..models import CheckState, NameCheck, OnlineLookup, OnlineRequest, RangeCaution
from ..rules.answer import ServiceAnswer, UnreadableAnswer, read_answer
from ..rules.opinion import names_in, opinion
from ..rules.question import Question, question_for
from ..rules.reply import State, in_words
from ..rules.verdicts import Caution, Classification, Verdict, VerdictKind

# Checklists that GBIF's match service knows, by GBIF's key of the data set.
CHECKLISTS = {
    "7ddf754f-d193-4cc9-b351-99906754a03b": "Catalogue of Life extended release",
    "d7dddbf4-2cf0-4f39-9b2a-bb099caae36c": "GBIF backbone of 2023",
}
INFO_COLUMNS = ("checklist", "state", "names", "fresh", "first_asked", "last_asked")
_CHUNK = 500


class Origin(StrEnum):
    """Where a verdict comes from."""

    LOCAL_RELEASE = "local release"
    CACHE = "cache"
    SERVICE = "service"


@dataclass(frozen=True, slots=True)
class OnlineAnswer:
    """The newest answer about one line of the queue, and how the last attempt to get one ended.

    ``verdict`` is judged anew from the kept answer by the rules and cautions of today; ``None`` when
    there never was an answer. ``origin`` is the service when it was asked for this very line, the
    cache when it had been asked for another with the same name.
    """

    state: State
    sentence: str
    origin: Origin
    release: str
    verdict: Verdict | None
    asked_at: datetime
    answered_at: datetime | None
    expires_at: datetime

    def is_fresh(self, now: datetime) -> bool:
        """True for an answer that need not be asked again yet."""
        return self.state is State.ANSWERED and self.verdict is not None and self.expires_at > now

    def age(self, now: datetime) -> str:
        """How long ago it was answered, or else tried: "3 hours"."""
        return in_words((now - (self.answered_at or self.asked_at)).total_seconds())

    def said(self, now: datetime) -> str:
        """Origin and age in one sentence for people."""
        if self.answered_at is None:
            return f"No answer yet; last tried {self.age(now)} ago. {self.sentence}"
        text = f"From the {self.origin} ({self.release}), answered {self.age(now)} ago"
        if self.state is not State.ANSWERED:
            ago = in_words((now - self.asked_at).total_seconds())
            return f"{text}; asked again {ago} ago without success. {self.sentence}"
        return f"{text}." if self.is_fresh(now) else f"{text}: old enough to be asked again."


@dataclass(frozen=True, slots=True)
class Due:
    """A line of the queue that is to be asked about, and the question."""

    check: NameCheck
    question: Question


def checklist() -> str:
    """The key of the checklist that is asked."""
    stated: Mapping[str, str] = settings.GBIF
    return stated["TIDETALLY_GBIF_CHECKLIST"].strip()


def is_on() -> bool:
    """False where the house has switched asking off."""
    stated: Mapping[str, str] = settings.GBIF
    return stated["TIDETALLY_GBIF"].strip().lower() == "on"


def service_name(key: str) -> str:
    """Who answers, for people: "GBIF, Catalogue of Life extended release"."""
    return f"GBIF, {CHECKLISTS.get(key, f'checklist {key}')}"


def question_of(check: NameCheck) -> Question | None:
    """What is asked about a line of the queue; ``None`` when it is not one scientific name."""
    return question_for(check.typed, checklist=checklist())


def latest_answer(check: NameCheck) -> OnlineAnswer | None:
    """The newest answer about this line, old or not; ``None`` when it was never asked. Two queries."""
    return latest_answers([check]).get(check.pk)


def latest_answers(checks: Iterable[NameCheck]) -> dict[int, OnlineAnswer]:
    """The newest answers about these lines, by id of the line. Two queries for up to 500 lines."""
    kept = [(line.check, lookup) for line, lookup in _with_lookups(checks) if lookup]
    read = {lookup.pk: _read(lookup) for _, lookup in kept}
    cautions = _cautions(answer for answer in read.values() if answer)
    return {check.pk: _online_answer(check, lookup, read[lookup.pk], cautions) for check, lookup in kept}


def online_answer(check: NameCheck, lookup: OnlineLookup) -> OnlineAnswer:
    """What one kept answer means for a line of the queue."""
    answer = _read(lookup)
    return _online_answer(check, lookup, answer, _cautions([answer] if answer else []))


def is_wanted(check: NameCheck) -> bool:
    """True when a person has put the line at the front for the next background check."""
    return OnlineRequest.objects.filter(check_of=check).exists()


def due(*, now: datetime, limit: int) -> list[Due]:
    """Lines to ask about: those that a person wants first, then the oldest; each question once.

    Left out are lines with a fresh answer, those whose last attempt failed a short while ago (unless
    a person wants them), common names, and lines that are not one scientific name.
    """
    found: list[Due] = []
    keys: set[str] = set()
    for line, lookup in _with_lookups(_queue()):
        wanted = hasattr(line.check, "online_request")
        known = lookup is not None and lookup.expires_at > now
        answered = known and lookup is not None and lookup.state == State.ANSWERED
        common = line.check.verdict == VerdictKind.COMMON_NAME
        if line.question.key in keys or answered or ((known or common) and not wanted):
            continue
        keys.add(line.question.key)
        found.append(line)
        if len(found) >= limit:
            break
    return found


def settled_requests(*, now: datetime) -> list[int]:
    """Ids of people's requests that are done: answered by now, decided, or nothing to ask about."""
    requests = OnlineRequest.objects.select_related("check_of")
    lines = {request.check_of_id: request for request in requests}
    open_ = {
        line.check.pk
        for line, lookup in _with_lookups([request.check_of for request in requests])
        if line.check.state == CheckState.TO_REVIEW
        and not (lookup and lookup.state == State.ANSWERED and lookup.expires_at > now)
    }
    return [request.pk for check_id, request in lines.items() if check_id not in open_]


def info_rows(*, now: datetime) -> list[dict[str, Any]]:
    """What is kept, by checklist and state."""
    kept = (
        OnlineLookup.objects.values("checklist", "state")
        .annotate(names=Count("id"), first_asked=Min("asked_at"), last_asked=Max("asked_at"))
        .order_by("checklist", "state")
    )
    fresh = OnlineLookup.objects.filter(expires_at__gt=now, state=State.ANSWERED)
    n_fresh = dict(fresh.values_list("checklist").annotate(n=Count("id")).order_by("checklist"))
    return [
        {
            **row,
            "checklist": CHECKLISTS.get(row["checklist"], row["checklist"]),
            "first_asked": _minute(row["first_asked"]),
            "last_asked": _minute(row["last_asked"]),
            "fresh": n_fresh.get(row["checklist"], 0) if row["state"] == State.ANSWERED else 0,
        }
        for row in kept
    ]


def _minute(moment: datetime) -> str:
    """In the house's zone, to the minute."""
    return timezone.localtime(moment).isoformat(" ", "minutes")


def _queue() -> Iterator[NameCheck]:
    waiting = NameCheck.objects.filter(state=CheckState.TO_REVIEW).select_related("online_request")
    in_order = waiting.order_by(F("online_request__wanted_at").asc(nulls_last=True), "asked_at", "id")
    return in_order.iterator(chunk_size=_CHUNK)


def _with_lookups(checks: Iterable[NameCheck]) -> Iterator[tuple[Due, OnlineLookup | None]]:
    """Each line that can be asked about, with what is kept of it; one query for 500 lines."""
    rest = iter(checks)
    while chunk := list(islice(rest, _CHUNK)):
        lines = [Due(check, question) for check in chunk if (question := question_of(check))]
        kept = OnlineLookup.objects.filter(key__in={line.question.key for line in lines})
        by_key = {lookup.key: lookup for lookup in kept}
        yield from ((line, by_key.get(line.question.key)) for line in lines)


def _online_answer(
    check: NameCheck, lookup: OnlineLookup, answer: ServiceAnswer | None, cautions: Mapping[str, Caution]
) -> OnlineAnswer:
    release = service_name(lookup.checklist)
    stated = Classification(*(str(name) for name in lookup.classification[:6]))
    return OnlineAnswer(
        state=State(lookup.state),
        sentence=lookup.sentence,
        origin=Origin.SERVICE if lookup.asked_for_id == check.pk else Origin.CACHE,
        release=release,
        verdict=opinion(check.typed, answer, stated=stated, cautions=cautions, release=release)
        if answer
        else None,
        asked_at=lookup.asked_at,
        answered_at=lookup.answered_at,
        expires_at=lookup.expires_at,
    )


def _read(lookup: OnlineLookup) -> ServiceAnswer | None:
    if lookup.answer is None:
        return None
    try:
        return read_answer(lookup.answer)
    except UnreadableAnswer:
        # Kept by an older version of this program; the next check asks again.
        return None


def _cautions(answers: Iterable[ServiceAnswer]) -> dict[str, Caution]:
    """The house's cautions for all names in these answers, in one query; none when there are no names."""
    names = {name for answer in answers for name in names_in(answer)}
    rows = RangeCaution.objects.filter(typed_name__in=names).order_by("-id") if names else ()
    return {
        row.typed_name: Caution(row.typed_name, row.right_name, row.region, row.reason, row.source)
        for row in rows
    }
