"""Pages of the populations: one for each question."""

from collections.abc import Callable, Collection
from functools import wraps
from io import StringIO
from itertools import count
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from census.change.blind import not_while_counting
from census.rounds.rules.who import COMPARES
from inventory.db.moment import one_moment
from inventory.doors.clock import now
from inventory.doors.output import write_rows
from inventory.people.access import may, requires

from .forms import AskedForm
from .writers.methods import METHODS, Method
from .writers.setting import Setting

_Answered = Callable[[HttpRequest, Method, AskedForm], HttpResponse]


def _of_a_method(view: _Answered) -> Callable[[HttpRequest, str], HttpResponseBase]:
    """A view that is given the method and its valid form; anything else is answered here."""

    @wraps(view)
    def answered(request: HttpRequest, name: str) -> HttpResponse:
        if name not in METHODS:
            raise Http404(f"There is no page “{name}”; there are: {', '.join(METHODS)}.")
        method = METHODS[name]

        def answer(asked: HttpRequest) -> HttpResponse:
            form = _form(asked, more=method.fields)
            if not form.is_valid():
                return render(asked, "population/answer.html", _context(method, form), status=400)
            return view(asked, method, form)

        return not_while_counting(answer)(request)

    return requires()(answered)


@require_safe
@requires()
@not_while_counting
def populations(request: HttpRequest) -> HttpResponse:
    """The questions that can be asked, with the scope to ask them of."""
    form = _form(request)
    context = {"form": form, "methods": METHODS.values(), "address": urlencode(form.address())}
    return render(request, "population/populations.html", context, status=200 if form.is_valid() else 400)


@require_safe
@_of_a_method
def population(request: HttpRequest, method: Method, form: AskedForm) -> HttpResponse:
    """One question answered."""
    with one_moment():
        answer = method.answer(form.cleaned_data["asked"], _setting(request))
    numbered = count(1)
    # The charts are made by inventory.doors.svg, which escapes whatever is written into it.
    sections = [
        (one, [mark_safe(chart) for chart in one.charts], next(numbered) if one.table is not None else 0)
        for one in answer.sections
    ]
    asked = form.cleaned_data["asked"]
    return render(
        request, "population/answer.html", {**_context(method, form), "sections": sections, "asked": asked}
    )


@require_safe
@_of_a_method
def population_csv(request: HttpRequest, method: Method, form: AskedForm) -> HttpResponse:
    """One table of a page as csv: the first, or the one that ``part`` numbers."""
    with one_moment():
        answer = method.answer(form.cleaned_data["asked"], _setting(request))
    tables = [one.table for one in answer.sections if one.table is not None]
    part = request.GET.get("part") or "1"
    if not part.isdecimal() or not 1 <= int(part) <= len(tables):
        raise Http404(f"This page has {len(tables)} tables; ask for one of them by its number in “part”.")
    table = tables[int(part) - 1]
    out = StringIO()
    write_rows(table.records(), [key for key, _ in table.columns], "csv", out)
    name = f"population_{method.name}_{part}.csv"
    kind, headers = "text/csv; charset=utf-8", {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(out.getvalue().encode(), content_type=kind, headers=headers)


def _context(method: Method, form: AskedForm) -> dict[str, Any]:
    return {
        "form": form,
        "method": method,
        "methods": METHODS.values(),
        "address": urlencode({key: value for key, value in form.address().items() if key in form.fields}),
    }


def _form(request: HttpRequest, *, more: Collection[str] = ()) -> AskedForm:
    return AskedForm(request.GET, today=timezone.localdate(now()), more=more)


def _setting(request: HttpRequest) -> Setting:
    return Setting(timezone.get_current_timezone(), compares=may(request, *COMPARES))
