"""Reads an event's lines into flows between cells: what the book makes of what a person states.

A person states a lot, a place and numbers; the book knows sexes, stages and who is missing. Where
the book leaves only one possibility it is taken. Where it leaves several, what was stated is
booked as stated and may go below zero, for a number below zero is seen and settled, an invented
sex is not.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime

from .drafts import DraftLine, EventDraft
from .kinds import ARRIVALS, DEPARTURES, EventKind
from .running import (
    MISSING,
    PRESENT,
    CellKey,
    FlowDraft,
    PlaceFacts,
    RunningBook,
    outside_account,
    place_account,
)

UNKNOWN = "unknown"
SEXES = ("male", "female", "hermaphrodite", UNKNOWN)
# What the database holds in one flow and in one cell's stage.
MOST = 999_999_999
LONGEST_STAGE = 20


class Refusal(Exception):
    """A line that cannot be booked: the column that is wrong, and what to do."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column
        self.message = message


def flows_of(draft: EventDraft, line: DraftLine, book: RunningBook, moment: datetime) -> list[FlowDraft]:
    """The flows of one line of any kind but ``reversed``. Raises :class:`Refusal`."""
    _check_line(draft, line, book)
    kind = draft.kind
    if kind in ARRIVALS:
        return _arrive(kind, line)
    if kind in DEPARTURES:
        return _depart(kind, line, book, moment)
    if kind is EventKind.MISSING:
        return _go_missing(line, book, moment)
    if kind is EventKind.SEEN_AGAIN:
        return _see_again(line, book, moment)
    if kind is EventKind.REGROUPED:
        return _regroup(line, book, moment)
    return _move(draft, line, book, moment)


def _check_line(draft: EventDraft, line: DraftLine, book: RunningBook) -> None:
    _check_names(line, book)
    _check_stages(line)
    _check_numbers(line, book)
    if draft.kind is not EventKind.REGROUPED and (line.to_lot or line.to_sex or line.to_stage):
        raise Refusal("to_accession", "only a regrouped event changes lot, sex or stage")


def _check_names(line: DraftLine, book: RunningBook) -> None:
    """Every lot, place and sex that the line names exists."""
    if not line.lot:
        raise Refusal("accession", "say which lot: an accession number is needed")
    if not line.place:
        raise Refusal("place", "say where: a place code is needed")
    for column, accession in (("accession", line.lot), ("to_accession", line.to_lot)):
        if accession and accession not in book.lots:
            raise Refusal(column, f"there is no lot {accession!r}; register it in the sheet lots first")
    for column, code in (("place", line.place), ("to_place", line.to_place)):
        if code and code not in book.places:
            raise Refusal(column, f"there is no place {code!r}; register it in the sheet places first")
        if code and book.places[code].feed:
            raise Refusal(column, f"{code} holds feed, which is never stock")
    for column, sex in (("from_sex", line.from_sex), ("to_sex", line.to_sex)):
        if sex and sex not in SEXES:
            raise Refusal(column, f"{sex!r} is not one of {', '.join(SEXES)}")


def _check_stages(line: DraftLine) -> None:
    for column, stage in (("stage", line.stage), ("to_stage", line.to_stage)):
        if len(stage) > LONGEST_STAGE:
            raise Refusal(column, f"{len(stage)} characters long; expected at most {LONGEST_STAGE}")


def _check_numbers(line: DraftLine, book: RunningBook) -> None:
    """Whole animals, at least one, and one only of an individual."""
    if any(n < 0 for _, n in line.numbers.by_sex()):
        raise Refusal("numbers", "a number of animals is never negative; to take an event back, reverse it")
    if line.numbers.total > MOST:
        raise Refusal("numbers", f"{line.numbers.total} animals in one line; expected at most {MOST}")
    if line.numbers.total == 0:
        raise Refusal("numbers", "an event of nothing: give males, females, hermaphrodites or unknown")
    for lot in (line.lot, line.to_lot):
        if lot and book.lots[lot].individual and line.numbers.total != 1:
            raise Refusal("numbers", f"{lot} is an individual: its number is 1, not {line.numbers.total}")


def _arrive(kind: EventKind, line: DraftLine) -> list[FlowDraft]:
    there = place_account(line.place)
    return [
        FlowDraft(
            CellKey(line.lot, outside_account(kind), sex, line.stage),
            CellKey(line.lot, there, sex, line.stage),
            n,
        )
        for sex, n in line.numbers.by_sex()
    ]


def _depart(kind: EventKind, line: DraftLine, book: RunningBook, moment: datetime) -> list[FlowDraft]:
    # What is written off is first of all what was missing; what is found dead may have been.
    standings = (MISSING, PRESENT) if kind is EventKind.UNACCOUNTED else (PRESENT, MISSING)
    return [
        FlowDraft(cell, CellKey(line.lot, outside_account(kind), cell.sex, cell.stage), n)
        for cell, n in _taken_from(line, book, moment, standings)
    ]


