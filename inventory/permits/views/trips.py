"""Trips and takes: a slip at the desk, a trip as it stands, corrections, cases."""

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book import blind
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.cases import close_case, give_case, note_case
from ..actions.entries import Recorded, TripRefused
from ..actions.takes import correct_take, move_take
from ..actions.trips import correct_trip, record_trip
from ..forms.parts import add_problems
from ..forms.trips import (
    CaseForm,
    CorrectForm,
    CorrectTripForm,
    MoveForm,
    TakeRows,
    TripForm,
    correct_initial,
    take_rows,
    trip_initial,
)
from ..models import Case, Permit, PermitLine, Take, Trip
from ..queries import pages
from ..queries.accounts import account
from ..queries.return_checks import unapproved
from ..queries.takes import place_of_events, trail_of
from ..rules.collection_records import coarse_degrees
from ..who import APPROVES, KEEPS, READS_CASES, TAKES


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*TAKES)
def take_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Records a slip under a permit: the trip, its takes, the stock, the cases."""
    permit = get_object_or_404(Permit.objects.select_related("authority"), pk=pk)
    now = clock.now()
    today = timezone.localdate(now)
    hidden = blind.hidden_from(person_of(request.user))
    left = account(permit, as_of=today, zone=timezone.get_current_timezone(), hidden=hidden)
    form = TripForm(
        request.POST or None,
        permit=permit,
        named=left.read.people,
        initial={"identifier": uuid4(), "day": today},
    )
    others = list(Permit.objects.exclude(pk=pk).values_list("number", flat=True))
    rows = take_rows(request.POST or None, permits=others)
    if request.method == "POST" and form.is_valid() and rows.is_valid():
        if not rows.filled:
            form.add_error(
                None,
                "Nothing stands in the rows. A trip that caught nothing is not entered: leave this page.",
            )
        else:
            try:
                recorded = record_trip(
                    trip=form.entry(),
                    takes=rows.entries(),
                    by=person_of(request.user),
                    now=now,
                    zone=timezone.get_current_timezone(),
                )
            except TripRefused as refused:
                _refuse(form, rows, refused)
            else:
                _tell(request, recorded)
                return redirect("trip", identifier=recorded.trip.identifier)
    context = {"permit": permit, "form": form, "rows": rows, "account": left}
    return render(request, "permits/take_in.html", context)


@require_safe
@requires()
def trip(request: HttpRequest, identifier: UUID) -> HttpResponse:
    """One trip as it stands, with what was written before, its takes and its cases."""
    found = get_object_or_404(Trip, identifier=identifier)
    words = {
        (permit, number): said
        for permit, number, said in PermitLine.objects.order_by("version__number").values_list(
            "version__permit_id", "number", "words"
        )
    }
    shown = pages.read_trip(found, words=words, hidden=blind.hidden_from(person_of(request.user)))
    position = shown.trip.latitude, shown.trip.longitude
    context = {
        "shown": shown,
        # Places of rare animals are for those who go there and who keep the permits.
        "exact": may(request, *TAKES),
        "coarse": [coarse_degrees(value) for value in position if value is not None],
        "may_keep": may(request, *KEEPS),
        "may_read_cases": may(request, *READS_CASES),
        "unapproved": unapproved([one.read for one in shown.takes]) if may(request, *APPROVES) else [],
        "me": person_of(request.user).pk,
    }
    return render(request, "permits/trip.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def correct_trip_page(request: HttpRequest, identifier: UUID) -> HttpResponse:
    """Replaces what was written of a trip; its takes stay with it."""
    found = get_object_or_404(Trip, identifier=identifier)
    newest = pages.read_trip(found, words={})
    form = CorrectTripForm(
        request.POST or None,
        permit=newest.trip.permit,
        initial=trip_initial(newest.trip, newest.people),
    )
    if request.method == "POST" and form.is_valid():
        stated = {"trip": newest.trip, "entry": form.entry(), "why": form.cleaned_data["why"]}
        answer = _do(request, form, correct_trip, stated)
        if answer:
            return answer
    return render(request, "permits/correct_trip.html", {"form": form, "shown": newest})


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Replaces a take by what should have been written."""
    take = get_object_or_404(Take.objects.select_related("lot", "permit", "trip", "taxon"), pk=pk)
    place = place_of_events([link.event_id for link in take.events.all()])
    form = CorrectForm(request.POST or None, initial=correct_initial(take, place))
    if request.method == "POST" and form.is_valid():
        why = form.cleaned_data.pop("why")
        stated = {"take": take, "entry": form.entry(), "why": why}
        answer = _do(request, form, correct_take, stated)
        if answer:
            return answer
    return render(request, "permits/correct.html", {"form": form, "take": take, "trail": trail_of(take)})


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Books a take on another permit; what was written before stays."""
    take = get_object_or_404(Take.objects.select_related("lot", "permit", "trip", "taxon"), pk=pk)
    others = pages.approvers(besides=person_of(request.user))
    form = MoveForm(request.POST or None, take=take, approvers=others)
    if request.method == "POST" and form.is_valid():
        answer = _do(request, form, move_take, {"take": take, **form.cleaned_data})
        if answer:
            return answer
    return render(request, "permits/move.html", {"form": form, "take": take, "trail": trail_of(take)})


def _do(request: HttpRequest, form: Any, action: Any, stated: dict[str, Any]) -> HttpResponse | None:
    """Calls a writer; answers the way on, or none when it refused and the form says why."""
    try:
        recorded: Recorded = action(
            **stated,
            by=person_of(request.user),
            now=clock.now(),
            zone=timezone.get_current_timezone(),
        )
    except TripRefused as refused:
        add_problems(form, refused.problems)
        return None
    _tell(request, recorded)
    return redirect("trip", identifier=recorded.trip.identifier)


@require_safe
@requires(*READS_CASES)
def cases(request: HttpRequest) -> HttpResponse:
    """Cases that nobody has closed, and those that were."""
    everything = list(pages.cases())
    context = {
        "open": [case for case in everything if case.closed_at is None],
        "closed": [case for case in everything if case.closed_at is not None][::-1],
        "exact": may(request, *TAKES),
    }
    return render(request, "permits/cases.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*READS_CASES, writes=KEEPS)
def case(request: HttpRequest, pk: int) -> HttpResponse:
    """One case with its history; who keeps permits writes in it."""
    found = get_object_or_404(pages.cases(), pk=pk)
    form = CaseForm(request.POST or None)
    may_keep = may(request, *KEEPS)
    if request.method == "POST" and may_keep and found.closed_at is None and form.is_valid():
        _write_case(request, found, form)
        return redirect("case", pk=pk)
    context = {
        "case": found,
        "notes": found.notes.select_related("by"),
        "form": form if may_keep and found.closed_at is None else None,
        "trail": trail_of(found.take) if found.take else [],
        "exact": may(request, *TAKES),
    }
    return render(request, "permits/case.html", context)


def _write_case(request: HttpRequest, found: Case, form: CaseForm) -> None:
    said, person, now = form.cleaned_data, person_of(request.user), clock.now()
    if said["close"]:
        close_case(case=found, words=said["words"], by=person, now=now)
        messages.success(request, "The case is closed.")
        return
    note_case(case=found, words=said["words"], by=person, now=now)
    if said["owner"]:
        give_case(case=found, owner=said["owner"], by=person, now=now)
    messages.success(request, "Written into the history of the case.")


def _refuse(form: TripForm, rows: TakeRows, refused: TripRefused) -> None:
    """Each problem at its box: those of the trip at the head, those of a take at its row."""
    filled = rows.filled
    for problem in refused.problems:
        add_problems(form if problem.draft < 0 else filled[problem.draft], [problem])


def _tell(request: HttpRequest, recorded: Recorded) -> None:
    if recorded.already:
        messages.info(request, "This slip was sent before; it stands once.")
        return
    messages.success(request, "Recorded.")
    for words in recorded.read:
        messages.info(request, words)
    for one in recorded.cases:
        messages.warning(
            request, f"{one.get_kind_display().capitalize()}: {one.words}. {one.owner.name} looks into it."
        )
