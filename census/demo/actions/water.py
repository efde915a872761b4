"""Thirty days of readings in a few tanks of the demo house, the ranges wanted, and days in quarantine.

All of it is invented, and drawn from a seed so that every build is the same.
"""

import random
from datetime import date, datetime, time, timedelta, tzinfo
from decimal import Decimal
from uuid import UUID

from inventory.book.models import Place
from inventory.people.models import Person
from inventory.tankside.actions.quarantine import set_least_days
from inventory.tankside.actions.readings import take_reading, want_range

SEED = 20261006
DAYS = 30
VETERINARIAN = "Dr Ylva Brockhollin"
# Place, keeper, and of each quantity: unit, where it begins, how it drifts in a day, how it scatters.
TANKS = (
    (
        "E02",
        "Sunniva Aldrask",
        (("temperature", "°C", 11.6, -0.04, 0.15), ("salinity", "PSU", 34.8, 0.0, 0.08)),
    ),
    (
        "E04",
        "Petra Lisgowan",
        (("temperature", "°C", 10.4, 0.09, 0.2), ("oxygen", "mg/L", 8.6, -0.02, 0.12)),
    ),
    (
        "E08",
        "Sunniva Aldrask",
        (("temperature", "°C", 6.2, 0.0, 0.1), ("oxygen", "%", 97.0, 0.0, 1.2)),
    ),
    (
        "Q1",
        "Ade Quillanter",
        (("temperature", "°C", 11.0, 0.0, 0.25), ("ammonia", "mg/L N", 0.02, 0.0, 0.01)),
    ),
)
RANGES = (
    ("E02", "temperature", "°C", "8", "13"),
    ("E04", "temperature", "°C", "9", "12.5"),
    ("E04", "oxygen", "mg/L", "7.5", ""),
    ("E08", "temperature", "°C", "5", "8"),
)
# From the day on which the demo lives, so that no older move is judged by days that nobody knew.
LEAST_DAYS = (("", 30), ("Elasmobranchii", 60))
SOURCE = "common practice, no source"


def make_water(*, now: datetime, zone: tzinfo) -> None:
    """Readings twice a day, with some days left out as happens; one value outside its range at the end."""
    chance = random.Random(SEED)
    people = {person.name: person for person in Person.objects.all()}
    places = {place.code: place for place in Place.objects.all()}
    vet, today = people[VETERINARIAN], now.astimezone(zone).date()
    first = today - timedelta(days=DAYS)
    for code, quantity, unit, low, high in RANGES:
        want_range(
            place=places[code],
            quantity=quantity,
            unit=unit,
            low=Decimal(low) if low else None,
            high=Decimal(high) if high else None,
            since=first,
            by=vet,
            now=datetime.combine(first, time(8), zone),
        )
    for group, days in LEAST_DAYS:
        set_least_days(group=group, min_days=days, since=today, source=SOURCE, by=vet, now=now)
    for code, keeper, quantities in TANKS:
        for taken_at in _moments(chance, first, today, zone):
            if taken_at > now:
                continue
            for quantity, unit, begins, drift, scatter in quantities:
                level = begins + drift * (taken_at.date() - first).days + chance.gauss(0, scatter)
                take_reading(
                    identifier=UUID(int=chance.getrandbits(128), version=4),
                    place=code,
                    quantity=quantity,
                    value=f"{max(level, 0):.2f}",
                    unit=unit,
                    taken_at=taken_at,
                    entered_at=taken_at,
                    by=people[keeper],
                    device="Blue",
                    now=now,
                )


def _moments(chance: random.Random, first: date, last: date, zone: tzinfo) -> list[datetime]:
    """Morning and evening of each day; a tenth of the rounds is left out, and once four days together."""
    gap = first + timedelta(days=chance.randrange(8, 18))
    found = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        if gap <= day < gap + timedelta(days=4):
            continue
        for hour in (8, 17):
            if chance.random() > 0.1:
                found.append(datetime.combine(day, time(hour, chance.randrange(50)), zone))
    return found
