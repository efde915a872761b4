"""The first counts as they were compared: a fact that no later entry changes. One query for all rows."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from inventory.book.queries.quantities import Held, Point, held_at

from ..rules.compare import Comparison, compare, compare_joined
from ..rules.settings import DEFAULTS, CensusSettings
from .reading import A_MINUTE, NOTHING, LineRead, Row, measured, plus, present

_Asked = tuple[LineRead, datetime, datetime]


def first_as_compared(
    rows: Iterable[Row], settings: CensusSettings = DEFAULTS
) -> list[tuple[Row, Comparison]]:
    """The first count of each row beside the book *as it was known* when the two were compared.

    That is when the census was compared, or when the count was typed, whichever is later; the book of the
    count's own moment, as always. What is settled, entered late or restated since moves the book and not
    this. A census that was compared before that moment was kept is read as known now. Rows without a number
    in their first count are left out.
    """
    chosen = [row for row in rows if row.first is not None and _has_numbers(row)]
    asked = [one for row in chosen for one in _asked(row)]
    held = iter(
        held_at(
            [
                Point(lot.pk, part.line.place_id, before, known_at)
                for part, before, known_at in asked
                for lot in part.lots
            ]
        )
    )
    then: dict[int, int] = {}
    for part, _, _ in asked:
        total: Held = NOTHING
        for _ in part.lots:
            total = plus(total, next(held))
        then[part.line.pk] = present(total)
    return [(row, _compared(row.parts, then, settings)) for row in chosen]


def _has_numbers(row: Row) -> bool:
    return all(part.counts[1].value is not None for part in row.parts if 1 in part.counts)


def _asked(row: Row) -> Iterable[_Asked]:
    """Each part with the shared moment of the first counts, and when they were put beside the book."""
    compared_at = row.line.sheet.census.compared_at
    firsts = [part.counts[1] for part in row.parts if 1 in part.counts]
    if compared_at is None or not firsts:
        return []
    before = max(count.counted_at for count in firsts) + A_MINUTE
    typed = [_first_typed(part) for part in row.parts if 1 in part.counts]
    known_at = max(compared_at, *typed)
    return [(part, before, known_at) for part in row.parts if 1 in part.counts]


def _first_typed(part: LineRead) -> datetime:
    """When the first count was typed the first time; a misreading that is mended later is the same count."""
    moments = [count.typed_at for count in part.typed_before if count.round == 1]
    return min([*moments, part.counts[1].typed_at])


def _compared(parts: Sequence[LineRead], then: dict[int, int], settings: CensusSettings) -> Comparison:
    values = []
    for part in parts:
        count = part.counts.get(1)
        if part.line.pk in then:
            book = then[part.line.pk]
        else:
            book = part.present(1) if count else present(part.at_end)
        values.append((book, measured(count)))
    if len(values) == 1:
        return compare(parts[0].line.count_class, *values[0], settings)
    return compare_joined(parts[0].line.count_class, values, settings)
