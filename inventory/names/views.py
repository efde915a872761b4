"""Pages: the names to review, one of them at a time, and names to check."""

from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.doors.clock import now
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from .actions.online import ask_later
from .actions.review import ASKS_EACH_TIME, ReviewError, check_many, review
from .actions.undo import last_decision, reopen, undo_last
from .forms import DecisionForm, NamesForm, WantedForm
from .models import CheckState, NameCheck, NameDecision
from .queries.one_name import to_review
from .queries.online import is_wanted, latest_answer
from .queries.queue import (
    Wanted,
    decided,
    next_to_review,
    places_waiting,
    progress,
    verdicts_waiting,
    waiting,
)
from .queries.store import current_release
from .queries.verdicts import verdicts_for
from .rules.match import Asked
from .rules.verdicts import Choice, choice_texts

DECIDERS = (Role.REGISTRAR, Role.CURATOR)
ASKERS = (*DECIDERS, Role.TYPIST, Role.AQUARIST, Role.PERMIT_OFFICER)
A_PAGE = 50
# Names that this person passed over, kept as long as the sign-in.
_SKIPPED = "names_skipped"


@requires()
@require_GET
def names_review(request: HttpRequest) -> HttpResponse:
    """The queue, oldest first, all of it or a part."""
    form = WantedForm(request.GET, verdicts=verdicts_waiting(), places=places_waiting())
    wanted = _wanted(form)
    may_decide = may(request, *DECIDERS)
    page = Paginator(waiting(wanted), A_PAGE).get_page(request.GET.get("page"))
    for check in page:
        check.texts = _choice_texts_of(check)
    context = {
        "page": page,
        "form": form,
        "is_part": wanted != Wanted(now=wanted.now),
        "carried": _carried(wanted),
        "decided": decided()[:10],
        "release": current_release(),
        "may_decide": may_decide,
        "undoable": last_decision(person_of(request.user), now=now()) if may_decide else None,
    }
    return render(request, "names/names_review.html", context)


@requires(*DECIDERS)
@require_GET
def name_next(request: HttpRequest) -> HttpResponse:
    """The name that is next in line for this person."""
    return _to_next(request)


@requires()
@require_http_methods(["GET", "POST"])
def name_review(request: HttpRequest, pk: int) -> HttpResponse:
    """One name; a registrar or curator decides it here, and the next one comes."""
    check = get_object_or_404(NameCheck.objects.select_related("taxon", "release", "asked_by"), pk=pk)
    if request.method == "POST":
        outcome = _decide(request, pk)
        if isinstance(outcome, NameDecision):
            messages.success(request, _in_words(outcome))
            return _to_next(request)
        return _one(request, check, error=outcome)
    return _one(request, check)


@requires(*DECIDERS)
@require_POST
def name_skip(request: HttpRequest, pk: int) -> HttpResponse:
    """Passes over a name; it comes again when the others are done."""
    get_object_or_404(NameCheck, pk=pk)
    request.session[_SKIPPED] = [*_skipped(request), pk]
    return _to_next(request)


@requires(*DECIDERS)
@require_POST
def name_undo(request: HttpRequest) -> HttpResponse:
    """Takes back the last decision of this person, and shows its name again."""
    try:
        undone = undo_last(by=person_of(request.user), now=now())
    except ReviewError as error:
        messages.warning(request, str(error))
        return _to_next(request)
    messages.success(request, f"Undone: “{undone.check_of.typed}” is open again.")
    return redirect(_with_part(request, "name_review", undone.check_of_id))


