"""Collection records as a download."""

from datetime import date

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from inventory.book import blind
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..files.export import ARCHIVE, CSV, FORMS, XLSX, export
from ..models import Permit
from ..queries.collection_records import collection_records
from ..who import KEEPS

_TYPES = {
    CSV: ("csv", "text/csv; charset=utf-8"),
    XLSX: ("xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    ARCHIVE: ("zip", "application/zip"),
}


@require_safe
@requires()
def takes(request: HttpRequest, pk: int, form: str) -> HttpResponse:
    """All takes of a permit. Exact places are for who keeps the permits; ``?coarse=1`` hides them for all."""
    if form not in FORMS:
        raise Http404(f"{form} is not one of {', '.join(FORMS)}")
    permit = get_object_or_404(Permit.objects.select_related("authority"), pk=pk)
    found = collection_records(
        permit,
        as_of=_day(request.GET.get("as_of", "")),
        zone=timezone.get_current_timezone(),
        coarse=request.GET.get("coarse") == "1" or not may(request, *KEEPS),
        hidden=blind.hidden_from(person_of(request.user)),
    )
    if found.tells_of_hidden:
        raise PermissionDenied(
            "Some of these animals stand where you are counting. Hand your sheet in first; their numbers "
            "would pull your count to themselves."
        )
    ending, media_type = _TYPES[form]
    coarse = "-coarse" if found.coarse else ""
    response = HttpResponse(export(found, form), content_type=media_type)
    name = f"takes-{slugify(permit.number.replace('/', '-'))}-{found.as_of}{coarse}.{ending}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _day(typed: str) -> date:
    today = timezone.localdate(clock.now())
    try:
        return date.fromisoformat(typed) if typed else today
    except ValueError:
        raise Http404(f"{typed!r} is not a day; expected YYYY-MM-DD") from None
