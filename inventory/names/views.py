"""Pages: check names, the names to review, and one of them."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.doors.clock import now
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from .actions.online import ask_later
from .actions.review import ASKS_EACH_TIME, ReviewError, check_many, review
from .forms import DecisionForm, NamesForm
from .models import CheckState, DecisionKind, NameCheck, NameDecision
from .queries.online import is_wanted, latest_answer
from .queries.queue import decided, to_review, waiting
from .queries.store import current_release
from .queries.verdicts import verdicts_for
from .rules.match import Asked
from .rules.verdicts import Choice, choice_texts

DECIDERS = (Role.REGISTRAR, Role.CURATOR)
ASKERS = (*DECIDERS, Role.TYPIST, Role.AQUARIST, Role.PERMIT_OFFICER)
A_PAGE = 50


@requires()
@require_GET
def names_review(request: HttpRequest) -> HttpResponse:
    """The queue, oldest first."""
    page = Paginator(waiting(), A_PAGE).get_page(request.GET.get("page"))
    for check in page:
        check.texts = _choice_texts_of(check)
    context = {"page": page, "decided": decided()[:10], "release": current_release()}
    return render(request, "names/names_review.html", context)


@requires()
@require_http_methods(["GET", "POST"])
def name_review(request: HttpRequest, pk: int) -> HttpResponse:
    """One name; a registrar or curator decides it here."""
    check = get_object_or_404(NameCheck.objects.select_related("taxon", "release", "asked_by"), pk=pk)
    error = ""
    if request.method == "POST":
        decided_now = _decide(request, pk)
        if isinstance(decided_now, NameDecision):
            messages.success(request, _in_words(decided_now))
            return redirect("names_review")
        error = decided_now
    return _one(request, check, error=error)


@requires(*DECIDERS)
@require_POST
def name_gbif(request: HttpRequest, pk: int) -> HttpResponse:
    """Puts the name at the front for the next background check: no page waits for GBIF."""
    check = get_object_or_404(NameCheck, pk=pk)
    messages.info(request, ask_later(check, by=person_of(request.user), now=now()))
    return redirect("name_review", pk)


@requires()
@require_http_methods(["GET", "POST"])
def check_names(request: HttpRequest) -> HttpResponse:
    """Names pasted in, verdicts out; on demand the doubtful ones enter the queue."""
    form = NamesForm(request.POST or None)
    context: dict[str, Any] = {"form": form, "release": current_release(), "may_queue": may(request, *ASKERS)}
    if request.method == "POST" and form.is_valid():
        names = form.cleaned_data["names"]
        if "queue" in request.POST and context["may_queue"]:
            verdicts = check_many(names, now=now(), by=person_of(request.user), where_from="page Check names")
            messages.success(request, "The doubtful names are in the review queue.")
        else:
            _, verdicts = verdicts_for([Asked(name) for name in names])
        context["rows"] = [(verdict, choice_texts(verdict.choices)) for verdict in verdicts]
        context["n_doubtful"] = sum(not verdict.is_certain for verdict in verdicts)
    return render(request, "names/check_names.html", context)


def _decide(request: HttpRequest, pk: int) -> NameDecision | str:
    """The decision, or what was wrong."""
    if not may(request, *DECIDERS):
        raise PermissionDenied("Names are decided by the registrar or the curator.")
    form = DecisionForm(request.POST)
    if not form.is_valid():
        return "Choose what is to be done with the name."
    stated = form.cleaned_data
    name, authorship = stated["name"], ""
    if stated["kind"] == DecisionKind.CHOOSE:
        name, _, authorship = stated["choice"].partition("|")
    if stated["kind"] == DecisionKind.ACCEPT_SUGGESTION:
        name = stated["choice"]
    try:
        return review(
            pk,
            kind=DecisionKind(stated["kind"]),
            by=person_of(request.user),
            now=now(),
            name=name,
            authorship=authorship,
            why=stated["why"],
            for_next_time=stated["for_next_time"],
        )
    except ReviewError as error:
        return str(error)


def _one(request: HttpRequest, check: NameCheck, *, error: str = "") -> HttpResponse:
    subject = to_review(check)
    online = latest_answer(check)
    context = {
        "subject": subject,
        "check": check,
        "error": error,
        "online": online,
        "online_said": online.said(now()) if online else "",
        "is_wanted": is_wanted(check),
        "is_open": check.state == CheckState.TO_REVIEW,
        "may_decide": may(request, *DECIDERS),
        "for_next_time": check.verdict not in ASKS_EACH_TIME,
        "given": request.POST,
    }
    return render(request, "names/name_review.html", context, status=400 if error else 200)


def _in_words(decision: NameDecision) -> str:
    lots = "1 lot stands" if decision.lots_touched == 1 else f"{decision.lots_touched} lots stand"
    return f"“{decision.check_of.typed}”: {decision.get_kind_display()}. {lots} under {decision.taxon} now."


def _choice_texts_of(check: NameCheck) -> list[str]:
    """The choices of a stored check as texts."""
    return choice_texts([Choice(**row) for row in check.choices])
