"""Places and lots are registered in sets; what differs is changed, what cannot be is refused."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.book.actions.register import RowsRefused, register_lots, register_places
from inventory.book.models import Account, Lot, Place
from inventory.book.rules.accession import accession_of
from inventory.book.rules.sheets import LotRow, PlaceRow
from tests.factories import make_event, make_lot, make_place, make_taxon

pytestmark = pytest.mark.django_db


def place(code: str, **said: Any) -> PlaceRow:
    return PlaceRow(**{"code": code, "name": f"Tank {code}", "kind": "tank", **said})


def refused(write: Callable[[], object]) -> list[tuple[int, str, str]]:
    """The problems of a refusal: (row, column, message)."""
    with pytest.raises(RowsRefused) as caught:
        write()
    return [(problem.draft, problem.column, problem.message) for problem in caught.value.problems]


def queries_of(write: Callable[[], object]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        write()
    return len(captured)


def test_every_new_place_gets_its_account_and_stands_in_its_parent() -> None:
    outcome = register_places(
        [place("T1", parent="E1"), place("E1", kind="exhibit"), place("S1", parent="T1")]
    )
    assert (outcome.new, outcome.changed, outcome.already_there) == (3, 0, 0)
    new = Place.objects.filter(code__in=outcome.names)
    assert Account.objects.filter(place__in=new).count() == 3
    assert dict(new.values_list("code", "parent__code")) == {"T1": "E1", "E1": None, "S1": "T1"}


def test_only_what_differs_is_changed_and_said() -> None:
    register_places(
        [place("E1"), place("T1", parent="E1", water="open", volume_m3=Decimal(3), states_volume=True)]
    )
    again = register_places([place("E1"), place("T1")])
    assert (again.changed, again.already_there) == (0, 2)
    changed = register_places([place("T1", name="New", parent="", water="", states_volume=True)])
    assert changed.changes == [
        *("T1: name Tank T1 -> New", "T1: water open -> ", "T1: volume_m3 3 -> ", "T1: parent E1 -> "),
    ]
    tank = Place.objects.get(code="T1")
    assert (tank.name, tank.parent, tank.water, tank.volume_m3) == ("New", None, "", None)


def test_a_place_that_cannot_be_is_refused_with_row_and_column() -> None:
    make_place("E1")
    rows = [
        place("A", kind="pond"),
        place("B", water="salt"),
        place("C", parent="X9"),
        place("", name="x"),
        place("D", name=""),
        place("E", parent="F"),
        place("F", parent="E"),
        place("G", parent="G"),
        place("A"),
    ]
    problems = refused(lambda: register_places(rows))
    assert sorted({(row, column) for row, column, _ in problems}) == [
        *((0, "kind"), (1, "water"), (2, "parent"), (3, "code"), (4, "name")),
        *((5, "parent"), (6, "parent"), (7, "parent"), (8, "code")),
    ]
    told = {(row, column): message for row, column, message in problems}
    assert told[0, "kind"].startswith("'pond' is unknown; expected exhibit, tank,")
    assert told[1, "water"] == "'salt' is unknown; expected open, closed, nothing"
    assert told[5, "parent"] == "a place cannot stand inside itself: E in F in E"
    assert told[8, "code"] == "'A' stands in row 1 too; expected each once"
    assert not Place.objects.filter(code__in=[row.code for row in rows]).exists()


def test_a_circle_that_runs_through_the_book_is_refused() -> None:
    register_places([place("E1"), place("T1", parent="E1")])
    ((row, column, message),) = refused(lambda: register_places([place("E1", parent="T1")]))
    assert (row, column, message) == (0, "parent", "a place cannot stand inside itself: E1 in T1 in E1")


def test_a_place_that_held_animals_does_not_become_somebody_else_s() -> None:
    make_place("EMPTY")
    event = make_event(place=make_place("T1"))
    assert event.pk
    ((_, column, message),) = refused(lambda: register_places([place("T1", kind="off_site")]))
    assert column == "kind"
    assert "give the other place a code of its own" in message
    assert register_places([place("T1", kind="quarantine"), place("EMPTY", kind="off_site")]).changed == 2


def test_lots_are_created_and_changed_where_they_differ() -> None:
    crab = make_taxon("Carcinus maenas", unit="crab")
    taxa = {"Carcinus maenas": crab}
    register_lots([LotRow("G1", "Carcinus maenas", "group")], taxa)
    lot = Lot.objects.get()
    assert (lot.unit, lot.owner, lot.verbatim_identification) == ("crab", "", "Carcinus maenas")
    row = LotRow("G1", "Carcinus maenas", "group", owner="A lender", house_name=None)
    changed = register_lots([row], taxa)
    assert (changed.changed, changed.changes) == (1, ["G1: owner  -> A lender"])
    assert register_lots([row], taxa).already_there == 1


def test_a_lot_without_a_number_gets_one_made_here() -> None:
    taxa = {"x": make_taxon()}
    make_lot(accession_of(4))
    rows = [LotRow("", "x", "group"), LotRow("G1", "x", "group"), LotRow("", "x", "individual")]
    assert register_lots(rows, taxa).names == [accession_of(5), "G1", accession_of(6)]


def test_a_number_in_use_for_other_animals_is_refused() -> None:
    crab, wrasse = make_taxon("Carcinus maenas"), make_taxon("Labrus bergylta")
    make_lot("G1", taxon=crab, kind="group", unit="animal", verbatim_identification="Carcinus maenas")
    taxa = {"Carcinus maenas": crab, "Labrus bergylta": wrasse}
    rows = [
        LotRow("G1", "Labrus bergylta", "individual", unit="colony"),
        LotRow("G2", "Nobody", "swarm"),
        LotRow("G2", "Carcinus maenas", "group"),
    ]
    problems = refused(lambda: register_lots(rows, taxa))
    assert [(row, column) for row, column, _ in problems] == [
        *((2, "accession"), (0, "accession"), (0, "kind"), (0, "unit"), (1, "name"), (1, "kind")),
    ]
    assert problems[1][2].startswith("G1 is in use for Carcinus maenas, not for Labrus bergylta")
    assert Lot.objects.count() == 1


def test_a_lot_whose_name_was_reviewed_since_is_the_same_lot() -> None:
    """A person decided what the typed name stands for; the same file again is no contradiction."""
    decided, as_typed = make_taxon("Maja brachydactyla"), make_taxon("Maja squinado")
    make_lot("G1", taxon=decided, kind="group", verbatim_identification="Maja squinado")
    outcome = register_lots([LotRow("G1", "Maja squinado", "group")], {"Maja squinado": as_typed})
    assert outcome.already_there == 1
    assert Lot.objects.get().taxon == decided


@pytest.mark.parametrize("again", [False, True])
def test_queries_do_not_grow_with_the_rows(again: bool) -> None:
    """Below the portions in which SQLite takes parameters, as many for 40 as for 4."""
    taxa = {"x": make_taxon()}

    def of(letter: str, count: int) -> int:
        places = [
            place(f"{letter}{n}", parent=f"{letter}0" if n else "", name=f"{again}") for n in range(count)
        ]
        lots = [LotRow("", "x", "group", marks="m") for _ in range(count // 2)]
        lots += [LotRow(f"{letter}{n}", "x", "group", marks="m") for n in range(count)]
        if again:
            register_places([place(row.code) for row in places])
            register_lots([LotRow(row.accession, "x", "group") for row in lots if row.accession], taxa)
        return queries_of(lambda: (register_places(places), register_lots(lots, taxa)))

    assert of("A", 4) == of("B", 40)
