"""The list of censuses, and how far one is."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book.rules.days import day_in_words
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.compare import compare_counts
from ..actions.planning import open_census_of
from ..actions.refused import CensusRefused
from ..forms import AbandonForm, OpenCensusForm
from ..models import Census
from ..models.census import EVERY_CLASS
from ..queries.find import NotFound, census_of
from ..queries.open_items import open_items
from ..queries.out import censuses_with_sheets
from ..queries.presence import presence_due
from ..queries.progress import accuracy_table, differences_by_unit, late_sheets, sheets_of
from ..queries.quality import of_lower_quality
from ..queries.reading import read_census
from ..queries.settings import settings_of
from ..queries.unsheeted import places_to_count, unsheeted
from ..queries.warnings import WarningKind, opening_warnings
from ..rules.states import CENSUS_DONE
from ..rules.words import CensusState, SheetState
from ..tables import SheetTable
from . import COMPARES, COUNTS, DECIDES, SAMPLES
from .blindfold import is_counting

# While sheets may still be out.
_GOING_OUT = (CensusState.PLANNED, CensusState.ISSUED, CensusState.COUNTING)


@require_http_methods(["GET", "POST"])
@requires(writes=DECIDES)
def census_list(request: HttpRequest) -> HttpResponse:
    """All censuses, newest first; the registrar opens the next one here."""
    may_open = may(request, *DECIDES)
    form = _open_form(request) if may_open else None
    if request.method == "POST" and form is not None and form.is_valid():
        try:
            opened = open_census_of(
                period=form.cleaned_data["period"],
                places=list(form.cleaned_data["places"]),
                by=person_of(request.user),
                now=clock.now(),
                zone=timezone.get_current_timezone(),
                classes="".join(form.cleaned_data["classes"]) or EVERY_CLASS,
                keepers_count=form.cleaned_data["keepers"],
            )
        except CensusRefused as refused:
            form.add_error(None, list(refused.problems))
        else:
            last_day = day_in_words(opened.period.ends_on)
            told = f"{opened.code} is open, with the cut-off at the end of {last_day}. Now issue its sheets."
            messages.success(request, told)
            _warn(request, opened)
            return redirect("census", opened.code)
    context = {"censuses": censuses_with_sheets(), "form": form, "compares": may(request, *COMPARES)}
    return render(request, "rounds/census_list.html", context)


def _open_form(request: HttpRequest) -> OpenCensusForm:
    """Empty, it has a tick at every place that holds something: what is left out is left out knowingly."""
    if request.method == "POST":
        return OpenCensusForm(request.POST)
    return OpenCensusForm(initial={"places": places_to_count(now=clock.now())})


def _warn(request: HttpRequest, opened: Census) -> None:
    """What the registrar sees to first stands on the board; no counter is named yet, which is no fault."""
    found = [
        one for one in opening_warnings(opened, now=clock.now()) if one.kind is not WarningKind.NO_COUNTER
    ]
    if found:
        n = "1 thing" if len(found) == 1 else f"{len(found)} things"
        messages.warning(request, f"{n} to see to before the counters go out, on this page below.")


@require_safe
@requires()
def census(request: HttpRequest, code: str) -> HttpResponse:
    """The board: sheets with their state; accuracy and what blocks signing for those who may see it."""
    found = found_census(code)
    now = clock.now()
    sheets = sheets_of(found, now=now)
    context = {
        "census": found,
        "table": SheetTable(sheets),
        "late": late_sheets(sheets),
        "uncounted": sum(one.uncounted for one in sheets if not one.sheet.replaced_by_id),
        "types": may(request, *COUNTS),
        "compares": may(request, *COMPARES) and not is_counting(request),
        "samples": may(request, *SAMPLES),
        "may_compare": may(request, *DECIDES) and found.state == CensusState.COUNTING,
    }
    if may(request, *DECIDES) and not is_counting(request) and found.state in _GOING_OUT:
        context["warnings"] = opening_warnings(found, now=now)
    if may(request, *DECIDES) and found.state not in CENSUS_DONE:
        context |= {
            "abandon_form": AbandonForm(),
            "to_issue": sum(
                one.sheet.state == SheetState.NOT_ISSUED and bool(one.counters) for one in sheets
            ),
            # Names the tanks that hold something, and nothing of what they hold.
            "unsheeted": unsheeted(found),
        }
    if context["compares"]:
        settings = settings_of(found)
        rows = read_census(found, settings=settings)
        told = of_lower_quality(rows, settings)
        context |= {
            "quality": [(row, told[row.line.pk]) for row in rows if row.line.pk in told],
            "letters_due": len(presence_due(found, settings)),
            "accuracy": accuracy_table(rows, settings),
            "differences": differences_by_unit(rows),
            "open_items": open_items(found, rows),
        }
    return render(request, "rounds/census.html", context)


@require_http_methods(["POST"])
@requires(*DECIDES)
def compare(request: HttpRequest, code: str) -> HttpResponse:
    """Counting is far enough: the counts are put beside the book."""
    try:
        compare_counts(
            census=found_census(code),
            by=person_of(request.user),
            now=clock.now(),
            zone=timezone.get_current_timezone(),
        )
    except CensusRefused as refused:
        messages.error(request, str(refused))
        return redirect("census", code)
    return redirect("differences", code)


def found_census(code: str) -> Census:
    """The census of an address, or a page that says there is none."""
    try:
        return census_of(code)
    except NotFound as error:
        raise Http404(str(error)) from error
