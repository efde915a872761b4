"""What a running census found absent, for who has to tell an authority of it."""

from datetime import date

from census.rounds.actions.decide import decide_line
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How
from inventory.permits.absences import Absence, open_absences

from .house import COUNTED, NOW, ZONE, TestHouse


def _of(house: TestHouse, name: str) -> list[Absence]:
    return open_absences({house.lots[name].taxon_id})


def test_a_line_counted_below_the_book_is_absent_from_its_count_until_it_is_settled(house: TestHouse) -> None:
    census = house.compared({"goby": 8})
    (found,) = _of(house, "goby")
    line = house.line(census, "goby")
    assert (found.n, found.found_at, found.lots) == (3, COUNTED, (house.lots["goby"].pk,))
    assert (found.place, found.page) == (line.place_id, f"/sheet/{line.sheet.number}/line/{line.number}")
    assert _of(house, "ray") == []
    decide_line(
        line=line,
        settling=Settling(
            how=How.MISSING, n=3, last_seen=date(2026, 9, 20), owner=house.officer.name, due=date(2026, 10, 6)
        ),
        by=house.registrar,
        now=NOW,
        zone=ZONE,
        approved_by=house.curator,
    )
    assert _of(house, "goby") == []


def test_a_second_count_does_not_put_off_the_day_of_finding(house: TestHouse) -> None:
    census = house.compared({"goby": 8})
    house.count(census, {"goby": 9}, round=2)
    (found,) = _of(house, "goby")
    assert (found.n, found.found_at) == (2, COUNTED)


def test_what_was_counted_above_the_book_is_not_absent(house: TestHouse) -> None:
    house.compared({"goby": 13})
    assert _of(house, "goby") == []
