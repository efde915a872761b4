"""Settles many lines at once: all decisions of a file, or none."""

from collections.abc import Sequence
from datetime import datetime, tzinfo

from django.db import transaction

from inventory.people.models import Person

from ..models import Census, Decision
from ..queries.find import NotFound, find_line
from ..queries.settings import settings_in_use
from ..readers.decisions import Asked
from ..rules.settings import CensusSettings
from .decide import decide_line
from .refused import CensusRefused


@transaction.atomic
def settle_many(
    *,
    census: Census,
    asked: Sequence[Asked],
    by: Person,
    now: datetime,
    zone: tzinfo,
    settings: CensusSettings | None = None,
) -> list[Decision]:
    """Makes the decisions in their order; each sees the book as the ones before it left it.

    Raises :class:`CensusRefused` with the problems of every row, and nothing is decided.
    """
    people = {person.name: person for person in Person.objects.select_related("user")}
    settings = settings or settings_in_use()
    decisions, problems = [], []
    for one in asked:
        strangers = [n for n in (one.approved_by, one.countersigned_by) if n and n not in people]
        if strangers:
            problems.append(f"{one.origin}: nobody here is called {strangers[0]!r}")
            continue
        try:
            with transaction.atomic():
                decisions.append(
                    decide_line(
                        line=find_line(census, one.line),
                        settling=one.settling,
                        by=by,
                        now=now,
                        zone=zone,
                        approved_by=people.get(one.approved_by),
                        countersigned_by=people.get(one.countersigned_by),
                        other_line=find_line(census, one.to_line) if one.to_line else None,
                        settings=settings,
                    )
                )
        except CensusRefused as refused:
            problems += [_placed(one.origin, problem) for problem in refused.problems]
        except NotFound as error:
            problems.append(f"{one.origin}, column line: {error}")
    if problems:
        raise CensusRefused(*problems)
    return decisions


def _placed(origin: str, problem: str) -> str:
    """The problem with where it was stated; a form states it on the line that the problem names."""
    return problem if problem.startswith(f"{origin}: ") else f"{origin}: {problem}"
