"""The first page, and that of the own tanks."""

from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.book import blind
from inventory.book.models import Place
from inventory.book.queries.keeping import keeps_any, places_kept
from inventory.book.queries.story import last_entries
from inventory.doors import clock
from inventory.doors.once import asking_once
from inventory.people.access import person_of, requires, roles_of

from .today import gather, of_tanks

LAST_ENTRIES = 12


@require_safe
@requires()
def today(request: HttpRequest) -> HttpResponse:
    """What needs attention, what concerns the person's roles first, and the last entries."""
    now, person = clock.now(), person_of(request.user)
    if isinstance(request.user, User):
        person.user = request.user  # whose roles were read at the door
    with asking_once():
        context = {
            "now": now,
            "today": gather(person, roles_of(request.user), now=now),
            "events": last_entries(LAST_ENTRIES, hidden=blind.hidden_from(person)),
            "keeps": keeps_any(person, on=timezone.localdate(now)),
        }
    return render(request, "site/today.html", context)


@require_safe
@requires()
def my_tanks(request: HttpRequest) -> HttpResponse:
    """What concerns the tanks that the person keeps today, and nothing else."""
    now, person = clock.now(), person_of(request.user)
    kept = places_kept(person, on=timezone.localdate(now))
    context = {
        "now": now,
        "items": of_tanks(person, kept, now=now),
        "places": Place.objects.filter(pk__in=kept).order_by("code"),
    }
    return render(request, "site/my_tanks.html", context)
