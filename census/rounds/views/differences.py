"""The counts beside the book, for those who decide; never for those who count."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.recounts import ask_recount
from ..actions.refused import CensusRefused
from ..actions.settle_many import settle_many
from ..forms import DecisionForm, RecountForm
from ..models import Line
from ..queries.evidence import explanations
from ..queries.find import NotFound, line_called
from ..queries.progress import closing_supported
from ..queries.reading import Row, read_census
from ..rules.hypotheses import Hypothesis
from ..rules.settling import POSTING
from ..rules.words import How, LineState
from . import COMPARES, DECIDES
from .board import found_census

SHOWS = {
    "open": "to be settled",
    "outside": "outside tolerance",
    "uncounted": "not counted",
    "settled": "settled",
    "all": "all lines",
}


@require_safe
@requires(*COMPARES)
def differences(request: HttpRequest, code: str) -> HttpResponse:
    """Every line with book, counts, difference, tolerance, verdict and evidence; filtered by ``show``."""
    census = found_census(code)
    show = request.GET.get("show", "open")
    if show not in SHOWS:
        show = "open"
    rows = read_census(census)
    guesses = explanations(census, rows)
    chosen = [row for row in rows if _shown(row, show)]
    upto = max((round_ for row in chosen for part in row.parts for round_ in part.counts), default=1)
    context = {
        "census": census,
        "show": show,
        "prefix": f"{census.code}-",
        "upto": upto,
        "rounds": range(1, upto + 1),
        "columns": 9 + upto,
        "shows": [(name, words, sum(_shown(row, name) for row in rows)) for name, words in SHOWS.items()],
        "lines": [(row, guesses.get(row.line.pk, [])[:2]) for row in chosen],
    }
    return render(request, "rounds/differences.html", context)


@require_http_methods(["GET", "POST"])
@requires(*COMPARES)
def census_line(request: HttpRequest, number: str, line: int) -> HttpResponse:
    """One line: its counts, the evidence, the decisions so far, and the form to decide it."""
    found = _line(number, line)
    census = found_census(found.sheet.census.code)
    rows = read_census(census)
    row = _row_of(rows, found)
    decides = may(request, *DECIDES)
    form = DecisionForm(request.POST or None, initial=_suggested(request))
    if request.method == "POST" and decides and form.is_valid():
        asked, problems = form.asked(str(found))
        try:
            if asked is None:
                raise CensusRefused(*problems)
            settle_many(
                census=census,
                asked=[asked],
                by=person_of(request.user),
                now=clock.now(),
                zone=timezone.get_current_timezone(),
            )
        except CensusRefused as refused:
            form.add_error(None, list(refused.problems))
        else:
            messages.success(request, f"{found}: decided.")
            return redirect("census_line", number, line)
    context = {
        "census": census,
        "row": row,
        "chosen": found,
        "closing": closing_supported(row),
        "guesses": _with_links(found, explanations(census, rows).get(row.line.pk, [])),
        "form": form if decides else None,
        "recount_form": RecountForm(),
        "decisions": [decision for part in row.parts for decision in part.decisions],
    }
    return render(request, "rounds/line.html", context)


@require_http_methods(["POST"])
@requires(*DECIDES)
def recount(request: HttpRequest, number: str, line: int) -> HttpResponse:
    """Asks another person to count the line (all lines of a joined set) again."""
    found = _line(number, line)
    form = RecountForm(request.POST)
    if form.is_valid():
        row = _row_of(read_census(found.sheet.census), found)
        try:
            ask_recount(
                lines=[part.line for part in row.parts],
                of=form.cleaned_data["of"],
                by=person_of(request.user),
                now=clock.now(),
            )
        except CensusRefused as refused:
            messages.error(request, str(refused))
        else:
            messages.success(request, f"{found}: a recount is asked of {form.cleaned_data['of'].name}.")
    return redirect("census_line", number, line)


def _shown(row: Row, show: str) -> bool:
    return {
        "open": row.needs_settling,
        "outside": row.state in (LineState.OUTSIDE, LineState.CONFIRMED, LineState.RECOUNT),
        "uncounted": not row.counted,
        "settled": row.state is LineState.SETTLED,
        "all": True,
    }[show]


def _line(number: str, line: int) -> Line:
    try:
        return line_called(f"{number} line {line}")
    except NotFound as error:
        raise Http404(str(error)) from error


def _row_of(rows: Sequence[Row], line: Line) -> Row:
    for row in rows:
        if any(part.line.pk == line.pk for part in row.parts):
            return row
    raise Http404(f"{line} is on a sheet that was replaced")


def _suggested(request: HttpRequest) -> dict[str, Any]:
    """What a guess that was followed fills in; the person still decides and saves."""
    return {name: request.GET[name] for name in DecisionForm.base_fields if name in request.GET}


def _with_links(line: Line, guesses: Sequence[Hypothesis]) -> list[tuple[Hypothesis, str, str]]:
    """Each guess with the address that fills in the form for it (empty: nothing to do), and the line
    that the form is of where it is another one: it gave the animals that this one got."""
    return [(guess, *_link(line, guess)) for guess in guesses]


def _link(line: Line, guess: Hypothesis) -> tuple[str, str]:
    if guess.how is None:
        return "", ""
    on, filled = str(line), _filled(guess, guess.how)
    if "to_line" in filled and guess.explains > 0:
        on, filled["to_line"] = str(filled["to_line"]), on
    sheet, _, number = on.partition(" line ")
    page = reverse("census_line", args=[sheet, int(number)])
    return f"{page}?{urlencode(filled)}#decide", "" if on == str(line) else on


# Stated on the line that gave the animals, with the reason that goes with it.
_GIVES = {How.LATE_MOVE: "late move", How.CHANGE_OF_NAME: "look-alike"}


def _filled(guess: Hypothesis, how: How) -> dict[str, str | int]:
    filled: dict[str, str | int] = {"how": how.value}
    if how in POSTING:
        filled["n"] = guess.explains if how is How.ADJUSTMENT else abs(guess.explains)
    if how in _GIVES:
        filled["reason"] = _GIVES[how]
        filled["to_line"] = guess.other.split(" + ")[0]  # a joined set: its first line
    if guess.accessions:
        filled["accessions"] = " ".join(guess.accessions)
    if guess.event:
        filled |= {"kind": "reversed", "reverses": guess.event, "reason": "double entry"}
        del filled["n"]
    return filled
