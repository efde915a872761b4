"""Where and when animals were lost, and where they were moved."""

from collections import Counter
from dataclasses import replace
from datetime import date

from inventory.book.rules.days import day_in_words
from inventory.book.rules.words import whole

from ..queries.reading import Split, read_course
from ..queries.watching import read_watch
from ..rules.answer import Answer, Datum, Section, Table
from ..rules.asked import Asked
from ..rules.course import DIED, Key
from . import more_charts
from .links import DEATHS, events, number, of_days
from .setting import Setting
from .trend import linked, row_key
from .unaccounted import by_place_and_month

LONGEST_CALENDAR = 371
"""A year and a few days: a chart of more is too long to read."""


def losses(asked: Asked, setting: Setting) -> Answer:
    """Deaths by day, and by place with what is unaccounted for."""
    course = read_course(asked, Split.BOTH, zone=setting.zone)
    deaths: Counter[date] = Counter()
    for row in course.rows.values():
        for day, flows in row.days.items():
            if flows[DIED]:
                deaths[date.fromordinal(day)] += flows[DIED]
    watched = read_watch(
        min(asked.last_day, asked.today),
        zone=setting.zone,
        known_at=asked.known_at,
        only=row_key(asked),
    )
    # Of a family the watch is read as of the house.
    alarms = {alarm.day for one, alarm in watched.alarms(asked.first_day) if one.key in course.rows}
    span = of_days(asked.first_day, asked.last_day)
    total = sum(deaths.values())
    days = f"{day_in_words(span.first)} to {day_in_words(span.last)}"
    words = f"{whole(total)} died from {days}, on {len(deaths)} of {span.days} days."
    if deaths:
        worst = max(deaths, key=lambda day: (deaths[day], day))
        words += f" Most on {day_in_words(worst)}: {whole(deaths[worst])}."
    drawn_out = span.days <= LONGEST_CALENDAR
    spoke = ", ".join(map(day_in_words, sorted(alarms))) or "none"
    words += f" Days on which the watch spoke{' are outlined' if drawn_out else ''}: {spoke}."
    lines = [
        [
            Datum(day.isoformat(), day_in_words(day)),
            Datum(n, href=_day_href(asked, day)),
            Datum("the watch spoke" if day in alarms else ""),
        ]
        for day, n in sorted(deaths.items())
    ]
    columns = (("day", "Day"), ("deaths", "Died"), ("watch", "Watch"))
    drawn = []
    notes = ["A death without an hour stands on its day; one found dead on the day it was found."]
    if drawn_out:
        drawn = [more_charts.calendar(("Deaths by day", words), deaths, alarms, (span.first, span.last))]
    else:
        notes.append("A calendar is drawn for up to a year.")
    calendar = Section(
        "Deaths by day", words, Table("Days with deaths", columns, lines), drawn, notes, open=False
    )

    rows = []
    for key, row in course.in_order():
        flows = row.flows(span)
        died, lost, found = flows[DIED], flows["unaccounted"], flows["found"]
        if died or lost or found:
            rows.append(
                [
                    Datum(course.names.places.get(key.place_id, "")),
                    Datum(course.names.taxa.get(key.taxon_id, "")),
                    number(row.opened(span), asked, key, "opening", span),
                    number(died, asked, key, DEATHS, span),
                    number(lost, asked, key, "unaccounted", span),
                    number(found, asked, key, "found", span),
                ]
            )
    rows.sort(key=lambda row: (-(int(row[4].value or 0)), -(int(row[3].value or 0)), str(row[0].value)))
    headings = (
        ("place", "Place"),
        ("name", "Animal"),
        ("opening", "Opening"),
        ("died", "Died"),
        ("unaccounted", "Unaccounted for"),
        ("found", "Found"),
    )
    places = Section(
        "Where",
        "By tank and taxon, most unaccounted for first. Gains and losses stand apart.",
        Table("Losses by tank and taxon", headings, rows),
    )
    return Answer([calendar, places, by_place_and_month(asked, course, setting)])


def _day_href(asked: Asked, day: date) -> str:
    return events(asked, row_key(asked), DEATHS, of_days(day, day)) if linked(asked) else ""


def moves(asked: Asked, setting: Setting) -> Answer:
    """The matrix of moves: from the rows to the columns, numbers."""
    course = read_course(replace(asked, place=None), Split.PLACE, zone=setting.zone)
    found = {pair: n for pair, n in course.moves().items() if asked.place is None or asked.place in pair}
    span = of_days(asked.first_day, asked.last_day)
    codes = course.names.places
    sources = sorted({a for a, _ in found}, key=lambda place: codes[place])
    targets = sorted({b for _, b in found}, key=lambda place: codes[place])
    figure = "moved_out+regrouped_out"
    rows = []
    for a in sources:
        cells = [Datum(codes[a])]
        for b in targets:
            n = found.get((a, b), 0)
            key = Key(asked.taxon or 0, a)
            cells.append(
                Datum(n, href=events(asked, key, figure, span, other=b) if n and linked(asked) else "")
            )
        cells.append(Datum(sum(n for (x, _), n in found.items() if x == a)))
        rows.append(cells)
    if rows:
        ends = [Datum(sum(n for (_, y), n in found.items() if y == b)) for b in targets]
        rows.append([Datum("In all"), *ends, Datum(sum(found.values()))])
    words = (
        f"{whole(sum(found.values()))} moved between places, in {len(found)} "
        f"pair{'s' if len(found) != 1 else ''}. "
        "From the place of the row to that of the column; also animals that changed their lot on the way."
        if found
        else "Nothing was moved between places."
    )
    columns = (("from", "From"), *((codes[b], codes[b]) for b in targets), ("in_all", "In all"))
    return Answer([Section("Moves between places", words, Table("Moves, from row to column", columns, rows))])
