"""Accession numbers made here, and their check digit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.actions.register import new_accessions
from inventory.book.rules.accession import accession_of, check_digit, is_valid, numbers_after
from tests.factories import make_lot

RUNNING = st.integers(min_value=1, max_value=9_999_999)


# Strings that end with an ISO/IEC 7064 MOD 11,10 check digit, all from memory (the function agrees):
# the worked example of the standard; the specimen of the German tax identification number (Federal
# Central Tax Office); a Croatian personal identification number of a published example.
@pytest.mark.parametrize("published", ["07945", "86095742719", "33392005961"])
def test_the_check_digit_is_that_of_the_published_examples(published: str) -> None:
    assert check_digit(published[:-1]) == published[-1]


@given(RUNNING)
def test_every_number_made_here_is_valid(running: int) -> None:
    assert is_valid(accession_of(running))


@given(RUNNING, st.data())
def test_a_single_wrong_digit_is_always_found(running: int, data: st.DataObject) -> None:
    accession = accession_of(running)
    place = data.draw(st.integers(0, len(accession) - 1))
    wrong = data.draw(st.sampled_from("0123456789").filter(lambda digit: digit != accession[place]))
    assert not is_valid(accession[:place] + wrong + accession[place + 1 :])


def test_a_house_number_is_not_taken_for_one_made_here() -> None:
    assert not any(is_valid(number) for number in ("2024-001", "0794", "", "A000001", "0000017 "))


def test_the_check_digit_refuses_what_is_no_digit() -> None:
    with pytest.raises(ValueError, match="not a string of digits"):
        check_digit("12a")


def test_numbers_run_on_after_the_last() -> None:
    numbers = numbers_after(accession_of(41))
    assert [next(numbers)[:-1], next(numbers)[:-1]] == ["000042", "000043"]


@pytest.mark.django_db
def test_new_numbers_follow_the_highest_made_here_and_pass_over_the_house_s_own() -> None:
    for accession in ("2024-001", accession_of(9), accession_of(12), "9999999"):
        make_lot(accession)
    assert not is_valid("9999999")
    assert new_accessions(2) == [accession_of(13), accession_of(14)]


@pytest.mark.django_db
def test_a_book_without_numbers_begins_with_one() -> None:
    assert new_accessions(1) == [accession_of(1)]
    assert new_accessions(0) == []
