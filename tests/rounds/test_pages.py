"""The census pages: who sees what, blind sheets, and constant queries."""

import re
from collections.abc import Callable
from html import unescape
from urllib.parse import parse_qsl

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.sheets import hand_in
from census.rounds.models import Census, Count, Decision, Sheet
from census.rounds.rules.words import CensusState, SheetState
from inventory.book.models import Period
from inventory.people.models import Person
from tests import factories

from .house import NOW, WITHOUT, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.fixture
def signed_in(client: Client) -> Callable[[Person], Client]:
    def sign_in(person: Person) -> Client:
        assert person.user is not None
        client.force_login(person.user)
        return client

    return sign_in


SignIn = Callable[[Person], Client]


def test_the_board_shows_sheets_accuracy_and_what_blocks(house: TestHouse, signed_in: SignIn) -> None:
    census = house.compared({"goby": 6})
    page = signed_in(house.registrar).get(reverse("census", args=[census.code])).content.decode()
    assert "CS-26Q3-01" in page
    assert "6 of 6" in page
    assert "outside tolerance (\N{MINUS SIGN}5)" in page
    assert "Record accuracy" in page


@pytest.mark.parametrize(
    ("page", "field"), [("notices", "notice"), ("approvals", "asked"), ("late_entries", "flag")]
)
@pytest.mark.parametrize("said", ["", "x", "9" * 30, "9" * 5_000])
def test_a_button_that_names_no_row_is_about_nothing_that_there_is(
    house: TestHouse, signed_in: SignIn, page: str, field: str, said: str
) -> None:
    assert signed_in(house.registrar).post(reverse(page), {field: said}).status_code == 404


def test_a_counter_sees_sheets_on_the_board_but_no_difference(house: TestHouse, signed_in: SignIn) -> None:
    census = house.compared({"goby": 6})
    page = signed_in(house.first).get(reverse("census", args=[census.code])).content.decode()
    assert "CS-26Q3-01" in page
    assert "outside" not in page
    assert "Record accuracy" not in page


@pytest.mark.parametrize("name", ["differences", "census_sign"])
def test_a_counter_may_not_open_what_shows_the_book(house: TestHouse, signed_in: SignIn, name: str) -> None:
    census = house.compared({"goby": 6})
    assert signed_in(house.first).get(reverse(name, args=[census.code])).status_code == 403


def test_a_counter_counts_on_the_page_and_hands_in(house: TestHouse, signed_in: SignIn) -> None:
    census = house.opened_and_issued("K2")
    sheet = census.sheets.get()
    answer = signed_in(house.first).post(
        reverse("sheet", args=[sheet.number]),
        {
            "counter": house.first.pk,
            "counted_at": "2026-09-29T10:00",
            "value_1": "23",
            "value_2": "0",
            "new_name_1": "Ciona, lots",
            "new_value_1": "C",
            "hand_in": "1",
        },
    )
    assert answer.status_code == 302, answer.context["form"].errors
    assert Sheet.objects.get().state == SheetState.HANDED_IN
    counts = Count.objects.order_by("line__number")
    assert [(c.value, c.letter) for c in counts] == [(23, ""), (0, ""), (None, "C")]
    assert counts[0].counted_at.isoformat() == "2026-09-29T09:00:00+00:00"


def test_saving_again_leaves_the_moment_of_lines_that_were_not_touched(
    house: TestHouse, signed_in: SignIn
) -> None:
    census = house.opened_and_issued("K2")
    address = reverse("sheet", args=[census.sheets.get().number])
    client = signed_in(house.first)
    client.post(
        address, {"counter": house.first.pk, "counted_at": "2026-09-29T10:00", "value_1": "23", "value_2": ""}
    )
    client.post(
        address,
        {"counter": house.first.pk, "counted_at": "2026-09-30T10:00", "value_1": "23", "value_2": "6"},
    )
    counts = Count.objects.order_by("line__number")
    assert [(c.value, timezone.localtime(c.counted_at).day) for c in counts] == [(23, 29), (6, 30)]


