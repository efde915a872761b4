"""Whose tanks: who keeps a place, since when, and the change from a day on."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.people.access import requires

from .actions.keeping import KeepingRefused, set_keepers
from .forms_keeping import KeepersForm
from .models import Place
from .queries.keeping import keepings_of
from .who import KEEPS_THE_LIST


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS_THE_LIST)
def keepers(request: HttpRequest, code: str) -> HttpResponse:
    """Sets who keeps one place from a day on; what was before stays readable."""
    place = get_object_or_404(Place, code=code)
    today = timezone.localdate(clock.now())
    history = keepings_of(place)
    current = [row.keeper_id for row in history if row.place_id == place.pk and row.until is None]
    form = KeepersForm(request.POST or None, today=today, current=current)
    if request.method == "POST" and form.is_valid():
        try:
            rows = set_keepers(place=place, **form.cleaned_data)
        except KeepingRefused as refused:
            form.add_error("since", str(refused))
        else:
            names = ", ".join(row.keeper.name for row in rows) or "nobody"
            messages.success(request, f"From {form.cleaned_data['since']} kept by {names}.")
            return redirect("place", code=place.code)
    return render(request, "book/keepers.html", {"place": place, "history": history, "form": form})
