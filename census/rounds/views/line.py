"""One difference: its counts, what happened around them, the proposals, and one action for each."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from census.differences.rules.facts import Line as LineFacts
from census.differences.rules.facts import Passage
from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.models import Person

from ..actions.accept import Under, accept_proposals, ask_for_proposals, refuse_proposal
from ..actions.approving import ask_as_stated
from ..actions.recounts import ask_recount
from ..actions.refused import CensusRefused
from ..actions.settle_many import settle_many
from ..forms import DecisionForm, ProposalForm, RecountForm, way_forms
from ..models import ApprovalAsked, Census, Line
from ..queries.approvals import approvals
from ..queries.explaining import Answer, answer
from ..queries.find import NotFound, line_called
from ..queries.pool_shares import pool_shares
from ..queries.progress import closing_supported
from ..queries.quality import quality
from ..queries.reading import Row, read_census
from ..queries.settings import settings_of
from ..queries.waiting import waiting_about
from ..rules.approval import ApprovalNeeded
from ..rules.hypotheses import Hypothesis, notes_on
from ..rules.steps import Step
from . import COMPARES, DECIDES
from .blindfold import not_while_counting
from .board import found_census
from .differences import open_ones

# So many events around the count are shown; the lot's own story has all of them.
EVENTS = 15


@dataclass(frozen=True, slots=True)
class Offered:
    """A proposal as the page shows it. ``change``: address that fills in the form, on line ``on``."""

    proposal: Hypothesis
    needed: ApprovalNeeded
    change: str
    on: str


@require_http_methods(["GET", "POST"])
@requires(*COMPARES, writes=DECIDES)
@not_while_counting
def census_line(request: HttpRequest, number: str, line: int) -> HttpResponse:
    """One line: counts, timeline, proposals, decisions so far, and the forms to decide it otherwise."""
    found = _line(number, line)
    census = found_census(found.sheet.census.code)
    decides = may(request, *DECIDES)
    stated = request.POST or None
    form = DecisionForm(stated)
    if request.method == "POST" and decides and form.is_valid():
        try:
            _settle(census, found, form, request)
        except CensusRefused as refused:
            form.add_error(None, list(refused.problems))
        else:
            waits = waiting_about(found) if form.cleaned_data["ask"] else None
            messages.success(request, f"{found}: {'it waits for approval' if waits else 'decided'}.")
            return redirect("census_line", number, line)
    settings = settings_of(census)
    rows = read_census(census, settings=settings)
    row = _row_of(rows, found)
    keys = [str(part.line) for part in row.parts]
    told = answer(census, rows, settings=settings, detail=keys)
    context = {
        "census": census,
        "row": row,
        "chosen": found,
        "closing": closing_supported(row),
        "offered": _offered(census, rows, row, told, person_of(request.user)),
        "notes": [note for key in keys if key in told.lines for note in notes_on(told.lines[key])],
        "sets": _sets(told, keys),
        "pool": pool_shares(row, told.lines, now=clock.now()) if row.needs_settling else None,
        "timeline": _timeline([told.lines[key] for key in keys if key in told.lines]),
        "form": form if decides else None,
        "ways": way_forms(stated, initial=_suggested(request)) if decides else [],
        "chosen_way": request.POST.get("how") or request.GET.get("how") or "",
        "proposal_form": ProposalForm() if decides else None,
        "recount_form": RecountForm(),
        "rounds_max": settings.recount_rounds_max,
        "decisions": [decision for part in row.parts for decision in part.decisions],
        "quality": quality(row, settings),
        "waits": waiting_about(*(part.line for part in row.parts)),
        "next": _next(rows, row),
    }
    return render(request, "rounds/line.html", context)


@require_POST
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
    else:
        messages.error(request, f"{found}: no recount was asked; choose who counts again.")
    return redirect("census_line", number, line)


@require_POST
@requires(*DECIDES)
def proposal(request: HttpRequest, number: str, line: int) -> HttpResponse:
    """Accepts or refuses one proposal; then the next line that is to be settled."""
    found = _line(number, line)
    census = found_census(found.sheet.census.code)
    form = ProposalForm(request.POST)
    refused_key, by, now = request.POST.get("refuse", ""), person_of(request.user), clock.now()
    if not form.is_valid():
        messages.error(request, "; ".join(str(e) for errors in form.errors.values() for e in errors))
        return redirect("census_line", number, line)
    try:
        if refused_key:
            refuse_proposal(census=census, key=refused_key, by=by, now=now, why=form.cleaned_data["note"])
            messages.success(request, f"{found}: refused; it is not proposed again of these counts.")
            return redirect("census_line", number, line)
        waits = _accept(census, [request.POST.get("accept", "")], form, by, now)
    except CensusRefused as refused:
        for problem in refused.problems:
            messages.error(request, problem)
        return redirect("census_line", number, line)
    messages.success(request, f"{found}: {'it waits for approval' if waits else 'accepted'}.")
    rows = read_census(census)
    after = _next(rows, _row_of(rows, found))
    return redirect(after) if after else redirect("differences", census.code)


def _accept(census: Census, keys: Sequence[str], form: ProposalForm, by: Person, now: datetime) -> bool:
    """Accepts, or asks for the names that are needed; True when something waits for one."""
    zone, stated = timezone.get_current_timezone(), form.cleaned_data
    if stated["ask"]:
        done = ask_for_proposals(census=census, keys=keys, by=by, now=now, zone=zone, note=stated["note"])
        return any(isinstance(one, ApprovalAsked) for one in done)
    names = Under(
        approved_by=stated["approved_by"], countersigned_by=stated["countersigned_by"], note=stated["note"]
    )
    accept_proposals(census=census, keys=keys, by=by, now=now, zone=zone, under=names)
    return False


def _settle(census: Census, found: Line, form: DecisionForm, request: HttpRequest) -> None:
    asked, problems = form.asked(str(found))
    if asked is None:
        raise CensusRefused(*problems)
    by, now, zone = person_of(request.user), clock.now(), timezone.get_current_timezone()
    if form.cleaned_data["ask"]:
        ask_as_stated(census=census, asked=asked, by=by, now=now, zone=zone)
    else:
        settle_many(census=census, asked=[asked], by=by, now=now, zone=zone)


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


def _next(rows: Sequence[Row], row: Row) -> str:
    """Address of the next line to be settled, what matters first; empty when this is the last."""
    waiting = open_ones(rows)
    if not waiting:
        return ""
    at = next((k for k, other in enumerate(waiting) if other.line.pk == row.line.pk), -1)
    after = waiting[(at + 1) % len(waiting)]
    if after.line.pk == row.line.pk:
        return ""
    return reverse("census_line", args=[after.line.sheet.number, after.line.number])


def _offered(census: Census, rows: Sequence[Row], row: Row, told: Answer, by: Person) -> list[Offered]:
    found = [one for one in told.by_row.get(row.line.pk, ()) if one.key]
    needed = approvals(census, rows, told, settings_of(census), by=by) if found else {}
    return [Offered(one, needed.get(one.key, ApprovalNeeded()), *_link(one)) for one in found]


def _sets(told: Answer, keys: Sequence[str]) -> list[dict[str, Any]]:
    """How sure the answer is, once for each set of lines that belong together."""
    found: dict[tuple[str, ...], dict[str, Any]] = {}
    for key in keys:
        explained = told.explained.get(key)
        if explained is not None and explained.solution is not None:
            found[tuple(explained.joined)] = {
                "lines": len(explained.joined),
                "proved": explained.solution.proved,
                "gap": f"{explained.solution.gap / 1000:.1f}",
                "second": [f"{one.possible.cause.value} ({one.n})" for one in explained.second],
                "dearer": f"{(explained.second_dearer or 0) / 1000:.1f}",
            }
    return list(found.values())


def _timeline(lines: Sequence[LineFacts]) -> list[tuple[datetime, Passage | None, LineFacts]]:
    """What happened to the line's animals around the count, oldest first; a count has no passage."""
    told: list[tuple[datetime, Passage | None, LineFacts]] = []
    for line in lines:
        nearest = sorted(line.passages, key=lambda p: abs((p.happened_at - _moment(line, p)).total_seconds()))
        told += [(p.happened_at, p, line) for p in nearest[:EVENTS]]
        if line.moment:
            told.append((line.moment, None, line))
    return sorted(told, key=lambda one: (one[0], one[1] is None))


