"""The annex of a print: under each line's number the events that lead from its opening to its closing."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import tzinfo

from census.change.queries.closings import knowledge
from census.change.queries.of_lots import late_flows_of_lots
from census.change.queries.reading import RowKey, moments_of, row_function
from census.change.rules.arithmetic import rows_of_cells, steps
from census.change.rules.columns import HEADINGS, SIGNS
from census.change.rules.question import Question
from inventory.book.models import Event, Lot, Place
from inventory.book.queries.quantities import DatedFlow, cell_ends, flows_of_lots
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.words import KIND_WORDS

from ..rules.entries import Entry
from ..rules.said import Saying

MOST = 20_000


class TooMany(Exception):
    """More events than a paper should hold; the message says how many and what to do."""


def annex(questions: Iterable[Question], *, saying: Saying) -> dict[tuple[object, ...], list[Entry]]:
    """Entries by row, oldest first. The number of queries depends on the questions alone, save that events
    are fetched in batches. Raises :class:`TooMany`."""
    found: defaultdict[tuple[object, ...], list[tuple[DatedFlow, str, int, CellEnd, CellEnd]]] = defaultdict(
        list
    )
    lots = list(Lot.objects.values_list("pk", flat=True))
    for question in questions:
        for row, *rest in _steps(question, lots, saying.zone):
            found[tuple(row)].append(tuple(rest))  # type: ignore[arg-type]
    flows = {one[0].event_id for entries in found.values() for one in entries}
    if len(flows) > MOST:
        raise TooMany(
            f"{len(flows):,} events stand behind this report; choose a shorter period to print them all"
        )
    return _told(found, saying)


def _steps(
    question: Question, lots: list[int], zone: tzinfo
) -> Iterator[tuple[RowKey, DatedFlow, str, int, CellEnd, CellEnd]]:
    moments = moments_of(question, knowledge(question), zone)
    period = flows_of_lots(lots, since=moments.start, before=moments.end, known_at=moments.closing.at)
    late, sign = late_flows_of_lots(lots, moments)
    cells = cell_ends({cell for flow in (*period, *late) for cell in (flow.from_cell, flow.to_cell)})
    rows = rows_of_cells(cells, row_function(question), question.scope)
    for flow in period:
        a, b = (cells[flow.from_cell], cells[flow.to_cell])
        ends = (rows[flow.from_cell], rows[flow.to_cell])
        done = (
            steps(b, a, -flow.n, rows=(ends[1], ends[0]), scope=question.scope)
            if flow.reversal
            else steps(a, b, flow.n, rows=ends, scope=question.scope)
        )
        for step in done:
            yield step.row, flow, step.column, SIGNS[step.column] * step.n, a, b  # type: ignore[misc]
    for flow in late:
        a, b = (cells[flow.from_cell], cells[flow.to_cell])
        out, into = rows[flow.from_cell], rows[flow.to_cell]
        if out != into:
            for row, n in ((out, -flow.n), (into, flow.n)):
                if row is not None:
                    yield row, flow, "late", sign * n, a, b


def _told(
    found: dict[tuple[object, ...], list[tuple[DatedFlow, str, int, CellEnd, CellEnd]]], saying: Saying
) -> dict[tuple[object, ...], list[Entry]]:
    ids = {one[0].event_id for entries in found.values() for one in entries}
    events = Event.objects.select_related("entered_by", "approved_by", "stated_range").in_bulk(ids)
    codes = dict(Place.objects.values_list("pk", "code"))
    accessions = dict(Lot.objects.values_list("pk", "accession"))

    def end(cell: CellEnd) -> str:
        return codes.get(cell.place_id or 0, "") if cell.place_id else KIND_WORDS.get(cell.cause, cell.cause)

    told = {}
    for row, entries in found.items():
        listed = []
        for flow, column, n, a, b in entries:
            event = events[flow.event_id]
            who = event.entered_by.name + (
                f", approved by {event.approved_by.name}" if event.approved_by else ""
            )
            lots = " to ".join(dict.fromkeys(accessions[cell.lot_id] for cell in (a, b)))
            listed.append(
                Entry(
                    event=str(flow.event_id),
                    happened=saying.happened(event.happened),
                    kind=KIND_WORDS.get(event.kind, event.kind),
                    lot=lots,
                    way=f"{end(a)} to {end(b)}",
                    column=_counts_as(column, event),
                    n=n,
                    entered=who,
                    order=(flow.effective_at, flow.event_id, flow.flow_id),
                )
            )
        told[row] = sorted(listed, key=lambda entry: entry.order)
    return told


def _counts_as(column: str, event: Event) -> str:
    """The column, and how sure the number of the event was where nobody could count exactly."""
    stated = getattr(event, "stated_range", None)
    return f"{HEADINGS[column]} (the event's number: {stated.words})" if stated else HEADINGS[column]
