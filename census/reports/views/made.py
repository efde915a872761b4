"""Saved reports, and files that are made beside the requests."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from census.change.blind import not_while_counting
from inventory.book.queries.documents import read_document
from inventory.book.rules.scope import Scope
from inventory.doors.clock import now
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from ..actions.jobs import due, work_soon
from ..actions.saved import NotSaved, ask_saved, end_report, save_report
from ..files.making import file_of
from ..forms import SaveForm
from ..models import ReportJob, SavedReport
from ..queries.layouts import LAYOUTS
from ..queries.made import job_rows, saved_rows, words_of
from ..rules.schedule import Every, PeriodRule

# Who keeps the list of saved reports.
SAVES = (Role.REGISTRAR, Role.CURATOR, Role.PERMIT_OFFICER)
ON_A_PAGE = 50


@require_safe
@requires()
def made(request: HttpRequest) -> HttpResponse:
    """Saved reports, and the newest files with how far they are. Looking at it wakes what was left undone."""
    if ReportJob.objects.filter(due(now())).exists():
        work_soon(file_of)
    form = SaveForm() if may(request, *SAVES) else None
    context = _made(request, request.GET.get("page"), form=form, may_save=may(request, *SAVES))
    return render(request, "reports/made.html", context)


@require_http_methods(["POST"])
@requires(*SAVES)
def save(request: HttpRequest) -> HttpResponse:
    """Saves a report to be made again."""
    form = SaveForm(request.POST)
    if form.is_valid():
        said = form.cleaned_data
        moment = now()
        try:
            found = save_report(
                name=said["name"],
                layout=said["layout"],
                subject=said["subject"],
                scope=Scope(said["scope"]),
                period_rule=PeriodRule(said["period_rule"]),
                form=said["form"],
                every=Every(said["every"]),
                day=said["day"],
                today=timezone.localdate(moment),
                by=person_of(request.user),
                now=moment,
            )
        except NotSaved as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"“{found}” is saved.")
            return redirect("reports_made")
    context = _made(request, 1, form=form, may_save=True)
    return render(request, "reports/made.html", context, status=400)


def _made(
    request: HttpRequest, number: str | int | None, *, form: SaveForm | None, may_save: bool
) -> dict[str, Any]:
    page = Paginator(job_rows(_closed_layouts(request)), ON_A_PAGE).get_page(number)
    return {
        "saved": saved_rows(),
        "page": page,
        "jobs": [(one, words_of(one)) for one in page],
        "form": form,
        "may_save": may_save,
    }


@require_POST
@requires(*SAVES)
def step(request: HttpRequest, pk: int, step: str) -> HttpResponse:
    """Makes a saved report now, or ends it."""
    found = get_object_or_404(SavedReport, pk=pk, ended_at=None)
    moment = now()
    if step == "end":
        end_report(report=found, by=person_of(request.user), now=moment)
        messages.success(request, f"“{found}” is not made any more; its files stay.")
        return redirect("reports_made")
    if step != "make":
        raise Http404("A saved report is made or ended.")
    _may_read(request, found.layout)
    try:
        today = timezone.localdate(moment)
        job = ask_saved(report=found, by=person_of(request.user), today=today, now=moment)
    except NotSaved as error:
        messages.error(request, str(error))
        return redirect("reports_made")
    work_soon(file_of)
    return redirect("report_job", job.pk)


@require_safe
@requires()
def job(request: HttpRequest, pk: int) -> HttpResponse:
    """One file: how far it is, and where it can be fetched."""
    found = _job(request, pk)
    if ReportJob.objects.filter(due(now()), pk=pk).exists():
        work_soon(file_of)
    return render(
        request,
        "reports/job.html",
        {"job": found, "called": words_of(found), "layout": LAYOUTS.get(found.layout)},
    )


@require_safe
@requires()
def job_state(request: HttpRequest, pk: int) -> JsonResponse:
    """The same for the page's own script."""
    found = _job(request, pk)
    return JsonResponse({"state": found.state, "rows": found.rows, "done": found.rows_done})


@require_safe
@requires()
def job_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The file as it was made; none for who is counting."""
    return not_while_counting(lambda asked: _file(asked, pk))(request)


def _file(request: HttpRequest, pk: int) -> HttpResponse:
    found = _job(request, pk)
    if found.document is None:
        raise Http404("This file is not made; its page says how far it is.")
    try:
        content = read_document(found.document)
    except ValueError as error:
        raise Http404(str(error)) from error
    disposition = content_disposition_header(True, found.document.name) or "attachment"
    return HttpResponse(
        content, content_type=found.document.media_type, headers={"Content-Disposition": disposition}
    )


def _job(request: HttpRequest, pk: int) -> ReportJob:
    found = get_object_or_404(ReportJob.objects.select_related("document", "asked_by", "saved"), pk=pk)
    _may_read(request, found.layout)
    return found


def _may_read(request: HttpRequest, layout: str) -> None:
    if layout in _closed_layouts(request):
        raise PermissionDenied("This report is not for your role.")


def _closed_layouts(request: HttpRequest) -> list[str]:
    """Layouts that the reader's roles may not open."""
    return [one.name for one in LAYOUTS.values() if one.roles and not may(request, *one.roles)]
