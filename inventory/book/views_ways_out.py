"""By which ways animals can leave a place unseen: noted by who sees it, shut by who shuts it."""

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from .actions.ways_out import WayOutRefused, note_way_out, shut_way_out
from .forms_ways_out import NoteWayOutForm, ShutWayOutForm
from .models import Place
from .queries.ways_out import ways_out_of
from .who import NOTES_WAYS_OUT


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=NOTES_WAYS_OUT)
def ways_out(request: HttpRequest, code: str) -> HttpResponse:
    """Notes a way out of one place, or that one is shut; everybody who is signed in reads them."""
    place = get_object_or_404(Place, code=code)
    today = timezone.localdate(clock.now())
    shuts = "shut-until" in request.POST
    note = NoteWayOutForm(request.POST if request.POST and not shuts else None, today=today)
    shut = ShutWayOutForm(request.POST if shuts else None, place=place, today=today)
    if request.method == "POST":
        done = _shut(request, shut, today) if shuts else _note(request, note, place, today)
        if done:
            messages.success(request, done)
            return redirect("ways_out", code=place.code)
    rows = ways_out_of(place)
    context = {
        "place": place,
        "rows": rows,
        "note": note,
        "shut": shut if any(one.until is None for one in rows) else None,
        "may_note": may(request, *NOTES_WAYS_OUT),
    }
    return render(request, "book/ways_out.html", context)


def _note(request: HttpRequest, form: NoteWayOutForm, place: Place, today: date) -> str:
    """What was done, in words; empty when the form says why not."""
    if not form.is_valid():
        return ""
    try:
        way_out = note_way_out(
            place=place, **form.cleaned_data, today=today, by=person_of(request.user), now=clock.now()
        )
    except WayOutRefused as refused:
        form.add_error(None, str(refused))
        return ""
    return f"Noted: {way_out.what}, open since {way_out.since}."


def _shut(request: HttpRequest, form: ShutWayOutForm, today: date) -> str:
    """As :func:`_note`."""
    if not form.is_valid():
        return ""
    try:
        way_out = shut_way_out(**form.cleaned_data, today=today, by=person_of(request.user), now=clock.now())
    except WayOutRefused as refused:
        form.add_error("until", str(refused))
        return ""
    return f"Shut: {way_out.what}, open from {way_out.since} to {way_out.until}."
