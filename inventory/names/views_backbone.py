"""The page of backbone releases: what is loaded and in use, what another would change, and taking it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from inventory.doors.clock import now
from inventory.people.access import may, person_of, requires

from .actions.adopt import ADOPTERS, AdoptionRefused, adopt
from .models import BackboneRelease
from .queries.compare import compared
from .queries.eras import adoptions, loaded_releases
from .store.sqlite import StoreMissing

_LOT = "lot:"


@requires()
@require_GET
def backbone(request: HttpRequest) -> HttpResponse:
    """Releases and adoptions; with ``?release=`` also what that one would change."""
    asked = request.GET.get("release", "")
    release = get_object_or_404(BackboneRelease, pk=asked) if asked.isdecimal() else None
    return _page(request, release)


@requires(*ADOPTERS)
@require_POST
def backbone_adopt(request: HttpRequest, pk: int) -> HttpResponse:
    """Takes the release into use, with the lots that were answered."""
    release = get_object_or_404(BackboneRelease, pk=pk)
    decisions = {
        field.removeprefix(_LOT): name
        for field, name in request.POST.items()
        if field.startswith(_LOT) and isinstance(name, str) and name
    }
    against = request.POST.get("against", "")
    try:
        done = adopt(
            release,
            by=person_of(request.user),
            now=now(),
            decisions=decisions,
            against=int(against) if against.isdecimal() else None,
        )
    except (AdoptionRefused, StoreMissing) as error:
        return _page(request, release, error=str(error))
    messages.success(
        request,
        f"{release} is in use now: {done.followed} names followed, {done.asked} were asked, "
        f"{done.lots_moved} lots moved. No count changed.",
    )
    return redirect("backbone")


def _page(request: HttpRequest, release: BackboneRelease | None, *, error: str = "") -> HttpResponse:
    releases = loaded_releases()
    context: dict[str, Any] = {
        "releases": releases,
        "current": next((one for one in releases if one.is_current), None),
        "adoptions": adoptions(),
        "may_adopt": may(request, *ADOPTERS),
        "error": error,
        "given": request.POST,
    }
    if release is not None and not release.is_current:
        try:
            context["found"] = compared(release)
        except StoreMissing as missing:
            context["error"] = error or str(missing)
    return render(request, "names/backbone.html", context, status=400 if context["error"] else 200)
