"""Help while counting: plain questions, a number with its range, and that on the line. It knows no book."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from census.estimators.rules.estimate import CannotEstimate, Estimate
from census.estimators.rules.written import BadValue
from inventory.doors import clock
from inventory.people.access import person_of, requires

from ..actions.counts import Entry, take_counts
from ..actions.refused import CensusRefused
from ..forms.helping import QuestionsForm, WriteOnLineForm
from ..models import Sheet
from ..queries.blind import BlindLine, blind_sheet
from ..rules.count_help import BY_METHOD, HELPS, Answer, CountHelp, NoUpperLimit, estimated, written
from ..rules.states import SHEETS_OPEN
from ..rules.words import SheetState
from . import COUNTS
from .sheet import found_sheet, round_of


@require_safe
@requires(*COUNTS)
def count_help_list(request: HttpRequest) -> HttpResponse:
    """The ways to count, for the line in the question of the address."""
    line = _line(request)
    return render(request, "rounds/count_help_list.html", {"helps": HELPS, "for_line": line})


@require_http_methods(["GET", "POST"])
@requires(*COUNTS)
def count_help(request: HttpRequest, method: str) -> HttpResponse:
    """The questions of one way. GET with answers gives the number; POST writes it on the line."""
    help_ = BY_METHOD.get(method)
    if help_ is None:
        raise Http404(f"no help with counting is called {method}")
    for_line = _line(request)
    asked = any(question.name in request.GET for question in help_.questions)
    form = QuestionsForm(help_, request.GET if asked else None)
    context: dict[str, Any] = {"help": help_, "form": form, "for_line": for_line}
    if asked and form.is_valid():
        found = _estimate(help_, form)
        if found is not None:
            estimate, answer, why = found
            context |= {"estimate": estimate, "answer": answer, "why_not": why}
            if answer is not None and for_line is not None:
                done = _write(request, for_line, answer, context)
                if done is not None:
                    return done
    return render(request, "rounds/count_help.html", context)


def _estimate(help_: CountHelp, form: QuestionsForm) -> tuple[Estimate, Answer | None, str] | None:
    """The estimate, what would be written, or why nothing is; None when the answers give no number."""
    try:
        estimate = estimated(help_, form.answers())
    except (BadValue, CannotEstimate) as error:
        form.add_error(None, str(error))
        return None
    try:
        return estimate, written(help_, form.answers(), estimate), ""
    except NoUpperLimit as error:
        return estimate, None, str(error)


@dataclass(frozen=True, slots=True)
class _ForLine:
    """The line that the help is for, as its counter sees it."""

    sheet: Sheet
    line: BlindLine
    round: int

    @property
    def open(self) -> bool:
        return SheetState(self.sheet.state) in SHEETS_OPEN


def _line(request: HttpRequest) -> _ForLine | None:
    """From the question of the address; nothing when none is named, or it is not the person's to count."""
    number, line = request.GET.get("sheet", ""), request.GET.get("line", "")
    if not number or not line.isdecimal():
        return None
    sheet, person = found_sheet(number), person_of(request.user)
    round_ = round_of(request, sheet, person)
    blind = blind_sheet(sheet, round=round_, person=person)
    found = next((one for one in blind.lines if one.number == int(line)), None)
    return None if found is None or found.presence or found.individuals else _ForLine(sheet, found, round_)


def _write(
    request: HttpRequest, for_line: _ForLine, answer: Answer, context: dict[str, Any]
) -> HttpResponse | None:
    """Writes the answer on POST, and leads back to the sheet; else puts the form into ``context``."""
    now, person = clock.now(), person_of(request.user)
    initial = {"counted_at": timezone.localtime(now).strftime("%Y-%m-%dT%H:%M")}
    form = WriteOnLineForm(request.POST or None, initial=initial)
    context["write_form"] = form
    if request.method != "POST" or not form.is_valid():
        return None
    entry = Entry(
        line=for_line.line.number,
        counted_at=form.cleaned_data["counted_at"],
        counter=person,
        value=answer.value,
        low=answer.low,
        high=answer.high,
        method=answer.method,
    )
    try:
        take_counts(sheet=for_line.sheet, entries=[entry], by=person, now=now, round=for_line.round)
    except CensusRefused as refused:
        form.add_error(None, list(refused.problems))
        return None
    messages.success(
        request, f"Line {entry.line}: {answer.value}, {answer.low} to {answer.high}, is written."
    )
    address = reverse("sheet", args=[for_line.sheet.number])
    return redirect(address + (f"?round={for_line.round}" if for_line.round > 1 else ""))
