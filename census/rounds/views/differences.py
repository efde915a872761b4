"""The counts beside the book, for those who decide; never for those who count."""

from collections.abc import Collection, Mapping, Sequence

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.defaultfilters import pluralize
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.accept import accept_proposals
from ..actions.refused import CensusRefused
from ..queries.approvals import approvals
from ..queries.crossings import crossings
from ..queries.explaining import answer
from ..queries.reading import Row, read_census
from ..queries.settings import settings_of
from ..queries.standing import Standing, standings
from ..rules.approval import ApprovalNeeded
from ..rules.hypotheses import Hypothesis
from ..rules.words import LineState
from . import COMPARES, DECIDES
from .blindfold import not_while_counting
from .board import found_census

SHOWS = {
    "open": "to be settled",
    "outside": "outside tolerance",
    "uncounted": "not counted",
    "settled": "settled",
    "waiting": "waiting for somebody",
    "care": "counts to be read with care",
    "all": "all lines",
}
SORTS = {"matters": "what matters first", "size": "largest first", "sheet": "by sheet"}
# So many proposals stand in the list; all of them on the line's own page.
SHOWN = 2


@require_safe
@requires(*COMPARES)
@not_while_counting
def differences(request: HttpRequest, code: str) -> HttpResponse:
    """Every line with book, counts, difference and first proposal; those that need no approval to tick."""
    census = found_census(code)
    show = request.GET.get("show", "open")
    show = show if show in SHOWS else "open"
    sort = request.GET.get("sort", "matters")
    sort = sort if sort in SORTS else "matters"
    settings = settings_of(census)
    rows = read_census(census, settings=settings)
    told = answer(census, rows, settings=settings)
    needed = approvals(census, rows, told, settings, by=person_of(request.user))
    proposed = {pk for pk, found in told.by_row.items() if any(one.best for one in found)}
    standing = standings(rows, settings)
    chosen = [row for row in rows if shown(row, show, proposed, standing)]
    chosen.sort(key=lambda row: _order(row, told.by_row.get(row.line.pk, ()), sort))
    upto = max((round_ for row in chosen for part in row.parts for round_ in part.counts), default=1)
    decides = may(request, *DECIDES)
    lines = []
    for row in chosen:
        found = list(told.by_row.get(row.line.pk, ()))
        best = [one for one in found if one.best]
        ticked = decides and bool(best) and all(_one_tick(one, needed) for one in best)
        keys = [one.key for one in best] if ticked else []
        lines.append((row, _first(found), keys, standing.get(row.line.pk, Standing())))
    context = {
        "census": census,
        "show": show,
        "sort": sort,
        "sorts": SORTS.items(),
        "prefix": f"{census.code}-",
        "upto": upto,
        "rounds": range(1, upto + 1),
        "columns": 9 + upto,
        "shows": [
            (name, words, sum(shown(row, name, proposed, standing) for row in rows))
            for name, words in SHOWS.items()
        ],
        "lines": lines,
        "against": sum(row.needs_settling for row in chosen),
        "tickable": any(keys for _, _, keys, _ in lines),
        "crossings": crossings(rows),
    }
    return render(request, "rounds/differences.html", context)


@require_POST
@requires(*DECIDES)
def accept_ticked(request: HttpRequest, code: str) -> HttpResponse:
    """Accepts the proposals that were ticked, all or none."""
    census = found_census(code)
    keys = request.POST.getlist("proposal")
    try:
        accept_proposals(
            census=census,
            keys=keys,
            by=person_of(request.user),
            now=clock.now(),
            zone=timezone.get_current_timezone(),
        )
    except CensusRefused as refused:
        for problem in refused.problems:
            messages.error(request, problem)
        messages.error(request, "Nothing was accepted.")
    else:
        n = len(set(keys))
        told = f"{n} proposal{pluralize(n)} accepted." if keys else "Nothing was ticked."
        messages.success(request, told)
    return redirect("differences", code)


def shown(
    row: Row, show: str, proposed: Collection[int], standing: Mapping[int, Standing] | None = None
) -> bool:
    """True when the row belongs to one of the lists of the page.

    A line that stops no signing stands among the open ones too while something is ``proposed`` for it: a
    drift inside the tolerance, a double of which the tolerance hides the trace, a sex, a wrong individual.
    """
    told = (standing or {}).get(row.line.pk, Standing())
    return {
        "waiting": bool(told.waits),
        "care": bool(told.care),
        "open": row.needs_settling or row.line.pk in proposed,
        "outside": row.state in (LineState.OUTSIDE, LineState.CONFIRMED, LineState.RECOUNT),
        "uncounted": bool(row.blank),
        "settled": row.state is LineState.SETTLED,
        "all": True,
    }[show]


def open_ones(rows: Sequence[Row]) -> list[Row]:
    """The lines to be settled, what matters first; by what can be told without asking for causes."""
    return sorted((row for row in rows if row.needs_settling), key=lambda row: _order(row, (), "matters"))


def _order(row: Row, found: Sequence[Hypothesis], sort: str) -> tuple[object, ...]:
    """Class A first; within a class what nothing explains, then the larger difference."""
    size = abs(row.latest.difference or 0) if row.latest else 0
    sheet = (row.line.sheet.number, row.line.number)
    if sort == "sheet":
        return sheet
    if sort == "size":
        return (-size, *sheet)
    explained = bool(found) and not found[0].cause.is_rest
    return (row.line.count_class or "Z", explained, -size, *sheet)


def _first(found: Sequence[Hypothesis]) -> list[Hypothesis]:
    """What belongs to the cheapest set, filled up to what the list shows; notes on the book last."""
    best = [one for one in found if one.best]
    return best or list(found[:SHOWN])


def _one_tick(one: Hypothesis, needed: Mapping[str, ApprovalNeeded]) -> bool:
    return one.acceptable and one.key in needed and needed[one.key].registrar_alone
