"""Pages with numbers of every tank are closed to who is counting one: see :mod:`inventory.book.blind`."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from inventory.book import blind
from inventory.people.access import person_of

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def is_counting(request: HttpRequest) -> bool:
    """True while the person has a sheet to count, whatever other roles they have."""
    return bool(blind.hidden_from(person_of(request.user)))


def not_while_counting(view: View[P]) -> View[P]:
    """Decorates a view below ``@requires()``. In a small house who decides also counts: until the own sheets
    are handed in, the differences of all tanks wait."""

    @wraps(view)
    def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if is_counting(request):
            raise PermissionDenied(
                "You are counting now: this page would tell you a number of your tank. "
                "Hand in your sheets first."
            )
        return view(request, *args, **kwargs)

    return guarded
