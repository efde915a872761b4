"""Who is in quarantine and hospital; what the veterinarian signs."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory.book import blind
from inventory.book.models import Event, Lot, Place
from inventory.book.who import RECORDS
from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from .actions.quarantine import StayRefused, expect_end, look_at_early, release, set_least_days
from .forms_quarantine import EarlyForm, ExpectForm, LeastDaysForm, StayForm
from .queries.quarantine import isolation


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def quarantine(request: HttpRequest) -> HttpResponse:
    """Everybody in quarantine and hospital, and who left too early; the veterinarian sets least days."""
    now, person = clock.now(), person_of(request.user)
    today = timezone.localdate(now)
    is_vet = may(request, Role.VETERINARIAN)
    form = LeastDaysForm(request.POST or None, today=today)
    if request.method == "POST":
        if not is_vet:
            raise PermissionDenied("The veterinarian sets the least days.")
        if form.is_valid():
            try:
                rule = set_least_days(**form.cleaned_data, by=person, now=now)
            except StayRefused as refused:
                form.add_error("source", str(refused))
            else:
                messages.success(request, f"Set: {rule}, from {rule.since}.")
                return redirect("quarantine")
    seen = isolation(now=now, hidden=blind.hidden_from(person))
    context = {
        "seen": seen,
        "rows": [(one, one.state(today), one.is_due(today)) for one in seen.stays],
        "chosen": request.GET.get("stay", ""),
        "is_vet": is_vet,
        "may_expect": may(request, *RECORDS),
        "form": form if is_vet else None,
        "today": today,
    }
    return render(request, "tankside/quarantine.html", context)


@require_POST
@requires(*RECORDS)
def expect(request: HttpRequest) -> HttpResponse:
    """Says why a lot is there and when its stay should end."""
    form = ExpectForm(request.POST)
    if not form.is_valid():
        return _not_signed(request, "give the day on which it should end, and why the animals are there")
    lot, place = _stay(form)
    said = form.cleaned_data
    expect_end(
        lot=lot,
        place=place,
        ends_on=said["ends_on"],
        words=said["words"],
        by=person_of(request.user),
        now=clock.now(),
    )
    messages.success(request, f"{lot.accession} in {place.code}: to end on {said['ends_on']}.")
    return redirect("quarantine")


@require_POST
@requires(Role.VETERINARIAN)
def sign_release(request: HttpRequest) -> HttpResponse:
    """The veterinarian signs that a lot may leave."""
    form = StayForm(request.POST)
    if not form.is_valid():
        return _not_signed(request, "say which checks were done")
    lot, place = _stay(form)
    try:
        release(
            lot=lot,
            place=place,
            words=form.cleaned_data["words"],
            by=person_of(request.user),
            now=clock.now(),
        )
    except StayRefused as refused:
        return _not_signed(request, str(refused))
    messages.success(request, f"{lot.accession} in {place.code} is released. The move itself is yet to come.")
    return redirect("quarantine")


@require_POST
@requires(Role.VETERINARIAN)
def sign_early(request: HttpRequest) -> HttpResponse:
    """The veterinarian signs to have looked at a move out that came too early."""
    form = EarlyForm(request.POST)
    if not form.is_valid():
        return _not_signed(request, "say why it left early")
    lot, place = _stay(form)
    event = get_object_or_404(Event, pk=form.cleaned_data["event"])
    try:
        look_at_early(
            event=event,
            lot=lot,
            place=place,
            words=form.cleaned_data["words"],
            by=person_of(request.user),
            now=clock.now(),
        )
    except StayRefused as refused:
        return _not_signed(request, str(refused))
    messages.success(request, f"Event {event.pk} was looked at.")
    return redirect("quarantine")


def _stay(form: StayForm) -> tuple[Lot, Place]:
    lot, place = form.ends
    return get_object_or_404(Lot, pk=lot), get_object_or_404(Place, pk=place)


def _not_signed(request: HttpRequest, what: str) -> HttpResponse:
    messages.error(request, f"Nothing was signed: {what}.")
    return redirect("quarantine")
