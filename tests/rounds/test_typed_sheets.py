"""A sheet that one counts and another types: who and when is said, and what is there is not typed over."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from census.rounds.actions.opening import add_line
from census.rounds.actions.sheets import hand_in
from census.rounds.models import Count, Line, Sheet
from census.rounds.rules.words import LineKind
from inventory.people.models import Person
from tests import factories

from .house import NOW, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def signed_in(client: Client, person: Person) -> Client:
    assert person.user is not None
    client.force_login(person.user)
    return client


def sheet_page(client: Client, person: Person, sheet: Sheet) -> str:
    return signed_in(client, person).get(reverse("sheet", args=[sheet.number])).content.decode()


def box(page: str, name: str) -> str:
    found = re.search(rf'<input[^>]*name="{name}"[^>]*>', page)
    assert found, name
    return found[0]


def test_who_types_the_sheet_of_others_says_who_counted_and_when(house: TestHouse, client: Client) -> None:
    sheet = house.opened_and_issued("K1").sheets.get()
    typist = factories.make_person("Sella", roles=["typist", "counter"])
    theirs = sheet_page(client, typist, sheet)
    assert "selected" not in theirs.split('name="counter"')[1].split("</select>")[0].split("---------")[1]
    assert "value" not in box(theirs, "counted_at")
    own = sheet_page(client, house.first, sheet)
    assert f'value="{house.first.pk}" selected' in own
    assert 'value="2026-' in box(own, "counted_at")


def test_the_next_lines_of_a_paper_have_the_moment_of_those_before(house: TestHouse, client: Client) -> None:
    sheet = house.opened_and_issued("K1").sheets.get()
    typist = factories.make_person("Sella", roles=["typist"])
    number = house.line(sheet.census, "goby").number
    stated = {
        "counter": house.first.pk,
        "counted_at": "2026-09-29T10:15",
        f"value_{number}": "6",
        "save": "1",
    }
    signed_in(client, typist).post(reverse("sheet", args=[sheet.number]), stated)
    page = sheet_page(client, typist, sheet)
    assert 'value="2026-09-29T10:15"' in box(page, "counted_at")
    assert f'value="{house.first.pk}" selected' in page


def test_what_others_have_written_is_told_without_its_number_and_not_called_blank(
    house: TestHouse, client: Client
) -> None:
    census = house.opened_and_issued("K1")
    sheet = census.sheets.get()
    house.count(census, {"goby": 7654321})
    typist = factories.make_person("Sella", roles=["typist"])
    page = sheet_page(client, typist, sheet)
    assert page.count('<span class="tag">has a count</span>') == 1
    assert "7654321" not in page
    assert "has a count</span>" not in sheet_page(client, house.first, sheet)
    others = [line for line in sheet.lines.all() if line.pk != house.line(census, "goby").pk]
    stated = {"counter": house.first.pk, "counted_at": "2026-09-29T10:15", "hand_in": "1"}
    stated |= {f"value_{line.number}": "1" for line in others}
    for line in others:
        for lot in line.lots.all() if line.kind == LineKind.INDIVIDUALS else ():
            stated[f"seen_{line.number}_{lot.accession}"] = "seen"
    signed_in(client, typist)
    told = client.post(reverse("sheet", args=[sheet.number]), stated, follow=True).content.decode()
    assert f"handed in, {len(others) + 1} lines counted." in told


def test_a_number_that_takes_the_place_of_anothers_is_told(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued("K1")
    sheet, line = census.sheets.get(), house.line(census, "goby")
    house.count(census, {"goby": 6})
    typist = factories.make_person("Sella", roles=["typist"])
    stated = {"counter": house.first.pk, "counted_at": "2026-09-29T10:15", f"value_{line.number}": "11"}
    signed_in(client, typist)
    address = reverse("sheet", args=[sheet.number])
    told = client.post(address, stated | {"save": "1"}, follow=True).content.decode()
    assert "saved, 1 line counted. 1 line had a count before: the new one takes its place." in told
    assert Count.objects.filter(line=line).count() == 2


def test_a_count_of_the_wrong_year_is_not_taken(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued("K1")
    sheet, number = census.sheets.get(), house.line(census, "goby").number
    signed_in(client, house.first)
    stated = {"counter": house.first.pk, f"value_{number}": "6", "save": "1"}
    for day, taken in (("2025-09-29", False), ("2026-06-30", False), ("2026-07-02", True)):
        at = {"counted_at": f"{day}T10:00"}
        told = client.post(reverse("sheet", args=[sheet.number]), stated | at, follow=True).content.decode()
        assert ("lies before the period that is counted; look at the day and the year" in told) is not taken
        assert Count.objects.exists() is taken


def test_a_recount_of_nobody_is_told(house: TestHouse, client: Client) -> None:
    census = house.compared({"goby": 6})
    line = house.line(census, "goby")
    address = reverse("census_recount", args=[line.sheet.number, line.number])
    told = signed_in(client, house.registrar).post(address, {"of": ""}, follow=True).content.decode()
    assert f"{line}: no recount was asked; choose who counts again." in told


def test_a_line_that_came_to_a_sheet_that_is_in_asks_for_its_count(house: TestHouse, client: Client) -> None:
    census = house.compared({})
    sheet = Sheet.objects.get(census=census, place=house.places["K1"])
    assert "there is nothing to count on it now" in sheet_page(client, house.first, sheet)
    line = add_line(
        sheet=sheet,
        kind=LineKind.GROUP,
        by=house.registrar,
        now=NOW,
        taxon=factories.make_taxon("Ciona intestinalis", count_class="B"),
        count_class="B",
    )
    page = sheet_page(client, house.first, sheet)
    assert f"and 1 line of it has no count: {line.number}." in page


def test_a_sheet_that_is_not_issued_has_no_boxes(house: TestHouse, client: Client) -> None:
    sheet = house.open("K1").sheets.get()
    page = sheet_page(client, house.first, sheet)
    assert "The sheet has not been issued yet." in page
    assert "Gobius niger" in page
    assert 'name="value_' not in page


def test_a_sheet_that_is_handed_in_again_with_lines_of_others_calls_none_of_them_blank(
    house: TestHouse, client: Client
) -> None:
    census = house.opened_and_issued("K1")
    sheet = census.sheets.get()
    house.count(census, {"goby": 6})
    sheet.refresh_from_db()
    hand_in(sheet=sheet, by=house.first, now=NOW)
    blank = Line.objects.filter(sheet=sheet, counts=None).count()
    assert blank > 1
    page = sheet_page(client, factories.make_person("Sella", roles=["typist"]), sheet)
    assert f"and {blank} lines of it have no count" in page
