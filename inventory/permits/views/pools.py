"""Whose the animals of one lot can be."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.book import blind
from inventory.book.models import Lot
from inventory.book.rules.happened import end_of_day
from inventory.doors import clock
from inventory.people.access import person_of, requires

from ..queries.whereabouts_pool import is_hidden, sources_in_lot


@require_safe
@requires()
def lot_sources(request: HttpRequest, accession: str) -> HttpResponse:
    """Of each source of a lot the least, the most and the even share of what it holds."""
    lot = get_object_or_404(Lot.objects.select_related("taxon"), accession=accession)
    today = timezone.localdate(clock.now())
    try:
        as_of = date.fromisoformat(request.GET.get("as_of", "")[:10])
    except ValueError:
        as_of = today
    hidden = is_hidden(lot, blind.hidden_from(person_of(request.user)))
    before = end_of_day(as_of, timezone.get_current_timezone())
    found = [] if hidden else sources_in_lot(lot, before=before)
    rows = [
        (label, bounds.least, bounds.most, "" if bounds.even is None else f"{bounds.even:.1f}")
        for label, bounds in found
    ]
    context = {
        "lot": lot,
        "as_of": as_of,
        "hidden": hidden,
        "rows": rows,
        "pooled": any(not bounds.sure for _, bounds in found),
    }
    return render(request, "permits/lot_sources.html", context)
