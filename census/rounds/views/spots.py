"""Class A on the spot, each month: blind for who counts, beside the book for who decides."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inventory.book import blind
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.refused import CensusRefused
from ..actions.spots import count_spot
from ..actions.to_come import spot_to_come
from ..forms.written_in import SpotCountForm
from ..queries.settings import settings_in_use
from ..queries.spots import Spot, differing, share_counted, spots
from ..queries.to_come import crossed, still_to_come
from . import COMPARES, COUNTS


@require_http_methods(["GET", "POST"])
@requires(*COUNTS, *COMPARES, writes=COUNTS)
def spot_counts(request: HttpRequest) -> HttpResponse:
    """What is due, without any number; POST keeps one count. Differences for those who compare."""
    now, days = clock.now(), settings_in_use().spot_count_days
    found = spots(now=now, days=days)
    if request.method == "POST":
        form = SpotCountForm(request.POST)
        if request.POST.get("step") == "to_come":
            form.fields["value"].required = False
        if not form.is_valid():
            messages.error(request, "Nothing was kept: type a whole number of 0 or more.")
            return redirect("spot_counts")
        key = (form.cleaned_data["place"], form.cleaned_data["taxon"], form.cleaned_data["unit"])
        spot = next((one for one in found if one.key == key), None)
        if spot is None:
            raise Http404("The book holds no such animals of class A there.")
        if request.POST.get("step") == "to_come":
            _say(request, spot)
            return redirect("spot_counts")
        try:
            count_spot(
                spot=spot,
                value=form.cleaned_data["value"],
                second=form.cleaned_data["second"],
                note=form.cleaned_data["note"],
                by=person_of(request.user),
                now=now,
            )
        except CensusRefused as refused:
            messages.error(request, f"Nothing was kept. {refused}")
        else:
            messages.success(request, f"{spot.place.code} {spot.name}: the count is kept.")
        return redirect("spot_counts")
    # Who counts now sees no number of the book, whatever else they are.
    compares = may(request, *COMPARES) and not blind.hidden_from(person_of(request.user))
    differs = differing(now=now, days=days) if compares else []
    moves = crossed([(one.place_id, one.counted_at) for one in differs], settings_in_use())
    person = person_of(request.user)
    context = {
        "spots": found,
        "mine": {one.place_id for one in still_to_come().filter(counter=person, draw=None)},
        "days": days,
        "share": share_counted(found),
        "form": SpotCountForm(),
        "counts": may(request, *COUNTS),
        "compares": compares,
        "differing": [(one, moves.get((one.place_id, one.counted_at), [])) for one in differs],
    }
    return render(request, "rounds/spots.html", context)


def _say(request: HttpRequest, spot: Spot) -> None:
    """The quiet time of a spot begins: its numbers are hidden from who counts it."""
    now = clock.now()
    try:
        spot_to_come(spot=spot, planned_at=now, by=person_of(request.user), now=now)
    except CensusRefused as refused:
        messages.error(request, f"Nothing was done. {refused}")
    else:
        messages.success(
            request, f"{spot.place.code} {spot.name}: its numbers are hidden from you until you have counted."
        )
