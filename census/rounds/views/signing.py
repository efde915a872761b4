"""What the curator signs."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.refused import CensusRefused
from ..actions.signing import sign
from ..forms import NoteForm
from ..queries import progress
from ..queries.open_items import open_items
from ..queries.reading import read_census
from ..rules.reasons import REASONS
from ..rules.words import CensusState
from . import COMPARES, SIGNS
from .board import found_census


@require_http_methods(["GET", "POST"])
@requires(*COMPARES)
def census_sign(request: HttpRequest, code: str) -> HttpResponse:
    """Accuracy, losses and gains apart, what is unexplained, what is open; the button when nothing blocks."""
    census = found_census(code)
    form = NoteForm(request.POST or None)
    may_sign = may(request, *SIGNS)
    if request.method == "POST" and may_sign and form.is_valid():
        try:
            version = sign(
                census=census,
                by=person_of(request.user),
                now=clock.now(),
                zone=timezone.get_current_timezone(),
                note=form.cleaned_data["note"],
            )
        except CensusRefused as refused:
            messages.error(request, f"Not signed: {len(refused.problems)} items stand against it.")
        else:
            messages.success(request, f"{census.code} is signed: {version} is closed.")
        return redirect("census_sign", code)
    rows = read_census(census)
    context = {
        "census": census,
        "closed": census.state == CensusState.CLOSED,
        "accuracy": progress.accuracy_table(rows),
        "differences": progress.differences_by_unit(rows),
        "adjusted": progress.adjusted(rows, [reason.name for reason in REASONS if reason.unknown_cause]),
        "minimum": progress.minimum_counts(rows),
        "queries": progress.open_queries(rows),
        "one_counter": [row for row in rows if row.one_counter_only],
        "missing": [row for row in rows if row.missing],
        "open_items": open_items(census, rows, now=clock.now()),
        "form": form,
        "may_sign": may_sign,
    }
    return render(request, "rounds/sign.html", context)
