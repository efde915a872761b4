"""Permits: the list, one with its account, entering, amending, links, papers."""

from dataclasses import replace
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.book import blind
from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.permits import LineFacts, PermitRefused, amend_permit, attach_document, enter_permit, link_line
from ..actions.stock_statements import record_statement
from ..forms.permits import (
    AmendForm,
    LineRows,
    LinkForm,
    NewPermitForm,
    PaperForm,
    StatementForm,
    line_rows,
    lines_initial,
    names_of_link,
    version_initial,
)
from ..models import LineLink, Permit, PermitDocument, VersionKind
from ..queries import pages
from ..queries.accounts import account
from ..queries.reading import PermitRead, read_permit
from ..queries.return_changes import to_look_at
from ..queries.returns import due_rules, dues_of, returns_of
from ..queries.review import links_to_review
from ..queries.stock_statements import stock_statements
from ..queries.whereabouts import whereabouts
from ..rules.checks import days_left
from ..who import KEEPS, READS_CASES, TAKES

TRIPS_SHOWN = 50


@require_safe
@requires()
def permits(request: HttpRequest) -> HttpResponse:
    """All permits with what is left of their time, and what is wrong."""
    rows = pages.permit_rows(
        on=timezone.localdate(clock.now()), zone=timezone.get_current_timezone(), hidden=_hidden(request)
    )
    context = {
        "rows": rows,
        "may_keep": may(request, *KEEPS),
        "may_read_cases": may(request, *READS_CASES),
        "reviews": links_to_review() if may(request, *KEEPS) else [],
    }
    return render(request, "permits/permits.html", context)


