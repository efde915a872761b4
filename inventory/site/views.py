"""The first page, and the page that machines ask."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.book.queries.story import last_entries
from inventory.doors import clock
from inventory.people.access import person_of, requires, roles_of

from . import health as house_health
from .today import gather

LAST_ENTRIES = 12


@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """200 "ok", or 503 with one line for each thing that is wrong; for monitors, without sign-in."""
    wrong = house_health.what_is_wrong()
    return HttpResponse(
        "\n".join(wrong or ["ok"]) + "\n", status=503 if wrong else 200, content_type="text/plain"
    )


@require_safe
@requires()
def today(request: HttpRequest) -> HttpResponse:
    """What needs attention, what concerns the person's roles first, and the last entries."""
    now = clock.now()
    context = {
        "now": now,
        "today": gather(person_of(request.user), roles_of(request.user), now=now),
        "events": last_entries(LAST_ENTRIES),
    }
    return render(request, "site/today.html", context)
