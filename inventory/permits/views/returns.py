"""Returns: a draft with its checks, one that was frozen, what has changed since, its files."""

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.book import blind
from inventory.book.queries.documents import read_document
from inventory.book.withheld import why_withheld
from inventory.doors import clock
from inventory.people.access import may, person_of, requires, roles_of

from ..actions.returns import (
    ReturnRefused,
    approve_correction,
    freeze_return,
    nil_return,
    note_look,
    record_sending,
)
from ..files.returns import write_return
from ..forms.returns import AskedForm, FreezeForm, LookForm, SendingForm, asked_initial
from ..models import Permit, PermitReturn, ReturnFile, Take, Trip
from ..queries.return_changes import changed_since, newest_returns, to_look_at
from ..queries.return_checks import findings
from ..queries.returns import (
    Asked,
    next_asked,
    read_draft,
    returns_of,
    seen,
    stands_as_frozen,
    told_already,
    told_rows,
)
from ..rules.statements import PLACES, Chosen
from ..who import APPROVES, KEEPS, READS_CASES


@require_safe
@requires(*READS_CASES)
def returns(request: HttpRequest) -> HttpResponse:
    """The returns of all permits as they stand, and which to look at again."""
    found = newest_returns()
    touched = to_look_at(found, zone=timezone.get_current_timezone())
    rows = sorted(found, key=lambda one: (one.pk not in touched, -one.frozen_at.timestamp()))
    return render(request, "permits/returns.html", {"rows": rows, "touched": touched})


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def draft(request: HttpRequest, pk: int) -> HttpResponse:
    """What a return would say now, with its checks; freezes it."""
    permit = get_object_or_404(Permit.objects.select_related("authority"), pk=pk)
    amends = _amends(request, permit)
    form = AskedForm(request.GET if "starts_on" in request.GET else None, authority=permit.authority)
    now, zone = clock.now(), timezone.get_current_timezone()
    if form.is_bound and form.is_valid():
        asked = form.asked(amends)
    else:
        asked = _offered(permit, amends)
        if not form.is_bound:
            form.initial = asked_initial(asked, form.versions)
            version = form.versions.get(form.initial["template"])
            asked = replace(asked, template=version)
    freeze = FreezeForm(request.POST or None)
    if request.method == "POST" and freeze.is_valid() and (form.is_valid() or not form.is_bound):
        try:
            made = freeze_return(
                permit=permit,
                asked=asked,
                write=write_return,
                by=person_of(request.user),
                now=now,
                zone=zone,
                hidden=_hidden(request),
                **freeze.cleaned_data,
            )
        except ReturnRefused as refused:
            _refuse(freeze, refused)
        else:
            messages.success(request, f"Return {made.serial}, version {made.version} is frozen. Now send it.")
            return redirect("return", pk=made.pk)
    return _draft_page(request, permit, asked, form, freeze)


def _draft_page(
    request: HttpRequest, permit: Permit, asked: Asked, form: AskedForm, freeze: FreezeForm
) -> HttpResponse:
    zone = timezone.get_current_timezone()
    found = read_draft(permit, asked, zone=zone, known_at=clock.now(), hidden=_hidden(request))
    today = timezone.localdate(clock.now())
    checks = [] if found.hidden else findings(found, today=today)
    context = {
        "permit": permit,
        "draft": found,
        "asked": asked,
        "form": form,
        "freeze": freeze,
        # Anew at each look: what is frozen is what stands on the page.
        "mark": seen(found),
        "checks": checks,
        "told": told_already(permit, asked),
        "missing": sum(not check.met for check in checks),
        "rows": [] if found.hidden else _cells(found.columns, found.lines),
        "person": person_of(request.user),
    }
    return render(request, "permits/return_draft.html", context)


def _offered(permit: Permit, amends: PermitReturn | None) -> Asked:
    """The return that comes next; an amended one is for the same days as the one that it amends."""
    if amends is None:
        return next_asked(permit, today=timezone.localdate(clock.now()))
    return Asked(amends.starts_on, amends.ends_on, amends.as_of, amends.template, amends)


def _amends(request: HttpRequest, permit: Permit) -> PermitReturn | None:
    number = request.GET.get("amends", "")
    if not number.isdecimal():
        return None
    return get_object_or_404(PermitReturn, pk=int(number), permit=permit)


def _cells(columns: Any, rows: Any, *, leave_out: frozenset[str] = frozenset()) -> list[dict[str, Any]]:
    shown = [one for one in columns if one.code not in leave_out]
    return [
        {
            "line": row.line,
            "mark": row.mark,
            "withdrawn": row.withdrawn,
            "cells": [(one.heading, row.cell(one.code)) for one in shown],
        }
        for row in rows
    ]


@require_POST
@requires(*KEEPS)
def nil(request: HttpRequest, pk: int) -> HttpResponse:
    """Says that nothing was taken: in the days that were looked at, or in those that come next."""
    permit = get_object_or_404(Permit.objects.select_related("authority"), pk=pk)
    form = AskedForm(request.POST if "starts_on" in request.POST else None, authority=permit.authority)
    if form.is_bound and not form.is_valid():
        messages.error(request, "The days of the return could not be read. Choose them again.")
        return redirect("return_draft", pk=pk)
    try:
        made = nil_return(
            permit=permit,
            write=write_return,
            by=person_of(request.user),
            now=clock.now(),
            zone=timezone.get_current_timezone(),
            hidden=_hidden(request),
            asked=form.asked(None) if form.is_bound else None,
        )
    except ReturnRefused as refused:
        messages.error(request, _sentence(refused))
        return redirect("permit", pk=pk)
    messages.success(request, "The nil return is frozen. Now send it.")
    return redirect("return", pk=made.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*READS_CASES)
