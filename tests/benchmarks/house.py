"""A big invented house, written straight into the tables of the project's own schema.

The triggers are taken off while the tables are filled and put back after; the caches that they
keep are set by one UPDATE, so that the book is as the writer would have left it.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import connection, transaction

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
    # One transaction: a commit for each of a million rows would write the disk full.
    with transaction.atomic(), connection.cursor() as cursor:
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
        taxon, unit = self.taxa[0]
        for lot in range(1, size.lots + 1):
            if (lot - 1) % _NEIGHBOURS == 0:
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


_KINDS = (
    *("died", "born", "received", "moved", "missing", "sex", "regrouped", "unaccounted", "sent"),
    "divided",
)
_WEIGHTS = (54, 10, 8, 10, 1, 3, 4, 5, 3, 2)
# Lots that give animals to each other stand together, as the lots of one tank do.
_NEIGHBOURS = 4


def _flows(size: Size, draw: random.Random, cells: _Cells) -> Iterator[_Move]:
    """About ``size.flows`` flows: of each lot an arrival, then what happens in a tank.

    Animals are taken only from where some are, moves take all of a cell, and half of the lots
    leave in the end, so that the book is full of empty cells, as an old book is.
    """
    days = (size.last_day - size.first_day).days
    begin = datetime.combine(size.first_day, datetime.min.time(), UTC)
    each, rest = divmod(size.flows, size.lots)
    for first in range(1, size.lots + 1, _NEIGHBOURS):
        lots = range(first, min(first + _NEIGHBOURS, size.lots + 1))
        tanks = {lot: _Tank(lot, draw, cells) for lot in lots}
        moments = []
        for lot in lots:
            # A third of the lots are there from the beginning; half of them all leave again.
            starts = 0 if lot % 3 == 0 else draw.randrange(days)
            leaves = draw.random() < 0.5
            lasts = (days - starts) * (draw.random() if leaves else 1)
            number = max(each + (lot <= rest), 2)
            of_lot = sorted(starts + draw.random() * lasts for _ in range(number))
            moments += [(day, lot, i, number - i if leaves else number) for i, day in enumerate(of_lot)]
        for day, lot, i, left in sorted(moments):
            when = begin + timedelta(seconds=int(day * 86_400))
            late = draw.random() < 0.05
            entered = when + timedelta(hours=draw.randrange(72, 1_200) if late else 1)
            tank = tanks[lot]
            if i == 0:
                step = tank.arrive("opening" if day < 1 else "taken", draw.randint(20, 200))
            elif tank.held and left <= len(tank.held):
                step = tank.leave("sent", everything=True)
            else:
                step = tank.something(tanks)
            yield (when, entered, *step)


# (kind, from cell, to cell, number)
_Step = tuple[str, int, int, int]


class _Tank:
    """One lot and the cells that hold some of it: (place, sex, standing) to number."""

    def __init__(self, lot: int, draw: random.Random, cells: _Cells) -> None:
        self.lot, self.draw, self.cells = lot, draw, cells
        self.homes = draw.sample(cells.accounts, min(3, len(cells.accounts)))
        self.sexes = SEXES if draw.random() < 0.2 else ("unknown",)
        self.breeds = draw.random() < 0.2
        self.held: dict[tuple[int, str, str], int] = {}

    def arrive(self, kind: str, n: int) -> _Step:
        where = (self.homes[0], self.draw.choice(self.sexes), "present")
        self.held[where] = self.held.get(where, 0) + n
        outside = self.cells.cell(self.lot, self.cells.causes[kind], where[1])
        return kind, outside, self.cells.cell(self.lot, *where), n

    def leave(self, kind: str, *, everything: bool = False) -> _Step:
        where, n = self._take(everything)
        outside = self.cells.cell(self.lot, self.cells.causes[kind], where[1])
        return kind, self.cells.cell(self.lot, *where), outside, n

    def something(self, tanks: "dict[int, _Tank]") -> _Step:
        """Whatever the die says that these animals can do."""
        kind = self.draw.choices(_KINDS, _WEIGHTS)[0]
        if not self.held or (kind == "born" and not self.breeds):
            kind = "received"
        if kind in ("born", "received", "divided"):
            return self.arrive(kind, self.draw.randint(1, 12))
        if kind in ("died", "unaccounted", "sent"):
            return self.leave(kind)
        where, n = self._take(kind == "moved")
        place, sex, standing = where
        if kind == "moved":
            # What comes later comes to the new place.
            self.draw.shuffle(self.homes)
        to = {
            "moved": (self.homes[0], sex, standing),
            "missing": (place, sex, "missing" if standing == "present" else "present"),
            "sex": (place, self.draw.choice(self.sexes), standing),
        }.get(kind, where)
        if to == where:
            return self._to_a_neighbour(where, n, tanks)
        self.held[to] = self.held.get(to, 0) + n
        event = {"sex": "regrouped"}.get(kind, kind)
        return event, self.cells.cell(self.lot, *where), self.cells.cell(self.lot, *to), n

    def _to_a_neighbour(self, where: tuple[int, str, str], n: int, tanks: "dict[int, _Tank]") -> _Step:
        here = self.cells.cell(self.lot, *where)
        other = tanks[self.draw.choice(list(tanks))]
        if other is self:
            return "died", here, self.cells.cell(self.lot, self.cells.causes["died"], where[1]), n
        there = (other.homes[0], where[1], "present")
        other.held[there] = other.held.get(there, 0) + n
        return "regrouped", here, self.cells.cell(other.lot, *there), n

    def _take(self, everything: bool) -> tuple[tuple[int, str, str], int]:
        where = self.draw.choice(list(self.held))
        n = self.held[where] if everything else min(self.held[where], self.draw.randint(1, 3))
        self.held[where] -= n
        if not self.held[where]:
            del self.held[where]
        return where, n


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
