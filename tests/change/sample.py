"""A small invented house with one of everything that a population change can show."""

from dataclasses import dataclass
from datetime import date

from census.change.rules.question import Question
from inventory.book.actions.close import close_period
from inventory.book.models import Lot, Period, PeriodVersion, Place
from inventory.names.models import Taxon
from tests.factories import make_lot, make_period, make_place, make_taxon

from .rows import Book

THIRD_QUARTER = Question(date(2026, 7, 1), date(2026, 9, 30))
SECOND_QUARTER = Question(date(2026, 4, 1), date(2026, 6, 30))


@dataclass
class Sample:
    book: Book
    places: dict[str, Place]
    lots: dict[str, Lot]
    taxa: dict[str, Taxon]
    second: PeriodVersion

    def close(self, period: Period, day: str) -> PeriodVersion:
        return close_period(
            period, closed_at=self.book.moment(day), signed_by=self.book.person, zone=self.book.zone
        )


def make_sample() -> Sample:
    """The second quarter of 2026 is closed on 15 July; two deaths of 28 June come in on 2 October."""
    book = Book()
    places = {code: make_place(code) for code in ("E1", "E2", "N1")}
    places["AWAY"] = make_place("AWAY", kind="off_site")
    seahorse = make_taxon(
        "Hippocampus guttulatus", phylum="Chordata", class_name="Teleostei", family="Syngnathidae"
    )
    goby = make_taxon("Gobius niger", phylum="Chordata", class_name="Teleostei", family="Gobiidae")
    wrasse = make_taxon(
        "Labrus mixtus", phylum="Chordata", class_name="Teleostei", family="Labridae", can_change_sex=True
    )
    shark = make_taxon("Scyliorhinus canicula", phylum="Chordata", class_name="Elasmobranchii")
    coral = make_taxon("Eunicella verrucosa", phylum="Cnidaria", class_name="Octocorallia", unit="colony")
    make_taxon("Sycon ciliatum", count_class="D")
    lots = {
        "goby": make_lot("GOBY", taxon=goby),
        "goby2": make_lot("GOBY2", taxon=goby),
        "wrasse": make_lot("WRASSE", taxon=wrasse),
        "young": make_lot("YOUNG", taxon=seahorse),
        "lent": make_lot("LENT", taxon=seahorse, owner="Far Sea Centre"),
        "shark": make_lot("SHARK", taxon=shark),
        "cases": make_lot("CASES", taxon=shark, unit="egg case"),
        "coral": make_lot("CORAL", taxon=coral, unit="colony"),
        "gone": make_lot("GONE", taxon=coral, unit="colony"),
    }
    e1, e2, n1, away = places.values()
    c, x = book.cell, book.crossing
    x("opening", "2026-01-01", lots["goby"], e1, 20)
    x("taken", "2026-04-10", lots["goby"], e1, 10, permit_number="P2")
    x("received", "2026-04-11", lots["wrasse"], e2, 2, sex="male", party="Far Sea Centre")
    x("received", "2026-04-11", lots["wrasse"], e2, 5, sex="female", party="Far Sea Centre")
    x("loan_in", "2026-02-03", lots["lent"], e1, 2, sex="male")
    x("loan_in", "2026-02-03", lots["lent"], e1, 2, sex="female")
    x("received", "2026-02-03", lots["shark"], e2, 8)
    x("received", "2026-02-03", lots["gone"], e2, 3)
    x("sent", "2026-02-04", lots["gone"], e2, 3)
    x("opening", "2026-07-01", lots["coral"], e1, 4)
    # What the second quarter does not know when it is closed.
    x("died", "2026-06-28", lots["goby"], e1, 2, entered="2026-10-02")
    # The third quarter.
    x("born", "2026-06-14", lots["young"], n1, 14)
    x("died", "2026-07-02", lots["young"], n1, 3)
    x("died", "2026-08-20", lots["young"], n1, 1)
    x("died", "2026-07-20", lots["goby"], e1, 1)
    book.event("moved", "2026-07-21", (c(lots["goby"], e1), c(lots["goby"], e2), 6))
    book.event("regrouped", "2026-07-25", (c(lots["goby"], e2), c(lots["goby2"], e2), 2))
    book.event("regrouped", "2026-08-01", (c(lots["wrasse"], e2, "female"), c(lots["wrasse"], e2, "male"), 1))
    book.event("loan_out", "2026-08-02", (c(lots["shark"], e2), c(lots["shark"], away), 3))
    book.event("back_from_loan", "2026-09-02", (c(lots["shark"], away), c(lots["shark"], e2), 1))
    book.event("missing", "2026-08-20", (c(lots["goby"], e2), c(lots["goby"], e2, standing="missing"), 1))
    # Half of the young belong to the lender: they change hands.
    book.event("regrouped", "2026-09-05", (c(lots["young"], n1), c(lots["lent"], n1), 5))
    x("born", "2026-08-10", lots["cases"], e2, 23)
    x("found", "2026-08-11", lots["goby2"], e2, 1)
    x("unaccounted", "2026-09-11", lots["goby"], e1, 4)
    x("put_down", "2026-09-12", lots["wrasse"], e2, 1, sex="female")
    x("released", "2026-09-13", lots["goby"], e1, 1)
    x("given_back", "2026-09-14", lots["lent"], e1, 1, sex="male")
    x("divided", "2026-09-15", lots["coral"], e1, 1)
    x("settled", "2026-09-16", lots["goby2"], e2, 2)
    twice = x("died", "2026-09-12", lots["goby"], e2, 2)
    book.reversal(twice, "2026-09-20")
    seen = x("unaccounted", "2026-09-18", lots["goby"], e2, 1)
    book.event("seen_again", "2026-09-25", (seen.flows.get().to_cell, seen.flows.get().from_cell, 1))
    sample = Sample(
        book,
        places,
        lots,
        {"goby": goby, "seahorse": seahorse, "wrasse": wrasse, "shark": shark, "coral": coral},
        None,  # type: ignore[arg-type]
    )
    sample.second = sample.close(make_period("2026 Q2", "2026-04-01", "2026-06-30"), "2026-07-15")
    return sample
