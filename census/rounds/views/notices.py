"""What people of one role have to hear of, until they say that they have."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.doors.chosen import number_of
from inventory.people.access import person_of, requires, roles_of
from inventory.people.rules.roles import Role

from ..actions.refused import CensusRefused
from ..actions.telling import see
from ..models import Notice


@require_http_methods(["GET", "POST"])
@requires(Role.REGISTRAR, Role.CURATOR, Role.PERMIT_OFFICER)
def notices(request: HttpRequest) -> HttpResponse:
    """The notices of one's own roles, newest first; POST says that one was seen."""
    mine = Notice.objects.filter(role__in=[role.value for role in roles_of(request.user)])
    if request.method == "POST":
        notice = get_object_or_404(mine, pk=number_of(request, "notice"))
        try:
            see(notice=notice, by=person_of(request.user), now=clock.now())
        except CensusRefused as refused:
            messages.error(request, str(refused))
        return redirect("notices")
    shown = mine.select_related("raised_by", "seen_by", "line__sheet", "post").order_by("-raised_at", "-id")
    return render(request, "rounds/notices.html", {"notices": shown[:200]})
