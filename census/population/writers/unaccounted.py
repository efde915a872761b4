"""Where animals go missing: by place and month, beside what may be behind it."""

from collections import defaultdict
from collections.abc import Sequence

from inventory.book.models import WayOut
from inventory.book.queries.ways_out import open_ways_out
from inventory.book.rules.days import days_in_words, month_in_words

from ..queries.reading import Course, Split, hunting_lots, read_course
from ..rules.answer import FEW, Datum, Section, Table
from ..rules.asked import Asked
from ..rules.course import Key, RowCourse, added
from ..rules.spans import Span, months_between
from .links import number
from .setting import Setting

_COLUMNS = (
    ("month", "Month"),
    ("place", "Place"),
    ("opening", "Opening"),
    ("unaccounted", "Unaccounted for"),
    ("per_100", "Per 100 of the opening"),
    ("found", "Found"),
    ("hunters", "Hunters held there"),
    ("ways_out", "Ways out noted"),
)


def by_place_and_month(asked: Asked, course: Course, setting: Setting) -> Section:
    """What nobody can account for, in each place and month, beside hunters and open ways out.

    ``course`` has rows by taxon and place. Below twenty animals no number per hundred is given.
    """
    places: defaultdict[int, list[RowCourse]] = defaultdict(list)
    for key, row in course.rows.items():
        places[key.place_id].append(row)
    in_order = sorted(places, key=lambda place: course.names.places.get(place, ""))
    hunting = read_course(asked, Split.BOTH, zone=setting.zone, lots=hunting_lots(asked.unit))
    ways_out = open_ways_out(asked.first_day, asked.last_day)
    lines = []
    for month in months_between(asked.first_day, asked.last_day):
        for place in in_order:
            row, key = added(places[place]), Key(asked.taxon or 0, place)
            flows, opening = row.flows(month), row.opened(month)
            lost, found = flows["unaccounted"], flows["found"]
            if not lost and not found:
                continue
            lines.append(
                [
                    Datum(month.name, month_in_words(month.first)),
                    Datum(course.names.places.get(place, "")),
                    number(opening, asked, key, "opening", month),
                    number(lost, asked, key, "unaccounted", month),
                    _per_100(lost, opening),
                    number(found, asked, key, "found", month),
                    _or_none(_hunters(hunting, place, month)),
                    _or_none(_open_in(ways_out.get(place, ()), month)),
                ]
            )
    words = (
        "By place and month. A loss stands in the month in which it was settled, mostly that of a count: "
        "when it happened between two counts nobody knows. Hunters and ways out are what may be behind "
        "it, never proof."
    )
    notes = [f"A number per hundred is given where the month began with {FEW} animals or more."]
    table = Table("Unaccounted for by place and month", _COLUMNS, lines, taxa=("hunters",))
    return Section("By place and month", words, table, notes=notes)


def _per_100(lost: int, opening: int) -> Datum:
    if opening < FEW:
        return Datum(None)
    share = 100 * lost / opening
    return Datum(share, f"{share:.1f}")


def _or_none(told: str) -> Datum:
    """On a page an empty cell could be one that nobody filled; in a file it is empty."""
    return Datum(told, days_in_words(told) or "none")


def _hunters(hunting: Course, place: int, month: Span) -> str:
    """Kinds of hunters that were there at the month's beginning or at its end."""
    there = (
        hunting.names.taxa[key.taxon_id]
        for key, row in hunting.rows.items()
        if key.place_id == place and (row.opened(month) > 0 or row.closed(month) > 0)
    )
    return ", ".join(sorted(there))


def _open_in(ways_out: Sequence[WayOut], month: Span) -> str:
    return "; ".join(
        str(one)
        for one in ways_out
        if one.since <= month.last and (one.until is None or one.until >= month.first)
    )
