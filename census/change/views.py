"""Pages of the population change: the report, the events behind a figure, and the two files."""

from datetime import date
from io import BytesIO, StringIO
from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.doors.clock import now
from inventory.doors.output import write_rows
from inventory.names.models import Taxon
from inventory.people.access import requires

from .blind import not_while_counting
from .files.running import said_on_each
from .files.workbook import write_workbook
from .forms import FORMS, FigureForm, QuestionForm
from .queries.behind import Behind, behind, lines_of
from .queries.head import newest_periods, report_head
from .queries.remembered import remembered_report
from .rules.figures import heading_of
from .rules.question import Question
from .rules.words import running_in_words, ties_in_words, title_of
from .tables import in_order, unit_tables

ROWS_ON_A_PAGE = 200
EVENTS_ON_A_PAGE = 200


@require_safe
@requires()
@not_while_counting
def change(request: HttpRequest) -> HttpResponse:
    """The report of the question in the address."""
    form = _asked(request)
    if not form.is_valid():
        return render(request, "change/change.html", {"form": form, "periods": newest_periods()}, status=400)
    question = form.cleaned_data["question"]
    zone = timezone.get_current_timezone()
    report = remembered_report(question, zone=zone)
    sort = form.cleaned_data["sort"]
    pages = Paginator(in_order(report.rows, question.by, sort), ROWS_ON_A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    full = form.cleaned_data["show"] == "full"
    context = {
        "form": form,
        "periods": newest_periods(),
        "question": question,
        "head": report_head(report, zone=zone),
        "report": report,
        "tables": unit_tables(
            report,
            list(page.object_list),
            asked=form.address(),
            full=full,
            grouped=sort == "name",
        ),
        "page": page,
        "shown_at": now(),
        "full": full,
        "forms": FORMS,
        "address": urlencode(form.address()),
        "ties": ties_in_words(report.named_untied),
        "running": running_in_words(question, timezone.localdate(now())),
        "young_most": {unit: report.young_most(unit) for unit in report.totals},
    }
    return render(request, "change/change.html", context)


@require_safe
@requires()
@not_while_counting
def change_events(request: HttpRequest) -> HttpResponse:
    """The events behind one figure, with their sum."""
    form, figure_form = _asked(request), FigureForm(request.GET)
    if not (form.is_valid() and figure_form.is_valid()):
        return render(request, "change/events.html", {"form": form, "figure_form": figure_form}, status=400)
    question: Question = form.cleaned_data["question"]
    figure = figure_form.cleaned_data["figure"]
    selection = figure_form.selection(question.by)
    found = behind(question, figure, selection, zone=timezone.get_current_timezone())
    page = Paginator(found.counted, EVENTS_ON_A_PAGE).get_page(request.GET.get("page"))
    context: dict[str, Any] = {
        "question": question,
        "title": title_of(question),
        "figure": figure,
        "heading": heading_of(figure),
        "selection": selection,
        "taxon": _printed(found, selection.taxon_id or 0),
        "group": figure_form.group_label(question.by),
        "found": found,
        "lines": lines_of(page.object_list),
        "page": page,
        "address": urlencode(form.address()),
        "here": urlencode({**form.address(), **figure_form.address()}),
    }
    return render(request, "change/events.html", context)


@require_safe
@requires()
@not_while_counting
def change_workbook(request: HttpRequest) -> HttpResponse:
    """The workbook of the question in the address."""
    form = _asked(request)
    if not form.is_valid():
        return render(request, "change/change.html", {"form": form}, status=400)
    question = form.cleaned_data["question"]
    out = BytesIO()
    write_workbook(question, out, made_at=now(), zone=timezone.get_current_timezone())
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return _file(out.getvalue(), kind, question, "xlsx")


@require_safe
@requires()
@not_while_counting
def change_csv(request: HttpRequest) -> HttpResponse:
    """The report as csv, with the columns of the command."""
    form = _asked(request)
    if not form.is_valid():
        return render(request, "change/change.html", {"form": form}, status=400)
    question = form.cleaned_data["question"]
    report = remembered_report(question, zone=timezone.get_current_timezone())
    out = StringIO()
    running = running_in_words(question, timezone.localdate(now()), say=date.isoformat)
    write_rows(*said_on_each(report.records(), report.columns(), running), "csv", out)
    return _file(out.getvalue().encode(), "text/csv; charset=utf-8", question, "csv")


def _asked(request: HttpRequest) -> QuestionForm:
    return QuestionForm(request.GET, today=timezone.localdate(now()))


def _printed(found: Behind, taxon_id: int) -> Taxon | None:
    if found.names is not None:
        return found.names.taxa.get(taxon_id)
    return Taxon.objects.filter(pk=taxon_id).first()


def _file(content: bytes, kind: str, question: Question, ending: str) -> HttpResponse:
    name = f"population_change_{question.first_day}_{question.last_day}_by_{question.by}.{ending}"
    return HttpResponse(
        content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
