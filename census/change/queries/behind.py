"""The events behind one figure of a report, with their sum. A constant number of queries."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import tzinfo
from typing import cast

from django.db.models import Q

from inventory.book.models import Event, Flow, Lot
from inventory.book.queries.names import PrintedNames, printed_names
from inventory.book.queries.quantities import DatedFlow, cell_ends, flows_of_lots, source_labels
from inventory.book.queries.quantities.stock import NO_SOURCE
from inventory.book.rules.ends import CellEnd
from inventory.db.moment import one_moment

from ..rules.arithmetic import rows_of_cells, steps
from ..rules.figures import ELSEWHERE, YOUNG_FIGURES, columns_of, in_balance, young_part
from ..rules.question import By, Question
from ..rules.young import Bounds
from .closings import knowledge
from .reading import Moments, RowKey, moments_of, row_function
from .report import change_report


@dataclass(frozen=True, slots=True)
class Selection:
    """Which rows a figure is of: a taxon and a group, or None for all of a unit.

    ``other``: of moves only those with this place (its number) at their other end.
    """

    unit: str
    taxon_id: int | None = None
    group: int | str | None = None
    other: int | None = None


@dataclass(frozen=True, slots=True)
class Counted:
    """One flow behind a figure and how it counts in it."""

    flow: DatedFlow
    n: int


@dataclass(frozen=True, slots=True)
class Behind:
    """The flows behind a figure, oldest first; their sum; and what of the deaths is proved young.

    ``figure`` is what stands in the report: the sum, less what of it stands in the other of the two
    columns of deaths. ``young`` is None for all other figures; ``deaths`` are those of all ages.
    """

    counted: list[Counted]
    total: int
    figure: int
    young: Bounds | None = None
    names: PrintedNames | None = None
    deaths: int = 0
    of_young: bool = False

    @property
    def less(self) -> int:
        """What leads from the sum to the figure."""
        return self.figure - self.total


def behind(question: Question, figure: str, selection: Selection, *, zone: tzinfo) -> Behind:
    """Answers what is behind ``figure`` (one of :data:`~..rules.figures.FIGURES`), at one moment."""
    with one_moment():
        return _behind(question, figure, selection, zone)


def _behind(question: Question, figure: str, selection: Selection, zone: tzinfo) -> Behind:
    known = knowledge(question)
    moments = moments_of(question, known, zone)
    names = printed_names(question.names, closing=known[1].version)
    lots = _lots(question, selection, names)
    row_of = row_function(question, names)
    counted: list[Counted] = []
    for flows, count in _sources(figure, lots, moments, question, selection.other):
        ends = cell_ends({cell for flow in flows for cell in (flow.from_cell, flow.to_cell)})
        rows = {
            key: (row, row is not None and _is_of(row, selection))
            for key, row in rows_of_cells(ends, row_of, question.scope).items()
        }
        for flow in flows:
            n = count(flow, ends, (rows[flow.from_cell], rows[flow.to_cell]))
            if n:
                counted.append(Counted(flow, n))
    counted.sort(key=lambda one: (one.flow.effective_at, one.flow.event_id, one.flow.flow_id))
    total = sum(one.n for one in counted)
    part = young_part(figure)
    if not part:
        return Behind(counted, total, total, names=names)
    young, deaths = _young(question, selection, zone)
    less = (deaths - young.least if part == YOUNG_FIGURES[0] else young.least) * columns_of(figure)["died"]
    return Behind(counted, total, total - less, young, names, deaths, part == YOUNG_FIGURES[0])


# One end's row, and whether that row is among the selected ones.
_End = tuple[RowKey | None, bool]
_Count = Callable[[DatedFlow, dict[int, CellEnd], tuple[_End, _End]], int]


def _sources(
    figure: str, lots: list[int], moments: Moments, question: Question, other: int | None
) -> list[tuple[list[DatedFlow], _Count]]:
    """Flows to look at and how they count: of the period by column, else by what they do to a balance."""
    at_start, at_end = moments.opening.at, moments.closing.at
    signs = {"opening": 1} if figure == "opening" else columns_of(figure)

    def column(flow: DatedFlow, ends: dict[int, CellEnd], rows: tuple[_End, _End]) -> int:
        a, b = ends[flow.from_cell], ends[flow.to_cell]
        if other is not None and other not in (a.place_id, b.place_id):
            return 0
        chosen = dict(rows)
        if flow.reversal:
            done = steps(b, a, -flow.n, rows=(rows[1][0], rows[0][0]), scope=question.scope)
        else:
            done = steps(a, b, flow.n, rows=(rows[0][0], rows[1][0]), scope=question.scope)
        return sum(signs.get(step.column, 0) * step.n for step in done if chosen[cast(RowKey, step.row)])

    def balance(flow: DatedFlow, ends: dict[int, CellEnd], rows: tuple[_End, _End]) -> int:
        a, b = (
            selected
            and (figure != "missing" or ends[key].missing)
            and (figure != ELSEWHERE or bool(ends[key].off_site))
            for key, (_, selected) in zip((flow.from_cell, flow.to_cell), rows, strict=True)
        )
        return in_balance(a, b, flow.n)

    period = (flows_of_lots(lots, since=moments.start, before=moments.end, known_at=at_end), column)
    if figure == "opening":
        return [(flows_of_lots(lots, before=moments.start, known_at=at_start), balance), period]
    if figure in ("closing", "missing", ELSEWHERE):
        return [(flows_of_lots(lots, before=moments.end, known_at=at_end), balance)]
    if figure == "late":
        return _late(lots, moments, balance)
    if "late" in figure.split("+"):
        return [period, *_late(lots, moments, balance)]
    return [period]


def _late(lots: list[int], moments: Moments, balance: _Count) -> list[tuple[list[DatedFlow], _Count]]:
    at_start, at_end = moments.opening.at, moments.closing.at
    if at_start == at_end:
        return []
    if at_start is not None and (at_end is None or at_start < at_end):
        late = flows_of_lots(lots, before=moments.start, known_at=at_end, known_after=at_start)
        return [(late, balance)]
    # The opening knows more than the closing does: what it knows more is taken back.
    early = flows_of_lots(lots, before=moments.start, known_at=at_start, known_after=at_end)
    return [(early, lambda flow, ends, rows: -balance(flow, ends, rows))]


def _is_of(row: RowKey, selection: Selection) -> bool:
    return (
        row.unit == selection.unit
        and selection.taxon_id in (None, row.taxon_id)
        and selection.group in (None, row.group)
    )


def _lots(question: Question, selection: Selection, names: PrintedNames | None) -> list[int]:
    """Lots that can be part of the selected rows."""
    lots = Lot.objects.filter(unit=selection.unit)
    if selection.taxon_id is not None and names is None:
        lots = lots.filter(taxon_id=selection.taxon_id)
    elif selection.taxon_id is not None and names is not None:
        # Under other names a row may hold lots of several taxa, and lots that have moved since.
        same = [taxon for taxon, row in names.one_row.items() if row == selection.taxon_id]
        lots = lots.filter(Q(taxon_id__in=same) | Q(pk__in=names.taxon_of_lot))
    if question.by is By.LOT and selection.group is not None:
        lots = lots.filter(pk=selection.group)
    found = list(lots.values_list("pk", flat=True))
    if question.by is By.SOURCE and selection.group is not None:
        labels = source_labels(known_at=question.known_at)
        found = [lot for lot in found if labels.get(lot, NO_SOURCE) == selection.group]
    return found


def _young(question: Question, selection: Selection, zone: tzinfo) -> tuple[Bounds, int]:
    """Bounds of the deaths within 30 days of birth, and the deaths of all ages."""
    rows = [row for row in change_report(question, zone=zone).rows if _is_of(row.key, selection)]
    bounds = Bounds(
        least=sum(row.change.flows["died_within_30_days"] for row in rows),
        most=sum(row.young_most for row in rows),
    )
    return bounds, sum(row.change.flows[column] for row in rows for column in YOUNG_FIGURES)


@dataclass(frozen=True, slots=True)
class Line:
    """A flow as a person reads it."""

    event: Event
    flow: Flow
    n: int


def lines_of(counted: Iterable[Counted]) -> list[Line]:
    """Events and flows of ``counted``, in its order. Two queries."""
    shown = list(counted)
    flows = Flow.objects.select_related(
        *(f"{end}_cell__{part}" for end in ("from", "to") for part in ("lot", "account__place"))
    ).in_bulk([one.flow.flow_id for one in shown])
    events = Event.objects.select_related("entered_by", "approved_by", "reverses", "stated_range").in_bulk(
        {one.flow.event_id for one in shown}
    )
    return [Line(events[one.flow.event_id], flows[one.flow.flow_id], one.n) for one in shown]
