"""Collects what the book and the other lines say about differing lines; see ``rules.hypotheses``."""

from collections import defaultdict
from collections.abc import Sequence

from django.db.models import Q
from django.utils.timezone import get_current_timezone

from inventory.book.models import Cell, Event, Flow
from inventory.book.rules.happened import start_of_day

from ..models import Census
from ..rules.hypotheses import Difference, Hypothesis, Passage, explain
from ..rules.settings import DEFAULTS, CensusSettings
from ..rules.words import LineKind, LineState, Seen
from .reading import Row


def explanations(
    census: Census, rows: Sequence[Row], *, settings: CensusSettings = DEFAULTS
) -> dict[int, list[Hypothesis]]:
    """Guesses for every row that somebody has to look at, by the id of its first line.

    What lies inside its tolerance is not explained: it is noise. One query, however many rows.
    """
    differing = [row for row in rows if _differs(row)]
    passages = _passages(census, differing)
    facts = {
        row.line.pk: _difference(row, passages) for row in rows if row.latest and row.latest.count is not None
    }
    everything = list(facts.values())
    return {row.line.pk: explain(facts[row.line.pk], everything, settings) for row in differing}


def _differs(row: Row) -> bool:
    if row.latest is None or not row.latest.difference:
        return False
    return row.needs_settling or not row.latest.inside


def _difference(row: Row, passages: dict[tuple[int, int], list[Passage]]) -> Difference:
    latest = row.latest
    assert latest is not None
    assert latest.count is not None
    line, taxon = row.line, row.line.taxon
    counts = [part.latest for part in row.parts if part.latest]
    return Difference(
        ref=row.refs,
        place=row.place_codes,
        taxon=row.name,
        unit=line.unit,
        book=latest.book,
        count=latest.count,
        at_least=any(count.at_least for count in counts),
        look_alike_set=taxon.look_alike_set if taxon else "",
        can_divide=bool(taxon and taxon.can_divide),
        written_in=line.kind == LineKind.WRITE_IN,
        open=row.state is not LineState.SETTLED,
        not_seen=tuple(
            (sighting.lot.accession, sighting.lot.house_name or sighting.lot.accession)
            for count in counts
            for sighting in count.sightings.all()
            if sighting.seen == Seen.NOT_SEEN
        ),
        moment=max(count.counted_at for count in counts),
        typed_at=max(count.typed_at for count in counts),
        passages=tuple(
            passage
            for part in row.parts
            for lot in part.lots
            for passage in passages.get((lot.pk, part.line.place_id), ())
        ),
    )


def _passages(census: Census, rows: Sequence[Row]) -> dict[tuple[int, int], list[Passage]]:
    """Flows of the rows' lots in the period, or entered in it, by (lot, place)."""
    lots = {lot.pk for row in rows for part in row.parts for lot in part.lots}
    since = start_of_day(census.period.starts_on, get_current_timezone())
    flows = (
        Flow.objects.filter(Q(from_cell__lot__in=lots) | Q(to_cell__lot__in=lots))
        .filter(Q(effective_at__gte=since) | Q(entered_at__gte=since))
        .filter(event__reverses__isnull=True, event__reversed_by__isnull=True)
        .select_related("event__entered_by", "from_cell__account__place", "to_cell__account__place")
        .order_by("entered_at", "id")
    )
    found: dict[tuple[int, int], list[Passage]] = defaultdict(list)
    for flow in flows:
        for cell, sign in ((flow.from_cell, -1), (flow.to_cell, 1)):
            if cell.account.place_id is not None:
                words = _words(flow.event, flow.n, flow.from_cell, flow.to_cell)
                passage = _passage(flow, cell.lot_id, sign, words)
                found[cell.lot_id, cell.account.place_id].append(passage)
    return found


def _passage(flow: Flow, lot_id: int, sign: int, words: str) -> Passage:
    return Passage(
        lot=lot_id,
        kind=flow.event.kind,
        n=sign * flow.n,
        happened_at=flow.effective_at,
        entered_at=flow.entered_at,
        entered_by=flow.event.entered_by.name,
        words=words,
        event=str(flow.event.identifier),
    )


def _words(event: Event, n: int, from_cell: Cell, to_cell: Cell) -> str:
    way = ""
    if from_cell.account.place and to_cell.account.place and from_cell.account != to_cell.account:
        way = f" {from_cell.account.place.code} to {to_cell.account.place.code}"
    return f"{n} {event.kind.replace('_', ' ')}{way}, {event.happened.replace('T', ' ')}"
