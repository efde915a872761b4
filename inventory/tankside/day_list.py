"""What the tank log and quarantine ask people to look at: see :mod:`inventory.people.attention`.

Beside :mod:`inventory.tankside.attention`, which speaks of entries from devices.
"""

from datetime import datetime

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from inventory.book import blind
from inventory.book.models import Place
from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .queries.quarantine import Isolation, isolation
from .queries.readings import last_of_each, ranges_wanted, tell


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Stays that end, who left early, values outside the range. Sixteen queries at most."""
    seen = isolation(now=now, hidden=blind.hidden_from(person))
    found = (_stays_that_end(seen, now), _left_early(seen), _outside())
    return [item for item in found if item.total]


def _stays_that_end(seen: Isolation, now: datetime) -> Attention:
    today = timezone.localdate(now)
    lines = tuple(
        Line(
            f"{one.place.code} {one.lot.accession} {one.lot.taxon.scientific_name}: "
            f"{one.days} days in, {one.state(today)}",
            f"{reverse('quarantine')}#lot-{one.key}",
            places=frozenset({one.place.pk}),
        )
        for one in seen.stays
        if one.is_due(today)
    )
    return Attention(
        heading="Quarantine and hospital: stays that end today or should have",
        total=len(lines),
        url=reverse("quarantine"),
        roles=frozenset({Role.VETERINARIAN, Role.AQUARIST}),
        lines=lines,
    )


def _left_early(seen: Isolation) -> Attention:
    lines = tuple(
        Line(
            f"{one.lot.accession} {one.lot.taxon.scientific_name} left {one.place.code} on {one.left}, "
            f"its days are full on {one.due}",
            f"{reverse('quarantine')}#early",
            one.event.entered_by.name,
            places=frozenset({one.place.pk}),
        )
        for one in seen.left_early
    )
    return Attention(
        heading="Left quarantine before the least days, without a release",
        total=len(lines),
        url=f"{reverse('quarantine')}#early",
        roles=frozenset({Role.VETERINARIAN, Role.CURATOR}),
        lines=lines,
    )


def _outside() -> Attention:
    """The last values of all tanks, as far as they lie outside the range wanted there."""
    places = list(Place.objects.filter(closed_on=None).values_list("pk", flat=True))
    wanted = ranges_wanted()
    told = [tell(reading, wanted, temperature=settings.TEMPERATURE_UNIT) for reading in last_of_each(places)]
    lines = tuple(
        Line(
            f"{one.reading.place.code} {one.reading.get_quantity_display()} {one.shown}: {one.outside}, "
            f"{timezone.localtime(one.reading.taken_at):%Y-%m-%d %H:%M}",
            reverse("tank_log", args=[one.reading.place.code]),
            places=frozenset({one.reading.place_id}),
        )
        for one in told
        if one.outside
    )
    return Attention(
        heading="Tank log: last values outside the range wanted",
        total=len(lines),
        url=f"{reverse('tank_logs')}?outside=1",
        roles=frozenset({Role.AQUARIST, Role.CURATOR, Role.VETERINARIAN}),
        lines=lines,
    )
