"""No report for who is counting: see :mod:`inventory.book.blind`.

Not only the rows of the places that are hidden: a total less the other rows gives them away, and
so does a taxon that lives nowhere else.
"""

from collections.abc import Callable
from functools import wraps

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.book import blind
from inventory.book.models import Place
from inventory.people.access import person_of

View = Callable[[HttpRequest], HttpResponse]


def not_while_counting(view: View) -> View:
    """Decorates a view below ``@requires()``: who counts now gets a page (403) that says why."""

    @wraps(view)
    def guarded(request: HttpRequest) -> HttpResponse:
        hidden = blind.hidden_from(person_of(request.user))
        if hidden:
            places = Place.objects.filter(pk__in=hidden).order_by("code")
            return render(request, "change/counting.html", {"places": places}, status=403)
        return view(request)

    return guarded
