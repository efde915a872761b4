"""What the pages of the book say, and that their queries do not grow with the rows."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Lot
from inventory.book.rules.words import MINUS
from inventory.people.rules.roles import Role

from .. import factories
from .conftest import SmallHouse

AsRole = Callable[[Role], Client]


def queries(client: Client, url: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert client.get(url).status_code == 200
    return len(captured)


def test_places_tell_what_lives_where(small_house: SmallHouse, as_role: AsRole) -> None:
    factories.make_place("E02a", name="The den", parent=small_house.kelp_hall)
    page = as_role(Role.INSPECTOR).get("/places").text
    assert "6 animals in 2 lots" in page
    assert page.index("Kelp Hall") < page.index("The den") < page.index("Quarantine fish")


def test_animals_and_colonies_are_never_added_together(small_house: SmallHouse, as_role: AsRole) -> None:
    corals = factories.make_lot(kind="colony", unit="colony")
    factories.make_event("received", lot=corals, place=small_house.kelp_hall, unknown=7)
    client = as_role(Role.INSPECTOR)
    assert "6 animals, 7 colonies in 3 lots" in client.get("/places").text
    assert "<strong>6 animals</strong>, <strong>7 colonies</strong>" in client.get("/place/E02").text


def test_a_place_tells_what_lives_there_and_what_happened(small_house: SmallHouse, as_role: AsRole) -> None:
    page = as_role(Role.AQUARIST).get("/place/E02").text
    assert "1.4.0" in page
    assert "“Thole”" in page
    assert "12 September 2026 07:52" in page


def test_an_unknown_place_lot_or_event_is_a_plain_404(small_house: SmallHouse, as_role: AsRole) -> None:
    client = as_role(Role.AQUARIST)
    for url in ("/place/E99", "/lot/A99", "/event/999999", "/record/died/A99", "/record/opening/A1"):
        response = client.get(url)
        assert response.status_code == 404, url
        assert "There is nothing at this address" in response.text


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("", {"A1", "A2"}),
        ("text=wrasse", {"A1"}),
        ("text=labrus+cuckoo", {"A1"}),
        ("text=labrus+conger", set()),
        ("text=THOLE", {"A2"}),
        ("text=A2", {"A2"}),
        ("kind=individual", {"A2"}),
        ("kind=colony", set()),
        ("place=E02", {"A1", "A2"}),
        ("place=Q1", set()),
        ("emptied=on", {"A1", "A2", "A3"}),
    ],
)
def test_lots_are_found_by(small_house: SmallHouse, as_role: AsRole, asked: str, found: set[str]) -> None:
    factories.make_lot("A3")
    page = as_role(Role.REGISTRAR).get(f"/lots?{asked}").text
    assert {lot.accession for lot in Lot.objects.all() if f'href="/lot/{lot.accession}"' in page} == found
    assert f"<caption>{len(found)} lot{'' if len(found) == 1 else 's'}</caption>" in page


def test_a_lot_that_moved_away_is_found_only_where_it_is_now(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    factories.make_event(
        "moved", lot=small_house.conger, place="E02", to_place="Q1", females=1, happened="2026-09-20"
    )
    client = as_role(Role.REGISTRAR)
    assert "/lot/A2" not in client.get("/lots?place=E02").text
    assert "/lot/A2" in client.get("/lots?place=Q1").text


def test_the_table_is_read_aloud_rightly(small_house: SmallHouse, as_role: AsRole) -> None:
    page = as_role(Role.REGISTRAR).get("/lots?sort=-held").text
    assert 'aria-sort="descending"' in page
    assert '<th scope="row"' in page
    assert '<th scope="col"' in page
    assert "onclick" not in page


def test_a_lots_story_has_both_times_and_a_running_balance(small_house: SmallHouse, as_role: AsRole) -> None:
    page = as_role(Role.INSPECTOR).get("/lot/A1").text
    story = page[page.index('id="story"') :]
    assert "12 September 2026 07:52" in story
    assert "6 October 2026 09:00" in story
    assert story.index("died") < story.index("opening stock")
    assert [_numbers(row) for row in story.split("<tr")[2:]] == [[f"{MINUS}1", "5"], ["+6", "6"]]


def test_an_event_taken_back_is_struck_through_and_said_in_words(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    reversal = factories.make_reversal(small_house.death, approved_by=small_house.people[Role.CURATOR])
    page = as_role(Role.INSPECTOR).get("/lot/A1").text
    assert "<del>died</del>" in page
    assert f'taken back by <a href="/event/{reversal.pk}">' in page
    assert f'takes back <a href="/event/{small_house.death.pk}">' in page
    assert "approved by The curator" in page
    story = page[page.index('id="story"') :]
    assert [_numbers(row) for row in story.split("<tr")[2:]] == [["+1", "6"], [f"{MINUS}1", "5"], ["+6", "6"]]


def test_a_regrouped_animal_keeps_the_lot_whole(small_house: SmallHouse, as_role: AsRole) -> None:
    factories.make_event("regrouped", lot="A1", place="E02", females=1, to_sex="male", happened="2026-09-20")
    page = as_role(Role.INSPECTOR).get("/lot/A1").text
    assert "2.3.0" in page
    story = page[page.index('id="story"') :]
    assert _numbers(story.split("<tr")[2]) == ["0", "5"]


def test_a_split_shows_in_both_lots(small_house: SmallHouse, as_role: AsRole) -> None:
    factories.make_lot("A3", taxon=small_house.wrasses.taxon, kind="individual")
    factories.make_event("regrouped", lot="A1", place="E02", males=1, to_lot="A3", happened="2026-09-20")
    client = as_role(Role.INSPECTOR)
    for accession, numbers in (("A1", [f"{MINUS}1", "4"]), ("A3", ["+1", "1"])):
        page = client.get(f"/lot/{accession}").text
        assert _numbers(page[page.index('id="story"') :].split("<tr")[2]) == numbers


def test_an_event_shows_its_flows_its_hash_and_the_one_before(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    death = small_house.death
    page = as_role(Role.INSPECTOR).get(f"/event/{death.pk}").text
    assert death.hash in page
    assert death.previous_hash in page
    assert f'<a href="/event/{death.pk - 1}">' in page
    assert "outside: died" in page
    assert "female" in page
    main = re.sub(r"<[^>]+>", " ", page[page.index("<main") :])
    assert re.search(r"died, \d{1,2} [A-Z][a-z]+ \d{4}", main)
    assert not re.search(r"\d{4}-\d{2}-\d{2}", main)
    assert "Take this event back" not in page


def test_a_balance_below_zero_is_seen_on_the_day_it_happens(small_house: SmallHouse, as_role: AsRole) -> None:
    jellies = factories.make_lot("A7", taxon=factories.make_taxon("Aurelia aurita"))
    factories.make_event("received", lot=jellies, place=small_house.kelp_hall, unknown=2)
    factories.make_event("died", lot=jellies, place=small_house.kelp_hall, unknown=8, happened="2026-09-30")
    client = as_role(Role.REGISTRAR)
    assert f"A7 Aurelia aurita in E02: {MINUS}6" in client.get("/").text
    page = client.get("/below-zero").text
    assert f"{MINUS}6" in page
    assert "The registrar" in page
    assert "Balance below zero in E02" in client.get("/lot/A7").text
    # The missing birth slip comes: nothing is left to look at.
    factories.make_event("born", lot=jellies, place=small_house.kelp_hall, unknown=6, happened="2026-09-02")
    assert "None: every lot" in client.get("/below-zero").text
    assert "Aurelia" not in client.get("/").text.split("Last entries")[0]


def test_what_concerns_others_is_told_apart(small_house: SmallHouse, as_role: AsRole) -> None:
    factories.make_event(
        "died", lot=small_house.wrasses, place=small_house.kelp_hall, unknown=9, happened="2026-09-30"
    )
    theirs = as_role(Role.VETERINARIAN).get("/").text
    assert theirs.index("Nothing waits for you today") < theirs.index("Balances below zero")
    assert "Nothing waits for you" not in as_role(Role.AQUARIST).get("/").text
    assert "Nothing waits for you" not in as_role(Role.INSPECTOR).get("/").text


@pytest.mark.parametrize(
    "url", ["/", "/lots", "/places", "/place/E02", "/lot/A1", "/below-zero", "/late-entries"]
)
def test_queries_do_not_grow_with_the_rows(small_house: SmallHouse, as_role: AsRole, url: str) -> None:
    client = as_role(Role.REGISTRAR)
    client.get(url)
    # One of each kind first: a page with nothing to tell may ask less.
    _grow(small_house, 1)
    few = queries(client, url)
    _grow(small_house, 12)
    assert queries(client, url) == few
    # The first page asks every room.
    assert few <= (90 if url == "/" else 25)


def _grow(house: SmallHouse, n: int) -> None:
    """More places, lots, deaths, balances below zero and reversals."""
    for _ in range(n):
        place = factories.make_place()
        lot = factories.make_lot()
        factories.make_event("received", lot=lot, place=place, unknown=3)
        factories.make_event("died", lot=lot, place=place, unknown=5, happened="2026-09-30")
        slip = factories.make_event(
            "died", lot=house.wrasses, place=house.kelp_hall, females=1, happened="2026-09-29"
        )
        factories.make_reversal(slip)


def _numbers(row: str) -> list[str]:
    """The text of a row's numbers."""
    cells: list[Any] = re.findall(r'<td class="num">(.*?)</td>', row, re.DOTALL)
    return [re.sub(r"<[^>]+>", "", cell).strip() for cell in cells]
