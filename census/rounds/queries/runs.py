"""What earlier censuses say about the lines of this one. A constant number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from django.db.models import Q

from inventory.book.models import Flow, Lot
from inventory.book.queries.quantities import Point, held_at
from inventory.book.rules.kinds import EventKind

from ..models import Census, Count, Line, Sighting
from ..rules.runs import Earlier, Search, drifts, full_count_due, letter_steps, search_for
from ..rules.settings import CensusSettings
from ..rules.words import CensusState, LineKind, Seen
from .reading import A_MINUTE, Row, read_census

Key = tuple[int, int | None, str]


def runs_of(census: Census, rows: Sequence[Row], settings: CensusSettings) -> dict[int, list[Earlier]]:
    """For each row (by the id of its first line) what it and earlier closed censuses found, newest first.

    Only as many censuses as the longest run asks for are read.
    """
    upto = max(settings.drift_run_length, settings.minimum_count_run_length) - 1
    before = Census.objects.filter(cutoff__lt=census.cutoff, state=CensusState.CLOSED.value)
    found: dict[Key, list[Earlier]] = defaultdict(list)
    for earlier in before.select_related("version").order_by("-cutoff")[:upto]:
        for row in read_census(earlier):
            found[_key(row)].append(_earlier(earlier, row))
    return {row.line.pk: [_earlier(census, row), *found[_key(row)]] for row in rows}


def drifting(
    rows: Iterable[Row], runs: dict[int, list[Earlier]], settings: CensusSettings
) -> list[tuple[Row, int]]:
    """Class C rows that lie on one side of the book for a whole run, with the side."""
    found = (
        (row, drifts(runs[row.line.pk], settings))
        for row in rows
        if row.measured and row.line.count_class == "C"
    )
    return [(row, side) for row, side in found if side]


def full_counts_due(
    rows: Iterable[Row], runs: dict[int, list[Earlier]], settings: CensusSettings
) -> list[Row]:
    """Rows of which only minimum counts were made for a whole run: drain, or count at night."""
    return [row for row in rows if full_count_due(runs[row.line.pk], settings)]


@dataclass(frozen=True, slots=True)
class LetterChange:
    """A presence line whose letter changed by two or more steps since the last letter there."""

    line: Line
    before: str
    before_in: str
    now: str


def letters_changed(census: Census, settings: CensusSettings) -> list[LetterChange]:
    """Against the newest earlier letter of the same taxon in the same place. Two queries."""
    counts = Count.objects.filter(line__kind=LineKind.PRESENCE.value, replaced_by=None).exclude(letter="")
    mine = list(
        counts.filter(line__sheet__census=census)
        .select_related("line__taxon", "line__place", "line__sheet")
        .order_by("line__sheet__number", "line__number", "round")
    )
    earlier = counts.filter(
        line__sheet__census__cutoff__lt=census.cutoff, line__taxon__in={count.line.taxon_id for count in mine}
    ).exclude(line__sheet__census__state=CensusState.ABANDONED.value)
    before: dict[tuple[int, int | None], tuple[str, str]] = {}
    for place, taxon, letter, code in earlier.order_by("line__sheet__census__cutoff", "round").values_list(
        "line__place", "line__taxon", "letter", "line__sheet__census__code"
    ):
        before[place, taxon] = (letter, code)
    latest = {count.line_id: count for count in mine}
    return [
        LetterChange(count.line, *before[key], count.letter)
        for count in latest.values()
        if (key := (count.line.place_id, count.line.taxon_id)) in before
        and letter_steps(before[key][0], count.letter) >= settings.presence_step_flag
    ]


@dataclass(frozen=True, slots=True)
class Missed:
    """An individual that the newest roll-calls did not find. ``seen_on``: the last roll-call that did, None
    without any; days are then reckoned from ``last_seen``, the first that did not."""

    lot: Lot
    line: Line
    seen_on: date | None
    last_seen: date
    missed_on: date
    censuses: int
    search: Search

    @property
    def known_of(self) -> str:
        """What the roll-calls know, with days in ISO 8601."""
        if self.seen_on is None:
            return f"was missed on {self.missed_on}, and no roll-call before has it as seen"
        return f"was last seen on {self.seen_on}"

    @property
    def called(self) -> str:
        """How a question to the curator begins; :meth:`is_in` finds it again."""
        return f"{self.lot.house_name or self.lot.accession} ({self.lot.taxon}) in {self.line.place.code} "

    def is_in(self, words: str) -> bool:
        """Whether a question in these words is about this animal. Its taxon may have another name since, and
        the animal itself a name of its own."""
        names = (self.lot.accession, self.lot.house_name)
        begins = any(name and words.startswith(f"{name} (") for name in names)
        return begins and f") in {self.line.place.code} was " in words


def not_seen(census: Census, settings: CensusSettings, *, now: datetime, zone: tzinfo) -> list[Missed]:
    """Individuals of this census whose newest roll-call, which is of it, missed them."""
    of_it = Q(lot__sightings__made_at__line__sheet__census=census)
    found = _searched(of_it, settings, now=now, zone=zone)
    return [one for one in found if one.line.sheet.census_id == census.pk]


def searched_on(
    lines: Collection[int], settings: CensusSettings, *, now: datetime, zone: tzinfo
) -> list[Missed]:
    """Individuals of these lines' roll-calls that are searched, by whichever census asked last."""
    return _searched(Q(lot__sightings__made_at__line__in=lines), settings, now=now, zone=zone)


