"""Layout F: the census statement that goes with a closing."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

from django.urls import reverse

from census.change.queries.closings import knowledge
from census.change.queries.report import Report
from census.change.queries.rows import no_rows
from census.change.rules.question import By, Question
from census.rounds.models import Census, SampleResult
from census.rounds.queries.late import late_in
from census.rounds.queries.progress import accuracy_table, differences_by_unit, open_queries
from census.rounds.queries.reading import LineRead, Row, read_census
from census.rounds.queries.settings import settings_of
from census.rounds.rules.words import SACFOR_WORDS, CensusState, How, LineKind
from inventory.book.rules.days import day_in_words

from ..rules.document import (
    Block,
    Column,
    Document,
    Figure,
    Identity,
    Kind,
    Line,
    Name,
    NothingToTell,
    Part,
    Table,
)
from ..rules.said import Saying
from .head import head_lines

_ACCURACY = (
    Column("first_lines", "lines counted, first", summed=False),
    Column("first_exact", "exact, first count", summed=False),
    Column("first_inside", "inside tolerance, first count", summed=False),
    Column("latest_lines", "lines counted, final", summed=False),
    Column("latest_exact", "exact, final count", summed=False),
    Column("latest_inside", "inside tolerance, final count", summed=False),
    Column("all_lines", "lines in all", summed=False),
)
_DIFFERENCES = (
    Column("gains", "counted above the book"),
    Column("losses", "counted below the book"),
    Column("gross", "both together"),
)
_DECIDED = (
    Column("book", "book", summed=False),
    Column("counted", "count", summed=False),
    Column("gain", "gain"),
    Column("loss", "loss"),
    Column("how", "how", Kind.TEXT, summed=False),
    Column("reason", "reason and evidence", Kind.TEXT, summed=False),
    Column("by", "by whom", Kind.TEXT, summed=False),
)
_DECIDING = (
    "Book and count are those at the decision, the book with what it posted. Gain and loss are what the"
    " decision changed in the number of animals present; gains and losses above are what counts and book"
    " still differ by."
)
_SAID = (Column("words", "what is said", Kind.TEXT, summed=False),)
# Censuses that are named where the days are of none.
FEW = 6
_TIED = "Ties: gains and losses are added apart and never netted; every total is the sum of its lines."


def census_statement(question: Question, saying: Saying) -> Document:
    """The census of the period of these days, in a number of queries that does not depend on its lines.

    Raises :class:`NothingToTell` when there is none.
    """
    question = replace(question, by=By.TAXON)
    census = (
        Census.objects.exclude(state=CensusState.ABANDONED.value)
        .filter(period__starts_on=question.first_day, period__ends_on=question.last_day)
        .select_related("period", "version__signed_by", "opened_by")
        .first()
    )
    if census is None:
        raise NothingToTell(_no_census(question))
    rows = read_census(census)
    numbers = iter(range(1, 10**9))
    known = knowledge(question)
    units = sorted({row.line.unit for row in rows})
    return Document(
        layout="census",
        title=f"Census statement {census.code}, {saying.days(question.first_day, question.last_day)}",
        head=[
            *_about(census, rows, saying),
            *head_lines(
                Report(question, known[0], known[1], no_rows(), {}),
                units,
                saying,
                estimates="a count of class C is an estimate; its range stands with the exhibit",
            ),
        ],
        parts=[
            _accuracy(rows, census, numbers),
            _differences(rows, numbers),
            _decided(rows, numbers),
            _not_counted(rows, numbers),
            _letters(rows, numbers),
            _sheets(census, numbers, saying),
        ],
        questions=[question],
        ties=_TIED,
        signers=("Registrar", "Curator"),
    )


def _no_census(question: Question) -> str:
    """That there is none, and the days of those that there are: a statement is of one census, so that a year
    of four has none of its own."""
    periods = Census.objects.exclude(state=CensusState.ABANDONED.value).order_by("-period__ends_on", "-pk")
    newest = list(periods.values_list("code", "period__starts_on", "period__ends_on")[:FEW])
    there = "; ".join(
        f"{code}, {day_in_words(first)} to {day_in_words(last)}" for code, first, last in newest
    )
    return (
        f"no census counts exactly the period {day_in_words(question.first_day)} to "
        f"{day_in_words(question.last_day)}. "
        + (f"Choose the days of one: {there}" if there else "The house has opened none yet")
    )


def _about(census: Census, rows: Sequence[Row], saying: Saying) -> list[tuple[str, str]]:
    """Who signed, what is open, what came late, and how the sample test went."""
    version = census.version
    signed = (
        f"{version}, by {version.signed_by}, {saying.moment(version.closed_at)}" if version else "not yet"
    )
    late = late_in(census.period, settings=settings_of(census), zone=saying.zone)
    tested = list(SampleResult.objects.filter(drawn__draw__census=census).values_list("right", flat=True))
    asked = ", ".join(f"{row.refs} {row.name}" for row in open_queries(rows))
    return [
        ("census", f"{census.code}, {census.state}, opened by {census.opened_by.name}"),
        ("signed", signed),
        ("open queries", asked or "none"),
        ("late entries", f"{len(late.events)} since the closing" if late else "none"),
        ("sample test", f"{sum(tested)} of {len(tested)} right" if tested else "none was drawn"),
    ]


def _accuracy(rows: Sequence[Row], census: Census, numbers: Iterator[int]) -> Part:
    lines = []
    for one in accuracy_table(rows, settings_of(census)):
        values = {
            f"{end}_{name}": Figure(getattr(accuracy, name))
            for end, accuracy in (("first", one.first), ("latest", one.latest))
            for name in ("lines", "exact", "inside")
        }
        values["all_lines"] = Figure(one.lines)
        lines.append(
            _line(numbers, f"class {one.count_class}" if one.count_class != "all" else "all", values)
        )
    return _part("accuracy", "Accuracy by class", "class", _ACCURACY, [Table("line", lines, {}, "")])


def _differences(rows: Sequence[Row], numbers: Iterator[int]) -> Part:
    tables = []
    for unit, one in differences_by_unit(rows).items():
        made = {
            "gains": Figure(one.gains),
            "losses": Figure(one.losses),
            "gross": Figure(one.gains + one.losses),
        }
        tables.append(Table(unit, [_line(numbers, "all counted lines", made)], made))
    ties = [Identity(("gains", "losses"), (), "gross")]
    words = (
        "The latest counts beside the book as known now, each line apart; gains and losses are never netted."
    )
    return _part("differences", "Gains and losses", "what", _DIFFERENCES, tables, ties=ties, words=words)


def _decided(rows: Sequence[Row], numbers: Iterator[int]) -> Part:
    by_unit: dict[str, list[Line]] = {}
    sums: dict[str, list[int]] = {}
    for row in sorted(rows, key=lambda one: one.line.unit):
        for part in row.parts:
            for decision in part.decisions:
                gain, loss = max(0, decision.n), max(0, -decision.n)
                who = [f"decided by {decision.decided_by.name}"]
                who += [f"approved by {decision.approved_by.name}"] if decision.approved_by else []
                evidence = f"; {decision.evidence}" if decision.evidence else ""
                made = {
                    "book": Figure(decision.book),
                    "counted": Figure(decision.counted),
                    "gain": Figure(gain, at=_page(part)),
                    "loss": Figure(loss, at=_page(part)),
                    "how": Figure(How(decision.how).words),
                    "reason": Figure(f"{decision.reason}{evidence}"),
                    "by": Figure(", ".join(who)),
                }
                lines = by_unit.setdefault(row.line.unit, [])
                lines.append(_line(numbers, str(part.line), made, row.name))
                total = sums.setdefault(row.line.unit, [0, 0])
                total[0] += gain
                total[1] += loss
    tables = [
        Table(
            unit,
            lines,
            {
                **{column.key: Figure(None) for column in _DECIDED},
                "gain": Figure(sums[unit][0]),
                "loss": Figure(sums[unit][1]),
            },
        )
        for unit, lines in sorted(by_unit.items())
    ]
    words = _DECIDING if tables else "No line was decided yet."
    return _part("decided", "Lines decided", "sheet and line", _DECIDED, tables, words=words)


def _not_counted(rows: Sequence[Row], numbers: Iterator[int]) -> Part:
    def why(part: LineRead) -> str:
        return "" if part.counts else f"sheet {part.line.sheet.number} is {part.line.sheet.state}"

    return _told(rows, numbers, "uncounted", "Lines not counted", say=why, none="Every line was counted.")


def _letters(rows: Sequence[Row], numbers: Iterator[int]) -> Part:
    def letter(part: LineRead) -> str:
        if part.line.kind != LineKind.PRESENCE:
            return ""
        given = part.latest.letter if part.latest else ""
        return f"{given}, {SACFOR_WORDS[given]}" if given else "no letter yet"

    return _told(
        rows, numbers, "presence", "Present only, never added", say=letter, none="No line is presence only."
    )


def _told(
    rows: Sequence[Row],
    numbers: Iterator[int],
    key: str,
    title: str,
    *,
    say: Callable[[LineRead], str],
    none: str,
) -> Part:
    by_unit: dict[str, list[tuple[Row, LineRead, str]]] = {}
    for row in rows:
        for part in row.parts:
            words = say(part)
            if words:
                by_unit.setdefault(row.line.unit, []).append((row, part, words))
    # Numbered as they stand: unit by unit.
    tables = [
        Table(
            unit,
            [
                _line(numbers, str(part.line), {"words": Figure(words, at=_page(part))}, row.name)
                for row, part, words in told
            ],
            {},
            "",
        )
        for unit, told in sorted(by_unit.items())
    ]
    return _part(key, title, "sheet and line", _SAID, tables, words="" if tables else none)


def _sheets(census: Census, numbers: Iterator[int], saying: Saying) -> Part:
    """The annex: each sheet by its number, with where it is."""
    lines = [
        _line(
            numbers,
            sheet.number,
            {
                "words": Figure(
                    f"{sheet.place.code} {sheet.place.name}: {sheet.state}",
                    at=reverse("sheet", args=[sheet.number]),
                )
            },
        )
        for sheet in census.sheets.select_related("place").order_by("number")
    ]
    return _part("sheets", "Sheets", "sheet", _SAID, [Table("sheet", lines, {}, "")])


def _part(
    key: str,
    title: str,
    label: str,
    columns: Sequence[Column],
    tables: Sequence[Table],
    *,
    ties: Sequence[Identity] = (),
    words: str = "",
) -> Part:
    return Part(key, title, label, columns, [Block(title, [], tables)] if tables else [], ties, words)


def _line(numbers: Iterator[int], label: str, figures: Mapping[str, Figure], name: str = "") -> Line:
    return Line(next(numbers), Name(name) if name else None, label, partial(dict, figures))


def _page(part: LineRead) -> str:
    return reverse("census_line", args=[part.line.sheet.number, part.line.number])
