"""The page of one taxon: cautions first, then what the law says, where it lives, what it is called.

It stands in the book, which knows where animals live; what names and lists say is asked of that room.
"""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from inventory.names.models import Taxon
from inventory.names.queries.lists import listings_of
from inventory.names.queries.one_taxon import names_of
from inventory.names.queries.store import current_release
from inventory.names.rules.lists import NOT_MEDICAL_ADVICE
from inventory.people.access import person_of, requires

from . import blind, pictured
from .queries import lists

RANKS = ("kingdom", "phylum", "class_name", "order", "family", "genus")


@require_safe
@requires()
def taxon(request: HttpRequest, scientific_name: str) -> HttpResponse:
    """One taxon of the house."""
    found = get_object_or_404(Taxon.objects.select_related("joined_into"), scientific_name=scientific_name)
    listings = listings_of([found])[found.pk]
    hazards = [listing for listing in listings if listing.is_hazard]
    here = lists.lives_here(
        lots=list(found.lots.values_list("pk", flat=True)), hidden=blind.hidden_from(person_of(request.user))
    )
    context = {
        "taxon": found,
        "hazards": [hazard for hazard in hazards if not hazard.reason.is_general],
        "general": [hazard for hazard in hazards if hazard.reason.is_general],
        "listings": [listing for listing in listings if not listing.is_hazard],
        "advice": NOT_MEDICAL_ADVICE,
        "classification": [
            (rank.removesuffix("_name"), name) for rank in RANKS if (name := getattr(found, rank))
        ],
        "here": here,
        "sums": lists.sums_by_unit(here),
        "hidden": any(row.hidden for row in here),
        "names": names_of(found),
        "release": current_release(),
        "picture": pictured.picture_of(found),
    }
    return render(request, "book/taxon.html", context)
