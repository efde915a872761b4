"""A small house that is counted: two tanks, a joined pair, a borrower. All invented."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.opening import add_line, open_census
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.sheets import hand_in, issue
from census.rounds.models import Census, Line, Sheet
from census.rounds.queries.find import line_of
from census.rounds.queries.reading import Row, read_census
from census.rounds.rules.words import LineKind
from inventory.book.models import Lot, Period, Place, PlaceKind
from inventory.people.models import Person
from tests import factories

ZONE = ZoneInfo("Atlantic/Faroe")
NOW = factories.NOW


def at(text: str) -> datetime:
    """A moment in the house's own time."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


WITHOUT = "nobody else was in the house that week"
OPENED = at("2026-09-15T09:00")
COUNTED = at("2026-09-29T10:00")
RECOUNTED = at("2026-09-30T10:00")


@dataclass
class TestHouse:
    """Everything a test may name. ``stock`` by short names."""

    __test__ = False

    period: Period
    registrar: Person
    curator: Person
    officer: Person
    first: Person
    second: Person
    places: dict[str, Place]
    lots: dict[str, Lot]

    def open(self, *codes: str, now: datetime | None = None, **more: Any) -> Census:
        places = [self.places[code] for code in codes or ("K1", "K2", "RA", "RB", "LO")]
        return open_census(
            period=self.period, places=places, by=self.registrar, now=now or OPENED, zone=ZONE, **more
        )

    def opened_and_issued(self, *codes: str) -> Census:
        census = self.open(*codes)
        for sheet in census.sheets.all():
            issue(sheet=sheet, by=self.registrar, now=at("2026-09-23T09:00"), counters=[self.first])
        return census

    def count(self, census: Census, counts: Mapping[str, int | Entry], *, round: int = 1) -> None:
        """Counts lots by short name; ``hand_in`` is left to the test."""
        moment = COUNTED if round == 1 else RECOUNTED
        counter = self.first if round == 1 else self.second
        by_sheet: dict[int, list[Entry]] = {}
        for name, value in counts.items():
            line = self.line(census, name)
            entry = (
                value
                if isinstance(value, Entry)
                else Entry(line=line.number, counted_at=moment, counter=counter, value=value)
            )
            by_sheet.setdefault(line.sheet_id, []).append(entry)
            if round > 1:
                ask_recount(lines=[line], of=counter, by=self.registrar, now=at("2026-09-29T18:00"))
        for sheet_id, entries in by_sheet.items():
            sheet = Sheet.objects.get(pk=sheet_id)
            take_counts(sheet=sheet, entries=entries, by=counter, now=moment, round=round)

    def line(self, census: Census, name: str) -> Line:
        """The line of a lot by its short name."""
        lot = self.lots[name]
        return Line.objects.select_related("sheet__census", "place", "taxon").get(
            sheet__census=census, lots=lot, sheet__replaced_by=None
        )

    def row(self, census: Census, name: str) -> Row:
        """The line of a lot beside the book, read again."""
        pk = self.line(census, name).pk
        return next(row for row in read_census(census) if pk in {part.line.pk for part in row.parts})

    def add_many_lines(self, census: Census, n: int = 12) -> None:
        """More lots, lines, counts and differences on the first sheet."""
        sheet = census.sheets.get(number=f"{census.code}-01")
        for k in range(n):
            name = f"more {k}"
            self.lots[name] = factories.make_lot(taxon=factories.make_taxon(count_class="B"))
            stock(self, name, "K1", 30)
            add_line(
                sheet=sheet,
                kind=LineKind.GROUP,
                taxon=self.lots[name].taxon,
                lots=[self.lots[name]],
                count_class="B",
                by=self.registrar,
                now=NOW,
            )
        self.count(census, {f"more {k}": 25 + k for k in range(n)})

    def compared(self, counts: Mapping[str, int | Entry]) -> Census:
        """A census of all places, all lines agreeing with the book save those in ``counts``; compared."""
        census = self.opened_and_issued()
        agreeing = {name: held for name, held in HELD.items() if name not in counts}
        self.count(census, {**agreeing, **counts})
        for sheet in census.sheets.all():
            hand_in(sheet=Sheet.objects.get(pk=sheet.pk), by=self.first, now=at("2026-10-01T09:00"))
        compare_counts(census=census, by=self.registrar, now=at("2026-10-01T10:00"))
        return Census.objects.get(pk=census.pk)