@require_safe
@requires()
def permit(request: HttpRequest, pk: int) -> HttpResponse:
    """One permit: what it says, what is used and what is left, its trips and cases."""
    found = get_object_or_404(Permit.objects.select_related("authority"), pk=pk)
    today = timezone.localdate(clock.now())
    as_of = _day(request.GET.get("as_of", ""), today)
    told = account(found, as_of=as_of, zone=timezone.get_current_timezone(), hidden=_hidden(request))
    where = whereabouts([found], as_of=as_of, zone=timezone.get_current_timezone(), hidden=_hidden(request))
    reads_cases = may(request, *READS_CASES)
    made = returns_of(found) if reads_cases else []
    statements = stock_statements([told.read], on=today).get(found.pk)
    context = {
        "permit": found,
        "account": told,
        "read": told.read,
        "lines": pages.lines_shown(told, where[found.pk]),
        "hidden": any(line.hidden for line in told.lines),
        "whereabouts": where[found.pk],
        "fates": pages.in_layout(where[found.pk].fates),
        "together": pages.together_shown(where[found.pk]),
        "as_of": as_of,
        "today": today,
        "days": days_left(told.read.version.valid_until, as_of),
        "trips": pages.recent_trips(found, TRIPS_SHOWN),
        "papers": PermitDocument.objects.select_related("document", "version", "attached_by").filter(
            version__permit=found
        ),
        "cases": pages.cases().filter(permit=found) if reads_cases else [],
        "reviews": links_to_review([found]) if may(request, *KEEPS) else [],
        "may_keep": may(request, *KEEPS),
        "may_take": may(request, *TAKES),
        "exact": may(request, *TAKES),
        "paper_form": PaperForm(),
        "may_read_returns": reads_cases,
        "returns": made,
        "statements": statements,
        "statement_form": StatementForm(wanted=statements.wanted) if statements else None,
        "touched": to_look_at(made, zone=timezone.get_current_timezone()),
        "dues": dues_of(told.read, due_rules([found.authority_id]).get(found.authority_id)),
    }
    return render(request, "permits/permit.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def enter(request: HttpRequest) -> HttpResponse:
    """Enters a permit from its paper."""
    form = NewPermitForm(request.POST or None)
    lines = line_rows(request.POST or None)
    if request.method == "POST" and form.is_valid() and lines.is_valid():
        said = form.cleaned_data
        head = ("number", "short", "authority", "authority_name", "return_days", "holder", "kind")
        try:
            made = enter_permit(
                **{name: said[name] for name in head},
                facts=form.facts(lines.facts()),
                by=person_of(request.user),
                now=clock.now(),
                asks_again=True,
            )
        except PermitRefused as refused:
            _refuse(form, refused, lines)
        else:
            messages.success(request, f"{made.number} is entered.")
            return redirect("permit", pk=made.pk)
    return render(request, "permits/enter.html", {"form": form, "lines": lines})


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def amend(request: HttpRequest, pk: int) -> HttpResponse:
    """Adds the next version of a permit."""
    found = get_object_or_404(Permit.objects.select_related("authority"), pk=pk)
    read = read_permit(found, on=date.max)
    form = AmendForm(request.POST or None, initial=version_initial(read.version, read.people))
    lines = line_rows(request.POST or None, initial=lines_initial(read))
    if request.method == "POST" and form.is_valid() and lines.is_valid():
        try:
            version = amend_permit(
                permit=found,
                facts=form.facts(_with_changed_links(read, lines)),
                kind=VersionKind(form.cleaned_data["change"]),
                amended_on=form.cleaned_data["amended_on"],
                by=person_of(request.user),
                now=clock.now(),
            )
        except PermitRefused as refused:
            _refuse(form, refused, lines)
        else:
            messages.success(request, f"{found.number} has version {version.number}; those before it stay.")
            return redirect("permit", pk=found.pk)
    return render(request, "permits/enter.html", {"form": form, "lines": lines, "permit": found})


def _with_changed_links(read: PermitRead, lines: LineRows) -> list[LineFacts]:
    """The lines as written; a link that says what it said before is not made again."""
    kept = []
    for line in lines.facts():
        link = read.links.get(line.number)
        same = (
            line.link is not None
            and link is not None
            and (line.link.scope, " | ".join(line.link.names))
            == (link.scope, names_of_link(read, line.number))
        )
        kept.append(replace(line, link=None) if same else line)
    return kept


@require_POST
@requires(*KEEPS)
def statement(request: HttpRequest, pk: int) -> HttpResponse:
    """Writes down that a statement of stock was sent."""
    found = get_object_or_404(Permit.objects.select_related("authority"), pk=pk)
    now, zone = clock.now(), timezone.get_current_timezone()
    today = timezone.localdate(now)
    statements = stock_statements([read_permit(found, on=today)], on=today).get(found.pk)
    form = StatementForm(request.POST, wanted=statements.wanted if statements else [])
    if not form.is_valid():
        messages.error(request, "; ".join(str(said) for errors in form.errors.values() for said in errors))
        return redirect("permit", pk=pk)
    try:
        record_statement(permit=found, **form.cleaned_data, by=person_of(request.user), now=now, zone=zone)
    except PermitRefused as refused:
        messages.error(request, f"Not kept: {refused}.")
    else:
        messages.success(request, "It is kept.")
    return redirect("permit", pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def link(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """Says what a line's words mean; the words are not touched."""
    found = get_object_or_404(Permit, pk=pk)
    read = read_permit(found, on=timezone.localdate(clock.now()))
    line = read.line(number)
    current = read.links.get(number)
    initial = {"covers": current.scope if current else "", "names": names_of_link(read, number)}
    form = LinkForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            link_line(
                permit=found,
                line_number=number,
                link=form.facts(),
                by=person_of(request.user),
                now=clock.now(),
            )
        except PermitRefused as refused:
            _refuse(form, refused)
        else:
            messages.success(request, f"Line {number} is linked anew; its words stand as they were.")
            return redirect("permit", pk=found.pk)
    history = LineLink.objects.select_related("linked_by").prefetch_related("members__taxon")
    context = {
        "permit": found,
        "line": line,
        "number": number,
        "form": form,
        "history": history.filter(permit=found, line_number=number).order_by("-id"),
        "reviews": [one for one in links_to_review([found]) if one.line_number == number],
    }
    return render(request, "permits/link.html", context)


@require_POST
@requires(*KEEPS)
def paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Keeps a paper with the newest version."""
    found = get_object_or_404(Permit, pk=pk)
    form = PaperForm(request.POST, request.FILES)
    if not form.is_valid():
        messages.error(request, "Choose the file first.")
        return redirect("permit", pk=pk)
    file = form.cleaned_data["file"]
    person, now = person_of(request.user), clock.now()
    try:
        document = keep_document(name=file.name, content=file.read(), by=person, now=now)
    except DocumentRefused as refused:
        messages.error(request, str(refused))
    else:
        newest = found.versions.order_by("number").last()
        assert newest is not None
        attach_document(version=newest, document=document, by=person, now=now)
        messages.success(request, f"{document.name} is kept with version {newest.number}.")
    return redirect("permit", pk=pk)


def _hidden(request: HttpRequest) -> frozenset[int]:
    return blind.hidden_from(person_of(request.user))


def _day(text: str, today: date) -> date:
    """The day that the address asks for; today when it asks for none, or for nonsense."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return today


def _refuse(form: Any, refused: PermitRefused, lines: LineRows | None = None) -> None:
    """Shows it at its box: of the head, or of the line that it is about."""
    if lines is not None and refused.line is not None:
        form = lines.filled[refused.line]
    column = refused.column if refused.column in form.fields else None
    form.add_error(column, f"{str(refused)[:1].upper()}{str(refused)[1:]}.")
