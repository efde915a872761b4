"""The layouts by name: what each is called, which period it has when none is given, and who answers it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from census.change.rules.question import Question, last_quarter
from census.rounds.rules.who import COMPARES
from inventory.people.rules.roles import Role
from inventory.permits.who import READS_CASES

from ..rules.document import Document
from ..rules.quarters import two_years_to
from ..rules.said import Saying
from .changed import changed_figures
from .exhibits import by_exhibit
from .one_taxon import one_taxon
from .periods import by_period
from .permits import by_permit
from .statement import census_statement
from .stock_list import stock_list
from .taxa import by_taxon


@dataclass(frozen=True, slots=True)
class Layout:
    """One layout.

    ``period`` answers the days when none are given, told today. ``subject``: what it is about, for a layout
    of one thing. ``letter``: its letter in the requirements. ``roles``: who may read it, empty everybody.
    ``remembered``: it is made of what :mod:`.documents` watches, and of nothing else. ``counts``: it tells
    counts beside the book of their own moments, which lie after the period.
    """

    name: str
    words: str
    about: str
    period: Callable[[date], tuple[date, date]]
    make: Callable[[Question, Saying, str], Document]
    letter: str
    subject: str = ""
    roles: tuple[Role, ...] = ()
    remembered: bool = False
    counts: bool = False

    def answer(self, question: Question, saying: Saying, subject: str = "") -> Document:
        """The report, made anew. Raises ValueError when it cannot be, with what to do."""
        return self.make(question, saying, subject)


def _of_the_house(
    make: Callable[[Question, Saying], Document],
) -> Callable[[Question, Saying, str], Document]:
    return lambda question, saying, _: make(question, saying)


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
            _of_the_house(by_taxon),
            "A",
            remembered=True,
        ),
        Layout(
            "exhibits",
            "By exhibit",
            "One block a place, with the counts beside the book, and the moves from place to place.",
            last_quarter,
            _of_the_house(by_exhibit),
            "B",
            remembered=True,
            counts=True,
        ),
        Layout(
            "periods",
            "By period",
            "Closing numbers of the quarters of two years, and the flows of the house by kind.",
            _two_years,
            _of_the_house(by_period),
            "C",
            remembered=True,
        ),
        Layout(
            "permits",
            "By source and permit",
            "Each permit with its limits, what was taken and what became of it; then every source.",
            last_quarter,
            _of_the_house(by_permit),
            "D",
            roles=READS_CASES,
        ),
        Layout(
            "stock-list",
            "Yearly stock list",
            "For the licence: start of year, arrived, born, died, left, end of year; own and loan apart.",
            _last_year,
            _of_the_house(stock_list),
            "E",
            remembered=True,
        ),
        Layout(
            "census",
            "Census statement",
            "Accuracy, gains and losses apart, lines decided and not counted, letters, sheets.",
            last_quarter,
            _of_the_house(census_statement),
            "F",
            roles=COMPARES,
        ),
        Layout(
            "changed",
            "Changed figures",
            "Of each period that was restated: old and new figure, and what was entered in between.",
            _two_years,
            _of_the_house(changed_figures),
            "G",
            roles=COMPARES,
        ),
        Layout(
            "taxon",
            "One taxon, one page",
            "Names, where it lives, two years of numbers, all flows, counts, sources, who to ask.",
            _two_years,
            one_taxon,
            "H",
            subject="animal",
        ),
    )
}
