"""Pages that read the book."""

from datetime import timedelta

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig  # type: ignore[import-untyped]

from inventory.doors import clock
from inventory.names.queries.lists import cautions_in, cautions_of_names, listings_of
from inventory.people.access import may, person_of, requires

from . import blind, found_later, pictured
from .forms import FindLotsForm
from .models import Event, Lot, LotKind, Place
from .queries import lists, story
from .queries.keeping import keepers_of
from .queries.ways_out import ways_out_of
from .rules.corrections import is_own_slip
from .rules.kinds import EventKind
from .rules.recording import offered
from .tables import LotTable, page_of_lots
from .who import CORRECTS, KEEPS_THE_LIST, PAPERS, RECORDS, TAKES_BACK

LOTS_ON_A_PAGE = 50
EVENTS_ON_A_PAGE = 100
# A place's page shows the newest events of this time; the lots' own stories go all the way back.
RECENT = timedelta(days=90)
EVENTS_OF_A_PLACE = 50


@require_safe
@requires()
def places(request: HttpRequest) -> HttpResponse:
    """The tree of places with what lives in each."""
    return render(request, "book/places.html", {"tree": lists.place_tree(hidden=_hidden(request))})


@require_safe
@requires()
def place(request: HttpRequest, code: str) -> HttpResponse:
    """What the book says lives here now, and what happened here lately."""
    found = get_object_or_404(Place.objects.select_related("parent"), code=code)
    hidden = _hidden(request)
    here = lists.lives_here(places=[found.pk], hidden=hidden)
    events = story.at_place(found, since=clock.now() - RECENT, limit=EVENTS_OF_A_PLACE, hidden=hidden)
    context = {
        "place": found,
        "children": found.children.all(),
        "here": here,
        "sums": lists.sums_by_unit(here),
        "hidden": found.pk in hidden,
        "cautions": cautions_of_names(row.scientific_name for row in here),
        "events": events,
        "days": RECENT.days,
        "kept_by": keepers_of(found, on=timezone.localdate(clock.now())),
        "ways_out": [way for way in ways_out_of(found) if way.until is None],
        "may_set_keepers": may(request, *KEEPS_THE_LIST),
    }
    return render(request, "book/place.html", context)


@require_safe
@requires()
def lots(request: HttpRequest) -> HttpResponse:
    """Looks for lots."""
    form = FindLotsForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    table = LotTable(lists.find_lots(**wanted))
    RequestConfig(request, paginate={"per_page": LOTS_ON_A_PAGE}).configure(table)
    shown = page_of_lots(table)
    table.where_now = lists.by_lot(lists.lives_here(lots=[lot.pk for lot in shown], hidden=_hidden(request)))
    table.caption = f"{table.paginator.count:,} {'lot' if table.paginator.count == 1 else 'lots'}"
    return render(request, "book/lots.html", {"form": form, "table": table})


@require_safe
@requires()
def lot(request: HttpRequest, accession: str) -> HttpResponse:
    """One lot's story: the facts, where it is now, and every event with both times."""
    found = get_object_or_404(Lot.objects.select_related("taxon"), accession=accession)
    hidden = _hidden(request)
    here = lists.lives_here(lots=[found.pk], hidden=hidden)
    listings = listings_of([found.taxon])[found.taxon_id]
    page = Paginator(story.steps_of(found)[::-1], EVENTS_ON_A_PAGE).get_page(request.GET.get("page"))
    told = story.tell_steps(list(page.object_list))
    records = offered(individual=found.kind == LotKind.INDIVIDUAL)
    context = {
        "lot": found,
        "here": here,
        "sums": lists.sums_by_unit(here),
        "hidden": any(row.hidden for row in here),
        "cautions": cautions_in({found.taxon: listings}),
        "listings": [one for one in listings if not one.is_hazard],
        "page": page,
        "story": told,
        "photographs": pictured.of_events([one.told.event.pk for one in told], hidden=hidden),
        "found_later": found_later.of_events([one.told.event.pk for one in told]),
        "records": [r for r in records if not r.papers] if may(request, *RECORDS) else [],
        "with_papers": [r for r in records if r.papers] if may(request, *PAPERS) else [],
        "flags": found.flags.filter(settled_at=None).select_related("owner", "place"),
        "picture": pictured.picture_of(found.taxon, found),
    }
    return render(request, "book/lot.html", context)


@require_safe
@requires()
def event(request: HttpRequest, pk: int) -> HttpResponse:
    """One event, whole: its flows, both times, who, its place in the chain, and its correction."""
    hidden = _hidden(request)
    told = story.tell([pk], hidden=hidden).get(pk)
    if told is None:
        raise Http404("no event has this number")
    can_take_back = (
        told.reversed_by is None
        and told.event.kind != EventKind.REVERSED
        and _takes_back(request, told.event)
    )
    context = {
        "told": told,
        "event": told.event,
        "before": story.before(told.event),
        "can_take_back": can_take_back,
        "flags": told.event.flags.select_related("owner", "lot", "place"),
        "photographs": pictured.of_events([pk], hidden=hidden).get(pk),
        "found_later": found_later.of_events([pk]).get(pk, []),
    }
    return render(request, "book/event.html", context)


def _takes_back(request: HttpRequest, event: Event) -> bool:
    """Registrar and curator whatever it is, others their own fresh slip."""
    if may(request, *CORRECTS):
        return True
    own_slip = is_own_slip(
        by=person_of(request.user).name,
        entered_by=event.entered_by.name,
        entered_at=event.entered_at,
        now=clock.now(),
    )
    return own_slip and may(request, *TAKES_BACK)


@require_safe
@requires()
def below_zero(request: HttpRequest) -> HttpResponse:
    """Every balance below zero, with its owner."""
    return render(request, "book/below_zero.html", {"rows": lists.below_zero(hidden=_hidden(request))})


def _hidden(request: HttpRequest) -> frozenset[int]:
    """Ids of the places whose numbers the reader may not see now."""
    return blind.hidden_from(person_of(request.user))
