"""Gives a kept paper back, always as a download: nothing that was uploaded is shown as a page."""

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from inventory.people.access import person_of, requires, roles_of

from .models import Document
from .queries.documents import read_document
from .withheld import why_closed


@require_safe
@requires()
def document(request: HttpRequest, sha256: str) -> HttpResponse:
    """The file as it came, under the name that it came with, for who may open a page that shows it."""
    found = get_object_or_404(Document, sha256=sha256)
    if why := why_closed(found, person_of(request.user), roles_of(request.user)):
        raise PermissionDenied(why)
    try:
        content = read_document(found)
    except ValueError as error:
        raise Http404(str(error)) from error
    response = HttpResponse(content, content_type=found.media_type)
    disposition = content_disposition_header(as_attachment=True, filename=found.name)
    response["Content-Disposition"] = disposition or "attachment"
    return response