HELD = {
    "goby": 11,
    "bib": 22,
    "cod": 15,
    "shoal": 420,
    "wrasse": 18,
    "wrasse q": 6,
    "prawn a": 30,
    "prawn b": 12,
    "conger": 2,
    "ray": 1,
    "cases": 23,
}


def make_test_house() -> TestHouse:
    """Builds the house and books its opening stock on 1 July 2026."""
    registrar = factories.make_person("Runa", roles=["registrar"])
    house = factories.make_house(registrar=registrar)
    assert house.registrar == registrar
    places = {
        "K1": factories.make_place("K1", kind=PlaceKind.EXHIBIT),
        "K2": factories.make_place("K2", kind=PlaceKind.QUARANTINE),
        "RA": factories.make_place("RA", joined_set="R"),
        "RB": factories.make_place("RB", joined_set="R"),
        "LO": Place.objects.get(code="LO"),
    }
    made = TestHouse(
        period=factories.make_period(),
        registrar=registrar,
        curator=factories.make_person("Oskar", roles=["curator"]),
        officer=factories.make_person("Tove", roles=["permit_officer"]),
        first=factories.make_person("Alda", roles=["counter", "aquarist"]),
        second=factories.make_person("Bror", roles=["counter", "aquarist"]),
        places=places,
        lots={},
    )
    _stock(made)
    return made


def _stock(house: TestHouse) -> None:
    def taxon(name: str, count_class: str, look_alikes: str = "") -> Any:
        return factories.make_taxon(name, count_class=count_class, look_alike_set=look_alikes)

    goby, bib = taxon("Gobius niger", "B"), taxon("Trisopterus luscus", "B", "cods")
    cod = taxon("Trisopterus minutus", "B", "cods")
    wrasse, prawn = taxon("Symphodus melops", "B"), taxon("Palaemon serratus", "B")
    groups = {
        "goby": (goby, "K1"),
        "bib": (bib, "K1"),
        "cod": (cod, "K1"),
        "shoal": (taxon("Clupea harengus", "C"), "K1"),
        "wrasse": (wrasse, "K1"),
        "wrasse q": (wrasse, "K2"),
        "prawn a": (prawn, "RA"),
        "prawn b": (prawn, "RB"),
    }
    for name, (kind, place) in groups.items():
        house.lots[name] = factories.make_lot(taxon=kind)
        stock(house, name, place, HELD[name])
    conger = taxon("Conger conger", "A")
    for name, house_name in (("conger", "Thole"), ("hawser", "Hawser")):
        house.lots[name] = factories.make_lot(taxon=conger, kind="individual", house_name=house_name)
        stock(house, name, "K1", 1)
    house.lots["ray"] = factories.make_lot(taxon=taxon("Raja undulata", "A"), kind="individual")
    stock(house, "ray", "LO", 1)
    house.lots["cases"] = factories.make_lot(taxon=taxon("Scyliorhinus canicula", "B"), unit="egg case")
    stock(house, "cases", "K2", HELD["cases"])


def stock(house: TestHouse, name: str, place: str, n: int, *, happened: str = "2026-07-01") -> None:
    """Books ``n`` animals of a lot into a place."""
    factories.make_event(
        "opening",
        lot=house.lots[name],
        place=house.places[place],
        unknown=n,
        happened=happened,
        entered_at=at(f"{happened}T09:00"),
        entered_by=house.registrar,
    )


__all__ = [
    "COUNTED",
    "HELD",
    "NOW",
    "RECOUNTED",
    "WITHOUT",
    "ZONE",
    "TestHouse",
    "at",
    "line_of",
    "make_test_house",
]
