"""Who may do what is asked in the actions, whichever door they come through."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.opening import open_census
from census.rounds.actions.planning import open_census_of
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import accept, hand_in, issue, replace_sheet
from census.rounds.actions.signing import abandon, propose, reopen, send_back, sign
from census.rounds.models import Census, Count, Sheet
from census.rounds.queries.blind import blind_sheet
from census.rounds.rules.who import is_volunteer
from census.rounds.rules.words import CensusState, SheetState
from inventory.book.actions.settings import change_number
from inventory.book.models import Period
from inventory.people.models import Person
from inventory.people.rules.roles import Role, not_allowed
from tests import factories

from .house import COUNTED, NOW, WITHOUT, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db


def steps(house: TestHouse, census: Census, by: Person) -> dict[str, Callable[[], object]]:
    """Every step of the registrar and the curator, ready to be taken by ``by``."""
    sheet = house.line(census, "goby").sheet
    line = house.line(census, "goby")
    return {
        "open": lambda: open_census(
            period=factories.make_period("2026 Q4", "2026-10-01", "2026-12-31"),
            places=[house.places["K1"]],
            by=by,
            now=NOW,
            zone=ZONE,
        ),
        "issue": lambda: issue(sheet=sheet, by=by, now=NOW),
        "accept": lambda: accept(sheet=sheet, by=by, now=NOW),
        "replace": lambda: replace_sheet(sheet=sheet, state=SheetState.VOID, by=by, now=NOW, note="wet"),
        "recount": lambda: ask_recount(lines=[line], of=house.second, by=by, now=NOW),
        "compare": lambda: compare_counts(census=census, by=by, now=NOW),
        "propose": lambda: propose(census=census, by=by, now=NOW),
        "send back": lambda: send_back(census=census, by=by, now=NOW, note="again"),
        "reopen": lambda: reopen(census=census, by=by, now=NOW, note="again"),
        "abandon": lambda: abandon(census=census, by=by, now=NOW, note="storm"),
    }


@pytest.mark.parametrize(
    "role", ["counter", "aquarist", "typist", "permit_officer", "inspector", "administrator"]
)
def test_only_those_who_decide_take_the_steps_of_a_census(house: TestHouse, role: str) -> None:
    census = house.compared({})
    by = factories.make_person(roles=[role])
    for name, step in steps(house, census, by).items():
        with pytest.raises(CensusRefused, match=r"is for the role|curator reopens"):
            step()
        assert name


def test_the_registrar_does_not_send_back_or_reopen(house: TestHouse) -> None:
    census = house.compared({})
    mine = steps(house, census, house.registrar)
    for name in ("send back", "reopen"):
        with pytest.raises(CensusRefused, match="curator"):
            mine[name]()


@pytest.mark.parametrize("role", ["inspector", "permit_officer", "administrator"])
def test_who_does_not_count_types_nothing_and_hands_nothing_in(house: TestHouse, role: str) -> None:
    census = house.opened_and_issued("K1")
    by = factories.make_person(roles=[role])
    sheet = census.sheets.get()
    entry = Entry(line=3, counted_at=COUNTED, counter=house.first, value=10)
    with pytest.raises(CensusRefused, match="may not type counts"):
        take_counts(sheet=sheet, entries=[entry], by=by, now=NOW)
    with pytest.raises(CensusRefused, match="may not hand in"):
        hand_in(sheet=sheet, by=by, now=NOW)
    assert not Count.objects.exists()


def test_the_permit_officer_types_the_letter_of_a_borrower(house: TestHouse) -> None:
    census = house.opened_and_issued("LO")
    sheet = census.sheets.get()
    entry = Entry(line=1, counted_at=COUNTED, party="Sea hall", value=1)
    assert take_counts(sheet=sheet, entries=[entry], by=house.officer, now=NOW).new == 1
    assert hand_in(sheet=sheet, by=house.officer, now=NOW).state == SheetState.HANDED_IN


def test_a_trained_volunteer_counts_classes_b_and_c_with_an_aquarist(house: TestHouse) -> None:
    volunteer = factories.make_person("Vala", roles=["counter"])
    census = house.opened_and_issued("K1")
    sheet, goby, conger = census.sheets.get(), house.line(census, "goby"), house.line(census, "conger")

    def count(line: int, value: int) -> None:
        entry = Entry(line=line, counted_at=COUNTED, counter=volunteer, value=value)
        take_counts(sheet=sheet, entries=[entry], by=volunteer, now=COUNTED)

    count(goby.number, 11)
    with pytest.raises(CensusRefused, match="trained volunteer, who counts classes B and C"):
        count(conger.number, 2)
    sheet.counters.set([volunteer])
    with pytest.raises(CensusRefused, match="names no aquarist"):
        count(goby.number, 12)
    assert Count.objects.get().value == 11


def test_an_aquarist_who_is_also_a_counter_is_no_volunteer() -> None:
    assert is_volunteer({Role.COUNTER})
    assert is_volunteer({Role.COUNTER, Role.TYPIST})
    assert not is_volunteer({Role.COUNTER, Role.AQUARIST})
    assert not is_volunteer({Role.AQUARIST})
    assert not_allowed("Vala", {Role.COUNTER}, [Role.CURATOR], "sign") == (
        "Vala may not sign: it is for the role curator"
    )


def test_class_a_has_a_second_counter_at_the_same_moment_who_needs_no_asking(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    sheet, line = census.sheets.get(), house.line(census, "conger")
    sheet.counters.add(house.second)

    def count(counter: Person, round_: int, value: int, number: int = line.number) -> None:
        entry = Entry(line=number, counted_at=COUNTED, counter=counter, value=value)
        take_counts(sheet=sheet, entries=[entry], by=counter, now=COUNTED, round=round_)

    with pytest.raises(CensusRefused, match="no count 2 was asked for"):
        count(house.second, 2, 2)
    count(house.first, 1, 2)
    assert house.row(census, "conger").one_counter_only
    with pytest.raises(CensusRefused, match="another person"):
        count(house.first, 2, 2)
    with pytest.raises(CensusRefused, match="no count 2 was asked for"):
        count(factories.make_person(roles=["aquarist"]), 2, 2)
    with pytest.raises(CensusRefused, match="no count 2 was asked for"):
        count(house.second, 2, 11, house.line(census, "goby").number)
    count(house.second, 2, 2)
    row = house.row(census, "conger")
    assert row.confirmed
    assert not row.one_counter_only


def test_the_second_counter_gets_the_class_a_lines_and_nothing_of_the_first(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    sheet, line = census.sheets.get(), house.line(census, "conger")
    sheet.counters.add(house.second)
    entry = Entry(line=line.number, counted_at=COUNTED, counter=house.first, value=2)
    take_counts(sheet=sheet, entries=[entry], by=house.first, now=COUNTED)
    seconds = blind_sheet(sheet, round=2, person=house.second)
    assert [one.number for one in seconds.lines] == [line.number]
    assert [one.mine for one in seconds.lines] == [None]
    assert blind_sheet(sheet, round=2, person=house.first).lines == ()
    assert blind_sheet(sheet, round=2, person=None).lines == ()


def test_a_census_page_makes_the_period_that_is_not_there_yet(house: TestHouse, client: Client) -> None:
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    answer = client.post(
        reverse("census_list"), {"period": "2026 q4", "places": [house.places["K2"].pk]}, follow=True
    )
    assert "CS-26Q4 is open" in answer.content.decode()
    assert Period.objects.get(code="2026 Q4").ends_on.isoformat() == "2026-12-31"
    wrong = client.post(reverse("census_list"), {"period": "soon", "places": [house.places["K2"].pk]})
    assert "is no period; expected a quarter" in wrong.content.decode()


def test_a_census_that_is_refused_makes_no_period(house: TestHouse) -> None:
    with pytest.raises(CensusRefused, match="Name at least one place"):
        open_census_of(period="2027 Q1", places=[], by=house.registrar, now=NOW, zone=ZONE)
    assert not Period.objects.filter(code="2027 Q1").exists()


def test_a_changed_number_changes_what_the_rules_say_and_a_signed_census_keeps_its_own(
    house: TestHouse,
) -> None:
    census = house.compared({"shoal": 385})
    assert house.row(census, "shoal").latest.inside  # type: ignore[union-attr]
    sign(census=census, by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    later = at("2026-10-07T09:00")
    change_number(name="tolerance_c_percent", value=5, by=house.registrar, now=later)
    census.refresh_from_db()
    assert census.state == CensusState.CLOSED
    assert house.row(census, "shoal").latest.inside  # type: ignore[union-attr]
    reopen(census=census, by=house.curator, now=later, note="look again")
    census.refresh_from_db()
    assert not house.row(census, "shoal").latest.inside  # type: ignore[union-attr]


def test_a_registrar_changes_a_number_on_its_page_and_an_inspector_reads_it(
    house: TestHouse, client: Client
) -> None:
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    told = {"name": "recount_within_hours", "value": 48, "why": "small house"}
    page = client.post(reverse("numbers"), told, follow=True).content.decode()
    assert "recount_within_hours is 48 from now on." in page
    assert "small house" in page
    inspector = factories.make_person(roles=["inspector"]).user
    assert inspector is not None
    client.force_login(inspector)
    assert client.get(reverse("numbers")).status_code == 200
    assert client.post(reverse("numbers"), told).status_code == 403
    assert house.first.user is not None
    client.force_login(house.first.user)
    assert client.get(reverse("numbers")).status_code == 403


def test_a_lost_sheet_is_replaced_by_the_registrar_only(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    sheet = Sheet.objects.get(census=census)
    new = replace_sheet(sheet=sheet, state=SheetState.LOST, by=house.registrar, now=NOW, note="in the pool")
    assert new.number == f"{sheet.number}B"
