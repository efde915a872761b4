"""Layout H: one taxon on one page, for the keeper's wall and the inspector's question."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from functools import partial

from django.db.models import Q

from census.change.queries.closings import knowledge
from census.change.queries.of_lots import changes_of_lots
from census.change.queries.reading import RowKey
from census.change.queries.report import Report
from census.change.queries.rows import no_rows
from census.change.rules.arithmetic import Change, totals_by_unit
from census.change.rules.question import By, Question
from inventory.book.models import Lot, Place
from inventory.book.pictured import picture_of
from inventory.names.models import Taxon, TaxonName

from ..rules.document import Block, Column, Document, Figure, Kind, Line, Part, Picture, Said, Table
from ..rules.quarters import Quarter, quarter_of, quarters_between, two_years_to
from ..rules.said import Saying
from .asking import address_of, figure, local_moment, mfu_figure
from .exhibits import keepers_of
from .head import head_lines, names_of
from .taxa import SHORT, SHORT_TIES, short_figures
from .taxon_counts import counts_of

# A sum of openings is none: of these the foot tells nothing, of the flows it tells all eight quarters.
_COURSE = tuple(
    replace(column, summed=False) if column.key in ("opening", "closing", "missing") else column
    for column in SHORT
)
_HELD = (
    Column("closing", "animals at the end"),
    Column("closing_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
    Column("missing", "of these missing"),
)


_Changes = Mapping[RowKey, tuple[Change, bool]]


@dataclass(frozen=True, slots=True)
class _Of:
    """What the page is about, and how its figures are asked for."""

    taxon: Taxon
    lots: frozenset[int]
    question: Question
    saying: Saying

    def asked(self, question: Question, unit: str, group: str = "") -> dict[str, str]:
        address = {**address_of(question, local_moment(question, self.saying)), "unit": unit}
        return {**address, "taxon": str(self.taxon.pk), **({"group": group} if group else {})}

    def question_of(self, quarter: Quarter) -> Question:
        return replace(self.question, first_day=quarter.first_day, last_day=quarter.last_day)

    def line(self, number: int, label: str, change: Change, question: Question, unit: str) -> Line:
        return Line(number, None, label, partial(short_figures, change, self.asked(question, unit)))

    def changes(self, question: Question) -> dict[RowKey, tuple[Change, bool]]:
        found = changes_of_lots(question, self.lots, zone=self.saying.zone)
        return {key: one for key, one in found.items() if key.taxon_id == self.taxon.pk}


def one_taxon(question: Question, saying: Saying, subject: str) -> Document:
    """The days asked for, and beside them two years, quarter by quarter, that end on the last of these days.
    The number of queries depends on the quarters and the censuses. Raises ValueError when it is no name."""
    taxon = taxon_called(subject)
    first, last = two_years_to(question.last_day)[0], question.last_day
    question = replace(question, by=By.TAXON)
    lots = frozenset(Lot.objects.filter(taxon=taxon).values_list("pk", flat=True))
    of = _Of(taxon, lots, question, saying)
    read = [(one, of.changes(of.question_of(one))) for one in _quarters_to(last)]
    # Quarters before anything of it is in the book have no row: noughts would say that it was looked for.
    begun = min((at for at, (_, changes) in enumerate(read) if _any_of(changes)), default=-1)
    quarters, found = [one for one, _ in read[begun:]], [changes for _, changes in read[begun:]]
    numbers = iter(range(1, 10**9))
    asked = of.changes(question)
    days = _days_asked(of, asked, numbers) if question.first_day != first else []
    course, untied = _course(of, quarters, found, numbers)
    newest = replace(question, first_day=quarters[-1].first_day)
    where, places = _held(of, newest, By.PLACE, "Where it lives", key="where", numbers=numbers)
    sources, _ = _held(of, newest, By.SOURCE, "Where it came from", key="sources", numbers=numbers)
    counts, charts = counts_of(taxon, saying, numbers)
    known = knowledge(question)
    totals = _totals(asked)
    report = Report(question, known[0], known[1], no_rows(), totals)
    whole = replace(question, first_day=min(first, question.first_day))
    names = names_of([taxon], whole, saying)
    borne = list(TaxonName.objects.filter(taxon=taxon).order_by("since", "id"))
    beside = [("two years", saying.days(first, last))] if days else []
    return Document(
        layout="taxon",
        title=f"{taxon.scientific_name}, {saying.days(question.first_day, last)}",
        head=[
            *_about(taxon, borne, saying, places),
            *beside,
            *head_lines(
                report,
                totals,
                saying,
                estimates="the book is whole animals; a count that is an estimate stands with its range",
            ),
        ],
        parts=[*days, course, where, sources, *counts],
        questions=[*_before(question, quarters[0]), *(of.question_of(one) for one in quarters)],
        said=[
            Said(f"{unit} at the end, by {part.key}", part.key, "closing", unit, total.closing)
            for part in (*days, where, sources)
            for unit, total in totals.items()
        ],
        untied=[*_untied(taxon, asked), *untied],
        notes=names.notes,
        charts=charts,
        picture=_picture(taxon),
        subject=taxon.scientific_name,
        called=[*names.of(taxon).typed, *(one.scientific_name for one in borne)],
        first_day=question.first_day,
    )


def _untied(taxon: Taxon, changes: _Changes) -> list[str]:
    return [f"{taxon.scientific_name} ({key.unit})" for key, (_, ties) in changes.items() if not ties]


def _quarters_to(last: date) -> list[Quarter]:
    """Eight quarters, of which the newest ends on ``last``, be that in its midst: where the animals are is
    told of that day, and the rows lead there."""
    *quarters, newest = quarters_between(*two_years_to(last))
    return [*quarters, Quarter(newest.first_day, last)]


def _before(question: Question, oldest: Quarter) -> list[Question]:
    """What the days asked for have before the quarters that are told, for the annex."""
    until = oldest.first_day - timedelta(days=1)
    return [replace(question, last_day=until)] if question.first_day <= until else []


def _picture(taxon: Taxon) -> Picture | None:
    shown = picture_of(taxon)
    return None if shown is None else Picture(**asdict(shown))


def taxon_called(words: str) -> Taxon:
    """The taxon of a scientific or common name. Raises ValueError when there is none, or more than one."""
    words = " ".join(words.split())
    found = list(Taxon.objects.filter(Q(scientific_name__iexact=words) | Q(common_name__iexact=words))[:5])
    if not found:
        near = Taxon.objects.filter(
            Q(scientific_name__icontains=words) | Q(common_name__icontains=words), joined_into=None
        ).order_by("scientific_name")[:6]
        names = ", ".join(one.scientific_name for one in near)
        raise ValueError(
            f"no animal is called “{words}”; {f'do you mean one of: {names}?' if names else 'write its name'}"
        )
    if len(found) > 1:
        names = ", ".join(one.scientific_name for one in found)
        raise ValueError(f"“{words}” is the name of several: {names}; write the scientific name")
    return found[0].joined_into or found[0]


def _totals(changes: Mapping[RowKey, tuple[Change, bool]]) -> dict[str, Change]:
    return totals_by_unit((key.unit, change) for key, (change, _) in changes.items())


def _any_of(changes: _Changes) -> bool:
    return any(change != Change() for change, _ in changes.values())


def _course(
    of: _Of, quarters: Sequence[Quarter], found: Sequence[_Changes], numbers: Iterator[int]
) -> tuple[Part, list[str]]:
    """Opening, flows and closing of each quarter."""
    questions = [of.question_of(one) for one in quarters]
    units = sorted({key.unit for changes in found for key in changes})
    tables, untied = [], []
    for unit in units:
        key = RowKey("", of.taxon.pk, unit)
        changes = [changes[key][0] if key in changes else Change() for changes in found]
        lines = [
            Line(
                next(numbers),
                None,
                _called(quarter, of.saying),
                partial(short_figures, change, of.asked(question, unit)),
                annex=tuple(key),
            )
            for quarter, question, change in zip(quarters, questions, changes, strict=True)
        ]
        tables.append(Table(unit, lines, _sum(lines), "All quarters"))
        untied += [
            f"{of.taxon.scientific_name} {_called(quarter, of.saying)} ({unit})"
            for quarter, one in zip(quarters, found, strict=True)
            if key in one and not one[key][1]
        ]
    ties = [replace(identity, on_totals=False) for identity in SHORT_TIES]
    words = "" if tables else "No number of it is in the book in these two years."
    course = [Block("Two years", [], tables)]
    return Part("course", "Two years", "quarter", _COURSE, course, ties, words), untied


def _called(quarter: Quarter, saying: Saying) -> str:
    """``2026 Q3``; of a quarter that is cut off, to which day."""
    whole = quarter.last_day == quarter_of(quarter.first_day).last_day
    return quarter.words if whole else f"{quarter.words} to {saying.day(quarter.last_day)}"


def _days_asked(of: _Of, changes: _Changes, numbers: Iterator[int]) -> list[Part]:
    """The change of the days that were asked for. Its events stand under the quarters in the annex."""
    words = of.saying.days(of.question.first_day, of.question.last_day)
    tables = [
        Table(
            key.unit,
            [of.line(next(numbers), words, change, of.question, key.unit)],
            {},
            "",
        )
        for key, (change, _) in sorted(changes.items())
    ]
    none = "" if tables else "No number of it is in the book in these days."
    return [Part("days", "The days asked for", "days", SHORT, [Block(words, [], tables)], SHORT_TIES, none)]


def _sum(lines: Sequence[Line]) -> dict[str, Figure]:
    """The flows of all quarters; of numbers that stand at one moment there is no sum."""
    made = [line.figures for line in lines]
    return {
        column.key: Figure(sum(one[column.key].number for one in made))
        if column.summed and column.kind in (Kind.NUMBER, Kind.SIGNED)
        else Figure(None)
        for column in _COURSE
    }


def _held(
    of: _Of, question: Question, by: By, title: str, *, key: str, numbers: Iterator[int]
) -> tuple[Part, list[Place]]:
    """What is there at the end, by place or by source."""
    question = replace(question, by=by)
    found = of.changes(question)
    places = Place.objects.in_bulk() if by is By.PLACE else {}
    held = {row: change for row, (change, _) in found.items() if change.closing}

    def label(row: RowKey) -> str:
        place = places.get(int(row.group)) if by is By.PLACE else None
        return f"{place.code} {place.name}" if place else str(row.group)

    tables = []
    for unit, total in _totals(found).items():
        rows = sorted((row for row in held if row.unit == unit), key=label)
        lines = [
            Line(
                next(numbers),
                None,
                label(row),
                partial(_held_figures, held[row], of.asked(question, unit, str(row.group))),
            )
            for row in rows
        ]
        tables.append(Table(unit, lines, _held_figures(total, of.asked(question, unit))))
    lives_in = [places[int(row.group)] for row in held] if by is By.PLACE else []
    first_column = "place" if by is By.PLACE else "source"
    words = "" if tables else "Nothing of it is in the book at the end."
    part = Part(key, title, first_column, _HELD, [Block(title, [], tables)], words=words)
    return part, lives_in


def _held_figures(change: Change, asked: Mapping[str, str]) -> dict[str, Figure]:
    return {
        "closing": figure(change, "closing", asked),
        "closing_mfu": mfu_figure(change, "closing", asked),
        "missing": figure(change, "missing", asked),
    }


def _about(
    taxon: Taxon, borne: Sequence[TaxonName], saying: Saying, places: Sequence[Place]
) -> list[tuple[str, str]]:
    """Names with their history, where it stands among the animals, and who to ask. Two queries."""
    keepers = keepers_of(Place.objects.in_bulk(), on=None)
    asked = sorted({name for place in places for name in keepers.get(place.pk, [])})
    since = [
        f"{one.scientific_name} since {saying.day(one.since.astimezone(saying.zone).date())}" for one in borne
    ]
    typed = Lot.objects.filter(taxon=taxon).exclude(verbatim_identification="")
    words = typed.values_list("verbatim_identification", flat=True).distinct()
    classified = (taxon.phylum, taxon.class_name, taxon.order, taxon.family)
    facts = [
        ("name", f"{taxon.scientific_name} {taxon.authorship}".strip()),
        ("common name", taxon.common_name),
        ("typed as", "; ".join(sorted({one for one in words if one != taxon.scientific_name}))),
        ("names in this house", "; ".join(since)),
        (
            "classification",
            ", ".join(filter(None, classified)),
        ),
        ("count class", taxon.count_class),
        ("look-alikes", taxon.look_alike_set),
        ("who to ask", ", ".join(asked) or "no keeper is on the books"),
    ]
    return [(heading, text) for heading, text in facts if text]
