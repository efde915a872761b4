"""Layout B: one block a place, with what was counted there, and the matrix of moves as the last part."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import count

import numpy as np

from census.change.queries.reading import RowKey
from census.change.queries.remembered import remembered_reports
from census.change.queries.report import Report, Row, Rows
from census.change.rules.arithmetic import Change
from census.change.rules.question import By, Question
from census.change.rules.short import PERCENT_FROM
from census.rounds.rules.words import SACFOR_WORDS
from inventory.book.models import Keeping, Place
from inventory.book.rules.columns import Numbers
from inventory.book.rules.scope import Scope
from inventory.book.rules.words import MINUS, whole
from inventory.names.models import Taxon

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Part, Said, Table
from ..rules.lines import MadeLines
from ..rules.said import Saying
from .asking import address_of, amount, classified, figures_of, local_moment, mfu_figure, selected
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
)
# What no census asked for is not shown as four blanks.
COUNTED_COLUMNS = (
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
    rows = _with_counted(report, found, places)
    rows = rows.in_order(rows.label_ranks(), rows.unit_ranks(), rows.taxon_ranks(classified))
    asked = address_of(question, local_moment(question, saying))
    told = _Told(rows, found, names_of(rows.named_taxa().values(), question, saying), asked)
    keepers = keepers_of(places, question.last_day)
    blocks = [
        _block(places[int(rows.group[first])], told, first, last, keepers=keepers, saying=saying)
        for first, last in rows.spans(rows.group, 0, len(rows))
    ]
    columns = (*COLUMNS, *COUNTED_COLUMNS) if found.lines else COLUMNS
    moves = moves_part(report, places, asked, count(len(rows) + 1))
    return Document(
        layout="exhibits",
        title=f"Population change by exhibit, {saying.days(question.first_day, question.last_day)}",
        head=[
            *head_lines(report, report.totals, saying, estimates=_estimates(found)),
            ("census", _census_in_words(found)),
            ("places", _where(question)),
        ],
        parts=[
            Part("places", "By exhibit", "place", columns, blocks, [TIES]),
            moves,
        ],
        questions=[question],
        said=[*_said(report, house), *_moved(report, moves, places)],
        untied=[*report.named_untied, *house.named_untied],
        present_only=present_only(),
        notes=told.names.notes,
    )


class _Told:
    """The rows in their order, with all that their lines say beside the book."""

    def __init__(self, rows: Rows, found: CensusFound, names: Names, asked: Mapping[str, str]) -> None:
        self.rows, self.found, self.names, self.asked = rows, found, names, asked
        self._counts: dict[int, Counted] = {}
        if found.lines:
            where = zip(rows.group.tolist(), rows.taxon.tolist(), rows.unit.tolist(), strict=True)
            for at, (place, taxon, unit) in enumerate(where):
                one = found.lines.get((place, taxon, rows.units[unit]))
                if one is not None:
                    self._counts[at] = one

    def line(self, label: str, first: int, at: int) -> Line:
        """The line of a row, told from the first of its table."""
        at += first
        row = self.rows[at]
        return Line(
            number=at + 1,
            name=self.names.of(row.taxon),
            label=label,
            make=partial(_of_row, row, self.asked, self._counts.get(at)),
            annex=row.key,
        )

    def counted(self, first: int, last: int) -> dict[int, Counted]:
        """What was counted, of rows from one position to another."""
        if not self._counts:
            return {}
        return {at: self._counts[at] for at in range(first, last) if at in self._counts}

    def counted_in_all(self, first: int, last: int) -> Counted:
        """The counts of these rows together. What the book has there and no sheet asks for is a line not
        counted: a sum of some counts beside the total of all must say that it is of some."""
        counts = self.counted(first, last)
        together = Counted()
        for one in counts.values():
            together.add(one)
        if together.lines:
            held = np.flatnonzero(self.rows.columns.closing[first:last]).tolist()
            together.lines += sum(first + at not in counts for at in held)
        return together

    def numbers(self, first: int, last: int) -> dict[str, Numbers]:
        """The numbers of these rows in whole columns."""
        part = self.rows.columns.at(slice(first, last))
        columns = {name: part.amount(name) for name in _NUMBERS}
        counts = self.counted(first, last)
        if counts:
            columns["count"] = np.zeros(last - first, dtype=np.int64)
            columns["difference"] = np.zeros(last - first, dtype=np.int64)
        for at, one in counts.items():
            if one.counted:
                columns["count"][at - first] = one.value
                columns["difference"][at - first] = one.difference
        return columns


def _with_counted(report: Report, found: CensusFound, places: Mapping[int, Place]) -> Rows:
    """The rows, and more of what was counted where the book has nothing. One query."""
    rows = report.rows
    if not found.lines:
        return rows
    known = {rows.key(at) for at in range(len(rows))}
    keys = [
        RowKey(*key)
        for key, one in found.lines.items()
        if RowKey(*key) not in known and one.value and _shown(places[key[0]], report.question.scope)
    ]
    taxa = Taxon.objects.in_bulk({key.taxon_id for key in keys if key.taxon_id > 0})
    for number, words in found.written.items():
        taxa[number] = Taxon(pk=number, scientific_name=words, common_name="written in, not yet named")
    return rows.with_nothing(keys, taxa)


def _shown(place: Place, scope: Scope) -> bool:
    return scope is not Scope.HERE or not place.off_site


def _census_in_words(found: CensusFound) -> str:
    if not found.code:
        return "none of this period: no counts are shown"
    return found.code if found.lines else f"{found.code}, with no line to count yet: no counts are shown"


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
    told: _Told,
    first: int,
    last: int,
    *,
    keepers: Mapping[int, list[str]],
    saying: Saying,
) -> Block:
    """The rows of a place, from one position to another."""
    rows = told.rows
    counted = told.found.places.get(place.pk, PlaceCount())
    tables = []
    totals: dict[str, Change] = {}
    for begin, end in rows.spans(rows.unit, first, last):
        unit = rows.units[int(rows.unit[begin])]
        totals[unit] = rows.columns.at(slice(begin, end)).total()
        of_place = told.counted_in_all(begin, end)
        of_all = {**told.asked, "unit": unit, "group": str(place.pk)}
        tables.append(
            Table(
                unit,
                MadeLines(end - begin, partial(told.line, place.code, begin)),
                _figures(totals[unit], of_all, of_place if of_place.lines else None),
                f"Total of {place.code}",
                partial(told.numbers, begin, end),
            )
        )
    facts = _facts(place, counted, keepers.get(place.pk, []), saying)
    return Block(f"{place.code} {place.name}", facts, tables, _foot(told, first, last, totals, counted))


def _of_row(row: Row, asked: Mapping[str, str], counted: Counted | None) -> dict[str, Figure]:
    return _figures(row.change, {**asked, **selected(row, By.PLACE)}, counted)


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
    counting = saying.span(counted.first, counted.last) if counted.first and counted.last else ""
    facts = [
        ("kind", place.get_kind_display()),
        ("volume", f"{place.volume_m3.normalize():f} m³" if place.volume_m3 else "not on the books"),
        ("system", place.get_water_display()),
        ("keeper", ", ".join(keepers) or "none on the books"),
        ("count moment", counting),
        ("counters", ", ".join(counted.counters)),
        ("sheets", ", ".join(sorted(counted.sheets))),
    ]
    return [(heading, text) for heading, text in facts if text]


def _foot(told: _Told, first: int, last: int, totals: Mapping[str, Change], counted: PlaceCount) -> list[str]:
    """Unexplained losses, taxa that came and went, differences both ways, and the letters."""
    notes = []
    rows = told.rows
    counts = told.counted(first, last)
    for unit, total in totals.items():
        lost, opening = total.flows["unaccounted"], total.opening
        words = f"Unexplained losses ({unit}): {whole(lost)} of {whole(opening)} at the opening"
        if opening >= PERCENT_FROM:
            words += f", {100 * lost / opening:.1f} per 100"
        notes.append(f"{words}.")
        seen = [one for at, one in counts.items() if one.counted and rows.units[int(rows.unit[at])] == unit]
        if seen:
            more = sum(one.difference for one in seen if one.difference > 0)
            less = -sum(one.difference for one in seen if one.difference < 0)
            notes.append(
                f"Counts beside the book before settling ({unit}):"
                f" +{whole(more)} / {MINUS}{whole(less)}, gross {whole(more + less)}."
            )
    opening_of, closing_of = rows.columns.opening[first:last], rows.columns.closing[first:last]
    came = rows.taxon[first:last][(opening_of == 0) & (closing_of != 0)]
    gone = rows.taxon[first:last][(opening_of != 0) & (closing_of == 0)]
    for words, some in (("Newly seen", came), ("Gone", gone)):
        listed = ", ".join(dict.fromkeys(rows.taxa[pk].scientific_name for pk in some.tolist())) or "none"
        notes.append(f"{words}: {listed}.")
    for name in sorted({*counted.letters, *counted.letters_before}):
        letters = [
            f"{letter}, {SACFOR_WORDS[letter]}" if letter else "no letter"
            for letter in (counted.letters.get(name, ""), counted.letters_before.get(name, ""))
        ]
        notes.append(f"Present only, never added: {name} {letters[0]} (before: {letters[1]}).")
    return notes


def _said(report: Report, house: Report) -> list[Said]:
    """The house by taxon says the same as its places, save what goes from place to place; it has no total
    where they cancel, as after a move whose animals are not entered yet."""
    said = []
    for unit in report.totals:
        for column in ("opening", "in", "out", "found", "unaccounted", "late", "closing", "missing"):
            value = amount(house.totals.get(unit, Change()), column)
            said.append(Said(f"{column.replace('_', ' ')} of the house", "places", column, unit, value))
    return said


def _moved(report: Report, moves: Part, places: Mapping[int, Place]) -> list[Said]:
    """Each place's moves out are its row of the matrix."""
    out: defaultdict[tuple[str, str], int] = defaultdict(int)
    rows = report.rows
    moved = rows.columns.amount("moved_out")
    for at in np.flatnonzero(moved).tolist():
        out[places[int(rows.group[at])].code, rows.units[int(rows.unit[at])]] += int(moved[at])
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
