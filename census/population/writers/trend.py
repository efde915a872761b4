"""How numbers went: waterfall, trend with range, flows by quarter; small multiples and pairs."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from census.change.rules.columns import BETWEEN_IN, BETWEEN_OUT, HEADINGS, SIGNS
from inventory.book.rules.days import day_in_words
from inventory.book.rules.words import count_of, signed, whole

from ..queries.counted import Count, counts_of
from ..queries.reading import Course, Split, read_course
from ..queries.restated import Restated, restated_on
from ..rules.answer import Answer, Datum, Section, Table
from ..rules.asked import Asked
from ..rules.course import Key, RowCourse, added
from ..rules.spans import Span, quarters_between, quarters_up_to
from . import charts, more_charts
from .charts import Bar
from .links import events, number, of_days
from .setting import Setting

QUARTERS = 8
MULTIPLES = 24
KINDS: dict[str, tuple[str, ...]] = {
    "bred": ("born", "divided", "settled"),
    "brought": ("taken", "received", "loan_in", "back_from_loan", *BETWEEN_IN),
    "found": ("found",),
    "died": ("died",),
    "sent": ("put_down", "released", "sent", "loan_out", "given_back", *BETWEEN_OUT),
    "lost": ("unaccounted",),
}
"""Six kinds of flows, as many as one chart can hold."""
_KIND_WORDS = {
    "bred": "born, divided, settled",
    "brought": "brought or moved in",
    "found": "found",
    "died": "died",
    "sent": "sent, moved or put down",
    "lost": "unaccounted for",
}
_WATERFALL = (*(column for column in SIGNS if column not in ("opening", "late", "died_within_30_days")),)
_UNEXPLAINED = ("found", "unaccounted")


def row_key(asked: Asked) -> Key:
    """The one row that stands for all that was asked about."""
    return Key(asked.taxon or 0, asked.place or 0)


def linked(asked: Asked) -> bool:
    """A sum over a family has no one list of events; its rows have."""
    return not asked.family or asked.taxon is not None


def trend(asked: Asked, setting: Setting) -> Answer:
    """A taxon, a place or the house over two years, and its change in the days asked."""
    quarters = quarters_up_to(asked.last_day, QUARTERS)
    first = min(quarters[0].first, asked.first_day)
    course = read_course(asked, _split(asked), zone=setting.zone, first=first)
    whole_row = added(course.rows.values())
    sections = [
        _change(asked, whole_row),
        _line(asked, setting, course, whole_row, quarters),
        _flows(asked, whole_row, quarters),
    ]
    return Answer(sections)


def _days(asked: Asked) -> str:
    return f"{day_in_words(asked.first_day)} to {day_in_words(asked.last_day)}"


def _split(asked: Asked) -> Split:
    """Rows by place and taxon as the population change has them, so that what was seen to be another kind in
    its place counts as it does there."""
    return Split.TAXON if asked.place is None else Split.BOTH


def _cell(asked: Asked, n: int, figure: str, span: Span) -> Datum:
    return number(n, asked, row_key(asked), figure, span) if linked(asked) else Datum(n)


def _change(asked: Asked, row: RowCourse) -> Section:
    span = of_days(asked.first_day, asked.last_day)
    flows = row.flows(span)
    opening, closing = row.opened(span), row.closed(span)
    bars = [
        Bar(HEADINGS[column], SIGNS[column] * flows[column], column in _UNEXPLAINED)
        for column in _WATERFALL
        if flows[column]
    ]
    lines = [[Datum("opening"), _cell(asked, opening, "opening", span)]]
    lines += [
        [
            Datum(HEADINGS[c]),
            Datum(SIGNS[c] * flows[c], signed(SIGNS[c] * flows[c]), _href(asked, c, span)),
        ]
        for c in _WATERFALL
        if flows[c]
    ]
    lines.append([Datum("closing"), _cell(asked, closing, "closing", span)])
    words = f"From {whole(opening)} to {whole(closing)} {_units(asked)}, {signed(closing - opening)}."
    table = Table(
        "From opening to closing", (("step", "Step"), ("animals", _units(asked).capitalize())), lines
    )
    title = f"What made the change, {_days(asked)}"
    return Section(
        title,
        words,
        table,
        [charts.waterfall("waterfall", title, opening, _short(bars), closing, units=_units(asked))],
    )


_SHORT = {
    "bought, exchanged or given": "received",
    "unaccounted for": "unaccounted",
    "born or hatched": "born",
}


def _short(bars: Sequence[Bar]) -> list[Bar]:
    return [Bar(_SHORT.get(bar.name, bar.name), bar.n, bar.unexplained) for bar in bars]


def _href(asked: Asked, column: str, span: Span) -> str:
    figure = "died+died_within_30_days" if column == "died" else column
    return events(asked, row_key(asked), figure, span) if linked(asked) else ""


def _units(asked: Asked) -> str:
    """``animals``, ``colonies``."""
    return count_of(0, asked.unit).removeprefix("0 ")


def _line(
    asked: Asked, setting: Setting, course: Course, row: RowCourse, quarters: Sequence[Span]
) -> Section:
    first, last = quarters[0].first, min(quarters[-1].last, asked.today)
    steps = [(first, row.before(first.toordinal()))]
    at = steps[0][1]
    for day in sorted(row.days):
        if first.toordinal() <= day <= last.toordinal():
            at += sum(SIGNS.get(c, 1) * n for c, n in row.days[day].items())
            steps.append((date.fromordinal(day), at))
    counts: list[Count] = []
    if asked.taxon is not None and setting.compares:
        place = course.names.places.get(asked.place or 0, "")
        counts = counts_of(asked.taxon, place=place, until=last)
    shown = [one for one in counts if first <= one.day <= last]
    marks = [
        charts.Counted(one.day, one.value, one.low, one.high, one.at_least, one.part, one.breaks, _told(one))
        for one in shown
    ]
    restated = restated_on([span.last for span in quarters], zone=setting.zone, known_at=asked.known_at)
    ends = [
        [
            Datum(span.name),
            _cell(asked, row.opened(span), "opening", span),
            _cell(asked, row.closed(span), "closing", span),
            Datum(row.closed(span) - row.opened(span), signed(row.closed(span) - row.opened(span))),
            *([Datum("; ".join(map(_told, _counted_in(span, shown))))] if shown else []),
            _restated(restated.get(span.last)),
        ]
        for span in _from_the_first(row, quarters)
    ]
    columns = [("quarter", "Quarter"), ("opening", "Opening"), ("closing", "Closing"), ("change", "Change")]
    columns += [("counts", "Counts")] if shown else []
    columns += [("restated", "Restated")]
    begun = _begun(row, first, last)
    words = f"{whole(steps[0][1])} before {day_in_words(first)}"
    if begun:
        steps = [step for step in steps if step[0] >= begun]
        opened = whole(row.days[begun.toordinal()]["opening"])
        words = f"The book begins on {day_in_words(begun)} with an opening stock of {opened}"
    words += f"; {whole(at)} on {day_in_words(last)}. The line is the book" + (
        "; marks are counts with their range, a triangle is a count “at least”, a hollow mark one of a part."
        if shown
        else "."
    )
    if asked.taxon is None:
        words += " Counts are shown when one taxon is chosen."
    elif not setting.compares:
        words += " Counts stand here for those who may see them beside the book."
    marked = [(day, restated[day].words) for day in sorted(restated)]
    if marked:
        words += f" A diamond on the axis: restated, {'; '.join(told for _, told in marked)}."
    title = f"Two years, to {day_in_words(last)}"
    drawn = charts.trend((title, words), steps, marks, (first, last), marked, units=_units(asked))
    return Section(title, words, Table("Closing numbers by quarter", columns, ends), [drawn])


def _counted_in(span: Span, counts: Sequence[Count]) -> list[Count]:
    return [one for one in counts if span.first <= one.day <= span.last]


def _restated(one: Restated | None) -> Datum:
    return Datum("") if one is None else Datum(one.in_a_file, one.words)


def _from_the_first(row: RowCourse, quarters: Sequence[Span]) -> Sequence[Span]:
    """Without the quarters before anything is in the book: a row of noughts would say that it was looked for
    and not there. The newest always stands."""
    held = [at for at, span in enumerate(quarters) if row.opened(span) or any(row.flows(span).values())]
    return quarters[min(held, default=-1) :]


def _begun(row: RowCourse, first: date, last: date) -> date | None:
    """The day of the opening stock when that is what the days begin with, else None.

    The animals were there before it, and nobody wrote them down: a line at nought would say that they came.
    """
    begun = min((day for day in row.days if any(row.days[day].values())), default=0)
    opens = first.toordinal() <= begun <= last.toordinal() and row.days[begun]["opening"] and not row.opening
    return date.fromordinal(begun) if opens else None


def _told(one: Count) -> str:
    told = f"{one.census} {'at least ' if one.at_least else ''}{whole(one.value)}"
    if one.low is not None and one.high is not None:
        told = f"{one.census} about {whole(one.value)} ({whole(one.low)} to {whole(one.high)})"
    return told + (", of a part" if one.part else "") + (f", {one.method}" if one.method else "")


def kinds_of(flows: Mapping[str, int]) -> dict[str, int]:
    """Flows as six kinds; losses below zero."""
    return {
        kind: sum(SIGNS[column] * flows.get(column, 0) for column in columns)
        for kind, columns in KINDS.items()
    }


def _flows(asked: Asked, row: RowCourse, quarters: Sequence[Span]) -> Section:
    by_quarter = [(span, kinds_of(row.flows(span))) for span in quarters]
    bars = [
        (span.name.removeprefix("20"), [Bar(kind, n, kind in ("found", "lost")) for kind, n in kinds.items()])
        for span, kinds in by_quarter
    ]
    lines = [
        [
            Datum(span.name),
            *(Datum(n, signed(n), _kind_href(asked, kind, span) if n else "") for kind, n in kinds.items()),
        ]
        for span, kinds in by_quarter[-len(_from_the_first(row, quarters)) :]
    ]
    total: Counter[str] = Counter()
    for _, kinds in by_quarter:
        total.update(kinds)
    words = "In two years: " + ", ".join(f"{_KIND_WORDS[k]} {signed(n)}" for k, n in total.items()) + "."
    title = "Flows by quarter"
    columns = (("quarter", "Quarter"), *((kind, words_.capitalize()) for kind, words_ in _KIND_WORDS.items()))
    notes = ["Striped: unexplained gains and losses; they are never set against each other."]
    if not asked.place:
        notes.append("Moves between places of the house cancel and are left out.")
    return Section(
        title,
        words,
        Table(title, columns, lines),
        [charts.flows("flows", title, words, bars, units=_units(asked))],
        notes,
    )


def _kind_href(asked: Asked, kind: str, span: Span) -> str:
    columns = [*KINDS[kind]]
    if kind == "died":
        columns.append("died_within_30_days")
    return events(asked, row_key(asked), "+".join(columns), span) if linked(asked) else ""


def compare(asked: Asked, setting: Setting) -> Answer:
    """Many taxa (or the places of one taxon) side by side: small multiples, and opening beside closing."""
    split = Split.PLACE if asked.taxon is not None else Split.TAXON
    quarters = quarters_up_to(asked.last_day, QUARTERS)
    first = min(quarters[0].first, asked.first_day)
    course = read_course(asked, split, zone=setting.zone, first=first)
    span = of_days(asked.first_day, asked.last_day)
    rows = [(key, row, row.flows(span)) for key, row in course.in_order()]
    rows = [one for one in rows if one[1].opened(span) or one[1].closed(span) or any(one[2].values())]
    rows.sort(key=lambda one: (-abs(one[2]["unaccounted"]), -one[1].opened(span), course.names.of(one[0])))
    return Answer([_multiples(asked, course, rows, quarters), _pairs(asked, course, rows, span)])


_Rows = Sequence[tuple[Key, RowCourse, Counter[str]]]


def _multiples(asked: Asked, course: Course, rows: _Rows, quarters: Sequence[Span]) -> Section:
    closings = [(key, [row.closed(span) for span in quarters]) for key, row, _ in rows]
    every = charts.reach(n for _, numbers in closings[:MULTIPLES] for n in numbers)
    drawn = []
    cut = course.names.italics(key for key, _ in closings[:MULTIPLES]).cut
    for place, (key, numbers) in enumerate(closings[:MULTIPLES]):
        points = [(span.name, n) for span, n in zip(quarters, numbers, strict=True)]
        told = ", ".join(f"{quarter} {whole(n)}" for quarter, n in points)
        axis = charts.reach(numbers) if asked.own_scale else every
        drawn.append(charts.small(f"small-{place}", course.names.of(key), told, points, axis, cut=cut))
    lines = [
        [
            Datum(course.names.of(key)),
            *(number(n, asked, key, "closing", span) for span, n in zip(quarters, numbers, strict=True)),
        ]
        for key, numbers in closings
    ]
    words = (
        f"Closing numbers of eight quarters; those with most unaccounted for first, {len(drawn)} of "
        f"{len(rows)} drawn, all in the table. "
    ) + (
        "Each chart has a scale of its own: read sizes from the numbers on the axes, not from the heights."
        if asked.own_scale
        else f"All charts have one scale, {whole(every[0])} to {whole(every[1])}, so that heights compare; "
        "where small groups lie flat, choose “each its own” under Scale."
    )
    if not rows:
        words = "The book holds nothing of what is asked for in these eight quarters."
    columns = (("name", "Animal"), *((span.name, span.name) for span in quarters))
    table = Table("Closing numbers by quarter", columns, lines, italic=asked.taxon is None)
    return Section("Side by side", words, table, drawn, open=False, small=True)


def _pairs(asked: Asked, course: Course, rows: _Rows, span: Span) -> Section:
    in_order = sorted(rows, key=lambda one: -abs(one[1].closed(span) - one[1].opened(span)))
    told = [(course.names.of(key), row.opened(span), row.closed(span)) for key, row, _ in in_order]
    lines = [
        [
            Datum(course.names.of(key)),
            number(row.opened(span), asked, key, "opening", span),
            number(row.closed(span), asked, key, "closing", span),
            Datum(row.closed(span) - row.opened(span), signed(row.closed(span) - row.opened(span))),
        ]
        for key, row, _ in in_order
    ]
    grew = sum(b > a for _, a, b in told)
    shrank = sum(b < a for _, a, b in told)
    words = f"{grew} grew, {shrank} shrank, {len(told) - grew - shrank} ended as they began. Largest first."
    columns = (("name", "Animal"), ("opening", "Opening"), ("closing", "Closing"), ("change", "Change"))
    title = f"Opening and closing, {_days(asked)}"
    cut = course.names.italics(key for key, *_ in in_order[:MULTIPLES]).cut
    if not told:
        words = "There is nothing to compare."
    drawn = [more_charts.pairs("pairs", title, words, told[:MULTIPLES], cut=cut)] if told else []
    return Section(title, words, Table(title, columns, lines, italic=asked.taxon is None), drawn, open=False)


def days_of(asked: Asked) -> list[date]:
    """Every day asked about, up to today."""
    end = min(asked.last_day, asked.today)
    return [asked.first_day + timedelta(days=n) for n in range((end - asked.first_day).days + 1)]


__all__ = ["compare", "days_of", "kinds_of", "linked", "quarters_between", "row_key", "trend"]
