"""One sheet: blind for whoever counts; issued, accepted and replaced by the registrar."""

from collections.abc import Iterable

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.models import Person

from ..actions.counts import take_counts
from ..actions.opening import list_newcomers
from ..actions.refused import CensusRefused
from ..actions.sheets import accept, hand_in, issue, replace_sheet
from ..forms import CountSheetForm, IssueForm, ReplaceForm
from ..forms.papers import ScanForm
from ..models import Recount, Sheet
from ..queries.blind import BlindSheet, blind_sheet, counted_by_others, counts_second
from ..queries.find import NotFound, sheet_of
from ..queries.holdings import newcomers
from ..queries.scans import scans_of
from ..rules.states import SHEETS_OPEN, SHEETS_REPLACED
from ..rules.who import TYPES_LETTERS
from ..rules.words import SheetState
from . import COMPARES, COUNTS, DECIDES
from .blindfold import is_counting

# Nothing is written on these: the list alone is shown.
_NO_BOXES = (SheetState.NOT_ISSUED, *SHEETS_REPLACED)


@require_http_methods(["GET", "POST"])
@requires(*COUNTS, *COMPARES)
def sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The boxes of a sheet, without any number; POST saves them, and hands the sheet in.

    Who reads everything and counts nothing gets the list without the boxes.
    """
    found, counts = found_sheet(number), may(request, *COUNTS)
    if request.method == "POST" and not counts:
        raise PermissionDenied("Those who count and those who type write on a sheet; you may read it.")
    person = person_of(request.user)
    round_ = round_of(request, found, person)
    blind = blind_sheet(found, round=round_, person=person)
    now = clock.now()
    form = CountSheetForm(
        blind, request.POST or None, person=person if _counts_here(found, person, round_) else None, now=now
    )
    by_others = counted_by_others(found, round=round_, person=person)
    if request.method == "POST" and form.is_valid():
        try:
            taken = take_counts(sheet=found, entries=form.entries, by=person, now=now, round=round_)
            if "hand_in" in request.POST:
                hand_in(sheet=found, by=person, now=now)
        except CensusRefused as refused:
            form.add_error(None, list(refused.problems))
        else:
            told = _told(blind, form, by_others, "hand_in" in request.POST, taken.replaced)
            messages.success(request, f"{found.number}: {told}")
            return redirect(request.get_full_path())
    context = {
        "sheet": found,
        "blind": blind,
        "form": form,
        "counts": counts and SheetState(found.state) not in _NO_BOXES,
        "by_others": by_others,
        "blank": [n for n in blind.blank_lines if n not in by_others],
        "open": SheetState(found.state) in SHEETS_OPEN,
        "decides": may(request, *DECIDES),
        "compares": may(request, *COMPARES),
        "unlisted": newcomers(found) if may(request, *DECIDES) and not is_counting(request) else [],
        "issue_form": IssueForm(initial={"counters": found.counters.all()}),
        "replace_form": ReplaceForm() if _may_be_replaced(request, found) else None,
        "second": counts and round_ == 1 and counts_second(found, person),
        "scans": scans_of(found, person=person, compares=may(request, *COMPARES)),
        "scan_form": ScanForm() if may(request, *TYPES_LETTERS) else None,
    }
    return render(request, "rounds/sheet.html", context)


@require_http_methods(["POST"])
@requires(*DECIDES)
def sheet_step(request: HttpRequest, number: str, step: str) -> HttpResponse:
    """The registrar's steps with a sheet: issue it, accept it, list what came after it was made, or have
    another one take its place."""
    found, person, now = found_sheet(number), person_of(request.user), clock.now()
    form = IssueForm(request.POST)
    try:
        if step == "issue" and form.is_valid():
            issue(sheet=found, by=person, now=now, **form.cleaned_data)
            messages.success(request, f"{found.number} is issued{_to(form.cleaned_data['counters'])}.")
        elif step == "accept":
            accept(sheet=found, by=person, now=now)
            messages.success(request, f"{found.number} is accepted.")
        elif step == "list":
            added = list_newcomers(sheet=found, by=person, now=now)
            messages.success(request, f"{found.number}: {_lines(len(added))} added.")
        elif step == "replace":
            return _replace(request, found)
    except CensusRefused as refused:
        messages.error(request, str(refused))
    return redirect("sheet", number)


def _replace(request: HttpRequest, sheet: Sheet) -> HttpResponse:
    form = ReplaceForm(request.POST)
    if not form.is_valid():
        messages.error(request, f"{sheet.number} was not replaced: say whether it is void or lost, and why.")
        return redirect("sheet", sheet.number)
    new = replace_sheet(
        sheet=sheet,
        state=SheetState(form.cleaned_data["state"]),
        by=person_of(request.user),
        now=clock.now(),
        note=form.cleaned_data["note"],
    )
    told = f"{sheet.number} is {form.cleaned_data['state']}; this sheet takes its place. Issue it."
    messages.success(request, told)
    return redirect("sheet", new.number)


def _may_be_replaced(request: HttpRequest, sheet: Sheet) -> bool:
    """A sheet that is out, or in and not accepted; one that is not issued yet waits for nobody."""
    out_or_in = {*SHEETS_OPEN, SheetState.HANDED_IN}
    return may(request, *DECIDES) and SheetState(sheet.state) in out_or_in


def _to(counters: Iterable[Person]) -> str:
    names = ", ".join(person.name for person in counters)
    return f" to {names}" if names else ""


def found_sheet(number: str) -> Sheet:
    """The sheet of an address, or a page that says there is none."""
    try:
        return sheet_of(number)
    except NotFound as error:
        raise Http404(str(error)) from error


def round_of(request: HttpRequest, sheet: Sheet, person: Person) -> int:
    """Which count this is: the one asked for in the address, else the newest asked of this person."""
    asked = request.GET.get("round", "")
    if asked in ("1", "2", "3"):
        return int(asked)
    newest = Recount.objects.filter(line__sheet=sheet, of=person).order_by("-round").first()
    return newest.round if newest else 1


def _counts_here(sheet: Sheet, person: Person, round_: int) -> bool:
    """Whether the boxes begin with this person and with now: of a sheet in the hands of others, who types it
    says who counted and when. What is filled in beforehand is not looked at."""
    named = {one.pk for one in sheet.counters.all()}
    asked = Recount.objects.filter(line__sheet=sheet, of=person, round=round_)
    return not named or person.pk in named or asked.exists()


def _told(
    blind: BlindSheet, form: CountSheetForm, by_others: frozenset[int], handed_in: bool, replaced: int
) -> str:
    """What was saved now; of a sheet that goes in, what all of it holds, and what stayed blank."""
    instead = f" {_lines(replaced)} had a count before: the new one takes its place." if replaced else ""
    if not handed_in:
        return f"saved, {_lines(len(form.entries))} counted.{instead}"
    listed = {line.number: line.mine is not None or line.number in by_others for line in blind.lines}
    listed |= {entry.line: True for entry in form.entries if entry.line}
    counted = sum(listed.values()) + sum(not entry.line for entry in form.entries)
    blank = len(listed) - sum(listed.values())
    words = f"handed in, {_lines(counted)} counted"
    whole = f"{words}; {_lines(blank)} blank, which is not counted." if blank else f"{words}."
    return whole + instead


def _lines(n: int) -> str:
    return "1 line" if n == 1 else f"{n} lines"
