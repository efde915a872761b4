"""Steps with a whole census: its sheets go out, a place gets the sheet that it has not, it is given up."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from inventory.doors import clock
from inventory.people.access import person_of, requires

from ..actions.added_sheets import add_sheet
from ..actions.refused import CensusRefused
from ..actions.sheets import issue_all
from ..actions.signing import abandon
from ..forms import AbandonForm, AddSheetForm
from . import DECIDES
from .board import found_census


@require_POST
@requires(*DECIDES)
def census_add_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Gives a place of the census the sheet that it has not."""
    census, form = found_census(code), AddSheetForm(request.POST)
    if not form.is_valid():
        messages.error(request, "No sheet was made: choose a place of the house.")
        return redirect("census", census.code)
    try:
        made = add_sheet(
            census=census, place=form.cleaned_data["place"], by=person_of(request.user), now=clock.now()
        )
    except CensusRefused as refused:
        messages.error(request, f"No sheet was made. {refused}")
        return redirect("census", census.code)
    messages.success(request, f"{made.number} is made. Now issue it.")
    return redirect("sheet", made.number)


@require_POST
@requires(*DECIDES)
def census_issue(request: HttpRequest, code: str) -> HttpResponse:
    """Issues every sheet that names its counters."""
    census = found_census(code)
    try:
        numbers = issue_all(census=census, by=person_of(request.user), now=clock.now())
    except CensusRefused as refused:
        messages.error(request, f"Nothing was issued. {refused}")
    else:
        messages.success(request, f"{len(numbers)} issued: {', '.join(numbers)}.")
    return redirect("census", census.code)


@require_POST
@requires(*DECIDES)
def census_abandon(request: HttpRequest, code: str) -> HttpResponse:
    """Gives the census up, for the reason in the note."""
    census, form = found_census(code), AbandonForm(request.POST)
    try:
        note = form.cleaned_data["note"] if form.is_valid() else ""
        abandon(census=census, by=person_of(request.user), now=clock.now(), note=note)
    except CensusRefused as refused:
        messages.error(request, f"Nothing was done. {refused}")
    else:
        messages.success(request, f"{census.code} is given up. {census.period.code} may be counted anew.")
    return redirect("census", census.code)
