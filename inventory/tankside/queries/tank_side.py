"""All that a device needs to make entries without signal. No quantities of the stock: counts stay blind."""

import hashlib
import json
from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import Count, Q
from django.utils import timezone

from inventory.book import blind
from inventory.book.models import Cell, Flow, Keeping, Lot, Place, PlaceKind
from inventory.book.queries.settings import numbers_in_use
from inventory.book.rules.recording import CAUSES, STAGES
from inventory.doors import clock
from inventory.names.queries.lists import cautions_in, listings_of
from inventory.names.rules.lists import ListKind
from inventory.people.queries import the_house
from inventory.people.queries.devices import working_people
from inventory.permits.queries.known import limits_known

from ..models import OpenLot
from ..rules import open_names
from ..rules.words import letters_of
from .around import OFFERED
from .pictures import thumbnails

# Idle for so long, and a shared device asks again who holds it.
IDLE_SECONDS = 120
USED_WITHIN = timedelta(days=90)


def tank_side(*, now: datetime) -> dict[str, Any]:
    """Persons, places, what lives where, and the words to choose from. A constant number of queries."""
    today = timezone.localdate(now)
    house = the_house()
    numbers = numbers_in_use()
    placed = _placed()
    lots = Lot.objects.select_related("taxon").in_bulk({lot for lot, _ in placed})
    # What others hold is told by their letters, and feed is no stock.
    places = (
        Place.objects.filter(closed_on=None).exclude(kind__in=(PlaceKind.FEED, PlaceKind.OFF_SITE)).in_bulk()
    )
    open_lots = set(OpenLot.objects.values_list("lot_id", flat=True))
    held = [
        (lots[lot], places[place])
        for lot, place in placed
        if place in places and lot in lots and lot not in open_lots
    ]
    return {
        "made_at": now.isoformat(),
        "house": house.name if house else "",
        "zone": str(timezone.get_current_timezone()),
        # A demonstration lives on another day; what is entered there is of that day.
        "clock_shift_seconds": round(clock.shift().total_seconds()),
        "temperature_unit": settings.TEMPERATURE_UNIT,
        "persons": [
            {"id": person.pk, "name": person.name, "initials": person.initials or letters_of(person.name)}
            for person in working_people(OFFERED, today=today)
        ],
        "places": _place_rows(places.values(), today),
        "lots": _lot_rows(held, since=now - USED_WITHIN),
        "open_names": _open_name_rows(held),
        "causes": list(CAUSES),
        "stages": list(STAGES),
        # The list is for all who hold the device, so nothing that any of them counts now may be in it.
        "permits": limits_known(
            on=today, zone=timezone.get_current_timezone(), hidden=blind.hidden_from_anybody()
        ),
        "settings": {
            "undo_minutes": numbers["undo_minutes"],
            "idle_seconds": IDLE_SECONDS,
            "clock_minutes": 5,
            "code_tries": 5,
        },
    }


def etag_of(lists: Mapping[str, Any]) -> str:
    """Changes when anything but the hour of making changes."""
    said = {name: value for name, value in lists.items() if name != "made_at"}
    return f'"{hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()[:32]}"'


def _placed() -> list[tuple[int, int]]:
    """(lot, place) of everything that the book has somewhere now."""
    cells = Cell.objects.filter(inside=True).exclude(balance=0)
    return list(
        cells.values_list("lot_id", "account__place_id")
        .distinct()
        .order_by("account__place__code", "lot__taxon__scientific_name", "lot__accession")
    )


def _place_rows(places: Collection[Place], today: date) -> list[dict[str, Any]]:
    """Whose tank it is goes down to the tanks below."""
    kept = Keeping.objects.filter(Q(until=None) | Q(until__gte=today), since__lte=today)
    keepers: dict[int, list[str]] = defaultdict(list)
    people: dict[int, list[int]] = defaultdict(list)
    for place, name, person in kept.order_by("keeper__name").values_list(
        "place_id", "keeper__name", "keeper_id"
    ):
        keepers[place].append(name)
        people[place].append(person)
    parents = {place.pk: place.parent_id for place in places}

    def up(place: int) -> list[int]:
        found: list[int] = []
        at: int | None = place
        while at is not None and at not in found:
            found.append(at)
            at = parents.get(at)
        return found

    return [
        {
            "code": place.code,
            "name": place.name,
            "short_code": place.code,
            "kind": place.kind,
            "water": place.water,
            "joined_set": place.joined_set,
            "keepers": list(dict.fromkeys(name for one in up(place.pk) for name in keepers[one])),
            "keeper_ids": list(dict.fromkeys(one for at in up(place.pk) for one in people[at])),
        }
        for place in sorted(places, key=lambda place: place.code)
    ]


def _lot_rows(held: list[tuple[Lot, Place]], *, since: datetime) -> list[dict[str, Any]]:
    taxa = {lot.taxon_id: lot.taxon for lot, _ in held}
    listings = listings_of(list(taxa.values())) if taxa else {}
    hazards = {
        number: [caution.words for caution in cautions_in({taxa[number]: found})]
        for number, found in listings.items()
    }
    protected = {
        number
        for number, found in listings.items()
        if any(one.entry.of_list.kind in (ListKind.PROTECTED, ListKind.LEGAL) for one in found)
    }
    used = _used(since)
    pictures = thumbnails([lot for lot, _ in held])
    return [
        {
            "accession": lot.accession,
            "place": place.code,
            "name": lot.taxon.scientific_name,
            "common_name": lot.taxon.common_name,
            "letters": letters_of(lot.taxon.scientific_name),
            "picture_url": f"/api/v1/pictures/{sha256}" if (sha256 := pictures.of(lot)) else None,
            "kind": lot.kind,
            "unit": lot.unit,
            "house_name": lot.house_name,
            "marks": lot.marks,
            "count_class": lot.count_class or lot.taxon.count_class,
            "can_divide": lot.taxon.can_divide,
            "can_change_sex": lot.taxon.can_change_sex,
            "hazards": hazards.get(lot.taxon_id, []),
            "protected": lot.taxon_id in protected,
            "used": used.get(lot.pk, 0),
        }
        for lot, place in held
    ]


def _used(since: datetime) -> dict[int, int]:
    """Events of each lot since then, so that what is used most comes first."""
    recent = Flow.objects.filter(effective_at__gte=since).order_by()
    return dict(recent.values_list("from_cell__lot_id").annotate(events=Count("event_id", distinct=True)))


def _open_name_rows(held: list[tuple[Lot, Place]]) -> list[dict[str, Any]]:
    kept: dict[str, list[open_names.Kept]] = defaultdict(list)
    for lot, place in held:
        taxon = lot.taxon
        kept[place.code].append(
            open_names.Kept(
                accession=lot.accession,
                taxon=taxon.pk,
                look_alike_set=taxon.look_alike_set,
                genus=open_names.genus_of(taxon.genus, taxon.scientific_name),
                unit=lot.unit,
                count_class=lot.count_class or taxon.count_class,
            )
        )
    return [
        {"place": code, "label": one.label, "key": one.key, "unit": one.unit, "lots": list(one.lots)}
        for code, lots in kept.items()
        for one in open_names.offered(lots)
    ]
