"""The first counts as they were compared: a fact that no later entry changes."""

from collections.abc import Iterable, Mapping, Sequence

from ..models import FirstCompared
from ..rules.compare import Comparison, compare, compare_joined
from ..rules.settings import DEFAULTS, CensusSettings
from .reading import LineRead, Row, measured, present


def first_as_compared(
    rows: Iterable[Row], settings: CensusSettings = DEFAULTS
) -> list[tuple[Row, Comparison]]:
    """The first count of each row beside the book that was kept when the two were compared. One query.

    What is settled, entered late or restated since moves the book and not this; a misreading that is
    mended is the same count. Counts that were compared before this was kept, or are not compared yet, are
    read beside the book as known now. Rows without a number in their first count are left out.
    """
    chosen = [row for row in rows if row.first is not None]
    lines = [part.line.pk for row in chosen for part in row.parts]
    kept = dict(FirstCompared.objects.filter(line__in=lines).values_list("line", "book"))
    return [(row, _compared(row.parts, kept, settings)) for row in chosen]


def _compared(parts: Sequence[LineRead], kept: Mapping[int, int], settings: CensusSettings) -> Comparison:
    values = [(_book(part, kept), measured(part.counts.get(1))) for part in parts]
    if len(values) == 1:
        return compare(parts[0].line.count_class, *values[0], settings)
    return compare_joined(parts[0].line.count_class, values, settings)


def _book(part: LineRead, kept: Mapping[int, int]) -> int:
    if part.line.pk in kept:
        return kept[part.line.pk]
    return part.present(1) if 1 in part.counts else present(part.at_end)
