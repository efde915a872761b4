"""What the tank side asks people to look at: see :mod:`inventory.people.attention`."""

from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from inventory.book import blind
from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .models import Entry
from .queries import bodies, doubles, open_items, unlisted
from .who import SEES_INTRODUCED

SHOWN = 10
REGISTRAR = frozenset({Role.REGISTRAR})


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Alarms, own entries that came back, doubles, open names, questions, introduced species.

    A constant number of queries.
    """
    hidden = blind.hidden_from(person)
    found = [
        _alarms(),
        _came_back_to(person),
        _came_back(),
        _doubles(now, hidden),
        _open_names(hidden),
        _questions(),
        *_looked_into(hidden),
        _introduced(hidden),
        _bodies(hidden),
    ]
    return [item for item in found if item.total]


def _alarms() -> Attention:
    alarms = list(open_items.unseen_alarms())
    return Attention(
        heading="Alarm: deaths that nobody has looked at yet",
        total=len(alarms),
        url=reverse("alarms"),
        roles=frozenset({Role.CURATOR, Role.VETERINARIAN}),
        lines=tuple(
            Line(
                alarm.words,
                reverse("event", args=[alarm.event_id]),
                places=frozenset({alarm.place_id}),
            )
            for alarm in alarms
        ),
    )


def _came_back_to(person: Person) -> Attention:
    """Whatever the role: who wrote it mends it."""
    entries = list(open_items.came_back(person)[: SHOWN + 1])
    total = len(entries) if len(entries) <= SHOWN else open_items.came_back(person).count()
    return Attention(
        heading="Entries of yours that came back",
        total=total,
        url=reverse("came_back"),
        roles=frozenset(),
        lines=tuple(
            Line(
                f"{entry.told}: {'; '.join(one['words'] for one in entry.answer['problems'])}",
                reverse("came_back"),
                places=frozenset({entry.place_id}) if entry.place_id else frozenset(),
            )
            for entry in entries
        ),
    )


def _came_back() -> Attention:
    return Attention(
        heading="Entries from the tanks that came back to their authors",
        total=open_items.came_back().count(),
        url=reverse("came_back"),
        roles=REGISTRAR,
    )


def _doubles(now: datetime, hidden: frozenset[int]) -> Attention:
    pairs = [pair for pair in doubles.open_pairs(now=now, hidden=hidden) if pair.suspected]
    return Attention(
        heading="Suspected doubles: one or two?",
        total=len(pairs),
        url=reverse("doubles"),
        roles=REGISTRAR,
        lines=tuple(
            Line(
                f"events {pair.first.event.pk} and {pair.second.event.pk} in {pair.place.code}",
                reverse("doubles"),
                places=frozenset({pair.place.pk}),
            )
            for pair in pairs
        ),
    )


def _open_names(hidden: frozenset[int]) -> Attention:
    rows = open_items.open_name_rows(hidden=hidden)
    return Attention(
        heading="Species still open: which was it?",
        total=len(rows),
        url=reverse("open_names"),
        roles=frozenset({Role.REGISTRAR, Role.VETERINARIAN}),
        lines=tuple(
            Line(
                f"{row.label} in {row.flag.place.code if row.flag.place else ''}, "
                f"{row.told.event.happened.replace('T', ' ')}",
                reverse("open_names"),
                row.flag.owner.name,
                frozenset({row.flag.place_id}) if row.flag.place_id else frozenset(),
            )
            for row in rows
        ),
    )


def _questions() -> Attention:
    flags = list(open_items.questions())
    return Attention(
        heading="Entries from the tanks with a question",
        total=len(flags),
        url=reverse("tank_questions"),
        roles=REGISTRAR,
        lines=tuple(
            Line(
                f"{flag.get_kind_display()}: event {flag.event_id} by {flag.event.entered_by.name}",
                reverse("tank_questions"),
                flag.owner.name,
                frozenset({flag.place_id}) if flag.place_id else frozenset(),
            )
            for flag in flags
        ),
    )


def _bodies(hidden: frozenset[int]) -> Attention:
    """Until the veterinarian says that they are elsewhere."""
    waiting = list(bodies.for_the_veterinarian(hidden=hidden))
    return Attention(
        heading="Bodies that wait for the veterinarian",
        total=len(waiting),
        url=reverse("bodies"),
        roles=frozenset({Role.VETERINARIAN}),
        lines=tuple(
            Line(
                f"{f'bag {body.bag}' if body.bag else 'no bag named'}: {body.animal} of {body.tank}, "
                f"{timezone.localtime(body.event.effective_at):%Y-%m-%d}",
                reverse("tank_body", args=[body.event_id]),
                body.stated_by.name,
            )
            for body in waiting
        ),
    )


def _looked_into(hidden: frozenset[int]) -> list[Attention]:
    on_no_list, dead = open_items.to_look_into(hidden=hidden)
    return [
        _to_look_into("Animals on no list, written in at a tank", on_no_list, "unlisted"),
        _to_look_into("Dead on arrival: to be counted against permit or supplier", dead, "dead-on-arrival"),
    ]


def _introduced(hidden: frozenset[int]) -> Attention:
    """Until the permit officer has seen it: that it was found, or that it was none after all."""
    waiting = list(unlisted.to_be_seen(hidden=hidden))
    return Attention(
        heading="Introduced species at the tanks: to be seen, check local rules",
        total=len(waiting),
        url=reverse("on_no_list"),
        roles=frozenset(SEES_INTRODUCED),
        lines=tuple(
            Line(
                f"{one} in {one.entry.place}, {timezone.localtime(one.found_at):%Y-%m-%d}",
                reverse("what_it_was", args=[one.entry_id]),
                one.found_by.name,
                frozenset({one.entry.place_id}) if one.entry.place_id else frozenset(),
            )
            for one in waiting
        ),
    )


def _to_look_into(heading: str, entries: list[Entry], anchor: str) -> Attention:
    url = f"{reverse('tank_questions')}#{anchor}"
    return Attention(
        heading=heading,
        total=len(entries),
        url=url,
        roles=REGISTRAR,
        lines=tuple(
            Line(
                entry.answer["words"],
                url,
                entry.person.name if entry.person else "",
                frozenset({entry.place_id}) if entry.place_id else frozenset(),
            )
            for entry in entries
        ),
    )
