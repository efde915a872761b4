"""What stands under the table of a permit: what is by the last day, and what is counted in another unit."""

from datetime import date

import pytest

from census.change.rules.question import Question
from inventory.permits.models import Case
from tests.permits.house import PermitHouse, a_take, make_permit_house

from .conftest import answered


@pytest.fixture
def house(db: None) -> PermitHouse:
    return make_permit_house()


def notes_by(last: date) -> list[str]:
    (block,) = answered("permits", Question(date(2026, 1, 1), last)).part("permits").blocks
    return list(block.notes)


@pytest.mark.django_db
def test_a_case_of_a_later_trip_does_not_stand_under_the_numbers_of_an_earlier_day(
    house: PermitHouse,
) -> None:
    """The table is of the end of a day: nobody would understand a limit broken beside one that is not."""
    house.record(a_take("two-spotted goby", 19), happened="2026-09-02")
    assert Case.objects.exists()
    assert [note for note in notes_by(date(2026, 9, 30)) if note.startswith("Case")]
    assert not [note for note in notes_by(date(2026, 8, 31)) if note.startswith("Case")]


@pytest.mark.django_db
def test_what_is_taken_in_pieces_and_counted_in_animals_is_told_below_their_total(house: PermitHouse) -> None:
    """The total of the animals is more than its lines, and the line of pieces has no number of its own."""
    house.record(a_take("Corynactis viridis", 2, unit="piece", into_stock=60), a_take("two-spotted goby", 3))
    (block,) = answered("permits", Question(date(2026, 7, 1), date(2026, 9, 30))).part("permits").blocks
    animals = next(table for table in block.tables if table.unit == "animal")
    lines = sum(line.figures["stock"].number for line in animals.lines)
    assert (lines, animals.total["stock"].number) == (3, 63)
    number = house.permit.number
    assert animals.total_label == f"All of {number} (stock: with 60 of the permit's line 5, see the note)"
    pieces = next(table for table in block.tables if table.unit == "piece")
    assert pieces.total_label == f"All of {number}"
    assert [note for note in block.notes if "came into the stock as 60 animals" in note] == [
        "5 Jewel anemone, rock pieces: what was kept came into the stock as 60 animals, which the total of"
        " that unit has besides: 60 alive here."
    ]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("last", "ended"), [(date(2026, 9, 30), False), (date(2026, 10, 1), True), (date(2026, 12, 31), True)]
)
def test_a_permit_that_is_over_says_so_beside_what_is_left_of_its_limits(
    house: PermitHouse, last: date, ended: bool
) -> None:
    (block,) = answered("permits", Question(date(2026, 1, 1), last)).part("permits").blocks
    assert dict(block.facts)["valid"].endswith(", ended") == ended
