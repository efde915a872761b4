"""What the curator signs."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.refused import CensusRefused
from ..actions.signing import propose, reopen, send_back, sign
from ..forms import SignForm
from ..models import Census
from ..queries import progress
from ..queries.open_items import fallen_since, open_items
from ..queries.reading import read_census
from ..queries.settings import settings_of
from ..queries.signed import what_is_signed
from ..rules.reasons import REASONS
from ..rules.words import CensusState
from . import COMPARES, DECIDES, SIGNS
from .blindfold import not_while_counting
from .board import found_census

_PROPOSED_FROM = (CensusState.COMPARING, CensusState.SETTLING, CensusState.REOPENED)


@require_http_methods(["GET", "POST"])
@requires(*COMPARES, writes={*DECIDES, *SIGNS})
@not_while_counting
def census_sign(request: HttpRequest, code: str) -> HttpResponse:
    """Accuracy, losses and gains apart, what is unexplained, what is open; the button when nothing blocks."""
    census = found_census(code)
    form = SignForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            done = _step(request, census, form.cleaned_data["note"], form.cleaned_data["without_sample"])
        except CensusRefused as refused:
            messages.error(request, _told(refused))
        else:
            messages.success(request, done)
        return redirect("census_sign", code)
    settings, now = settings_of(census), clock.now()
    rows = read_census(census, settings=settings)
    context = {
        "census": census,
        "closed": census.state == CensusState.CLOSED,
        "accuracy": progress.accuracy_table(rows, settings),
        "differences": progress.differences_by_unit(rows),
        "adjusted": progress.adjusted(rows, [reason.name for reason in REASONS if reason.unknown_cause]),
        "minimum": progress.minimum_counts(rows),
        "queries": progress.open_queries(rows),
        "missing": [row for row in rows if row.missing],
        "open_items": open_items(census, rows),
        "fallen_since": [] if census.state == CensusState.CLOSED else fallen_since(census, now=now),
        "signed": what_is_signed(census, rows, now=now, zone=timezone.get_current_timezone()),
        "form": form,
        "may_sign": may(request, *SIGNS),
        "may_propose": may(request, *DECIDES) and census.state in _PROPOSED_FROM,
        "waiting": census.state == CensusState.WAITING,
    }
    return render(request, "rounds/sign.html", context)


def _step(request: HttpRequest, census: Census, note: str, without_sample: str) -> str:
    """Does what the button says, if this person may; gives the words for the page."""
    person, now = person_of(request.user), clock.now()
    step = request.POST.get("step", "sign")
    if step == "propose" and may(request, *DECIDES):
        propose(census=census, by=person, now=now)
        return f"{census.code} waits for the curator's signature."
    if step not in ("sign", "send_back", "reopen") or not may(request, *SIGNS):
        raise CensusRefused("This step is the curator's.")
    if step == "send_back":
        send_back(census=census, by=person, now=now, note=note)
        return f"{census.code} goes back to be settled."
    if step == "reopen":
        reopen(census=census, by=person, now=now, note=note)
        return f"{census.code} is open again; its next signature makes the next version."
    zone = timezone.get_current_timezone()
    version = sign(census=census, by=person, now=now, zone=zone, note=note, without_sample=without_sample)
    return f"{census.code} is signed: {version} is closed."


def _told(refused: CensusRefused) -> str:
    if len(refused.problems) == 1:
        return f"Nothing was done. {refused}"
    return f"Nothing was done: {len(refused.problems)} items stand against it, see below."
