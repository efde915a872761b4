"""The paper that travels with animals."""

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from inventory.book import blind
from inventory.book.models import Event
from inventory.book.queries import story
from inventory.book.rules.days import happened_in_words
from inventory.people.access import person_of, requires

from ..files.transport_pdf import transport_pdf
from ..queries.transport import transport_of


@require_safe
@requires()
def transport_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """PDF of a departure: what was sent for good, lent or given back."""
    event = get_object_or_404(Event, pk=pk)
    if story.tell([pk], hidden=blind.hidden_from(person_of(request.user)))[pk].hidden:
        raise PermissionDenied(
            "Some of these animals stand where you are counting. Hand your sheet in first; their numbers "
            "would pull your count to themselves."
        )
    found = transport_of(event)
    if found is None:
        raise Http404("papers are made for animals that were sent, lent or given back")
    content = transport_pdf(found, when=happened_in_words(event.happened))
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="transport-{pk}.pdf"'
    return response