def _go_missing(line: DraftLine, book: RunningBook, moment: datetime) -> list[FlowDraft]:
    return [
        FlowDraft(cell, cell._replace(standing=MISSING), n)
        for cell, n in _taken_from(line, book, moment, (PRESENT,))
    ]


def _see_again(line: DraftLine, book: RunningBook, moment: datetime) -> list[FlowDraft]:
    """Missing animals stand present again; when there are none, those written off come back."""
    here = place_account(line.place)
    written_off = outside_account(EventKind.UNACCOUNTED)
    if book.lots[line.lot].individual:
        position = book.position(line.lot, moment)
        if position and position.standing == MISSING:
            return [FlowDraft(position, position._replace(account=here, standing=PRESENT), 1)]
        if position:
            raise Refusal("kind", f"{line.lot} is not missing: the book has it in {_spoken(position)}")
        gone = [cell for cell in book.cells(line.lot, written_off) if book.balance(cell) > 0]
        if not gone:
            raise Refusal("kind", f"{line.lot} is neither missing nor written off")
        return [FlowDraft(gone[0], CellKey(line.lot, here, gone[0].sex, gone[0].stage), 1)]
    flows = []
    taken: Counter[CellKey] = Counter()
    missing = max(0, sum(book.balance(c) for c in book.cells(line.lot, here) if c.standing == MISSING))
    back = max(0, min(line.numbers.total - missing, book.total(line.lot, written_off)))
    for sex, n in line.numbers.by_sex():
        returning = min(n, back)
        back -= returning
        for cell, k in _draw(
            book, taken, line, account=written_off, sex=sex, n=returning, standings=(PRESENT,)
        ):
            flows.append(FlowDraft(cell, cell._replace(account=here), k))
        for cell, k in _draw(book, taken, line, account=here, sex=sex, n=n - returning, standings=(MISSING,)):
            flows.append(FlowDraft(cell, cell._replace(standing=PRESENT), k))
    return flows


def _regroup(line: DraftLine, book: RunningBook, moment: datetime) -> list[FlowDraft]:
    if not (line.to_lot or line.to_sex or line.to_stage):
        raise Refusal("to_sex", "a regrouped event says to_sex, to_stage or to_accession")
    to_lot = line.to_lot or line.lot
    if book.lots[to_lot].unit != book.lots[line.lot].unit:
        raise Refusal(
            "to_accession",
            f"{line.lot} counts in {book.lots[line.lot].unit}, {to_lot} in {book.lots[to_lot].unit}: "
            "units are never mixed",
        )
    flows = []
    for cell, n in _taken_from(line, book, moment, (PRESENT, MISSING)):
        changed = cell._replace(lot=to_lot, sex=line.to_sex or cell.sex, stage=line.to_stage or cell.stage)
        if changed == cell:
            raise Refusal("to_sex", "this regrouped event changes nothing: the animals already stand so")
        flows.append(FlowDraft(cell, changed, n))
    return flows


def _move(draft: EventDraft, line: DraftLine, book: RunningBook, moment: datetime) -> list[FlowDraft]:
    """Moves, and loans, which are moves to and from a place held by others."""
    source, target = line.place, line.to_place
    if draft.kind is EventKind.LOAN_OUT:
        target = target or _borrower(draft, book)
    elif draft.kind is EventKind.BACK_FROM_LOAN and not target:
        # Only where they came back to is said: who had them is what the book knows.
        source, target = _lent_to(line, book), line.place
    if not target:
        raise Refusal("to_place", "say where to: a place code is needed")
    if source == target:
        raise Refusal("to_place", f"the animals are in {source} already")
    crosses = book.places[source].off_site != book.places[target].off_site
    if draft.kind is EventKind.LOAN_OUT and not (crosses and book.places[target].off_site):
        raise Refusal("to_place", f"{target} is not held by others; a loan out goes to such a place")
    if draft.kind is EventKind.BACK_FROM_LOAN and not (crosses and book.places[source].off_site):
        raise Refusal("to_place", f"{source} to {target} is no way back from others into the house")
    if draft.kind is EventKind.MOVED and crosses:
        raise Refusal("to_place", "a move stays in the house; use loan_out or back_from_loan")
    if not book.cells(line.lot, place_account(source)):
        raise Refusal("place", f"{line.lot} was never held in {source}{_held_in(book, line.lot)}")
    return [
        FlowDraft(cell, cell._replace(account=place_account(target), standing=PRESENT), n)
        for cell, n in _taken_from(line, book, moment, (PRESENT, MISSING), place=source)
    ]


