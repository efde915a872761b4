"""Rows for tests: plain functions with defaults for all that a test does not care about.

Everything is invented. Whatever changes quantities goes through the ledger's writer, as in the house.
"""

from collections.abc import Sequence
from datetime import date, datetime, tzinfo
from io import BytesIO
from itertools import count
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.utils import timezone
from PIL import Image

from inventory.book.actions.post import post_event
from inventory.book.models import Account, Event, Lot, LotKind, Period, Place, PlaceKind
from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers
from inventory.book.rules.happened import parse_happened
from inventory.book.rules.kinds import EventKind
from inventory.names.models import Taxon
from inventory.people.models import House, Person
from inventory.tankside.actions.pictures import set_picture
from inventory.tankside.models import Picture

NOW = datetime(2026, 10, 6, 9, 0, tzinfo=ZoneInfo("Atlantic/Faroe"))

_number = count(1)


def make_person(
    name: str = "", *, roles: Sequence[str] = (), signs_in: bool = False, password: str = "", **fields: Any
) -> Person:
    """A person; with a sign-in when a role, a password or ``signs_in`` asks for one."""
    n = next(_number)
    person = Person(name=name or f"Person {n}", **fields)
    if roles or password or signs_in:
        user = get_user_model().objects.create_user(username=f"person{n}", password=password or None)
        user.groups.set([Group.objects.get_or_create(name=role)[0] for role in roles])
        person.user = user
    person.save()
    return person


def make_house(*, registrar: Person | None = None, name: str = "Test Aquarium", **fields: Any) -> House:
    """The house, with a registrar."""
    return House.objects.create(name=name, registrar=registrar or make_person(roles=["registrar"]), **fields)


def make_place(code: str = "", *, kind: str = PlaceKind.TANK, name: str = "", **fields: Any) -> Place:
    """A place and its account."""
    code = code or f"T{next(_number)}"
    place = Place.objects.create(code=code, name=name or f"Tank {code}", kind=kind, **fields)
    Account.objects.get_or_create(place=place)
    return place


def make_taxon(scientific_name: str = "", **fields: Any) -> Taxon:
    """A taxon; names that nobody gave are made up."""
    return Taxon.objects.create(
        scientific_name=scientific_name or f"Exemplum numero{next(_number)}", **fields
    )


def make_lot(
    accession: str = "", *, taxon: Taxon | None = None, kind: str = LotKind.GROUP, **fields: Any
) -> Lot:
    """A lot that holds nothing yet."""
    return Lot.objects.create(
        accession=accession or f"A{next(_number)}", taxon=taxon or make_taxon(), kind=kind, **fields
    )


def make_period(code: str = "2026 Q3", starts_on: str = "2026-07-01", ends_on: str = "2026-09-30") -> Period:
    """An open period; ``inventory.book.actions.close`` closes it."""
    return Period.objects.create(
        code=code, starts_on=date.fromisoformat(starts_on), ends_on=date.fromisoformat(ends_on)
    )


def make_draft(
    kind: str = EventKind.RECEIVED,
    *,
    lot: Lot | str = "",
    place: Place | str = "",
    males: int = 0,
    females: int = 0,
    hermaphrodites: int = 0,
    unknown: int | None = None,
    happened: str = "2026-09-01",
    to_place: Place | str = "",
    to_lot: Lot | str = "",
    stage: str = "",
    from_sex: str = "",
    to_sex: str = "",
    to_stage: str = "",
    entered_by: Person | str = "",
    approved_by: Person | str = "",
    reverses: Event | UUID | None = None,
    identifier: UUID | None = None,
    **stated: Any,
) -> EventDraft:
    """A draft of one line; one animal of unknown sex when no number is given.

    ``entered_by`` is a new person when nobody is named; a reversal has no line.
    """
    if unknown is None:
        unknown = 0 if males or females or hermaphrodites else 1
    line = DraftLine(
        lot=lot.accession if isinstance(lot, Lot) else lot,
        place=_code(place),
        numbers=Numbers(males, females, hermaphrodites, unknown),
        stage=stage,
        to_place=_code(to_place),
        to_lot=to_lot.accession if isinstance(to_lot, Lot) else to_lot,
        from_sex=from_sex,
        to_sex=to_sex,
        to_stage=to_stage,
    )
    return EventDraft(
        identifier=identifier or uuid4(),
        kind=EventKind(kind),
        happened=parse_happened(happened),
        entered_by=_name(entered_by or make_person()),
        approved_by=_name(approved_by),
        lines=() if kind == EventKind.REVERSED else (line,),
        reverses=reverses.identifier if isinstance(reverses, Event) else reverses,
        **stated,
    )


def make_event(
    kind: str = EventKind.RECEIVED, *, now: datetime = NOW, zone: tzinfo | None = None, **draft: Any
) -> Event:
    """An event of one line, posted; the arguments are those of :func:`make_draft`.

    For an arrival a lot and a place are made when none is given.
    """
    if kind != EventKind.REVERSED:
        draft.setdefault("lot", None)
        draft["lot"] = draft["lot"] or make_lot()
        draft["place"] = draft.get("place") or make_place()
    posted = post_event(make_draft(kind, **draft), now=now, zone=zone or timezone.get_current_timezone())
    return Event.objects.get(pk=posted.event_id)


def make_reversal(event: Event, *, happened: str = "2026-10-05", **stated: Any) -> Event:
    """The event that takes ``event`` back."""
    return make_event(EventKind.REVERSED, reverses=event, happened=happened, **stated)


def _code(place: Place | str) -> str:
    return place.code if isinstance(place, Place) else place


def _name(person: Person | str) -> str:
    return person.name if isinstance(person, Person) else person


def photograph(colour: str = "teal", *, width: int = 640, height: int = 480) -> bytes:
    """A JPEG of one colour."""
    out = BytesIO()
    Image.new("RGB", (width, height), colour).save(out, "JPEG")
    return out.getvalue()


def make_picture(of: Taxon | Lot, *, by: Person, colour: str = "teal", now: datetime = NOW) -> Picture:
    """A picture of a taxon or a lot, set by ``by``."""
    said = {"alt": f"{colour}, from the side", "credit": "Sunniva"}
    return set_picture(of=of, name="animal.jpg", content=photograph(colour), by=by, now=now, **said)
