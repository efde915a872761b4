"""The page of a history: everything that was ever said about one lot, place or permit."""

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.people.access import person_of, requires

from . import blind
from .history import About, page_of
from .queries.history import ORDERS, subject_of, touches
from .queries.history import history as history_of
from .queries.story import tell

ON_A_PAGE = 500


@require_safe
@requires()
def history(request: HttpRequest, kind: str, key: str) -> HttpResponse:
    """In order of happening or of entry, five hundred to a page; what was refused is in it."""
    if kind not in set(About):
        raise Http404(f"A history is of a {', a '.join(About)}.")
    subject = subject_of(About(kind), key)
    if subject is None:
        raise Http404(f"The book has no {kind} called “{key}”.")
    order = request.GET.get("order", "")
    order = order if order in ORDERS else "happened"
    context = {"subject": subject, "order": order, "orders": ORDERS, "own_page": page_of(subject)}
    if touches(subject, blind.hidden_from(person_of(request.user))):
        return render(request, "book/history.html", {**context, "hidden": True})
    told = history_of(subject, order=order, zone=timezone.get_current_timezone())
    if not told and subject.kind is About.PERMIT:
        raise Http404(f"Nobody has said anything about a permit “{key}”.")
    page = Paginator(told, ON_A_PAGE).get_page(request.GET.get("page"))
    events = tell([one.event for one in page if one.event])
    context["page"] = page
    context["rows"] = [(one, events.get(one.event)) for one in page]
    context["refused"] = sum(one.refused for one in told)
    return render(request, "book/history.html", context)
