"""A big invented house, written straight into the tables of the project's own schema.

The triggers are taken off while the tables are filled and put back after; the caches that they
keep are set by one UPDATE, so that the book is as the writer would have left it.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import connection

from inventory.book.models import Account, Place
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import House, Person

SEXES = ("male", "female", "unknown")


@dataclass(frozen=True, slots=True)
class Size:
    """How big the house is, and over how many years its flows are spread."""

    flows: int = 1_000_000
    lots: int = 20_000
    taxa: int = 3_000
    places: int = 500
    years: int = 10
    flows_an_event: int = 2
    seed: int = 1

    @property
    def first_day(self) -> date:
        return date(self.last_day.year - self.years, 10, 1)

    @property
    def last_day(self) -> date:
        """Inside a running quarter, of which three weeks have passed."""
        return date(2026, 10, 21)


def build(size: Size) -> None:
    """Fills the empty, migrated SQLite database of the default connection."""
    draw = random.Random(size.seed)
    person = Person.objects.create(name="Bench Writer")
    House.objects.create(name="Bench Aquarium", registrar=person)
    _taxa(size, draw)
    _places(size)
    triggers.remove(connection, triggers.DECLARED)
    cells = _Cells(draw, size)
    moves = sorted(_flows(size, draw, cells))
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO book_lot (id, accession, taxon_id, kind, unit, owner, house_name, marks,"
            " count_class, verbatim_identification, held) VALUES (%s, %s, %s, %s, %s, %s, '', '', '', '', 0)",
            cells.lot_rows,
        )
        cursor.executemany(
            "INSERT INTO book_cell (id, lot_id, account_id, sex, stage, standing, inside, capped, balance)"
            " VALUES (%s, %s, %s, %s, '', %s, %s, 0, 0)",
            cells.rows,
        )
        cursor.executemany(_EVENT, list(_event_rows(moves, size, person.pk)))
        cursor.executemany(
            "INSERT INTO book_flow (id, event_id, from_cell_id, to_cell_id, n, effective_at, entered_at)"
            " VALUES (%s, %s, %s, %s, %s, %s, %s)",
            list(_flow_rows(moves, size)),
        )
        cursor.execute(
            "UPDATE book_cell SET balance ="
            " COALESCE((SELECT SUM(n) FROM book_flow f WHERE f.to_cell_id = book_cell.id), 0)"
            " - COALESCE((SELECT SUM(n) FROM book_flow f WHERE f.from_cell_id = book_cell.id), 0)"
        )
        cursor.execute(
            "UPDATE book_lot SET held = COALESCE((SELECT SUM(balance) FROM book_cell c"
            " WHERE c.lot_id = book_lot.id AND c.inside), 0)"
        )
    triggers.install(connection, triggers.DECLARED)


_EVENT = (
    "INSERT INTO book_event (id, identifier, ref, kind, happened, effective_at, entered_at, entered_by_id,"
    " recorded_at, device, party, permit_number, cause, reason, evidence, note, content_hash, previous_hash,"
    " hash) VALUES (%s, %s, '', %s, %s, %s, %s, %s, %s, '', %s, %s, '', '', '', '', %s, %s, %s)"
)


def _taxa(size: Size, draw: random.Random) -> None:
    Taxon.objects.bulk_create(
        Taxon(
            scientific_name=f"Exemplum numero{i:05}",
            phylum=f"Phylum {i % 12:02}",
            class_name=f"Class {i % 40:02}",
            family=f"Family {i % 400:03}",
            common_name=f"example {i}",
            unit="animal" if i % 20 else "colony",
            counts_in_from="day 30" if draw.random() < 0.05 else "",
        )
        for i in range(size.taxa)
    )


def _places(size: Size) -> None:
    Place.objects.bulk_create(
        Place(code=f"B{i:04}", name=f"Tank {i}", kind="off_site" if i % 100 == 99 else "tank")
        for i in range(size.places)
    )
    Account.objects.bulk_create(
        Account(place=place) for place in Place.objects.filter(code__startswith="B", account=None)
    )


class _Cells:
    """Gives every cell its number."""

    def __init__(self, draw: random.Random, size: Size) -> None:
        self.taxa = list(Taxon.objects.order_by("pk").values_list("pk", "unit"))
        self.accounts = list(
            Account.objects.filter(place__code__startswith="B").order_by("pk").values_list("pk", flat=True)
        )
        self.causes = dict(Account.objects.filter(place=None).values_list("cause", "pk"))
        self.lot_rows = []
        for lot in range(1, size.lots + 1):
            taxon, unit = draw.choice(self.taxa)
            owner = "Far Sea Centre" if draw.random() < 0.03 else ""
            self.lot_rows.append((lot, f"B{lot:06}", taxon, "group", unit, owner))
        self.numbers: dict[tuple[int, int, str, str], int] = {}
        self.rows: list[tuple[Any, ...]] = []

    def cell(self, lot: int, account: int, sex: str, standing: str = "present") -> int:
        key = (lot, account, sex, standing)
        found = self.numbers.get(key)
        if found is None:
            found = self.numbers[key] = len(self.numbers) + 1
            inside = account not in self.causes.values()
            self.rows.append((found, lot, account, sex, standing, inside))
        return found


# (moment, entered, kind, from cell, to cell, number)
_Move = tuple[datetime, datetime, str, int, int, int]


def _flows(size: Size, draw: random.Random, cells: _Cells) -> Iterator[_Move]:
    """About ``size.flows`` flows: of each lot an arrival, then what happens in a tank."""
    days = (size.last_day - size.first_day).days
    begin = datetime.combine(size.first_day, datetime.min.time(), UTC)
    each, rest = divmod(size.flows, size.lots)
    for lot in range(1, size.lots + 1):
        number = each + (lot <= rest)
        account = draw.choice(cells.accounts)
        # A third of the lots are there from the beginning; half of the others leave again.
        starts = 0 if lot % 3 == 0 else draw.randrange(days)
        lasts = days - starts if draw.random() < 0.5 else max(1, int((days - starts) * draw.random()))
        sexes = SEXES if draw.random() < 0.3 else ("unknown",)
        moments = sorted(starts + draw.random() * lasts for _ in range(number))
        for i, day in enumerate(moments):
            when = begin + timedelta(seconds=int(day * 86_400))
            late = draw.random()
            hours = 1 if late > 0.05 else draw.randrange(72, 1_200)
            entered = when + timedelta(hours=hours)
            sex = draw.choice(sexes)
            here = cells.cell(lot, account, sex)
            if i == 0:
                kind = "opening" if starts == 0 else draw.choice(("taken", "received", "loan_in", "found"))
                yield (
                    when,
                    entered,
                    kind,
                    cells.cell(lot, cells.causes[kind], sex),
                    here,
                    draw.randint(40, 400),
                )
                continue
            kind = draw.choices(
                ("died", "born", "moved", "missing", "regrouped", "unaccounted", "sent", "divided"),
                (50, 15, 15, 4, 6, 4, 3, 3),
            )[0]
            n = draw.randint(1, 4)
            if kind == "moved":
                account = draw.choice(cells.accounts)
                to = cells.cell(lot, account, sex)
            elif kind == "missing":
                to = cells.cell(lot, account, sex, "missing")
            elif kind == "regrouped":
                to = cells.cell(draw.randint(1, size.lots) if len(sexes) == 1 else lot, account, SEXES[0])
            else:
                to = cells.cell(lot, cells.causes[kind], sex)
            if kind in ("born", "divided"):
                here, to, n = to, here, draw.randint(1, 12)
            if here == to:
                to = cells.cell(lot, cells.causes["died"], sex)
                kind = "died"
            yield when, entered, kind, here, to, n


def _event_rows(moves: list[_Move], size: Size, person: int) -> Iterator[tuple[Any, ...]]:
    for i, start in enumerate(range(0, len(moves), size.flows_an_event), start=1):
        when, entered, kind, *_ = moves[start]
        party = f"Party {i % 40}" if kind == "received" else ""
        permit = f"P{i % 60}" if kind == "taken" else ""
        digest = f"{i:064x}"
        yield (
            *(i, f"{i:032x}", kind, _text(when), _text(when), _text(entered), person, _text(entered)),
            *(party, permit, digest, digest, digest),
        )


def _flow_rows(moves: list[_Move], size: Size) -> Iterator[tuple[Any, ...]]:
    for i, (when, entered, _, a, b, n) in enumerate(moves):
        yield (i + 1, i // size.flows_an_event + 1, a, b, n, _text(when), _text(entered))


def _text(moment: datetime) -> str:
    return str(moment.replace(tzinfo=None))
