"""Which knowledge of the book counts at each end of the period."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from inventory.book.models import PeriodVersion
from inventory.book.queries.names import CLOSING, NoSuchNames

from ..rules.question import Basis, Question


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What is known at one boundary: all that was entered by ``at`` (None: by now).

    ``version`` is the closing that says so, None where no closing is honoured.
    """

    at: datetime | None
    version: PeriodVersion | None = None

    @property
    def name(self) -> str | None:
        """``2026 Q2 version 1``, None where no closing is honoured."""
        return None if self.version is None else str(self.version)


def knowledge(question: Question) -> tuple[Knowledge, Knowledge]:
    """Knowledge at the opening and at the closing. At most one query.

    As reported, the newest closing of a period that ends at the boundary counts, of those that
    existed at ``known_at``. A quarter and a year that end on one day share that boundary, so that
    the closing of one period is always the opening of the next.
    """
    as_known = Knowledge(question.known_at)
    if question.basis is Basis.KNOWN:
        return as_known, as_known
    day_before = question.first_day - timedelta(days=1)
    newest: dict[date, PeriodVersion] = {}
    versions = PeriodVersion.objects.select_related("period", "signed_by").filter(
        period__ends_on__in=(day_before, question.last_day)
    )
    if question.known_at is not None:
        versions = versions.filter(closed_at__lte=question.known_at)
    for version in versions.order_by("closed_at", "number"):
        newest[version.period.ends_on] = version
    opening, closing = (newest.get(day) for day in (day_before, question.last_day))
    return (
        Knowledge(opening.closed_at, opening) if opening else as_known,
        Knowledge(closing.closed_at, closing) if closing else as_known,
    )


def check_names(question: Question) -> None:
    """Raises :class:`NoSuchNames` when the names of a closing are asked and none is honoured.

    At most one query.
    """
    if question.names == CLOSING and knowledge(question)[1].version is None:
        raise NoSuchNames("no closing counts at the end of this period; choose the names of a release")
