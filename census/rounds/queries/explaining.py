"""Explains the differences of a census: reads the house once, asks the rules, words the answer.

The number of queries is the same for ten lines and for two thousand.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Max
from django.utils.timezone import get_current_timezone, localdate

from census.differences.models import Refusal
from census.differences.rules.causes import Cause
from census.differences.rules.explain import Explained, explain
from census.differences.rules.facts import Line
from inventory.book.models import Cell, Flow, Lot
from inventory.book.queries.quantities import source_labels
from inventory.book.rules.happened import start_of_day
from inventory.doors import clock
from inventory.tankside.models import StayWord

from ..models import Census, Sighting
from ..rules.hypotheses import Hypothesis, hypotheses, notes_on
from ..rules.settings import CensusSettings
from ..rules.words import LineKind, LineState, Seen
from .evidence import passages_of
from .explaining_drift import drift_words
from .explaining_house import house_facts
from .explaining_lines import Known, Looked, lines_of
from .explaining_names import protected_taxa, written_in
from .reading import Row
from .settings import settings_of


@dataclass(frozen=True, slots=True)
class Answer:
    """What is proposed. ``by_row``: hypotheses by the id of the row's first line, best first.

    ``explained`` by the line's words, with the sets of causes behind it; ``lines`` likewise.
    """

    by_row: Mapping[int, Sequence[Hypothesis]]
    explained: Mapping[str, Explained]
    lines: Mapping[str, Line]


def explanations(
    census: Census, rows: Sequence[Row], *, settings: CensusSettings | None = None
) -> dict[int, list[Hypothesis]]:
    """Hypotheses for every row that somebody has to look at, by the id of its first line."""
    return {pk: list(found) for pk, found in answer(census, rows, settings=settings).by_row.items()}


def answer(
    census: Census,
    rows: Sequence[Row],
    *,
    settings: CensusSettings | None = None,
    looked: Looked = Looked.LATEST,
    detail: Collection[str] = (),
    now: datetime | None = None,
) -> Answer:
    """The proposals of all rows.

    ``looked``: at which count. ``detail``: lines (by their words) of which the second explanation and
    every regret is wanted.
    """
    settings = settings or settings_of(census)
    now, zone = now or clock.now(), get_current_timezone()
    known = _known(census, [row for row in rows if _has_something(row)], settings)
    lines = lines_of(rows, known, looked)
    by_key = {line.key: line for line in lines}
    house = house_facts(census, rows, now=now, settings=settings)
    found = explain(lines, house, refused=_refused(by_key), detail=detail)
    by_row: dict[int, list[Hypothesis]] = {}
    for row in rows:
        keys = [str(part.line) for part in row.parts if str(part.line) in by_key]
        told = [
            one
            for key in keys
            if key in found
            for one in hypotheses(found[key], by_key, today=localdate(now), zone=zone)
        ]
        # A cause that joins two parts of a row is told once.
        unique: dict[str, Hypothesis] = {}
        for one in sorted(told, key=lambda one: not one.best):
            unique.setdefault(one.key, one)
        told = list(unique.values())
        if not _wanted(row, [by_key[key] for key in keys], looked, told):
            continue
        told += [note for key in keys for note in notes_on(by_key[key])] if told else []
        if told:
            by_row[row.line.pk] = told
    return Answer(by_row, found, by_key)


def counts_of(proposal_lines: Sequence[Line]) -> str:
    """The counts on which a proposal rests, as a refusal keeps them."""
    return ", ".join(str(number) for number in sorted(line.count_id for line in proposal_lines))


def _wanted(row: Row, lines: Sequence[Line], looked: Looked, told: Sequence[Hypothesis]) -> bool:
    """True where a person has to look: outside tolerance, moved by a rule, or agreeing in number only."""
    if row.state is LineState.SETTLED and looked is Looked.LATEST:
        return False
    if row.line.kind == LineKind.WRITE_IN:
        return True
    if not any(line.difference for line in lines):
        return any(line.not_seen or line.counted_sexes for line in lines)
    if any(not line.inside or line.drift for line in lines):
        return True
    if any(one.best and one.cause is not Cause.ESTIMATE for one in told):
        return True
    return looked is Looked.LATEST and row.needs_settling


def _has_something(row: Row) -> bool:
    """Rows of which the evidence is read: all but those that agree in every way."""
    if row.line.kind in (LineKind.INDIVIDUALS, LineKind.LETTER):
        return True
    return any(
        count.value is None or count.value != part.present(count.round)
        for part in row.parts
        for count in (*part.counts.values(), *part.typed_before)
        if count.round in part.books
    )


def _refused(lines: Mapping[str, Line]) -> set[str]:
    """Proposals that were refused while the counts were the ones of now. One query."""
    if not lines:
        return set()
    prefix = min(lines).partition("-")[0]
    refused = set()
    for proposal, counts in Refusal.objects.filter(proposal__contains=prefix).values_list(
        "proposal", "counts"
    ):
        named = [line for key, line in lines.items() if names(proposal, key)]
        if named and counts == counts_of(named):
            refused.add(proposal)
    return refused


def names(proposal: str, key: str) -> bool:
    """True when ``key`` ("CS-26Q3-07 line 5") is one of the lines of a proposal."""
    _, _, ends = proposal.partition(" / ")
    return key in ends.partition(" / ")[0].split(" > ")


def _known(census: Census, rows: Sequence[Row], settings: CensusSettings) -> Known:
    lots = {lot.pk: lot for row in rows for part in row.parts for lot in part.lots}
    single = [pk for pk, lot in lots.items() if lot.kind == "individual"]
    introduced, may_be = written_in(rows)
    labels = source_labels() if lots else {}
    return Known(
        passages=passages_of(census, rows),
        held=_held(single),
        seen_before=_seen_before(census, single),
        notes=_notes(census, single),
        may_be=may_be,
        introduced=introduced,
        protected=protected_taxa(rows),
        promised=_promised(lots),
        sources={pk: labels[pk] for pk in lots if pk in labels},
        drift=drift_words(census, rows, settings),
        rounds_max=settings.recount_rounds_max,
    )


def _held(lots: Collection[int]) -> frozenset[tuple[int, int]]:
    held = Cell.objects.filter(lot__in=lots, inside=True, balance__gt=0).order_by()
    return frozenset(held.values_list("lot_id", "account__place_id"))


def _seen_before(census: Census, lots: Collection[int]) -> dict[int, date]:
    """The last sure sighting of each individual: in an earlier census, or in something entered of it."""
    seen = (
        Sighting.objects.filter(lot__in=lots, seen=Seen.SEEN.value)
        .exclude(made_at__line__sheet__census=census)
        .order_by()
        .values_list("lot")
        .annotate(last=Max("made_at__counted_at"))
    )
    return {lot: localdate(last) for lot, last in seen}


def _notes(census: Census, lots: Collection[int]) -> dict[int, tuple[str, str, date]]:
    """(words, place, day) of what the veterinarian wrote last of each lot in the period."""
    since = start_of_day(census.period.starts_on, get_current_timezone())
    notes = StayWord.objects.filter(lot__in=lots, at__gte=since, kind=StayWord.Kind.EXPECTED)
    return {
        note.lot_id: (f"{note.by.name}: {note.words}", note.place.code, localdate(note.at))
        for note in notes.select_related("by", "place").order_by("at", "id")
    }


def _promised(lots: Mapping[int, Lot]) -> frozenset[int]:
    """Lots that belong to somebody else, or of which any animal came under a permit."""
    permitted = (
        Flow.objects.filter(to_cell__lot__in=lots, to_cell__inside=True, from_cell__inside=False)
        .exclude(event__permit_number="")
        .order_by()
        .values_list("to_cell__lot", flat=True)
        .distinct()
    )
    return frozenset(permitted) | frozenset(pk for pk, lot in lots.items() if lot.owner)
