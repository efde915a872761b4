"""An animal on no list that is told by a letter or an abundance instead of a number, and whom that may mean.

*Common practice, no source*: marks are letters, tags or clips, and people say the first letter of a name. The
abundance letters are those of the Marine Nature Conservation Review (Hiscock 1996, from memory).
"""

from typing import Any

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.rules.abundance import ABUNDANCE
from inventory.tankside.models import Entry
from inventory.tankside.rules.unlisted import bears, how_many_written, number_written

from ..factories import make_lot
from .conftest import Tablet, TankHouse
from .test_pages import signed_in


@pytest.fixture
def registrar(house: TankHouse) -> Client:
    return signed_in(house.registrar)


def written(tablet: Tablet, **said: Any) -> Entry:
    sent = tablet.entry("note", note="a ray that was not here before", unlisted=True, **said)
    assert tablet.one(sent)["outcome"] == "sent"
    return Entry.objects.get(identifier=sent["identifier"])


def test_a_letter_stands_in_place_of_a_number_and_leads_to_the_animal(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    ray = house.ray.taxon
    for accession, marks, name in (("R7", "B, scar on the left", ""), ("R8", "A", ""), ("R9", "", "Bella")):
        lot = make_lot(accession, taxon=ray, kind="individual", marks=marks, house_name=name)
        type(lot).objects.filter(pk=lot.pk).update(held=1)
    make_lot("R6", taxon=ray, kind="individual", marks="B")
    entry = written(tablet, letter="B")
    assert "the one marked B" in registrar.get("/questions").text
    page = registrar.get(f"/on-no-list/{entry.pk}").text
    meant = page.split("By that letter may be meant:")[1].split("</p>")[0]
    # R6 bears it too, but is not here any more; R8 bears another one.
    assert [part.split('"')[0] for part in meant.split('href="')[1:]] == ["/lot/R7", "/lot/R9"]


def test_a_letter_that_no_animal_bears_says_so(tablet: Tablet, house: TankHouse, registrar: Client) -> None:
    entry = written(tablet, letter="Z")
    assert "No animal that is followed by itself bears it." in registrar.get(f"/on-no-list/{entry.pk}").text


def test_abundance_stands_in_place_of_a_number(tablet: Tablet, house: TankHouse, registrar: Client) -> None:
    entry = written(tablet, abundance="C")
    for url in ("/questions", f"/on-no-list/{entry.pk}"):
        assert "C, common" in registrar.get(url).text


@pytest.mark.parametrize(
    ("said", "field", "words"),
    [
        ({"letter": "B"}, "letter", "only of an animal that is on no list"),
        ({"abundance": "C"}, "abundance", "only of an animal that is on no list"),
        ({"unlisted": True, "letter": "B", "abundance": "C"}, "letter", "not both"),
        ({"unlisted": True, "letter": "B", "n": 2}, "letter", "either a number"),
        ({"unlisted": True, "abundance": "R", "n": 1}, "abundance", "either a number"),
        ({"unlisted": True, "abundance": "X"}, "abundance", "Input should be 'S'"),
        ({"unlisted": True, "letter": "B" * 41}, "letter", "at most 40"),
    ],
)
def test_what_says_two_things_or_none_comes_back(
    tablet: Tablet, house: TankHouse, said: dict[str, Any], field: str, words: str
) -> None:
    answer = tablet.one(tablet.entry("note", note="a ray", **said))
    assert answer["outcome"] == "came back"
    assert [one["field"] for one in answer["problems"]] == [field]
    assert words in answer["problems"][0]["words"]


def test_a_number_is_no_number_of_notes(tablet: Tablet, house: TankHouse, registrar: Client) -> None:
    entry = written(tablet, n=2)
    assert (entry.total, entry.told, entry.how_many) == (2, "note, Kelp Hall", "2")


@pytest.mark.parametrize(
    ("body", "number", "words"),
    [
        ({"numbers": {"unknown": 3}, "note": "a star"}, 3, "3"),
        # As pages wrote it before there were letters: the number stood in the words alone.
        ({"note": "Not on the list: 12, a red starfish; how it got here: not known"}, 12, "12"),
        ({"note": "a red starfish"}, None, ""),
        ({"letter": "B", "note": "Not on the list: marked B, a ray"}, 1, "the one marked B"),
        ({"abundance": "F", "note": "Not on the list: frequent, a sponge"}, None, "F, frequent"),
    ],
)
def test_how_many_were_meant(body: dict[str, Any], number: int | None, words: str) -> None:
    assert (number_written(body), how_many_written(body)) == (number, words)


@pytest.mark.parametrize(
    ("letter", "may_be"),
    [
        *[(one, True) for one in ("B", "b", "left", "B, left", "OT", "Old Tom", "AL")],
        *[(one, False) for one in ("A", "O", "lef", "T")],
    ],
)
def test_a_letter_is_a_mark_a_name_its_first_letters_or_what_the_device_shows(
    letter: str, may_be: bool
) -> None:
    lot = {"marks": "B, left", "house_name": "Old Tom", "scientific_name": "Anarhichas lupus"}
    assert bears(letter, **lot) is may_be


@given(st.text(max_size=40), st.text(max_size=40))
def test_what_bears_no_mark_and_no_name_is_meant_by_no_letter(letter: str, name: str) -> None:
    assert not bears("", marks=letter, house_name=name, scientific_name="")
    assert not bears(letter, marks="", house_name="", scientific_name="")


def test_the_letters_of_abundance_are_those_of_the_count_sheets() -> None:
    assert "".join(ABUNDANCE) == "SACFOR"
