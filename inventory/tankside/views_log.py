"""The tank log: readings of the water, their chart, and the range that is wanted."""

import io
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book import blind
from inventory.book.models import Place
from inventory.book.queries.lists import lives_here
from inventory.book.who import RECORDS
from inventory.doors import clock
from inventory.doors.output import write_rows
from inventory.names.queries.lists import cautions_of_names
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from .actions.readings import ReadingRefused, take_reading, want_range
from .forms_log import PeriodForm, ReadingForm, WantedForm
from .models.readings import Reading, WantedRange
from .queries.readings import in_period, last_of_each, ranges_wanted, tell
from .queries.tank_log import LOG_COLUMNS, log_rows, tank_log

ON_A_PAGE = 50
SETS_RANGES = (Role.CURATOR, Role.VETERINARIAN, Role.REGISTRAR)


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def log(request: HttpRequest, code: str) -> HttpResponse:
    """The log of one place; those who work at the tank add readings."""
    place = get_object_or_404(Place, code=code)
    now = clock.now()
    person = person_of(request.user)
    period = PeriodForm(request.GET if request.GET.keys() & {"days", "first", "last"} else None)
    period.is_valid()
    since, before = period.bounds(now)
    form = ReadingForm(
        request.POST or None,
        temperature=settings.TEMPERATURE_UNIT,
        now=now,
        replaces=_to_replace(request.GET.get("replaces", ""), place),
    )
    if request.method == "POST":
        if not may(request, *RECORDS):
            raise PermissionDenied("Readings are taken by those who work at the tank.")
        if form.is_valid() and _take(request, form, place):
            return redirect(request.get_full_path().partition("?")[0])
    hidden = place.pk in blind.hidden_from(person)
    shown = tank_log(
        place,
        since=since,
        before=before,
        today=timezone.localdate(now),
        temperature=settings.TEMPERATURE_UNIT,
        hidden=hidden,
    )
    context = {
        "place": place,
        "form": form if may(request, *RECORDS) else None,
        "period": period,
        "since": since,
        "last_day": timezone.localtime(before) - timedelta(days=1),
        "log": shown,
        "hidden": hidden,
        "page": Paginator(shown.told[::-1], ON_A_PAGE).get_page(request.GET.get("page")),
        "may_set_range": may(request, *SETS_RANGES),
        "cautions": cautions_of_names(row.scientific_name for row in lives_here(places=[place.pk])),
    }
    return render(request, "tankside/log.html", context)


@require_safe
@requires()
def logs(request: HttpRequest) -> HttpResponse:
    """The last values of all tanks, or of those that are outside the range wanted."""
    only_outside = request.GET.get("outside") == "1"
    ranges, today = ranges_wanted(), timezone.localdate(clock.now())
    places = Place.objects.filter(closed_on=None).values_list("pk", flat=True)
    told = [
        tell(reading, ranges, temperature=settings.TEMPERATURE_UNIT) for reading in last_of_each(list(places))
    ]
    rows = [
        (one, ranges.at(one.reading.place_id, one.reading.quantity, today))
        for one in told
        if one.outside or not only_outside
    ]
    return render(request, "tankside/logs.html", {"rows": rows, "only_outside": only_outside})


@require_safe
@requires()
def log_csv(request: HttpRequest, code: str) -> HttpResponse:
    """The readings of the period as csv, as they were stated."""
    place = get_object_or_404(Place, code=code)
    period = PeriodForm(request.GET)
    period.is_valid()
    since, before = period.bounds(clock.now())
    wanted = ranges_wanted([place.pk])
    told = [
        tell(reading, wanted, temperature=settings.TEMPERATURE_UNIT)
        for reading in in_period(place, since=since, before=before)
    ]
    out = io.StringIO()
    write_rows(log_rows(told), LOG_COLUMNS, "csv", out)
    name = "".join(letter if letter.isalnum() else "-" for letter in place.code)
    return HttpResponse(
        out.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="log-{name}.csv"'},
    )


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*SETS_RANGES)
def wanted(request: HttpRequest, code: str) -> HttpResponse:
    """Says which range is wanted in a place from a day on."""
    place = get_object_or_404(Place, code=code)
    now = clock.now()
    form = WantedForm(
        request.POST or None, temperature=settings.TEMPERATURE_UNIT, today=timezone.localdate(now)
    )
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        quantity, unit = form.measured
        made = want_range(
            place=place,
            quantity=quantity,
            unit=unit,
            low=said["lowest"],
            high=said["highest"],
            since=said["since"],
            by=person_of(request.user),
            now=now,
        )
        messages.success(request, f"{made.get_quantity_display()}: set from {made.since}.")
        return redirect("tank_log", code=place.code)
    ranges = (
        WantedRange.objects.filter(place=place).select_related("set_by").order_by("quantity", "-since", "-id")
    )
    return render(request, "tankside/wanted.html", {"place": place, "form": form, "ranges": ranges})


def _to_replace(identifier: str, place: Place) -> Reading | None:
    try:
        wrong = UUID(identifier)
    except ValueError:
        return None
    return Reading.objects.filter(identifier=wrong, place=place, replaced_by=None).first()


def _take(request: HttpRequest, form: ReadingForm, place: Place) -> bool:
    said = form.cleaned_data
    quantity, unit = form.measured
    try:
        taken = take_reading(
            identifier=said["identifier"],
            place=place.code,
            quantity=quantity,
            value=said["number"],
            unit=unit,
            taken_at=form.taken_at,
            by=person_of(request.user),
            now=clock.now(),
            device="browser",
            note=said["note"],
            replaces=said["replaces"],
        )
    except ReadingRefused as refused:
        for field, words in refused.problems:
            name = {"taken_at": "time"}.get(field, field)
            form.add_error(name if name in form.fields else None, words[0].upper() + words[1:] + ".")
        return False
    if taken.already:
        messages.info(request, "This was sent before; it stands once.")
    else:
        messages.success(request, f"Kept: {taken.words}.")
    if taken.outside:
        messages.warning(request, f"That is {taken.outside}, the range wanted here.")
    return True
