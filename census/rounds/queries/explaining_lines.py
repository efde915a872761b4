"""The lines of a census as the rules of differences see them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import Enum

from census.differences.rules.facts import Absent, Line, Passage, Stranger
from inventory.book.models import LotKind
from inventory.book.models.accounts import Water
from inventory.book.queries.quantities import Held

from ..models import Count
from ..rules.compare import Comparison
from ..rules.settings import DEFAULTS
from ..rules.words import LineKind, LineState, Seen
from .reading import LineRead, Row


class Looked(Enum):
    """Which count is looked at: the latest; the first, as it stood then; or as it was first typed."""

    LATEST = "latest"
    FIRST = "first"
    TYPED = "typed"


@dataclass(frozen=True, slots=True)
class Known:
    """What was read of all lines at once; see ``queries.explaining``.

    ``passages`` by (lot, place). ``held``: (lot, place) where the book has an individual now.
    ``seen_before``: last sure sighting of a lot. ``notes``: (words, place, day) of the veterinarian on a
    lot. ``may_be`` and ``introduced`` by what was written in, ``protected`` by taxon, ``promised`` lots that
    came under a permit or belong to others, ``sources`` by lot, ``drift`` by line.
    ``rounds_max``: how often a line is counted in one census at most.
    """

    passages: Mapping[tuple[int, int], Sequence[Passage]] = field(default_factory=dict)
    held: frozenset[tuple[int, int]] = frozenset()
    seen_before: Mapping[int, date] = field(default_factory=dict)
    notes: Mapping[int, tuple[str, str, date]] = field(default_factory=dict)
    may_be: Mapping[int, Sequence[str]] = field(default_factory=dict)
    introduced: Mapping[str, str] = field(default_factory=dict)
    protected: Mapping[int, str] = field(default_factory=dict)
    promised: frozenset[int] = frozenset()
    sources: Mapping[int, str] = field(default_factory=dict)
    drift: Mapping[int, str] = field(default_factory=dict)
    rounds_max: int = DEFAULTS.recount_rounds_max


def lines_of(rows: Sequence[Row], known: Known, looked: Looked = Looked.LATEST) -> list[Line]:
    """One line for each part that was counted, by number or by letter."""
    return [
        _line(row, part, count, known, looked)
        for row in rows
        for part in row.parts
        if (count := _count(part, looked)) is not None
    ]


def _count(part: LineRead, looked: Looked) -> Count | None:
    if looked is Looked.TYPED and part.typed_before:
        return part.typed_before[0]
    return part.latest if looked is Looked.LATEST else part.counts.get(1)


def _line(row: Row, part: LineRead, count: Count, known: Known, looked: Looked) -> Line:
    line, taxon, place = part.line, part.line.taxon, part.line.place
    compared = row.latest if looked is Looked.LATEST else row.first
    book = part.books.get(count.round, Held())
    lots = [lot.pk for lot in part.lots]
    passages = tuple(p for lot in lots for p in known.passages.get((lot, line.place_id), ()))
    letter = line.kind == LineKind.LETTER
    individuals = letter and bool(lots) and all(lot.kind == LotKind.INDIVIDUAL for lot in part.lots)
    return Line(
        key=str(line),
        place=place.code,
        taxon=taxon.scientific_name if taxon else line.written_name,
        unit=line.unit,
        book=book.total - book.missing,
        count=count.value,
        count_id=count.pk,
        count_class=line.count_class,
        at_least=count.at_least,
        low=count.low,
        high=count.high,
        tolerance=compared.tolerance if compared else 0,
        inside=_inside(row, compared, looked),
        confirmed=looked is Looked.LATEST and row.confirmed,
        times=row.n_counts if looked is Looked.LATEST else 1,
        last=looked is Looked.LATEST and row.n_counts >= known.rounds_max,
        family=taxon.family if taxon else "",
        look_alike_set=taxon.look_alike_set if taxon else "",
        can_divide=bool(taxon and taxon.can_divide),
        can_change_sex=bool(taxon and taxon.can_change_sex),
        counts_in_from=taxon.counts_in_from if taxon else "",
        joined=line.joined_key,
        written_in=line.kind == LineKind.WRITE_IN,
        letter=count.letter,
        individuals=individuals or line.kind == LineKind.INDIVIDUALS,
        off_site=place.off_site,
        open_water=place.water == Water.OPEN,
        windows=place.windows,
        open=looked is not Looked.LATEST or row.state is not LineState.SETTLED,
        permit_or_loan=any(lot in known.promised for lot in lots),
        protected=known.protected.get(taxon.pk, "") if taxon else "",
        introduced=known.introduced.get(taxon.scientific_name if taxon else line.written_name, ""),
        may_be=tuple(known.may_be.get(line.pk, ())),
        lots=tuple(lot.accession for lot in part.lots),
        not_seen=tuple(_absent(count, known)),
        strangers=tuple(_strangers(part, count, known)),
        counted_sexes=_sexes(count),
        book_sexes=(book.males, book.females, book.hermaphrodites, book.unknown),
        sources=" + ".join(sorted({known.sources[lot] for lot in lots if lot in known.sources})),
        remark=count.remark,
        moment=count.counted_at,
        typed_at=count.typed_at,
        passages=passages,
        drift=known.drift.get(line.pk, "") if looked is Looked.LATEST else "",
        party=count.party,
    )


def _inside(row: Row, compared: Comparison | None, looked: Looked) -> bool:
    """Inside its tolerance, and nothing makes the book move for it."""
    if compared is None or not compared.inside:
        return False
    return looked is not Looked.LATEST or not row.book_must_move


def _absent(count: Count, known: Known) -> list[Absent]:
    found = []
    for sighting in count.sightings.all():
        if sighting.seen == Seen.NOT_SEEN:
            lot = sighting.lot
            words, place, day = known.notes.get(lot.pk, ("", "", None))
            found.append(
                Absent(
                    lot.accession,
                    lot.house_name or lot.accession,
                    known.seen_before.get(lot.pk),
                    words,
                    place,
                    day,
                )
            )
    return found


def _strangers(part: LineRead, count: Count, known: Known) -> list[Stranger]:
    """Individuals that the roll-call saw here and that the book does not have here."""
    found = []
    for sighting in count.sightings.all():
        lot, place = sighting.lot, part.line.place_id
        if sighting.seen == Seen.SEEN and (lot.pk, place) not in known.held:
            last = max(known.passages.get((lot.pk, place), ()), key=lambda p: p.happened_at, default=None)
            words = f"in the book it is gone: {last.words}" if last else "the book does not have it here"
            found.append(Stranger(lot.accession, lot.house_name or lot.accession, words))
    return found


def _sexes(count: Count) -> tuple[int, int, int, int] | None:
    sexes = (count.males, count.females, count.hermaphrodites, count.unknown)
    if all(n is None for n in sexes):
        return None
    return (sexes[0] or 0, sexes[1] or 0, sexes[2] or 0, sexes[3] or 0)