@requires(Role.REGISTRAR)
@require_POST
def name_reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Opens a decided name again, with a reason."""
    check = get_object_or_404(NameCheck.objects.select_related("taxon", "release", "asked_by"), pk=pk)
    try:
        opened = reopen(pk, by=person_of(request.user), now=now(), why=request.POST.get("why", ""))
    except ReviewError as error:
        return _one(request, check, error=str(error))
    lots = "1 lot stands" if opened.lots_touched == 1 else f"{opened.lots_touched} lots stand"
    messages.success(request, f"“{check.typed}” is open again; {lots} under it.")
    return redirect("name_review", pk)


@requires(*DECIDERS)
@require_POST
def name_gbif(request: HttpRequest, pk: int) -> HttpResponse:
    """Puts the name at the front for the next background check: no page waits for GBIF."""
    check = get_object_or_404(NameCheck, pk=pk)
    messages.info(request, ask_later(check, by=person_of(request.user), now=now()))
    return redirect(_with_part(request, "name_review", pk))


@requires()
@require_http_methods(["GET", "POST"])
def check_names(request: HttpRequest) -> HttpResponse:
    """Names pasted in, verdicts out; on demand the doubtful ones enter the queue."""
    form = NamesForm(request.POST or None)
    context: dict[str, Any] = {"form": form, "release": current_release(), "may_queue": may(request, *ASKERS)}
    if request.method == "POST" and form.is_valid():
        names, place = form.cleaned_data["names"], form.cleaned_data["place"]
        if "queue" in request.POST and context["may_queue"]:
            where_from = f"page Check names, tank {place}" if place else "page Check names"
            verdicts = check_many(
                names, now=now(), by=person_of(request.user), where_from=where_from, place=place
            )
            messages.success(request, "The doubtful names are in the review queue.")
        else:
            _, verdicts = verdicts_for([Asked(name) for name in names], places=[place] if place else ())
        context["rows"] = [
            (verdict, zip(choice_texts(verdict.choices), verdict.choices, strict=True))
            for verdict in verdicts
        ]
        context["n_doubtful"] = sum(not verdict.is_certain for verdict in verdicts)
    return render(request, "names/check_names.html", context)


def _decide(request: HttpRequest, pk: int) -> NameDecision | str:
    """The decision, or what was wrong."""
    if not may(request, *DECIDERS):
        raise PermissionDenied("Names are decided by the registrar or the curator.")
    form = DecisionForm(request.POST)
    if not form.is_valid():
        return form.problems()
    try:
        return review(pk, by=person_of(request.user), now=now(), **form.cleaned_data)
    except ReviewError as error:
        return str(error)


def _one(request: HttpRequest, check: NameCheck, *, error: str = "") -> HttpResponse:
    online = latest_answer(check)
    wanted = _wanted(WantedForm(request.GET))
    is_open, may_decide = check.state == CheckState.TO_REVIEW, may(request, *DECIDERS)
    person = person_of(request.user)
    subject = to_review(check)
    context = {
        "subject": subject,
        "n_new": len(subject.offered) + 1,
        "n_keep": len(subject.offered) + 2,
        "check": check,
        "error": error,
        "online": online,
        "online_said": online.said(now()) if online else "",
        "is_wanted": is_wanted(check),
        "is_open": is_open,
        "may_decide": may_decide,
        "may_reopen": not is_open and may(request, Role.REGISTRAR),
        "for_next_time": check.verdict not in ASKS_EACH_TIME,
        "given": request.POST,
        "carried": _carried(wanted),
        "undoable": last_decision(person, now=now()) if may_decide else None,
    }
    if is_open and may_decide:
        context["progress"] = progress(person, since=_today(), wanted=wanted, skipped=_skipped(request))
    return render(request, "names/name_review.html", context, status=400 if error else 200)


def _to_next(request: HttpRequest) -> HttpResponse:
    """The next name; those passed over when no other is left; the list when none is."""
    wanted = _wanted(WantedForm(request.GET))
    skipped = _skipped(request)
    check = next_to_review(wanted, skipped=skipped)
    if check is None and skipped:
        check = next_to_review(wanted)
        request.session[_SKIPPED] = []
        if check:
            messages.info(request, "All others are decided: these are the names that you skipped.")
    if check is None:
        part = _carried(wanted)
        messages.success(request, "This part is decided." if part else "No name waits for a decision.")
        return redirect("names_review")
    return redirect(_with_part(request, "name_review", check.pk))


def _skipped(request: HttpRequest) -> list[int]:
    return list(request.session.get(_SKIPPED, ()))


def _today() -> datetime:
    """When this day began in the house."""
    return timezone.localtime(now()).replace(hour=0, minute=0, second=0, microsecond=0)


def _wanted(form: WantedForm) -> Wanted:
    form.is_valid()
    stated = form.cleaned_data
    return Wanted(stated.get("verdict", ""), stated.get("place", ""), int(stated.get("days") or 0), now=now())


def _carried(wanted: Wanted) -> str:
    """The part of the queue as the end of an address, so that the next name is of it too."""
    stated = {"verdict": wanted.verdict, "place": wanted.place, "days": wanted.days}
    part = urlencode({name: value for name, value in stated.items() if value})
    return f"?{part}" if part else ""


def _with_part(request: HttpRequest, view: str, pk: int) -> str:
    return reverse(view, args=[pk]) + _carried(_wanted(WantedForm(request.GET)))


def _in_words(decision: NameDecision) -> str:
    lots = "1 lot stands" if decision.lots_touched == 1 else f"{decision.lots_touched} lots stand"
    return f"“{decision.check_of.typed}”: {decision.get_kind_display()}. {lots} under {decision.taxon} now."


def _choice_texts_of(check: NameCheck) -> list[str]:
    """The choices of a stored check as texts."""
    return choice_texts([Choice(**row) for row in check.choices])