def test_a_box_that_cannot_be_read_is_marked_and_nothing_is_saved(
    house: TestHouse, signed_in: SignIn
) -> None:
    census = house.opened_and_issued("K2")
    address = reverse("sheet", args=[census.sheets.get().number])
    answer = signed_in(house.first).post(
        address,
        {"counter": house.first.pk, "counted_at": "2026-09-29T10:00", "value_1": "many", "value_2": "6"},
    )
    assert "cannot be read" in answer.content.decode()
    assert not Count.objects.exists()


def test_the_registrar_opens_issues_and_compares_on_pages(house: TestHouse, signed_in: SignIn) -> None:
    client = signed_in(house.registrar)
    client.post(
        reverse("census_list"), {"period": Period.objects.get().code, "places": [house.places["K2"].pk]}
    )
    sheet = Sheet.objects.get()
    client.post(reverse("sheet_step", args=[sheet.number, "issue"]), {"counters": [house.first.pk]})
    sheet.refresh_from_db()
    assert (sheet.state, list(sheet.counters.all())) == (SheetState.ISSUED, [house.first])
    house.count(sheet.census, {"wrasse q": 6})
    client.post(reverse("census_compare", args=[sheet.census.code]))
    assert Census.objects.get().state == CensusState.COMPARING


def test_a_line_is_decided_on_its_page(house: TestHouse, signed_in: SignIn) -> None:
    census = house.compared({"goby": 6})
    house.count(census, {"goby": 6}, round=2)
    line = house.line(census, "goby")
    address = reverse("census_line", args=[line.sheet.number, line.number])
    client = signed_in(house.registrar)
    assert "nothing found in the book" in client.get(address).content.decode()
    stated = {"how": "adjustment", "reason": "eaten (suspected)", "n": "-5"}
    refused = client.post(address, stated)
    assert "the curator&#x27;s approval is needed" in refused.content.decode()
    signed = {"approved_by": house.curator.name, "note": "signed by hand on the sheet"}
    answer = client.post(address, {**stated, **signed})
    assert answer.status_code == 302
    assert Decision.objects.get().n == -5


def test_the_curator_signs_on_the_page_only_when_nothing_blocks(house: TestHouse, signed_in: SignIn) -> None:
    census = house.compared({"wrasse": 17})
    address = reverse("census_sign", args=[census.code])
    client = signed_in(house.curator)
    assert "Sign and close" not in client.get(address).content.decode()
    client.post(address, {"note": "too early"})
    assert Census.objects.get().state == CensusState.COMPARING
    house.count(census, {"wrasse": 18}, round=2)
    hand_in(sheet=house.line(census, "wrasse").sheet, by=house.second, now=NOW)
    assert "Sign and close 2026 Q3" in client.get(address).content.decode()
    client.post(address, {"note": "first", "without_sample": WITHOUT})
    assert Census.objects.get().state == CensusState.CLOSED
    assert "2026 Q3 version 1 is closed" in client.get(address).content.decode()


def test_the_registrar_proposes_the_curator_sends_back_and_reopens(
    house: TestHouse, signed_in: SignIn
) -> None:
    census = house.compared({})
    address = reverse("census_sign", args=[census.code])
    signed_in(house.registrar).post(address, {"step": "propose"})
    assert Census.objects.get().state == CensusState.WAITING
    signed_in(house.registrar).post(address, {"step": "sign", "without_sample": WITHOUT})
    assert Census.objects.get().state == CensusState.WAITING
    client = signed_in(house.curator)
    client.post(address, {"step": "send_back", "note": ""})
    assert Census.objects.get().state == CensusState.WAITING
    client.post(address, {"step": "send_back", "note": "look at the prawns"})
    assert Census.objects.get().state == CensusState.SETTLING
    client.post(address, {"step": "sign", "without_sample": WITHOUT})
    client.post(address, {"step": "reopen", "note": "ray in the freezer"})
    assert Census.objects.get().state == CensusState.REOPENED
    board = client.get(reverse("census", args=[census.code])).content.decode()
    assert "Sent back by Oskar: look at the prawns" in board


