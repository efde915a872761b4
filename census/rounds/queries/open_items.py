"""What still stands against signing a census."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from inventory.book.models import Lot

from ..models import Census, Sheet
from ..rules.words import LineKind, LineState, SheetState
from .draws import drawn_for_recount, newest_sample, waiting_for_recount
from .hands import with_whom
from .holdings import Holding, below_zero, holdings, lots_by_id, on_no_line
from .out import sheets_out
from .reading import Row
from .unsheeted import without_sheet


class ItemKind(StrEnum):
    SHEET_OUT = "sheet out"
    NOT_COUNTED = "not counted"
    UNSETTLED = "not settled"
    BELOW_ZERO = "below zero"
    NO_SHEET = "no sheet"
    NOT_LISTED = "sums do not tie"
    DRAWN = "drawn for a recount"
    SAMPLE = "sample test"


@dataclass(frozen=True, slots=True)
class OpenItem:
    """One reason not to sign; ``sheet`` (and ``line``, not 0) number the place where it can be worked on."""

    kind: ItemKind
    text: str
    sheet: str = ""
    line: int = 0


def open_items(census: Census, rows: Sequence[Row]) -> list[OpenItem]:
    """Every open item of the census, in the order in which they are best worked off.

    What stands against it is the book at the cut-off, as known now; what fell below zero afterwards is
    told by :func:`fallen_since`.
    """
    at_cutoff = holdings(before=census.cutoff)
    negative = below_zero(at_cutoff)
    unlisted = on_no_line(census, at_cutoff)
    elsewhere = without_sheet(census, unlisted)
    lots = lots_by_id(h.lot_id for h in (*negative, *unlisted))
    unlisted = [one for one in unlisted if one.place_id not in elsewhere]
    return [
        *_sheets_out(census),
        *_not_counted(rows),
        *_unsettled(rows),
        *_below_zero(negative, lots),
        *_no_sheet(elsewhere.values(), lots),
        *_not_listed(unlisted, lots, {row.line.place_id: row.line.sheet.number for row in rows}),
        *_drawn(census, rows),
        *_sample(census),
    ]


def _sheets_out(census: Census) -> Iterable[OpenItem]:
    sheets = list(sheets_out(census).select_related("place").prefetch_related("counters"))
    names = with_whom(sheets)
    for sheet in sheets:
        text, name = f"{sheet.number} ({sheet.place.code}) is {_spoken(sheet)}", names[sheet.pk]
        yield OpenItem(ItemKind.SHEET_OUT, f"{text}, with {name}" if name else text, sheet.number)


def _spoken(sheet: Sheet) -> str:
    if sheet.state == SheetState.RECOUNT_ASKED:
        return "out for a recount"
    return {SheetState.NOT_ISSUED.value: "not issued", SheetState.ISSUED.value: "issued and not back"}.get(
        sheet.state, f"{sheet.state} and not handed in"
    )


def _not_counted(rows: Iterable[Row]) -> Iterable[OpenItem]:
    """Class D is due once a year only, so that its blank lines stop nobody."""
    blank: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        for part in row.blank if row.state is not LineState.SETTLED else ():
            blank[part.line.sheet.number].append(f"{part.line.number} {row.name}")
    for number, lines in blank.items():
        listed = ", ".join(lines)
        what = "1 line" if len(lines) == 1 else f"{len(lines)} lines"
        yield OpenItem(ItemKind.NOT_COUNTED, f"{number}: {what} not counted: {listed}", number)


def _unsettled(rows: Iterable[Row]) -> Iterable[OpenItem]:
    for row in rows:
        if row.needs_settling:
            text = f"{row.refs}, {row.name}: {_why_open(row)}"
            yield OpenItem(ItemKind.UNSETTLED, text, row.line.sheet.number, row.line.number)


def _why_open(row: Row) -> str:
    if row.reopened and row.decision is not None:
        was, now = row.decision.book, row.latest.book if row.latest else None
        if was != now:
            return f"settled, but the book has moved from {was} to {now} since"
        return "settled, but counted again since"
    if row.state is LineState.RECOUNT:
        return "a recount was asked for"
    if row.line.kind == LineKind.WRITE_IN:
        return "written in, and not decided"
    if row.book_must_move:
        return "confirmed, and a confirmed class B count moves the book"
    return _why_outside(row)


def _why_outside(row: Row) -> str:
    difference = row.latest.difference if row.latest else None
    if difference is None:
        return "not settled"
    outside = f"outside tolerance ({difference:+d})"
    return f"explained in part, still {outside}" if row.decision is not None else outside


def fallen_since(census: Census, *, now: datetime) -> list[str]:
    """What stands below zero today and did not at the cut-off: a notice, for it is of a later period.

    Two reads of the book while the cut-off is past; none before it.
    """
    if now <= census.cutoff:
        return []
    then = {(one.lot_id, one.place_id) for one in below_zero(holdings(before=census.cutoff))}
    found = [one for one in below_zero(holdings(before=now)) if (one.lot_id, one.place_id) not in then]
    lots = lots_by_id(one.lot_id for one in found)
    return [_stands(one, lots) for one in found]


def _below_zero(found: Iterable[Holding], lots: dict[int, Lot]) -> Iterable[OpenItem]:
    return [OpenItem(ItemKind.BELOW_ZERO, _stands(holding, lots)) for holding in found]


def _stands(holding: Holding, lots: Mapping[int, Lot]) -> str:
    name = lots[holding.lot_id].taxon.scientific_name
    return f"the book has {holding.total} of {name} ({holding.accession}) in {holding.place_code}"


# So many lots of a place without a sheet are named.
_NAMED = 3


def _no_sheet(places: Iterable[Sequence[Holding]], lots: Mapping[int, Lot]) -> Iterable[OpenItem]:
    """One for each place, which would else be one for each lot of a tank that was forgotten."""
    for held in sorted(places, key=lambda one: one[0].place_code):
        named = [f"{one.total} of {lots[one.lot_id].taxon.scientific_name}" for one in held[:_NAMED]]
        more = len(held) - len(named)
        what = ", ".join(named) + (f" and {more} more lot{'s' if more > 1 else ''}" if more else "")
        where = f"no sheet counts {held[0].place_code}, where the book holds"
        text = f"{where} {what} at the cut-off: add one on the board"
        yield OpenItem(ItemKind.NO_SHEET, text)


def _not_listed(
    found: Iterable[Holding], lots: dict[int, Lot], sheets: Mapping[int, str]
) -> Iterable[OpenItem]:
    """``sheets``: the number of the sheet of each place; there the line can be added."""
    for holding in found:
        name = lots[holding.lot_id].taxon.scientific_name
        text = (
            f"the book holds {holding.total} of {name} ({holding.accession}) in {holding.place_code} "
            "at the cut-off, and no line counts it there: add a line"
        )
        yield OpenItem(ItemKind.NOT_LISTED, text, sheets.get(holding.place_id, ""))


def _drawn(census: Census, rows: Sequence[Row]) -> Iterable[OpenItem]:
    for row in waiting_for_recount(rows, drawn_for_recount(census)):
        text = f"{row.refs}, {row.name}: drawn by lot to be counted again by another person"
        yield OpenItem(ItemKind.DRAWN, text, row.line.sheet.number, row.line.number)


def _sample(census: Census) -> Iterable[OpenItem]:
    """A sample that was begun is brought to its end, and has to accept; none is asked for here."""
    sample = newest_sample(census)
    if sample is None:
        return
    if not sample.done:
        yield OpenItem(ItemKind.SAMPLE, f"{sample.found} of {len(sample.lines)} drawn lines were looked at")
    elif not sample.acceptance.accepted:
        teams = f"; count again all sheets of: {'; '.join(sample.teams)}" if sample.teams else ""
        text = f"not accepted: {', '.join(sample.acceptance.why)}{teams}; then draw anew"
        yield OpenItem(ItemKind.SAMPLE, text)
