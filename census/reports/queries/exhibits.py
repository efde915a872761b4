"""Layout B: one block a place, with what was counted there, and the matrix of moves as the last part."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import groupby

from census.change.queries.reading import RowKey
from census.change.queries.remembered import remembered_reports
from census.change.queries.report import Report, Row
from census.change.rules.arithmetic import Change, totals_by_unit
from census.change.rules.question import By, Question
from census.change.rules.short import PERCENT_FROM
from census.rounds.rules.words import SACFOR_WORDS
from inventory.book.models import Keeping, Place
from inventory.book.rules.scope import Scope
from inventory.names.models import Taxon

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Part, Said, Table
from ..rules.said import Saying
from .asking import address_of, classified, figure, figures_of, local_moment, mfu_figure, selected
from .counted import CensusFound, Counted, PlaceCount, census_found
from .head import Names, head_lines, names_of, present_only
from .moves import moves_part

_FLOWS = (
    "opening",
    "in",
    "out",
    "found",
    "unaccounted",
    "moved_in",
    "moved_out",
    "regrouped",
    "late",
    "closing",
)
_NUMBERS = (*_FLOWS, "missing")
COLUMNS = (
    Column("opening", "opening"),
    Column("opening_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
    Column("in", "in"),
    Column("out", "out"),
    Column("found", "unexplained: found"),
    Column("unaccounted", "unexplained: unaccounted for"),
    Column("moved_in", "moved in"),
    Column("moved_out", "moved out"),
    Column("regrouped", "regrouped (net)", Kind.SIGNED),
    Column("late", "late from earlier period", Kind.SIGNED),
    Column("closing", "closing"),
    Column("closing_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
    Column("missing", "of closing: missing"),
    Column("count", "count"),
    Column("count_status", "count status", Kind.TEXT, summed=False, under=True),
    Column("difference", "count less book, before settling", Kind.SIGNED),
    Column("reason", "reason", Kind.TEXT, summed=False),
)
TIES = Identity(
    plus=("opening", "in", "found", "moved_in", "regrouped", "late"),
    minus=("out", "unaccounted", "moved_out"),
    result="closing",
)

_NOT_COUNTED = {
    "count": Figure(None),
    "count_status": Figure(""),
    "difference": Figure(None),
    "reason": Figure(""),
}


def by_exhibit(question: Question, saying: Saying) -> Document:
    """The report. A constant number of queries."""
    question = replace(question, by=By.PLACE)
    report, house = remembered_reports(question, [By.PLACE, By.TAXON], zone=saying.zone)
    found = census_found(question.first_day, question.last_day)
    places = Place.objects.in_bulk()
    rows = [*report.rows, *_only_counted(report, found, places)]
    names = names_of({row.taxon.pk: row.taxon for row in rows}.values(), question, saying)
    keepers = keepers_of(places, question.last_day)
    asked = address_of(question, local_moment(question, saying))
    numbers = iter(range(1, 10**9))
    blocks = [
        _block(
            places[int(group)],
            list(of_place),
            found=found,
            names=names,
            keepers=keepers,
            saying=saying,
            asked=asked,
            numbers=numbers,
        )
        for group, of_place in groupby(sorted(rows, key=_order(places)), key=lambda row: row.key.group)
    ]
    moves = moves_part(report, places, saying.zone, asked, numbers)
    return Document(
        layout="exhibits",
        title=f"Population change by exhibit, {saying.days(question.first_day, question.last_day)}",
        head=[
            *head_lines(report, report.totals, saying, estimates=_estimates(found)),
            ("census", found.code or "none of this period: no counts are shown"),
            ("places", _where(question)),
        ],
        parts=[
            Part("places", "By exhibit", "place", COLUMNS, blocks, [TIES]),
            moves,
        ],
        questions=[question],
        said=[*_said(report, house), *_moved(report, moves, places)],
        untied=[*report.named_untied, *house.named_untied],
        present_only=present_only(),
        notes=names.notes,
    )


def _only_counted(report: Report, found: CensusFound, places: Mapping[int, Place]) -> list[Row]:
    """Rows of what was counted where the book has nothing. One query."""
    if not found.lines:
        return []
    known = {tuple(row.key) for row in report.rows}
    keys = [
        key
        for key, one in found.lines.items()
        if key not in known and one.value and _shown(places[key[0]], report.question.scope)
    ]
    taxa = Taxon.objects.in_bulk({taxon for _, taxon, _ in keys if taxon > 0})
    for number, words in found.written.items():
        taxa[number] = Taxon(pk=number, scientific_name=words, common_name="written in, not yet named")
    return [
        Row(RowKey(*key), places[key[0]].code, taxa[key[1]], Change(), young_most=0, ties=True)
        for key in keys
    ]


def _shown(place: Place, scope: Scope) -> bool:
    return scope is not Scope.HERE or not place.off_site


def _order(places: Mapping[int, Place]) -> Callable[[Row], tuple[str, ...]]:
    return lambda row: (places[int(row.key.group)].code, row.unit, *classified(row.taxon))


def _estimates(found: CensusFound) -> str:
    if not any(one.estimate for one in found.lines.values()):
        return "none: book figures are sums of whole animals, and no count is an estimate"
    return (
        "book figures are sums of whole animals; a count that is an estimate says “about” with its range, and"
        " a sum with an estimate in it is one too, its range the plain sum of the limits"
    )


def _where(question: Question) -> str:
    words = "exhibits, and places behind the scenes like them"
    return words if question.scope is Scope.HERE else f"{words}; places held by others too"


def _block(
    place: Place,
    rows: list[Row],
    *,
    found: CensusFound,
    names: Names,
    keepers: Mapping[int, list[str]],
    saying: Saying,
    asked: Mapping[str, str],
    numbers: Iterator[int],
) -> Block:
    counted = found.places.get(place.pk, PlaceCount())
    tables = []
    totals: dict[str, Change] = {}
    for unit, of_unit in groupby(rows, key=lambda row: row.unit):
        part = list(of_unit)
        lines = [
            Line(
                number=next(numbers),
                name=names.of(row.taxon),
                label=place.code,
                make=partial(_of_row, row, asked, found),
                annex=row.key,
            )
            for row in part
        ]
        totals[unit] = totals_by_unit((row.unit, row.change) for row in part)[unit]
        whole = Counted()
        for row in part:
            one = _count_of(row, found)
            if one is not None:
                whole.add(one)
        of_all = {**asked, "unit": unit, "group": str(place.pk)}
        figures = _figures(totals[unit], of_all, whole if whole.lines else None)
        tables.append(Table(unit, lines, figures, f"Total of {place.code}"))
    facts = _facts(place, counted, keepers.get(place.pk, []), saying)
    return Block(f"{place.code} {place.name}", facts, tables, _foot(rows, totals, found, counted))


def _of_row(row: Row, asked: Mapping[str, str], found: CensusFound) -> dict[str, Figure]:
    return _figures(row.change, {**asked, **selected(row, By.PLACE)}, _count_of(row, found))


def _count_of(row: Row, found: CensusFound) -> Counted | None:
    if not found.lines:
        return None
    return found.lines.get((int(row.key.group), row.taxon.pk, row.unit))


def _figures(change: Change, asked: Mapping[str, str], counted: Counted | None) -> dict[str, Figure]:
    figures = figures_of(change, _NUMBERS, asked)
    figures["opening_mfu"] = mfu_figure(change, "opening", asked)
    figures["closing_mfu"] = mfu_figure(change, "closing", asked)
    if counted is None:
        return {**figures, **_NOT_COUNTED}
    known = counted.counted
    figures["count"] = Figure(counted.value if known else None)
    figures["count_status"] = Figure(counted.says)
    figures["difference"] = Figure(counted.difference if known else None)
    figures["reason"] = Figure("; ".join(dict.fromkeys(counted.reasons)))
    return figures


def _facts(place: Place, counted: PlaceCount, keepers: list[str], saying: Saying) -> list[tuple[str, str]]:
    moments = [moment for moment in (counted.first, counted.last) if moment]
    facts = [
        ("kind", place.get_kind_display()),
        ("volume", f"{place.volume_m3.normalize():f} m³" if place.volume_m3 else "not on the books"),
        ("system", place.get_water_display()),
        ("keeper", ", ".join(keepers) or "none on the books"),
        ("count moment", " to ".join(dict.fromkeys(saying.moment(moment) for moment in moments))),
        ("counters", ", ".join(counted.counters)),
        ("sheets", ", ".join(sorted(counted.sheets))),
    ]
    return [(heading, text) for heading, text in facts if text]


def _foot(
    rows: list[Row], totals: Mapping[str, Change], found: CensusFound, counted: PlaceCount
) -> list[str]:
    """Unexplained losses, taxa that came and went, differences both ways, and the letters."""
    notes = []
    for unit, total in totals.items():
        lost, opening = total.flows["unaccounted"], total.opening
        words = f"Unexplained losses ({unit}): {lost} of {opening} at the opening"
        if opening >= PERCENT_FROM:
            words += f", {100 * lost / opening:.1f} per 100"
        notes.append(f"{words}.")
        seen = [one for row in rows if row.unit == unit and (one := _count_of(row, found)) and one.counted]
        if seen:
            more = sum(one.difference for one in seen if one.difference > 0)
            less = -sum(one.difference for one in seen if one.difference < 0)
            notes.append(
                f"Counts beside the book before settling ({unit}): +{more} / -{less}, gross {more + less}."
            )
    ends = [(row, row.change.opening, row.change.closing) for row in rows]
    came = [row for row, opening, closing in ends if not opening and closing]
    gone = [row for row, opening, closing in ends if opening and not closing]
    for words, some in (("Newly seen", came), ("Gone", gone)):
        listed = ", ".join(dict.fromkeys(row.taxon.scientific_name for row in some)) or "none"
        notes.append(f"{words}: {listed}.")
    for name in sorted({*counted.letters, *counted.letters_before}):
        letters = [
            f"{letter}, {SACFOR_WORDS[letter]}" if letter else "no letter"
            for letter in (counted.letters.get(name, ""), counted.letters_before.get(name, ""))
        ]
        notes.append(f"Present only, never added: {name} {letters[0]} (before: {letters[1]}).")
    return notes


def _said(report: Report, house: Report) -> list[Said]:
    """The house by taxon says the same as its places, save what goes from place to place."""
    said = []
    for unit in report.totals:
        for column in ("opening", "in", "out", "found", "unaccounted", "late", "closing", "missing"):
            value = figure(house.totals[unit], column, {}).number
            said.append(Said(f"{column.replace('_', ' ')} of the house", "places", column, unit, value))
    return said


def _moved(report: Report, moves: Part, places: Mapping[int, Place]) -> list[Said]:
    """Each place's moves out are its row of the matrix."""
    out: defaultdict[tuple[str, str], int] = defaultdict(int)
    for row in report.rows:
        out[places[int(row.key.group)].code, row.unit] += row.change.flows["moved_out"]
    units = {table.unit for table in moves.tables()}
    return [
        Said(f"moved out of {code}", "moves", "moved_out", unit, n, code)
        for (code, unit), n in sorted(out.items())
        if n and unit in units
    ]


def keepers_of(places: Mapping[int, Place], on: date | None) -> dict[int, list[str]]:
    """Who keeps each place on a day, or as the book stands; the keepers of the places above it count too.

    One query.
    """
    own: defaultdict[int, list[str]] = defaultdict(list)
    keepings = Keeping.objects.select_related("keeper")
    for keeping in keepings.filter(since__lte=on) if on else keepings.filter(until=None):
        if on is None or keeping.until is None or keeping.until >= on:
            own[keeping.place_id].append(keeping.keeper.name)
    found: dict[int, list[str]] = {}
    for pk in places:
        names: list[str] = []
        for above in _upwards(pk, places):
            names += own.get(above, [])
        found[pk] = sorted(dict.fromkeys(names))
    return found


def _upwards(place: int, places: Mapping[int, Place]) -> Iterable[int]:
    seen: list[int] = []
    at: int | None = place
    while at is not None and at not in seen:
        seen.append(at)
        at = places[at].parent_id
    return seen