def test_an_inspector_reads_and_changes_nothing(house: TestHouse, signed_in: SignIn) -> None:
    census = house.compared({"goby": 6})
    line = house.line(census, "goby")
    client = signed_in(factories.make_person(roles=["inspector"]))
    address = reverse("census_line", args=[line.sheet.number, line.number])
    assert "Decide this line" not in client.get(address).content.decode()
    client.post(address, {"how": "observation", "note": "mine"})
    client.post(reverse("census_sign", args=[census.code]), {"step": "sign", "without_sample": WITHOUT})
    assert not Decision.objects.exists()
    assert Census.objects.get().state == CensusState.COMPARING
    recount = reverse("census_recount", args=[line.sheet.number, line.number])
    assert client.post(recount, {"of": house.second.pk}).status_code == 403


@pytest.mark.parametrize("name", ["wrasse", "wrasse q"])
def test_following_a_move_that_was_not_entered_leads_to_the_line_that_gave(
    house: TestHouse, signed_in: SignIn, name: str
) -> None:
    census = house.compared({"wrasse": 24, "wrasse q": 0})
    client = signed_in(house.registrar)
    line, giving = house.line(census, name), house.line(census, "wrasse q")
    page = client.get(reverse("census_line", args=[line.sheet.number, line.number])).text
    link = re.search(r'href="([^"]*how=late_move[^"]*)"', page)
    assert link is not None
    address, _, query = unescape(link[1]).partition("#")[0].partition("?")
    assert address == reverse("census_line", args=[giving.sheet.number, giving.number])
    filled = dict(parse_qsl(query))
    assert filled["to_line"] == str(house.line(census, "wrasse"))
    client.post(f"{address}", {**filled, "happened": "2026-09-21"})
    decided = Decision.objects.order_by("id")
    assert [(one.line, one.n, one.reason) for one in decided] == [
        (giving, -6, "late move"),
        (house.line(census, "wrasse"), 6, "late move"),
    ]


@pytest.mark.parametrize("role", ["inspector", "permit_officer"])
def test_who_reads_everything_reads_a_sheet_without_boxes(
    house: TestHouse, signed_in: SignIn, role: str
) -> None:
    census = house.opened_and_issued("K1")
    sheet = census.sheets.get()
    address = reverse("sheet", args=[sheet.number])
    client = signed_in(factories.make_person(roles=[role]))
    page = client.get(address).text
    assert "Gobius niger" in page
    assert 'name="value_' not in page
    assert "Save" not in page
    sent = {"counter": house.first.pk, "counted_at": "2026-09-29T10:00", "value_1": "3", "hand_in": "1"}
    assert client.post(address, sent).status_code == 403
    assert not Count.objects.exists()


def test_class_a_on_the_first_count_alone_is_flagged(house: TestHouse, signed_in: SignIn) -> None:
    census = house.compared({})
    page = signed_in(house.curator).get(reverse("census_sign", args=[census.code])).content.decode()
    told = page[page.index("Class A with one counter only:") :]
    assert '<i class="name">Conger conger</i></a> in K1 (<strong>nobody said why</strong>)' in told
    house.count(census, {"conger": 2}, round=2)
    page = signed_in(house.curator).get(reverse("census_sign", args=[census.code])).content.decode()
    assert "Class A with one counter only: none" in page


@pytest.mark.parametrize("name", ["census", "differences", "census_sign", "census_line", "sheet"])
def test_pages_ask_as_many_queries_for_many_lines_as_for_few(
    house: TestHouse,
    signed_in: SignIn,
    name: str,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    census = house.compared({"goby": 6})
    line = house.line(census, "goby")
    address = {
        "sheet": reverse("sheet", args=[line.sheet.number]),
        "census_line": reverse("census_line", args=[line.sheet.number, line.number]),
    }.get(name) or reverse(name, args=[census.code])
    client = signed_in(house.registrar)
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    house.add_many_lines(census)
    with django_assert_num_queries(len(few)):
        client.get(address)
