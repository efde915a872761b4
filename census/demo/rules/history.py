"""Two years of the demo house: opening stock, written events and background, as rows of events."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from random import Random

from inventory.book.rules.accession import accession_of
from inventory.book.rules.kinds import EventKind

from . import fixtures
from .background import JELLY, Ground, Line, QuarterPlan, bounds, plan_backwards
from .dating import chunks, days_of_deaths, entered_after
from .effects import Effect, between, effective, effects_of
from .fixtures import PRESENCE, SEXES, CensusRow, DemoLot, Quarter, Row, keeper_of
from .slips import CURATOR, REGISTRAR, with_slips

SEED = 1902
# Background deaths of the running quarter stop, and are entered, before the first count of the census.
LAST_BACKGROUND_DAY = date(2026, 9, 26)
ALL_ENTERED = datetime.combine(date(2026, 9, 28), time())
# How many dead one entry tells of, at most.
ENTRY_OF = {"shoal fish": 3, "short-lived gobies": 2}
# A lot that bears one animal typed wrong for a day.
BEARS_A_SLIP = 10
UNEXPLAINED = "unexplained"
TABLETS = ("Blue", "Yellow")
# What people write for a cause, and how often; most bodies tell nothing.
CAUSES = {"not known": 14, "old age": 3, "disease": 2, "eaten (seen)": 1}


@dataclass(frozen=True, slots=True)
class History:
    """``opening`` is the load of the first day, ``events`` all that follows, in order of entry."""

    lots: Sequence[DemoLot]
    accessions: Mapping[str, str]
    opening: Sequence[Row]
    events: Sequence[Row]

    @property
    def rows(self) -> list[Row]:
        return [*self.opening, *self.events]


def make_history(seed: int = SEED) -> History:
    """The same rows each time for the same seed. Raises :class:`ValueError` when fixtures clash."""
    rng = Random(seed)
    lots = fixtures.read_lots()
    by_key = {lot.lot: lot for lot in lots}
    census = fixtures.read_census()
    quarters = fixtures.read_quarters()
    background = fixtures.read_background()
    written = fixtures.read_history()
    effects = effects_of(written)
    closed, running = quarters[:-1], quarters[-1]
    start = _sexes_at_start(census, by_key)
    ground = Ground(effects, by_key, background, rng)
    closing = {line: sum(n.values()) for line, n in start.items()}
    plans = plan_backwards(closed, closing, ground)
    presence_only = sum(lot.unit == PRESENCE for lot in lots)
    opening = _in_lines(
        list(_opening(plans[0], closed, start, effects)), background.opening_lines - presence_only
    )
    rows: list[Row] = []
    fit: set[str] = set()
    for plan in plans:
        made = list(_background(plan, ground))
        fit |= {row.ref for row in made if _bears_a_slip(row, plan)}
        rows += made
    rows = with_slips(rows, fit=fit, background=background, rng=rng)
    rows += _running_deaths(running, census, ground)
    events = sorted([*written, *rows], key=lambda row: row.entered)
    return History(lots, _accessions(lots, [*opening, *events]), opening, events)


def _sexes_at_start(census: Sequence[CensusRow], lots: Mapping[str, DemoLot]) -> dict[Line, dict[str, int]]:
    """Animals by sex of each lot and place at the start of the running quarter, from the census."""
    start: dict[Line, dict[str, int]] = {}
    for row in census:
        if not row.opening:
            continue
        if len(row.lots) > 1 or lots[row.lots[0]].sex:
            for key in row.lots:
                start[key, row.place] = {lots[key].sex: 1}
        elif row.mfu and sum(row.mfu) == row.opening:
            males, females, unknown = row.mfu
            start[row.lots[0], row.place] = {"male": males, "female": females, "unknown": unknown}
        else:
            start[row.lots[0], row.place] = {"unknown": row.opening}
    return start


def _opening(
    first: QuarterPlan,
    closed: Sequence[Quarter],
    start: Mapping[Line, Mapping[str, int]],
    effects: Sequence[Effect],
) -> Iterator[Row]:
    """The stock loaded on the first day, by sex: what is held later less what was written since."""
    since: dict[tuple[Line, str], int] = {}
    for effect in between(effects, bounds(closed[0])[0], bounds(closed[-1])[1]):
        key = (effect.lot, effect.place), effect.sex
        since[key] = since.get(key, 0) + effect.n
    for line in sorted(first.opening, key=lambda line: (line[1], line[0])):
        if not first.opening[line]:
            continue
        sexes = {sex: start.get(line, {}).get(sex, 0) - since.get((line, sex), 0) for sex in SEXES}
        # Background deaths take from those whose sex was never stated.
        sexes["unknown"] += first.opening[line] - sum(sexes.values())
        if min(sexes.values()) < 0:
            raise ValueError(f"{line} would open with {sexes}")
        yield Row(
            ref="",
            kind=EventKind.OPENING.value,
            happened=first.quarter.starts.isoformat(),
            entered=f"{first.quarter.starts}T18:00",
            entered_by=REGISTRAR,
            lot=line[0],
            place=line[1],
            males=sexes["male"],
            females=sexes["female"],
            hermaphrodites=sexes["hermaphrodite"],
            unknown=sexes["unknown"],
        )


def _in_lines(opening: Sequence[Row], wanted: int) -> list[Row]:
    """The opening stock as the old spreadsheets had it: large lots in several lines, one a batch."""
    lines = list(opening)
    while len(lines) < wanted:
        largest = max(lines, key=lambda row: row.unknown)
        half = largest.unknown // 2
        at = lines.index(largest)
        lines[at : at + 1] = [
            replace(largest, unknown=largest.unknown - half),
            replace(largest, unknown=half),
        ]
    return [replace(row, ref=f"opening/{i:03}") for i, row in enumerate(lines, start=1)]


def _background(plan: QuarterPlan, ground: Ground) -> Iterator[Row]:
    quarter = plan.quarter
    for line, total in plan.died.items():
        box = _Box(line, plan.opening.get(line, 0), quarter, quarter.ends)
        yield from _deaths(box, total, ground)
    counted = quarter.ends - timedelta(days=2)
    for kind, shares in ((EventKind.FOUND, plan.found), (EventKind.UNACCOUNTED, plan.unaccounted)):
        for (lot, place), n in shares.items():
            yield Row(
                ref=f"{counted}/{lot}-{place}-{kind.value}",
                kind=kind.value,
                happened=f"{counted}T11:00",
                entered=f"{quarter.ends + timedelta(days=7)}T15:00",
                entered_by=REGISTRAR,
                lot=lot,
                place=place,
                unknown=n,
                reason=UNEXPLAINED,
                approved_by=CURATOR,
                note="count of the quarter",
            )


@dataclass(frozen=True, slots=True)
class _Box:
    """A lot at a place in a quarter; deaths are dated up to ``last``."""

    line: Line
    opening: int
    quarter: Quarter
    last: date


def _deaths(box: _Box, total: int, ground: Ground) -> Iterator[Row]:
    lot, place = box.line
    most = 6 if box.line == JELLY else ENTRY_OF.get(ground.lots[lot].background, 2)
    inside = between(ground.effects, *bounds(box.quarter))
    dated = days_of_deaths(
        chunks(total, most, ground.rng),
        opening=box.opening,
        arrivals=[(e.at.date(), e.n) for e in inside if (e.lot, e.place) == box.line],
        first=box.quarter.starts,
        last=box.last,
        month_factor=ground.background.month_factor,
        rng=ground.rng,
    )
    for i, (day, n) in enumerate(dated, start=1):
        happened, entered = entered_after(
            day,
            late_share=ground.background.per_cent_late / 100,
            not_after=box.quarter.closed_at or ALL_ENTERED,
            rng=ground.rng,
        )
        yield Row(
            ref=f"{box.quarter.code}/{lot}-{place}-{i:02}",
            kind=EventKind.DIED.value,
            happened=happened,
            entered=entered,
            entered_by=keeper_of(place, date.fromisoformat(entered[:10])),
            lot=lot,
            place=place,
            unknown=n,
            cause=ground.rng.choices(list(CAUSES), list(CAUSES.values()))[0],
            device=ground.rng.choice(TABLETS),
        )


def _running_deaths(running: Quarter, census: Sequence[CensusRow], ground: Ground) -> Iterator[Row]:
    """Deaths of the running quarter: what the census row tells less what is written already."""
    inside = between(ground.effects, *bounds(running))
    for row in census:
        if not row.died:
            continue
        line = row.lots[0], row.place
        written = -sum(e.n for e in inside if (e.lot, e.place) == line and e.kind == EventKind.DIED)
        box = _Box(line, row.opening, running, LAST_BACKGROUND_DAY)
        yield from _deaths(box, row.died - written, ground)


def _bears_a_slip(row: Row, plan: QuarterPlan) -> bool:
    """One more or less for a day makes no lot negative, and the slip is put right before the closing."""
    line = row.lot, row.place
    holds = plan.opening.get(line, 0) - plan.died.get(line, 0) - plan.unaccounted.get(line, 0)
    day = effective(row.happened).date()
    return (
        row.kind == EventKind.DIED
        and holds >= BEARS_A_SLIP
        and date.fromisoformat(row.entered[:10]) - day <= timedelta(days=1)
    )


def _accessions(lots: Sequence[DemoLot], rows: Sequence[Row]) -> dict[str, str]:
    """Running numbers with a check digit, in the order in which the lots came to be."""
    first: dict[str, str] = {}
    for row in rows:
        day = effective(row.happened).date().isoformat()
        for lot in filter(None, (row.lot, row.to_lot)):
            first[lot] = min(first.get(lot, day), day)
    # Presence-only lots were on the list from the first day; others without an event come last.
    known = {lot.lot: first.get(lot.lot, "" if lot.unit == PRESENCE else "9999") for lot in lots}
    ordered = sorted(known, key=lambda key: known[key])
    return {lot: accession_of(i) for i, lot in enumerate(ordered, start=1)}
