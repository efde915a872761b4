"""Closed periods: their versions and papers, what came late, and restating."""

import json

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book import blind
from inventory.book.models import Period, VersionStatement
from inventory.book.statements import CHANGED
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.refused import CensusRefused
from ..actions.restating import approve_restatement, ask_restatement, refuse_restatement
from ..forms import NoteForm
from ..queries.late import late_in, restatement_under_way
from ..queries.settings import settings_in_use
from ..rules.words import CensusState
from . import COMPARES, DECIDES, SIGNS


def _refuse_who_counts(request: HttpRequest) -> None:
    """Papers hold every number of the house: nobody reads them while they count."""
    if blind.hidden_from(person_of(request.user)):
        raise PermissionDenied(
            "You are counting now; the figures of a closed period would tell you a number."
        )


@require_safe
@requires(*COMPARES)
def periods(request: HttpRequest) -> HttpResponse:
    """All periods with their versions, newest first."""
    found = Period.objects.prefetch_related("versions__signed_by", "restatements").order_by("-ends_on")
    return render(request, "rounds/periods.html", {"periods": found})


@require_http_methods(["GET", "POST"])
@requires(*COMPARES, writes={*DECIDES, *SIGNS})
def period(request: HttpRequest, code: str) -> HttpResponse:
    """One period: versions with their papers, late entries, what asks to restate, changed figures."""
    found = get_object_or_404(Period, code=code)
    if request.method == "POST":
        try:
            _step(request, found)
        except CensusRefused as refused:
            messages.error(request, f"Nothing was done. {refused}")
        return redirect("period", code)
    _refuse_who_counts(request)
    zone = timezone.get_current_timezone()
    under_way = restatement_under_way(found)
    versions = list(found.versions.select_related("signed_by").prefetch_related("statements"))
    context = {
        "period": found,
        "versions": [
            (version, [(paper.name, paper.sha256) for paper in version.statements.all()])
            for version in versions
        ],
        "late": late_in(found, settings=settings_in_use(), zone=zone),
        "restatements": found.restatements.select_related("asked_by", "approved_by", "new_version"),
        "waiting": under_way if under_way and under_way.approved_at is None else None,
        "reopened": under_way if under_way and under_way.approved_at else None,
        "census": found.censuses.filter(state=CensusState.REOPENED.value).first(),
        "next_version": versions[-1].number + 1 if versions else 1,
        "changed": [(version.number, _changed(version.pk)) for version in versions if version.number > 1],
        "form": NoteForm(),
        "may_ask": may(request, *DECIDES) and bool(versions),
        "may_approve": may(request, *SIGNS),
    }
    return render(request, "rounds/period.html", context)


@require_safe
@requires(*COMPARES)
def paper(request: HttpRequest, code: str, number: int, name: str) -> HttpResponse:
    """A paper of a closing, byte for byte as it was made, always as a download."""
    _refuse_who_counts(request)
    found = VersionStatement.objects.filter(
        version__period__code=code, version__number=number, name=name
    ).first()
    if found is None:
        raise Http404(f"{code} version {number} has no paper called {name!r}.")
    response = HttpResponse(bytes(found.content), content_type=found.media_type)
    suffix = next((end for end in ("json", "pdf") if end in found.media_type), "txt")
    called = f"{code} version {number} {name}.{suffix}"
    response["Content-Disposition"] = content_disposition_header(True, called) or "attachment"
    return response


def _step(request: HttpRequest, found: Period) -> None:
    person, now, step = person_of(request.user), clock.now(), request.POST.get("step", "")
    note = request.POST.get("note", "")
    if step == "ask":
        ask_restatement(period=found, why=note, by=person, now=now, zone=timezone.get_current_timezone())
        messages.success(request, f"The curator is asked to restate {found}.")
        return
    waiting = found.restatements.filter(approved_at=None).first()
    if waiting is None:
        raise CensusRefused("No restatement waits for a decision.")
    if step == "approve":
        zone = timezone.get_current_timezone()
        done = approve_restatement(restatement=waiting, by=person, now=now, zone=zone, note=note)
        told = (
            f"closed as {done.new_version}" if done.new_version else "open again until its census is signed"
        )
        messages.success(request, f"{found} is {told}.")
    elif step == "refuse":
        refuse_restatement(restatement=waiting, by=person, now=now, note=note)
        messages.success(request, f"{found} stays as it was reported; the entries stay late ones.")
    else:
        raise CensusRefused("Choose what to do.")


def _changed(version_id: int) -> list[dict[str, object]]:
    """The changed figures as they were kept at that closing, with a column's name as people write it."""
    kept = VersionStatement.objects.filter(version_id=version_id, name=CHANGED).first()
    rows: list[dict[str, object]] = json.loads(bytes(kept.content)) if kept else []
    return [{**row, "figure": str(row["figure"]).replace("_mfu", " m.f.u").replace("_", " ")} for row in rows]