def _moment(line: LineFacts, passage: Passage) -> datetime:
    return line.moment or passage.happened_at


def _suggested(request: HttpRequest) -> dict[str, Any]:
    """What a proposal that is to be changed fills in; the person still decides and saves."""
    return {name: request.GET[name] for name in DecisionForm.base_fields if name in request.GET}


def _link(one: Hypothesis) -> tuple[str, str]:
    """The address of the form that states the proposal, and the line that it is stated on."""
    if not one.steps:
        if one.how is None:
            return "", ""
        on = one.lines[0] if one.lines else one.other
        return _address(on, {"how": one.how.value, "n": str(abs(one.explains))}), on
    step = one.steps[0]
    return _address(step.line, _filled(step)), step.line


def _address(line: str, filled: dict[str, str]) -> str:
    sheet, _, number = line.partition(" line ")
    return f"{reverse('census_line', args=[sheet, int(number)])}?{urlencode(filled)}#decide"


def _filled(step: Step) -> dict[str, str]:
    stated = step.settling
    told = {
        "how": stated.how.value,
        "reason": stated.reason,
        "n": str(stated.n or ""),
        "kind": stated.kind.value if stated.kind else "",
        "happened": stated.happened,
        "to_line": step.to_line,
        "to_place": "" if step.to_line else stated.to_place,
        "to_accession": stated.to_accession,
        "accessions": " ".join(stated.accessions),
        "from_sex": stated.from_sex,
        "to_sex": stated.to_sex,
        "reverses": stated.reverses,
        "cause": stated.cause,
        "last_seen": stated.last_seen.isoformat() if stated.last_seen else "",
        "due": stated.due.isoformat() if stated.due else "",
        "drift": "on" if stated.drift else "",
        "evidence": stated.evidence,
    }
    return {name: text for name, text in told.items() if text}
