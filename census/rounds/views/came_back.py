"""Counts that came back from devices: who, what, why; taken again, or set aside with a reason."""

from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods
from pydantic import ValidationError

from inventory.doors import clock
from inventory.doors.chosen import number_of
from inventory.people.access import person_of, requires

from ..actions.came_back import answer_came_back, take_again
from ..actions.refused import CensusRefused
from ..api import received_from
from ..forms.came_back import CameBackForm
from ..models import CountEntry
from ..queries import came_back as queries
from ..rules.words import CameBackAs
from ..schemas import CountEntryIn
from . import DECIDES
from .blindfold import not_while_counting


@require_http_methods(["GET", "POST"])
@requires(*DECIDES)
@not_while_counting
def counts_came_back(request: HttpRequest) -> HttpResponse:
    """What waits, the oldest first, and what was answered last. POST takes one again or sets it aside."""
    if request.method == "POST":
        try:
            messages.success(request, _answer(request))
        except CensusRefused as refused:
            for problem in refused.problems:
                messages.error(request, problem)
        return redirect("counts_came_back")
    context = {
        "waiting": queries.came_back(),
        "answered": list(queries.answered()),
        "outcomes": [(one.value, one.words) for one in CameBackAs],
    }
    return render(request, "rounds/came_back.html", context)


def _answer(request: HttpRequest) -> str:
    """Does what the button says; gives the words for the page."""
    by, now = person_of(request.user), clock.now()
    if request.POST.get("step") == "again":
        entry = get_object_or_404(queries.waiting(), pk=number_of(request, "entry"))
        answer = take_again(entry=entry, received=received_from(_again(entry)), by=by, now=now)
        if answer["problems"]:
            raise CensusRefused(*(f"It came back again: {one['words']}" for one in answer["problems"]))
        return f"Taken: {answer['words']}."
    form = CameBackForm(request.POST)
    if not form.is_valid():
        raise CensusRefused("Say why; nothing was changed.")
    entry = get_object_or_404(queries.waiting(), pk=form.cleaned_data["entry"])
    outcome = CameBackAs(form.cleaned_data["outcome"])
    answer_came_back(entry=entry, outcome=outcome, why=form.cleaned_data["why"], by=by, now=now)
    return f"Set aside: {outcome.words}."


def _again(entry: CountEntry) -> CountEntryIn:
    """The entry as it was sent, under a new identifier, as the one that replaces it."""
    body = {**entry.body, "identifier": str(uuid4()), "replaces": str(entry.identifier)}
    try:
        return CountEntryIn.model_validate(body)
    except ValidationError as error:
        words = "It cannot be read; type what the paper or the device says on the sheet, and set it aside."
        raise CensusRefused(words) from error
