"""What the populations ask people to look at: see :mod:`inventory.people.attention`."""

from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone

from inventory.book import blind
from inventory.book.rules.days import day_in_words
from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .queries.remembered import remembered_watch
from .queries.watching import Alarm, Series, Watch

SHOWN_DAYS = 14
"""How long an alarm stays on the list: two weeks, for it to be looked into (common practice, no source)."""
CONCERNS = frozenset({Role.CURATOR, Role.VETERINARIAN, Role.AQUARIST})


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Alarms of the watch on deaths in the last two weeks, but of places that the person counts now.

    At most ten queries, whatever is found.
    """
    today = timezone.localdate(now)
    watch = remembered_watch(today, zone=timezone.get_current_timezone())
    spoke = watch.alarms(today - timedelta(days=SHOWN_DAYS))
    if not spoke:
        return []
    hidden = blind.hidden_from(person)
    lines = tuple(_line(watch, one, alarm) for one, alarm in spoke if one.key.place_id not in hidden)
    if not lines:
        return []
    of_house = f"{watch.false_alarms_a_year:.0f} a year are to be expected by chance alone"
    return [
        Attention(
            heading=f"More deaths than usual ({of_house}, of {len(watch.series)} tanks and taxa watched)",
            total=len(lines),
            url=reverse("population", args=["watch"]),
            roles=CONCERNS,
            lines=lines,
        )
    ]


def _line(watch: Watch, one: Series, alarm: Alarm) -> Line:
    days = (alarm.day - alarm.since).days + 1
    usual = one.limits.usual * days
    place, taxon = watch.names.places[one.key.place_id], watch.names.taxa[one.key.taxon_id]
    day, since = day_in_words(alarm.day), day_in_words(alarm.since)
    span = f"on {day}" if days == 1 else f"from {since} to {day}"
    text = f"{place} {taxon}: {alarm.deaths} died {span}, where {usual:.1f} are usual"
    query = f"?taxon={taxon.replace(' ', '+')}&place={place}&last_day={watch.until}&first_day={alarm.since}"
    return Line(text, reverse("population", args=["watch"]) + query, places=frozenset({one.key.place_id}))
