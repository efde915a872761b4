"""The layouts by name: what each is called, which period it has when none is given, and who answers it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from census.change.rules.question import Question, last_quarter

from ..rules.document import Document
from ..rules.quarters import two_years_to
from ..rules.said import Saying
from .exhibits import by_exhibit
from .periods import by_period
from .stock_list import stock_list
from .taxa import by_taxon


@dataclass(frozen=True, slots=True)
class Layout:
    """``period`` answers the days when none are given, told today."""

    name: str
    words: str
    about: str
    period: Callable[[date], tuple[date, date]]
    answer: Callable[[Question, Saying], Document]
    letter: str = ""


def _two_years(today: date) -> tuple[date, date]:
    return two_years_to(last_quarter(today)[1])


def _last_year(today: date) -> tuple[date, date]:
    return date(today.year - 1, 1, 1), date(today.year - 1, 12, 31)


LAYOUTS: Mapping[str, Layout] = {
    layout.name: layout
    for layout in (
        Layout(
            "taxa",
            "By taxon",
            "The base of all others: the short form, and the full form with every column.",
            last_quarter,
            by_taxon,
            "A",
        ),
        Layout(
            "exhibits",
            "By exhibit",
            "One block a place, with the counts beside the book, and the moves from place to place.",
            last_quarter,
            by_exhibit,
            "B",
        ),
        Layout(
            "periods",
            "By period",
            "Closing numbers of the quarters of two years, and the flows of the house by kind.",
            _two_years,
            by_period,
            "C",
        ),
        Layout(
            "stock-list",
            "Yearly stock list",
            "For the licence: start of year, arrived, born, died, left, end of year; own and loan apart.",
            _last_year,
            stock_list,
            "E",
        ),
    )
}
