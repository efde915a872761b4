"""Death rates with their intervals, rates compared, growth, and the sexes."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from census.estimators.rules.estimate import CannotEstimate, Estimate
from inventory.book.rules.days import day_in_words
from inventory.book.rules.mfu import mfu
from inventory.book.rules.words import count_of

from ..queries.reading import Course, Split, read_course
from ..queries.sexed import sexes_of
from ..rules.answer import FEW, Answer, Datum, Section, Table
from ..rules.asked import Asked
from ..rules.course import DIED, Key, RowCourse, added
from ..rules.projection import growth_rate
from ..rules.rates import RateRatio, death_rate, rate_ratio
from ..rules.sexes import share_of_females
from ..rules.spans import Span
from . import more_charts
from .links import DEATHS, number, of_days
from .setting import Setting

DRAWN = 24
SEXES = ("male", "female", "hermaphrodite", "unknown")


def rates(asked: Asked, setting: Setting) -> Answer:
    """Deaths per 100 animal-days by tank and taxon; periods compared, and tanks."""
    span = _days_over(asked)
    before = of_days(span.first - timedelta(days=span.days), span.first - timedelta(days=1))
    everywhere = replace(asked, first_day=before.first, place=None)
    course = read_course(everywhere, Split.BOTH, zone=setting.zone)
    return Answer(
        [
            _by_row(asked, course, span),
            _of_periods(asked, course, span, before),
            _of_tanks(asked, course, span),
        ]
    )


def _days_over(asked: Asked) -> Span:
    """The days asked about that are over: nobody lived or died in the others yet."""
    return of_days(asked.first_day, min(asked.last_day, max(asked.today, asked.first_day)))


def _days(span: Span) -> str:
    return f"{day_in_words(span.first)} to {day_in_words(span.last)}"


def _here(asked: Asked, key: Key) -> bool:
    return asked.place in (None, key.place_id)


def _by_row(asked: Asked, course: Course, span: Span) -> Section:
    lines, drawn, keys = [], [], []
    for key, row in course.in_order():
        days, deaths = row.animal_days(span), row.flows(span)[DIED]
        if not _here(asked, key) or days <= 0:
            continue
        rate = death_rate(max(deaths, 0), days)
        lines.append(
            [
                Datum(course.names.places.get(key.place_id, "")),
                Datum(course.names.taxa.get(key.taxon_id, "")),
                number(row.opened(span), asked, key, "opening", span),
                number(deaths, asked, key, DEATHS, span),
                Datum(round(days, 1), f"{days:,.0f}"),
                *_interval(rate),
                Datum(_small(row.opened(span), days, span)),
            ]
        )
        drawn.append((course.names.of(key), rate.estimate, rate.low, rate.high))
        keys.append(key)
    order = sorted(range(len(lines)), key=lambda at: -drawn[at][1])
    lines, drawn, keys = ([whole[at] for at in order] for whole in (lines, drawn, keys))  # type: ignore[assignment]
    columns = (
        ("place", "Place"),
        ("name", "Animal"),
        ("opening", "Opening"),
        ("died", "Died"),
        ("animal_days", "Animal-days"),
        ("rate", "Per 100 animal-days"),
        ("low", "95 % from"),
        ("high", "to"),
        ("note", "Note"),
    )
    title = f"Deaths per 100 animal-days, {_days(span)}"
    words = (
        f"{count_of(len(lines), 'row')} of tank and taxon, the highest rate first. An animal-day is one "
        "animal held for one day. Exact Poisson interval (Garwood); where animals are few it is wide, "
        "and says so."
    )
    with_deaths = [one for one in drawn if one[1] > 0][:DRAWN]
    cut = course.names.italics(keys[:DRAWN]).cut
    beside = "deaths per 100 animal-days, with the range"
    charts = [more_charts.ranges("rates", title, words, with_deaths, beside, cut=cut)]
    return Section(title, words, Table(title, columns, lines), charts if with_deaths else [], open=False)


def _interval(rate: Estimate) -> tuple[Datum, Datum, Datum]:
    return _part(rate.estimate), _part(rate.low), _part(rate.high)


def _part(value: float | None, digits: int = 3) -> Datum:
    if value is None:
        return Datum(None, "no limit")
    return Datum(round(value, 6), f"{value:,.{digits}f}")


def _chance(p: float) -> Datum:
    """A p that is small is never nought, in files neither: digits that tell are kept, not places."""
    return Datum(float(f"{p:.4g}"), "under 0.001" if p < 0.001 else f"{p:.3f}")


def _small(opening: int, days: float, span: Span) -> str:
    return f"fewer than {FEW} animals" if max(opening, days / span.days) < FEW else ""


def _numbers(rows: Sequence[RowCourse], span: Span) -> tuple[int, float]:
    return (
        max(0, sum(row.flows(span)[DIED] for row in rows)),
        sum(row.animal_days(span) for row in rows),
    )


_RATIO = (
    ("what", "Compared"),
    ("deaths", "Died"),
    ("animal_days", "Animal-days"),
    ("other_deaths", "Other died"),
    ("other_animal_days", "Other animal-days"),
    ("ratio", "Times the other rate"),
    ("low", "95 % from"),
    ("high", "to"),
    ("p", "p"),
)


def _of_periods(asked: Asked, course: Course, span: Span, before: Span) -> Section:
    rows = [row for key, row in course.rows.items() if _here(asked, key)]
    title = f"Against the {before.days} days before"
    now, then = _numbers(rows, span), _numbers(rows, before)
    line, words = _compared(f"{_days(span)}, against {_days(before)}", now, then)
    return Section(title, words, Table(title, _RATIO, [line]))


def _of_tanks(asked: Asked, course: Course, span: Span) -> Section:
    names = course.names.places
    places = sorted({key.place_id for key in course.rows}, key=lambda place: names.get(place, ""))
    by_place = {
        place: _numbers([row for key, row in course.rows.items() if key.place_id == place], span)
        for place in places
    }
    lines = []
    for place in places:
        if asked.place not in (None, place) or by_place[place][1] <= 0:
            continue
        if asked.against is not None and asked.against != place:
            other, told = by_place.get(asked.against, (0, 0.0)), names.get(asked.against, "")
        else:
            deaths = sum(d for at, (d, _) in by_place.items() if at != place)
            other = (deaths, sum(days for at, (_, days) in by_place.items() if at != place))
            told = "all others"
        lines.append(_compared(f"{names.get(place, '')} against {told}", by_place[place], other)[0])
    words = (
        f"{count_of(len(lines), 'tank')} compared, each by itself. Of twenty that live alike one is "
        "expected to have a p of 0.05 or less by chance alone: read them together, and "
        "look at the tank before the number."
    )
    return Section("Tank against tank", words, Table("Death rates of tanks compared", _RATIO, lines))


def _compared(what: str, one: tuple[int, float], other: tuple[int, float]) -> tuple[list[Datum], str]:
    known = [Datum(what), Datum(one[0]), _part(one[1], 0), Datum(other[0]), _part(other[1], 0)]
    try:
        ratio = rate_ratio(*one, *other)
    except CannotEstimate as error:
        return [*known, Datum(None, "none"), Datum(None), Datum(None), Datum(None)], str(error)
    cells = [
        Datum(None, "no deaths in the other") if ratio.ratio is None else _part(ratio.ratio, 2),
        _part(ratio.low, 2),
        _part(ratio.high, 2),
        _chance(ratio.p),
    ]
    return [*known, *cells], _ratio_words(ratio)


def _ratio_words(ratio: RateRatio) -> str:
    within = ratio.low <= 1 and (ratio.high is None or ratio.high >= 1)
    if within:
        return "The interval holds 1: the two rates may well be the same. Mid-P limits."
    return f"The rate is {'lower' if ratio.high is not None and ratio.high < 1 else 'higher'}. Mid-P limits."


def growth(asked: Asked, setting: Setting) -> Answer:
    """How fast each taxon grew, and its sexes at the end."""
    course = read_course(asked, Split.TAXON, zone=setting.zone)
    span = _days_over(asked)
    sexes = sexes_of(asked, zone=setting.zone)
    by_taxon: dict[int, RowCourse] = {
        taxon: added(row for key, row in course.rows.items() if key.taxon_id == taxon)
        for taxon in {key.taxon_id for key in course.rows}
    }
    taxa = sorted(by_taxon, key=lambda taxon: course.names.taxa.get(taxon, ""))
    grown, sexed = [], []
    for taxon in taxa:
        row, key = by_taxon[taxon], Key(taxon, asked.place or 0)
        first, last = row.opened(span), row.closed(span)
        if not first and not last:
            continue
        name = Datum(course.names.taxa.get(taxon, ""))
        ends = [number(first, asked, key, "opening", span), number(last, asked, key, "closing", span)]
        grown.append([name, *ends, *_growth(first, last, span.days / 365.25)])
        sexed.append([name, number(last, asked, key, "closing", span), *_sexes(sexes.get(taxon, Counter()))])
    columns = (
        ("name", "Animal"),
        ("opening", "Opening"),
        ("closing", "Closing"),
        ("times", "Times in a year"),
        ("low", "95 % from"),
        ("high", "to"),
        ("note", "Note"),
    )
    words = (
        "By how many times the number would grow in a year if it went on so. The interval speaks of chance "
        "alone; "
        "what was brought in or sent away is growth here too."
    )
    females = (
        ("name", "Animal"),
        ("closing", "Closing"),
        ("mfu", "m.f.u"),
        ("females", "Females of known sex"),
        ("low", "95 % from"),
        ("high", "to"),
    )
    sex_words = (
        "Females among males and females, with the exact interval (Clopper and Pearson); hermaphrodites "
        "and unknown "
        f"stand apart. In per cent from {FEW} of known sex on."
    )
    at_end = f"Sexes on {day_in_words(span.last)}"
    return Answer(
        [
            Section("Growth", words, Table(f"Growth, {_days(span)}", columns, grown, italic=True)),
            Section("Sexes", sex_words, Table(at_end, females, sexed, italic=True)),
        ]
    )


def _growth(first: int, last: int, years: float) -> list[Datum]:
    try:
        rate = growth_rate(first, last, years)
    except CannotEstimate as error:
        return [Datum(None), Datum(None), Datum(None), Datum(str(error))]
    if rate.warnings:
        return [
            Datum(None),
            Datum(None),
            Datum(None),
            Datum(f"fewer than {FEW}: {first} to {last}"),
        ]
    return [_part(rate.estimate, 2), _part(rate.low, 2), _part(rate.high, 2), Datum("")]


def _sexes(numbers: Counter[str]) -> list[Datum]:
    printed = Datum(mfu(*(numbers[sex] for sex in SEXES)))
    males, females = max(numbers["male"], 0), max(numbers["female"], 0)
    known = males + females
    try:
        one = share_of_females(males, females)
    except CannotEstimate as error:
        return [printed, Datum(None, str(error)), Datum(None), Datum(None)]
    if known < FEW:
        return [printed, Datum(None, f"{females} of {known}"), Datum(None), Datum(None)]
    shown = (one.estimate, one.low, one.high or 1.0)
    return [printed, *(Datum(round(part, 6), f"{100 * part:.0f} %") for part in shown)]
