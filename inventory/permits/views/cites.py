"""Trade in listed species: a year as page, csv and workbook; what an event was."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book import blind
from inventory.book.models import Event
from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.queries import the_house

from ..actions.cites import TradeRefused, state_trade
from ..files.trade_tables import trade_csv, trade_workbook
from ..forms.cites import TradeForm
from ..forms.parts import add_problems
from ..queries.cites import Crossing, crossings_of, year_of_trade, years_of_trade
from ..readers.cites_codes import PURPOSE, SOURCE, TERMS, UNITS, code_list
from ..rules.cites import plain
from ..who import KEEPS, READS_TRADE

_YEARS = range(1975, 2200)


@require_safe
@requires(*READS_TRADE)
def trade(request: HttpRequest) -> HttpResponse:
    """A calendar year of trade in listed species, and the codes with their sources."""
    this_year = timezone.localdate(clock.now()).year
    year = _year(request.GET.get("year", ""), this_year)
    found = year_of_trade(year, zone=timezone.get_current_timezone(), hidden=_hidden(request))
    context = {
        "found": found,
        "years": years_of_trade(this_year, zone=timezone.get_current_timezone()),
        "may_keep": may(request, *KEEPS),
        "lists": [code_list(name) for name in (SOURCE, PURPOSE, TERMS, UNITS)],
    }
    return render(request, "permits/trade.html", context)


@require_safe
@requires(*READS_TRADE)
def trade_file(request: HttpRequest, year: int, form: str) -> HttpResponse:
    """The table of a year as csv or xlsx."""
    if year not in _YEARS or form not in ("csv", "xlsx"):
        raise Http404("expected a year, and csv or xlsx")
    found = year_of_trade(year, zone=timezone.get_current_timezone(), hidden=_hidden(request))
    if form == "csv":
        content, media_type = trade_csv(found), "text/csv; charset=utf-8"
    else:
        house = the_house()
        content = trade_workbook(found, house=house.name if house else "")
        media_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    response = HttpResponse(content, content_type=media_type)
    response["Content-Disposition"] = f'attachment; filename="trade-{year}.{form}"'
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def trade_event(request: HttpRequest, pk: int, taxon: int) -> HttpResponse:
    """Says how animals of one kind crossed a border by one event; what was said before stays."""
    event = get_object_or_404(Event, pk=pk)
    crossings = crossings_of(event, hidden=_hidden(request))
    found = next((one for one in crossings if one.taxon.pk == taxon), None)
    if found is None:
        raise Http404("no list of trade in use names these animals, or the event crosses no border")
    form = TradeForm(request.POST or None, initial=_initial(found))
    if request.method == "POST" and form.is_valid():
        try:
            state_trade(crossing=found, stated=form.stated(), by=person_of(request.user), now=clock.now())
        except TradeRefused as refused:
            add_problems(form, refused.problems)
        else:
            messages.success(request, "It is kept.")
            # Back to the table of its year, which may not be this one.
            return redirect(f"{reverse('trade')}?year={timezone.localdate(event.effective_at).year}")
    return render(request, "permits/trade_event.html", {"form": form, "one": found})


def _initial(found: Crossing) -> dict[str, Any]:
    facts = found.facts
    if facts is None:
        # Live animals by number is what an aquarium moves; who states it looks at it.
        return {"quantity": found.n, "unit": "NAR", "term": "LIV"}
    names = ("trade", "country", "origin", "source", "purpose", "term", "unit", "papers")
    kept = {name: getattr(facts, name) for name in names}
    return kept | {"quantity": None if found.hidden else plain(facts.quantity)}


def _year(typed: str, this_year: int) -> int:
    year = int(typed) if typed.isascii() and typed.isdigit() and len(typed) == 4 else this_year
    if year not in _YEARS:
        raise Http404(f"{typed!r} is no year of the Convention; it is from 1975 on")
    return year


def _hidden(request: HttpRequest) -> frozenset[int]:
    return blind.hidden_from(person_of(request.user))
