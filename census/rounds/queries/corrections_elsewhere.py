"""Other corrections that wait for a second name: closed periods to be restated, slips written over."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime

from django.urls import reverse

from inventory.book.rules.corrections import OWN_SLIP
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.permits.models import Take, Trip

from ..models import Restatement

_TAKE = ("caught", "let_go", "died", "kept", "unit", "verbatim_identification", "line_number")
_TRIP = ("happened", "locality", "latitude", "longitude", "gear", "depth_from_m", "depth_to_m")
_APPROVES = frozenset({Role.PERMIT_OFFICER, Role.REGISTRAR, Role.CURATOR})


@dataclass(slots=True)
class Elsewhere:
    """``cells``: what was, and what is to stand. ``row``: ("take", id) where one button approves it."""

    since: datetime
    by: str
    heading: str
    why: str
    url: str
    effect: str = ""
    cells: list[tuple[str, object, object]] = field(default_factory=list)
    row: tuple[str, int] | None = None


def elsewhere(person: Person, roles: Collection[Role]) -> list[Elsewhere]:
    """All of them, unordered. Three queries."""
    return [*_restatements(), *_takes(person, roles), *_trips(person, roles)]


def _restatements() -> list[Elsewhere]:
    waiting = Restatement.objects.filter(approved_at=None).select_related("period", "of_version", "asked_by")
    return [
        Elsewhere(
            one.asked_at,
            one.asked_by.name,
            f"{one.period} is to be restated",
            one.why,
            reverse("period", args=[one.period.code]),
            f"{one.of_version} stays readable beside the new one; its page says which figures change.",
        )
        for one in waiting
    ]


def _takes(person: Person, roles: Collection[Role]) -> list[Elsewhere]:
    rows = Take.objects.filter(replaces__isnull=False, replaced_by=None, approval=None)
    found = []
    rows = rows.select_related("replaces__permit", "replaces__lot", "permit", "lot", "entered_by", "trip")
    for take in rows:
        old = take.replaces
        if old is None or _own_slip(old, take):
            continue
        changed = [(name, getattr(old, name), getattr(take, name)) for name in _TAKE]
        cells = [(name.replace("_", " "), was, now) for name, was, now in changed if was != now]
        if old.permit_id != take.permit_id:
            cells.append(("permit", old.permit.number, take.permit.number))
        if old.lot_id != take.lot_id:
            cells.append(("lot", _accession(old), _accession(take)))
        found.append(
            Elsewhere(
                take.entered_at,
                take.entered_by.name,
                f"{take.verbatim_identification}, trip of {take.trip.happened.replace('T', ' ')}",
                take.why,
                reverse("trip", args=[take.trip.identifier]),
                f"It counts on {take.permit.number}.",
                cells,
                _may("take", take, person, roles),
            )
        )
    return found


def _accession(take: Take) -> str:
    return take.lot.accession if take.lot else "not in the stock"


def _trips(person: Person, roles: Collection[Role]) -> list[Elsewhere]:
    rows = Trip.objects.filter(replaces__isnull=False, replaced_by=None, approval=None)
    found = []
    for trip in rows.select_related("replaces", "permit", "entered_by"):
        old = trip.replaces
        if old is None or _own_slip(old, trip):
            continue
        changed = [(name, getattr(old, name), getattr(trip, name)) for name in _TRIP]
        cells = [(name.replace("_", " "), was, now) for name, was, now in changed if was != now]
        found.append(
            Elsewhere(
                trip.entered_at,
                trip.entered_by.name,
                f"trip of {trip.happened.replace('T', ' ')}",
                trip.why,
                reverse("trip", args=[trip.identifier]),
                f"It was made under {trip.permit.number}.",
                cells,
                _may("trip", trip, person, roles),
            )
        )
    return found


def _own_slip(old: Take | Trip, new: Take | Trip) -> bool:
    return old.entered_by_id == new.entered_by_id and new.entered_at - old.entered_at <= OWN_SLIP


def _may(of: str, row: Take | Trip, person: Person, roles: Collection[Role]) -> tuple[str, int] | None:
    allowed = row.entered_by_id != person.pk and not _APPROVES.isdisjoint(roles)
    return (of, row.pk) if allowed else None
