"""Keeps a statement until those whose names it needs have answered."""

from collections.abc import Mapping
from datetime import datetime, tzinfo
from typing import Any

from inventory.people.models import Person

from ..models import ApprovalAsked, Line
from ..queries.reading import Row, held_numbers
from ..queries.settings import settings_of
from ..queries.waiting import waiting_about
from ..rules.approval import ApprovalNeeded
from ..rules.settling import Settling, change_of_book
from ..rules.stating import kept
from .against import names_needed, problems_but_approval
from .decide import read_lines
from .moving import running
from .refused import CensusRefused


def read_needed(
    line: Line,
    settling: Settling,
    *,
    by: Person,
    now: datetime,
    zone: tzinfo,
    other_line: Line | None = None,
) -> tuple[Row, ApprovalNeeded]:
    """The line's row as it stands, and whose names the statement needs.

    Raises :class:`CensusRefused` with what stands against it whoever signs.
    """
    census = running(line.sheet.census)
    settings = settings_of(census)
    row, part = read_lines(census, [line], settings)[0]
    problems = problems_but_approval(
        census,
        row,
        part,
        settling,
        by=by,
        other_line=other_line,
        settings=settings,
        today=now.astimezone(zone).date(),
    )
    if problems:
        raise CensusRefused(*(f"{line}: {problem}" for problem in problems))
    return row, names_needed(row, settling, by, settings)


def keep_asked(
    line: Line,
    row: Row,
    settling: Settling,
    needed: ApprovalNeeded,
    *,
    by: Person,
    now: datetime,
    other_line: Line | None = None,
    found: Mapping[str, Any] | None = None,
) -> ApprovalAsked:
    """The statement as it waits. The same again changes nothing; a line has one statement waiting.

    ``found``: of what was written in, what it is stated to be; see ``actions.written_in``.
    """
    about = [str(other_line)] if other_line else []
    about += [f"{name}={value}" for name, value in sorted((found or {}).items())]
    fingerprint = settling.fingerprint(*about)
    there = waiting_about(line)
    if there is not None and there.fingerprint == fingerprint:
        return there
    if there is not None:
        raise CensusRefused(
            f"{line}: a statement of {there.asked_by.name} waits for approval already; "
            "take it back first, or wait for the answer."
        )
    book, counted = held_numbers(row.latest)
    stated = kept(settling)
    return ApprovalAsked.objects.create(
        line=line,
        other_line=other_line,
        how=settling.how.value,
        reason=settling.reason[:60],
        n=change_of_book(settling),
        stated={**stated, "found": dict(found)} if found else stated,
        fingerprint=fingerprint,
        curator=needed.curator,
        permit_officer=needed.permit_officer,
        why="; ".join(needed.why)[:300],
        book=book,
        counted=counted,
        asked_by=by,
        asked_at=now,
    )
