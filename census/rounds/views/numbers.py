"""The named numbers of the house: read by all who compare, changed by the registrar."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inventory.book.actions.settings import NotChanged, change_number
from inventory.book.queries.settings import numbers_with_history
from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from ..forms import NumberForm
from . import COMPARES


@require_http_methods(["GET", "POST"])
@requires(*COMPARES)
def numbers(request: HttpRequest) -> HttpResponse:
    """Every number with its default, its value and its history; POST changes one."""
    may_change = may(request, Role.REGISTRAR)
    if request.method == "POST":
        if not may_change:
            raise PermissionDenied("The registrar changes the named numbers; you may read them.")
        form = NumberForm(request.POST)
        if form.is_valid():
            _change(request, form)
        else:
            messages.error(request, "Nothing was changed: type a whole number.")
        return redirect("numbers")
    return render(
        request, "rounds/numbers.html", {"numbers": numbers_with_history(), "may_change": may_change}
    )


def _change(request: HttpRequest, form: NumberForm) -> None:
    name = form.cleaned_data["name"]
    try:
        made = change_number(by=person_of(request.user), now=clock.now(), **form.cleaned_data)
    except NotChanged as refused:
        messages.error(request, f"Nothing was changed: {refused}")
    else:
        done = f"is {made.value} from now on" if made else "had that value already"
        messages.success(request, f"{name} {done}.")
