"""Whose the animals of one lot can be, and marked animals that were seen among them."""

from collections.abc import Collection
from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory.book import blind
from inventory.book.models import Cell, Lot
from inventory.book.rules.happened import end_of_day
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.sightings import SightingRefused, record_sighting, withdraw_sighting
from ..forms.sightings import SightingForm, WithdrawForm
from ..models import Sighting
from ..queries.sightings import cell_words, cells_in_tanks, sightings_shown
from ..queries.whereabouts_pool import LotSources, is_hidden
from ..queries.whereabouts_pool import lot_sources as read_sources
from ..who import TAKES


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=TAKES)
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
    told = LotSources([], [], []) if hidden else read_sources(lot, before=before)
    form = SightingForm(request.POST or None, cells=cells_in_tanks(lot), permits=told.permits)
    if request.method == "POST" and not hidden and form.is_valid() and _recorded(request, form, told.permits):
        messages.success(request, "It is kept.")
        return redirect("lot_sources", accession=accession)
    rows = [
        (label, bounds.least, bounds.most, "" if bounds.even is None else f"{bounds.even:.1f}")
        for label, bounds in told.found
    ]
    context = {
        "lot": lot,
        "as_of": as_of,
        "hidden": hidden,
        "rows": rows,
        "widened": told.widened,
        "pooled": any(not bounds.sure for _, bounds in told.found),
        "form": form if told.permits and may(request, *TAKES) else None,
        "sightings": [] if hidden else [(one, cell_words(one.cell)) for one in sightings_shown(lot)],
        "set_aside": {one.pk for one in told.set_aside},
        "may_withdraw": may(request, *TAKES),
        "withdraw_form": WithdrawForm(),
    }
    return render(request, "permits/lot_sources.html", context)


def _recorded(request: HttpRequest, form: SightingForm, among: Collection[str]) -> bool:
    """Keeps what was seen; what cannot be is said at its field."""
    said = form.cleaned_data
    try:
        record_sighting(
            cell=Cell.objects.get(pk=said["cell"]),
            permit=said["permit"],
            line_number=said["line_number"],
            mark=said["mark"],
            n=said["n"],
            happened=form.happened,
            by=person_of(request.user),
            now=clock.now(),
            zone=timezone.get_current_timezone(),
            among=among,
        )
    except SightingRefused as refused:
        form.add_error(refused.column if refused.column in form.fields else "day", str(refused))
        return False
    return True


@require_POST
@requires(*TAKES)
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """A sighting was a mistake."""
    found = get_object_or_404(Sighting.objects.select_related("cell__lot"), pk=pk)
    form = WithdrawForm(request.POST)
    if form.is_valid():
        why, by = form.cleaned_data["why"], person_of(request.user)
        withdraw_sighting(sighting=found, why=why, by=by, now=clock.now())
        messages.success(request, "It is withdrawn; both stay readable.")
    else:
        messages.error(request, "Not withdrawn: say why it was none.")
    return redirect("lot_sources", accession=found.cell.lot.accession)
