"""Reminders: the list, one notice and what was told of it, and the private calendar."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.book import blind
from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.book.queries.settings import numbers_in_use
from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.queries import the_house

from ..actions.notices import NoticeRefused, make_calendar_address, record_notice, revoke_calendar_address
from ..files.calendar import feed_of
from ..forms.notices import SendingForm
from ..forms.parts import add_problems
from ..queries.calendars import address_of, person_with
from ..queries.notices import Notice, notices, place_codes
from ..queries.reminders import STEPS, reminders
from ..rules.notices import Facts, Told, text_of
from ..who import KEEPS, READS_CASES, REMINDED


@require_safe
@requires(*READS_CASES)
def reminder_list(request: HttpRequest) -> HttpResponse:
    """Everything that permits and loans ask for, by day; below it the notices, told ones too."""
    return _list(request)


def _list(request: HttpRequest, *, address: str = "") -> HttpResponse:
    today, zone = timezone.localdate(clock.now()), timezone.get_current_timezone()
    person = person_of(request.user)
    found = notices(on=today, zone=zone, hidden=blind.hidden_from(person))
    context = {
        "rows": reminders(on=today, zone=zone, found=found),
        "notices": found,
        "steps": [numbers_in_use()[name] for name in STEPS],
        "today": today,
        "may_keep": may(request, *KEEPS),
        "has_calendar": may(request, *REMINDED),
        "calendar": address_of(person),
        "address": address,
    }
    return render(request, "permits/reminders.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*READS_CASES, writes=KEEPS)
def notice(request: HttpRequest, key: str) -> HttpResponse:
    """One death or absence: its clock, the text filled in, what was told; who keeps permits writes here."""
    now, zone = clock.now(), timezone.get_current_timezone()
    today = timezone.localdate(now)
    person = person_of(request.user)
    all_of_them = notices(on=today, zone=zone, hidden=blind.hidden_from(person))
    found = next((one for one in all_of_them if one.key == key), None)
    if found is None:
        raise Http404("there is no such notice: it may have been taken back with its event")
    may_keep = may(request, *KEEPS) and not found.hidden
    if request.method == "POST" and not may_keep:
        raise PermissionDenied("Who keeps the permits records notices, and not while they count these.")
    form = None
    if may_keep and found.left:
        form = SendingForm(
            request.POST or None, request.FILES or None, initial=_filled_in(found, person.name)
        )
    if request.method == "POST" and form is not None and form.is_valid() and _record(request, found, form):
        return redirect("notice", key=key)
    where = "" if found.hidden else place_codes(found)
    return render(request, "permits/notice.html", {"one": found, "form": form, "where": where})


def _filled_in(found: Notice, by: str) -> dict[str, Any]:
    """The form's first words: the notice filled in, to the authority, today."""
    house = the_house()
    event = found.event
    entered = "not entered yet"
    if event is not None:
        entered = f"{timezone.localtime(event.entered_at):%Y-%m-%d %H:%M} by {event.entered_by.name}"
    facts = Facts(
        house=house.name if house else "",
        licence=house.licence_number if house else "",
        authority=found.permit.authority.name,
        permit=found.permit.number,
        holder=found.permit.holder,
        line=found.line.words,
        name=found.lot.taxon.scientific_name,
        n=found.left or found.n,
        unit=found.lot.unit,
        kind=found.kind,
        found=str(found.found_on),
        lot=found.lot.accession,
        marks=found.lot.marks,
        cause=event.cause if event is not None else "",
        entered=entered,
        by=by,
    )
    return {
        "told": Told.SENT.value,
        "n": found.left,
        "sent_on": found.on,
        "to": found.permit.authority.name,
        "text": text_of(facts),
    }


def _record(request: HttpRequest, found: Notice, form: SendingForm) -> bool:
    """Keeps what the form says; false when it was refused, and the form says why."""
    person, now = person_of(request.user), clock.now()
    try:
        file = form.cleaned_data["file"]
        # A letter whose notice is refused is no letter of the house.
        with transaction.atomic():
            document = file and keep_document(name=file.name, content=file.read(), by=person, now=now)
            record_notice(
                notice=found,
                facts=form.facts(document=document or None),
                by=person,
                now=now,
                zone=timezone.get_current_timezone(),
            )
    except DocumentRefused as refused:
        form.add_error("file", str(refused))
        return False
    except NoticeRefused as refused:
        add_problems(form, refused.problems)
        return False
    messages.success(request, "It is kept.")
    return True


@require_POST
@never_cache
@requires(*REMINDED)
def calendar_address(request: HttpRequest) -> HttpResponse:
    """Makes the person's calendar address, or ends it. A new one is shown once, on this very page."""
    person, now = person_of(request.user), clock.now()
    if request.POST.get("do") == "revoke":
        if revoke_calendar_address(person=person, now=now):
            messages.success(request, "The address of your calendar is closed.")
        return redirect("reminders")
    token = make_calendar_address(person=person, now=now)
    return _list(request, address=f"{settings.ADDRESS}{reverse('calendar', args=[token])}")


@require_safe
@never_cache
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """The feed behind a private address, for programs that cannot sign in: papers and days, no animals."""
    now, zone = clock.now(), timezone.get_current_timezone()
    today = timezone.localdate(now)
    if person_with(token, today=today) is None:
        raise Http404("there is no such calendar")
    house = the_house()
    numbers = numbers_in_use()
    content = feed_of(
        reminders(on=today, zone=zone),
        name=f"{house.name if house else 'Tidetally'}: permits and loans",
        address=settings.ADDRESS,
        steps=[numbers[name] for name in STEPS],
        now=now,
    )
    response = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="permits.ics"'
    response["Referrer-Policy"] = "no-referrer"
    return response