def _searched(of: Q, settings: CensusSettings, *, now: datetime, zone: tzinfo) -> list[Missed]:
    """Individuals whose newest roll-call missed them, and that are to be there. Three queries.

    Last seen is the newest roll-call that found them; without one, the day of the first that did not. Where
    the book, as known now, has the animal elsewhere or not at all, at the roll-call or since, its absence is
    explained: it moved, died, left or was written off, and nobody searches it there. Nor where it was booked
    as seen again since.
    """
    calls = (
        Sighting.objects.filter(made_at__replaced_by=None)
        .exclude(seen=Seen.NOT_LOOKED_FOR.value)
        .exclude(made_at__line__sheet__census__state=CensusState.ABANDONED.value)
        .filter(of, made_at__counted_at__lte=now)
        .select_related("lot__taxon", "made_at__line__sheet", "made_at__line__place")
        .order_by("made_at__counted_at", "made_at_id")
        .distinct()
    )
    by_lot: dict[int, list[Sighting]] = defaultdict(list)
    for call in calls:
        by_lot[call.lot_id].append(call)
    found: list[Missed] = []
    moments: list[datetime] = []
    for history in by_lot.values():
        run: list[Sighting] = []
        seen: date | None = None
        for call in history:
            if call.seen == Seen.SEEN:
                run, seen = [], call.made_at.counted_at.astimezone(zone).date()
            else:
                run.append(call)
        if not run:
            continue
        missed_on = run[0].made_at.counted_at.astimezone(zone).date()
        censuses = len({call.made_at.line.sheet.census_id for call in run})
        last_seen = seen or missed_on
        search = search_for(
            last_seen=last_seen,
            missed_on=missed_on,
            censuses=censuses,
            today=now.astimezone(zone).date(),
            settings=settings,
        )
        found.append(Missed(run[-1].lot, run[-1].made_at.line, seen, last_seen, missed_on, censuses, search))
        moments.append(run[-1].made_at.counted_at + A_MINUTE)
    if not found:
        return []
    there = _there(found, moments, now=now)
    finds = _finds([one.lot.pk for one in found])
    return [
        one
        for one, moment, is_there in zip(found, moments, there, strict=True)
        if is_there and not any(lot == one.lot.pk and at >= moment for lot, at in finds)
    ]


def _finds(lots: Sequence[int]) -> list[tuple[int, datetime]]:
    """When the book has animals of these lots as seen again, whatever was taken back left out."""
    flows = Flow.objects.filter(
        event__kind=EventKind.SEEN_AGAIN, reversal=False, event__reversed_by=None, to_cell__lot__in=lots
    )
    return list(flows.values_list("to_cell__lot_id", "effective_at"))


def _there(found: Sequence[Missed], moments: Sequence[datetime], *, now: datetime) -> list[bool]:
    """Whether the book has each of them in its place, at its roll-call and now; missing ones it has."""
    points = [
        Point(one.lot.pk, one.line.place_id, before)
        for one, moment in zip(found, moments, strict=True)
        for before in (moment, now + A_MINUTE)
    ]
    held = iter(held_at(points))
    return [next(held).total > 0 < next(held).total for _ in found]


def _key(row: Row) -> Key:
    line = row.line
    return line.place_id, line.taxon_id, line.unit


def _earlier(census: Census, row: Row) -> Earlier:
    latest = row.latest
    at_least = any(part.latest is not None and part.latest.at_least for part in row.parts)
    if latest is None or latest.difference is None:
        return Earlier(census.code, None, at_least)
    # What was decided has moved the book of then; what the census found is the difference before that.
    decided = sum(decision.n for part in row.parts for decision in part.decisions)
    return Earlier(census.code, latest.difference + decided, at_least)
