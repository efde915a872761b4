"""The page on which the veterinarian says of what an animal died, when it is known."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.book import blind
from inventory.book.models import Event
from inventory.book.queries import story
from inventory.book.rules.recording import CAUSES
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from .actions.causes import state_cause
from .forms import CauseForm
from .queries.causes import found_of_events
from .who import STATES_CAUSES


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=STATES_CAUSES)
def cause(request: HttpRequest, pk: int) -> HttpResponse:
    """The cause as it was stated first, and what was found since."""
    event = get_object_or_404(Event.objects.filter(kind__in=("died", "put_down")), pk=pk)
    form = CauseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        state_cause(
            event=event, cause=said["cause"], how=said["how"], by=person_of(request.user), now=clock.now()
        )
        messages.success(request, f"Kept with event {event.pk}; its number stays.")
        return redirect("event", pk=event.pk)
    context = {
        "form": form if may(request, *STATES_CAUSES) else None,
        "event": event,
        "told": story.tell([event.pk], hidden=blind.hidden_from(person_of(request.user)))[event.pk],
        "found": found_of_events([event.pk]).get(event.pk, []),
        "causes": CAUSES,
    }
    return render(request, "tankside/cause.html", context)
