"""Asks for recounts: another person, blind."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Prefetch

from inventory.people.models import Person

from ..models import Count, Line, Recount, Sheet
from ..queries.settings import settings_in_use
from ..rules.settings import CensusSettings
from ..rules.who import COUNTERS, DECIDES
from ..rules.words import SheetState
from .allowed import require
from .moving import running
from .refused import CensusRefused


@transaction.atomic
def ask_recount(
    *,
    lines: Sequence[Line],
    of: Person,
    by: Person,
    now: datetime,
    round: int = 0,
    settings: CensusSettings | None = None,
) -> list[Recount]:
    """Asks ``of`` to count the lines again, knowing neither the book nor an earlier count.

    The round is the one after the last, 2 or 3; another person than those who counted before.
    A sheet that was handed in goes out again. Asking the same again changes nothing.
    """
    require(by, DECIDES, "ask for a recount")
    require(of, COUNTERS, "count again")
    held = list(
        Line.objects.filter(pk__in=[line.pk for line in lines])
        .select_related("sheet__census")
        .prefetch_related(Prefetch("counts", Count.objects.select_related("counter")), "recounts")
        .order_by("sheet", "number")
    )
    settings = settings or settings_in_use()
    asked, problems = [], []
    for census in {line.sheet.census for line in held}:
        running(census)
    for line in held:
        this_round = round or max((c.round for c in line.counts.all()), default=1) + 1
        there = next((r for r in line.recounts.all() if r.round == this_round), None)
        if there is not None and there.of_id == of.pk:
            continue
        problems += [
            f"{line}: {problem}" for problem in _against_recount(line, this_round, there, of, settings)
        ]
        asked.append(
            Recount(
                line=line,
                round=this_round,
                of=of,
                asked_at=now,
                asked_by=by,
                due_at=now + timedelta(hours=settings.recount_within_hours),
            )
        )
    if problems:
        raise CensusRefused(*problems)
    Recount.objects.bulk_create(asked)
    Sheet.objects.filter(
        pk__in={recount.line.sheet_id for recount in asked},
        state__in=[SheetState.HANDED_IN.value, SheetState.ACCEPTED.value],
    ).update(state=SheetState.RECOUNT_ASKED.value)
    return asked


def _against_recount(
    line: Line, round_: int, there: Recount | None, of: Person, settings: CensusSettings
) -> list[str]:
    problems = []
    if round_ > settings.recount_rounds_max:
        problems.append(f"{settings.recount_rounds_max} counts were made; what is left is an open query")
    if there is not None:
        problems.append(f"count {round_} was asked of somebody else already")
    if line.sheet.state in (SheetState.NOT_ISSUED, SheetState.VOID, SheetState.LOST):
        problems.append(f"the sheet is {line.sheet.state}")
    if any(count.counter_id == of.pk and count.round < round_ for count in line.counts.all()):
        problems.append(f"{of.name} counted it before; another person recounts")
    return problems
