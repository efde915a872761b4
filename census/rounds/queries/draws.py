"""What was drawn by lot in a census, and how far it is."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from ..models import Census, Draw, DrawnLine
from ..rules.sampling import FLOOR_TO_LIST, Acceptance, Sampled, accepted
from ..rules.words import CensusState, Drawn
from .reading import Row


@dataclass(frozen=True, slots=True)
class SampleRead:
    """One sample with its lines and what was found. ``done``: every line has its result."""

    draw: Draw
    lines: list[DrawnLine]
    acceptance: Acceptance
    teams: tuple[str, ...]

    @property
    def done(self) -> bool:
        return all(hasattr(line, "result") for line in self.lines)

    @property
    def found(self) -> int:
        return sum(1 for line in self.lines if hasattr(line, "result"))


def draws_of(census: Census, *what: Drawn) -> QuerySet[Draw]:
    """The draws of a census, oldest first."""
    return census.draws.filter(what__in=[one.value for one in what]).select_related("drawn_by")


def read_sample(draw: Draw) -> SampleRead:
    """A sample with its results: three queries."""
    lines = list(
        draw.lines.select_related(
            "line__sheet", "line__taxon", "line__place", "place", "result__counted_by"
        ).prefetch_related("line__sheet__counters", "line__lots")
    )
    results = [line for line in lines if hasattr(line, "result")]
    sampled = [
        Sampled(line.line.count_class if line.line else "", line.result.right, line.part == FLOOR_TO_LIST)
        for line in results
    ]
    wrong = [line for line in results if not line.result.right and line.line is not None]
    return SampleRead(draw, lines, accepted(sampled), tuple(_teams(wrong)))


def newest_sample(census: Census) -> SampleRead | None:
    """The newest sample test before signing; an inspector's own test stands apart."""
    draw = draws_of(census, Drawn.SAMPLE).last()
    return read_sample(draw) if draw else None


def sample_doubles(census: Census) -> bool:
    """More than a tenth of the last census's sample was wrong."""
    before = (
        Census.objects.filter(cutoff__lt=census.cutoff)
        .exclude(state=CensusState.ABANDONED.value)
        .order_by("-cutoff")
        .first()
    )
    sample = newest_sample(before) if before else None
    return sample is not None and sample.acceptance.next_doubles


def drawn_for_recount(census: Census) -> set[int]:
    """Ids of the lines drawn to be counted again."""
    draws = draws_of(census, Drawn.RECOUNT)
    return set(DrawnLine.objects.filter(draw__in=draws).values_list("line_id", flat=True)) - {None}


def waiting_for_recount(rows: Iterable[Row], lines: set[int]) -> list[Row]:
    """Rows that were drawn and have one count only."""
    return [
        row
        for row in rows
        if any(part.line.pk in lines for part in row.parts)
        and all(max(part.counts, default=1) < 2 for part in row.parts)
    ]


def _teams(wrong: Sequence[DrawnLine]) -> Iterable[str]:
    """Who counted the sheets on which something was wrong: their sheets are counted again."""
    names = {
        ", ".join(sorted(person.name for person in line.line.sheet.counters.all())) or line.line.sheet.number
        for line in wrong
        if line.line is not None
    }
    return sorted(names)