def _borrower(draft: EventDraft, book: RunningBook) -> str:
    off_site = [place for place in book.places.values() if place.off_site]
    named = [place for place in off_site if draft.party and draft.party in (place.code, place.name)]
    choice: list[PlaceFacts] = named or off_site
    if len(choice) != 1:
        raise Refusal("to_place", "say which place held by others they go to")
    return choice[0].code


def _lent_to(line: DraftLine, book: RunningBook) -> str:
    lent = [
        place.code
        for place in book.places.values()
        if place.off_site and book.total(line.lot, place_account(place.code)) > 0
    ]
    if len(lent) > 1:
        held = ", ".join(lent)
        raise Refusal("place", f"{line.lot} is held in {held}: say from which as place, and the to_place")
    if not lent:
        raise Refusal("accession", f"{line.lot} is not held by others{_held_in(book, line.lot)}")
    return lent[0]


def _taken_from(
    line: DraftLine, book: RunningBook, moment: datetime, standings: tuple[str, ...], place: str = ""
) -> Iterator[tuple[CellKey, int]]:
    """The cells that a line's animals leave, with numbers."""
    account = place_account(place or line.place)
    taken: Counter[CellKey] = Counter()
    for sex, n in line.numbers.by_sex():
        stated = line.from_sex if sex == UNKNOWN and line.from_sex else sex
        if book.lots[line.lot].individual:
            yield _individual(line.lot, account, stated, book, moment), 1
        else:
            yield from _draw(book, taken, line, account=account, sex=stated, n=n, standings=standings)


def _individual(lot: str, account: str, sex: str, book: RunningBook, moment: datetime) -> CellKey:
    position = book.position(lot, moment)
    if position is None:
        raise Refusal("accession", f"{lot} is not held at that time{_gone_to(book, lot, moment)}")
    if position.account != account:
        raise Refusal("place", f"{lot} is in {_spoken(position)} at that time, not in {account[6:]}")
    if sex not in (UNKNOWN, position.sex):
        raise Refusal("numbers", f"the book has {lot} as {position.sex}, not {sex}; regroup it first")
    return position


def _draw(
    book: RunningBook,
    taken: Counter[CellKey],
    line: DraftLine,
    *,
    account: str,
    sex: str,
    n: int,
    standings: tuple[str, ...],
) -> Iterator[tuple[CellKey, int]]:
    """Takes ``n`` from a group: what was stated first, then what alone is left, then below zero.

    ``taken`` is what the same line took before; it is added to.
    """
    for standing in standings:
        exact = CellKey(line.lot, account, sex, line.stage, standing)
        left_in = {
            cell: max(0, book.balance(cell) - taken[cell])
            for cell in (exact, *book.cells(line.lot, account))
            if cell.standing == standing and sex in (UNKNOWN, cell.sex) and line.stage in ("", cell.stage)
        }
        others = [cell for cell in left_in if cell != exact and left_in[cell]]
        only_choice = len(others) == 1 or n - left_in[exact] >= sum(left_in[cell] for cell in others)
        for cell in (exact, *(others if only_choice else ())):
            k = min(n, left_in[cell])
            if k:
                yield cell, k
                taken[cell] += k
                n -= k
    if n:
        beyond = CellKey(line.lot, account, sex, line.stage, MISSING if standings == (MISSING,) else PRESENT)
        yield beyond, n
        taken[beyond] += n


def _spoken(cell: CellKey) -> str:
    return cell.account.partition(":")[2] + (" (missing)" if cell.standing == MISSING else "")


def _held_in(book: RunningBook, lot: str) -> str:
    held = sorted(
        account.partition(":")[2]
        for account in book.accounts(lot)
        if account.startswith("place:") and book.total(lot, account) > 0
    )
    return f"; the book has it in {', '.join(held)}" if held else ""


def _gone_to(book: RunningBook, lot: str, moment: datetime) -> str:
    """What became of an individual: the last way it left, in words."""
    last = [
        (happened, flow)
        for happened, flow in book.histories.get(lot, ())
        if happened <= moment and not flow.to_cell.inside and flow.from_cell.inside
    ]
    if not last:
        arrivals = [happened for happened, flow in book.histories.get(lot, ()) if flow.to_cell.inside]
        if not arrivals:
            return ": it has not arrived"
        first = f"{min(arrivals).astimezone(book.zone):%Y-%m-%d %H:%M}"
        return f": it arrived on {first}; if this was later that day, give the time"
    happened, flow = max(last, key=lambda entry: entry[0])
    return f": {flow.to_cell.account.partition(':')[2]} on {happened.astimezone(book.zone):%Y-%m-%d}"
