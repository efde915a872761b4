"""What waits for approval: the old beside the new, its effect, and one answer for each."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.doors.chosen import number_of
from inventory.people.access import person_of, requires, roles_of

from ..actions.approving import approve_asked, refuse_asked
from ..actions.refused import CensusRefused
from ..models import ApprovalAsked
from ..queries.corrections import Correction, corrections
from ..queries.corrections_elsewhere import Elsewhere, elsewhere
from ..rules.who import ANSWERS
from . import COMPARES
from .blindfold import not_while_counting


@require_http_methods(["GET", "POST"])
@requires(*COMPARES, writes=ANSWERS)
@not_while_counting
def approvals(request: HttpRequest) -> HttpResponse:
    """The list, oldest first. POST approves or refuses one of it, as the person signed in."""
    person, now = person_of(request.user), clock.now()
    if request.method == "POST":
        _answer(request)
        return redirect("approvals")
    roles = roles_of(request.user)
    items: list[Correction | Elsewhere] = [*corrections(person, roles, now=now), *elsewhere(person, roles)]
    items.sort(key=lambda one: one.since)
    return render(request, "rounds/approvals.html", {"items": items, "person": person})


def _answer(request: HttpRequest) -> None:
    person, now, why = person_of(request.user), clock.now(), request.POST.get("why", "")
    asked = get_object_or_404(ApprovalAsked, pk=number_of(request, "asked"))
    try:
        if request.POST.get("step") == "approve":
            zone = timezone.get_current_timezone()
            given = approve_asked(asked=asked, by=person, now=now, zone=zone, why=why)
            told = "approved, and posted" if given.decision else "approved; it waits for the other name"
        elif request.POST.get("step") == "refuse":
            refuse_asked(asked=asked, by=person, now=now, why=why)
            told = "taken back" if asked.asked_by_id == person.pk else "refused; the line is open again"
        else:
            raise CensusRefused("Choose what to do.")
    except CensusRefused as refused:
        messages.error(request, f"Nothing was done. {refused}")
    else:
        messages.success(request, f"{asked.line}: {told}.")