def frozen(request: HttpRequest, pk: int) -> HttpResponse:
    """A return as it was frozen: its files, when it went out, what has changed since."""
    related = ("permit__authority", "frozen_by", "amends", "amended_by", "template__template")
    one = get_object_or_404(PermitReturn.objects.select_related(*related), pk=pk)
    sending, look = SendingForm(), LookForm()
    if request.method == "POST":
        if not may(request, *KEEPS):
            raise PermissionDenied("This is for who keeps the permits.")
        sending, look, done = _write(request, one)
        if done:
            return redirect("return", pk=pk)
    zone, hidden = timezone.get_current_timezone(), _hidden(request)
    since = changed_since(one, zone=zone, hidden=hidden)
    columns = [Chosen(*column) for column in one.columns]
    keeps = may(request, *KEEPS)
    left_out = frozenset() if keeps else PLACES
    context = {
        "one": one,
        "permit": one.permit,
        "others": [each for each in returns_of(one.permit) if each.serial == one.serial],
        "head": [] if since.hidden else one.head,
        "columns": [each for each in columns if each.code not in left_out],
        "rows": [] if since.hidden else _cells(columns, told_rows(one), leave_out=left_out),
        "since": since,
        "places_left_out": not keeps,
        "left_out": PLACES if not keeps else frozenset(),
        "intact": stands_as_frozen(one),
        "may_keep": keeps,
        "may_open": not since.hidden and (keeps or one.coarse_degrees is not None or one.nil),
        "sending": sending,
        "look": look,
        "touched": one.pk in to_look_at([one], zone=zone),
    }
    return render(request, "permits/return.html", context)


def _write(request: HttpRequest, one: PermitReturn) -> tuple[SendingForm, LookForm, bool]:
    """What was typed on the page of a return; the last is true when it was kept."""
    person, now = person_of(request.user), clock.now()
    if "words" in request.POST:
        look = LookForm(request.POST)
        if look.is_valid():
            note_look(of_return=one, words=look.cleaned_data["words"], by=person, now=now)
            messages.success(request, "It is noted that nothing is to be amended.")
            return SendingForm(), look, True
        return SendingForm(), look, False
    sending = SendingForm(request.POST, request.FILES)
    if not sending.is_valid():
        return sending, LookForm(), False
    said = sending.cleaned_data
    file = said.pop("receipt")
    try:
        record_sending(
            of_return=one,
            receipt=(file.name, file.read()) if file else None,
            by=person,
            now=now,
            zone=timezone.get_current_timezone(),
            **said,
        )
    except ReturnRefused as refused:
        _refuse(sending, refused)
        return sending, LookForm(), False
    messages.success(request, "It is noted that the return went out.")
    return sending, LookForm(), True


@require_safe
@requires(*READS_CASES)
def file(request: HttpRequest, pk: int, form: str) -> HttpResponse:
    """A file of a return, byte for byte as it was frozen."""
    found = get_object_or_404(
        ReturnFile.objects.select_related("document", "of_return__permit"), of_return=pk, form=form
    )
    why = why_withheld(found.document, roles_of(request.user))
    if why:
        raise PermissionDenied(why)
    hidden = _hidden(request)
    if hidden and changed_since(found.of_return, zone=timezone.get_current_timezone(), hidden=hidden).hidden:
        raise PermissionDenied("You are counting some of these animals. Hand your sheet in first.")
    try:
        content = read_document(found.document)
    except ValueError as error:
        raise Http404(str(error)) from error
    response = HttpResponse(content, content_type=found.document.media_type)
    disposition = content_disposition_header(as_attachment=True, filename=found.document.name)
    response["Content-Disposition"] = disposition or "attachment"
    return response


@require_POST
@requires(*APPROVES)
def approve(request: HttpRequest, of: str, row: int) -> HttpResponse:
    """Agrees with somebody else's correction of a take or a trip."""
    found: Take | Trip
    if of == "take":
        found = get_object_or_404(Take, pk=row)
    elif of == "trip":
        found = get_object_or_404(Trip, pk=row)
    else:
        raise Http404(f"{of} is neither a take nor a trip")
    try:
        approve_correction(row=found, by=person_of(request.user), now=clock.now())
    except ReturnRefused as refused:
        messages.error(request, _sentence(refused))
    else:
        messages.success(request, "The correction is approved.")
    if may(request, *KEEPS) and request.POST.get("back") != "trip":
        return redirect("return_draft", pk=found.permit_id)
    trip = found.trip if isinstance(found, Take) else found
    return redirect("trip", identifier=trip.identifier)


def _hidden(request: HttpRequest) -> frozenset[int]:
    return blind.hidden_from(person_of(request.user))


def _sentence(refused: ReturnRefused) -> str:
    words = str(refused)
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith(('.', '?')) else '.'}"


def _refuse(form: Any, refused: ReturnRefused) -> None:
    form.add_error(refused.column if refused.column in form.fields else None, _sentence(refused))
