"""The pages of permits: who may open them, what they say, what they do with what is typed wrongly."""

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from inventory.book import blind
from inventory.book.models import Event, Lot
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.permits.actions.loans import LoanFacts, enter_loan
from inventory.permits.attention import items
from inventory.permits.models import Case, LineLink, Loan, Permit, PermitDocument, PermitVersion, Take, Trip
from inventory.permits.rules.checks import without_position

from .. import factories
from .house import NUMBER, PermitHouse, a_take

AsRole = Callable[[Role], Client]
pytestmark = pytest.mark.usefixtures("frozen_clock")


def _slip(**stated: Any) -> dict[str, Any]:
    """What the form of a slip sends: one row filled, one empty."""
    row = {"take-0-name": "two-spotted goby", "take-0-caught": 3, "take-0-kept": 2, "take-0-died": 1}
    head = {"identifier": uuid4(), "day": "2026-09-01", "people": ["The skipper"], "gear": "hand net"}
    rows = {"take-TOTAL_FORMS": 2, "take-INITIAL_FORMS": 0, "take-0-place": "Q2"}
    return {**head, **row, **rows, "take-0-identifier": uuid4()} | stated


def test_every_page_opens_for_who_keeps_permits(house: PermitHouse, as_role: AsRole) -> None:
    recorded = house.record(a_take("two-spotted goby", 2), a_take("Asterias rubens", 1))
    loan = enter_loan(
        facts=LoanFacts("L1", "in", "A Sea Hall", date(2026, 1, 1)), by=house.officer, now=house.now
    )
    take, case, pk = recorded.takes[0], recorded.cases[0], house.permit.pk
    trip = f"/trip/{recorded.trip.identifier}"
    client = as_role(Role.PERMIT_OFFICER)
    for url in (
        *("/permits", "/permits/new", "/permits/cases", f"/permits/case/{case.pk}", f"/permit/{pk}"),
        *(f"/permit/{pk}/amend", f"/permit/{pk}/line/1", f"/permit/{pk}/trip", trip, f"{trip}/correct"),
        *(f"/take/{take.pk}/correct", f"/take/{take.pk}/move", "/loans", "/loans/new", f"/loan/{loan.pk}"),
    ):
        assert client.get(url).status_code == 200, url


@pytest.mark.parametrize(
    ("role", "url", "status"),
    [
        (Role.COUNTER, "/permits", 200),
        (Role.COUNTER, "/permit/{pk}", 200),
        (Role.COUNTER, "/permit/{pk}/trip", 403),
        (Role.COUNTER, "/permits/cases", 403),
        (Role.AQUARIST, "/permit/{pk}/trip", 200),
        (Role.AQUARIST, "/permit/{pk}/amend", 403),
        (Role.AQUARIST, "/permits/cases", 403),
        (Role.INSPECTOR, "/permits/cases", 200),
        (Role.INSPECTOR, "/permits/new", 403),
        (Role.INSPECTOR, "/loans/new", 403),
        (Role.REGISTRAR, "/permits/new", 200),
    ],
)
def test_who_may_open_what(house: PermitHouse, as_role: AsRole, role: Role, url: str, status: int) -> None:
    assert as_role(role).get(url.format(pk=house.permit.pk)).status_code == status


def test_a_permit_tells_what_is_used_and_what_is_left(house: PermitHouse, as_role: AsRole) -> None:
    house.record(a_take("two-spotted goby", 9, died=2))
    page = as_role(Role.INSPECTOR).get(f"/permit/{house.permit.pk}").text
    assert "Two-spotted goby (Gobiusculus flavescens)" in page
    assert "over by 1" in page
    assert 'aria-label="9 kept, 2 died; limit 10"' in page
    before = as_role(Role.INSPECTOR).get(f"/permit/{house.permit.pk}?as_of=2026-08-31").text
    assert "over by 1" not in before.partition("<h2>Cases</h2>")[0]


def test_a_slip_is_taken_in_at_the_desk_with_its_stock(house: PermitHouse, as_role: AsRole) -> None:
    client = as_role(Role.AQUARIST)
    slip = _slip()
    answer = client.post(f"/permit/{house.permit.pk}/trip", slip, follow=True)
    trip = Trip.objects.get()
    assert answer.redirect_chain[-1][0] == f"/trip/{trip.identifier}"
    assert Lot.objects.get().held == 2
    assert Event.objects.get().permit_number == NUMBER
    again = client.post(f"/permit/{house.permit.pk}/trip", slip, follow=True)
    assert "This slip was sent before; it stands once." in again.text
    assert Trip.objects.count() == 1


def test_what_a_slip_breaks_is_said_at_once_and_recorded(house: PermitHouse, as_role: AsRole) -> None:
    answer = as_role(Role.AQUARIST).post(
        f"/permit/{house.permit.pk}/trip", _slip(day="2026-10-03"), follow=True
    )
    assert "Permit not valid that day: 2026-10-03 is 3 days after TEST 1 expired on 2026-09-30" in answer.text
    assert "The permit officer looks into it" in answer.text
    assert Take.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"latitude": "160.5", "longitude": "-4.5"}, "Is it the longitude? The two may be swapped."),
        ({"latitude": "60.5"}, "Give both latitude and longitude, or neither."),
        ({"until": "2026-08-30"}, "The last day lies before the first."),
        ({"take-0-caught": 9}, "9 caught, but 0 let go, 1 died and 2 kept are 3"),
        ({"take-0-place": ""}, "2 were kept; say which place they went to."),
        ({"take-0-lot": "G77"}, "There is no lot &#x27;G77&#x27;"),
        ({"take-0-name": ""}, "This field is required."),
        ({"day": "2026-12-24"}, "2026-12-24 lies in the future."),
    ],
)
def test_what_cannot_be_is_sent_back_with_all_that_was_typed(
    house: PermitHouse, as_role: AsRole, wrong: dict[str, Any], words: str
) -> None:
    answer = as_role(Role.AQUARIST).post(
        f"/permit/{house.permit.pk}/trip", _slip(**wrong, **{"take-0-remarks": "kept in the pink bucket"})
    )
    assert answer.status_code == 200
    assert words in answer.text
    assert 'value="kept in the pink bucket"' in answer.text
    assert not Trip.objects.exists()
    assert not Event.objects.exists()


def test_a_slip_without_rows_is_asked_for_them(house: PermitHouse, as_role: AsRole) -> None:
    empty = {"take-0-name": "", "take-0-caught": "", "take-0-kept": "", "take-0-died": "", "take-0-place": ""}
    answer = as_role(Role.AQUARIST).post(f"/permit/{house.permit.pk}/trip", _slip(**empty))
    assert "Nothing stands in the rows." in answer.text
    assert not Trip.objects.exists()


def test_a_take_is_corrected_and_moved_on_pages(house: PermitHouse, as_role: AsRole) -> None:
    (take,) = house.record(a_take("two-spotted goby", 3), happened="2026-10-02").takes
    client = as_role(Role.PERMIT_OFFICER)
    form = client.get(f"/take/{take.pk}/correct").context["form"]
    sent = {name: form[name].value() for name in form.fields if form[name].value() not in (None, "", False)}
    sent |= {"caught": 3, "let_go": 1, "kept": 2, "why": "one was let go"}
    answer = client.post(f"/take/{take.pk}/correct", sent, follow=True)
    assert "one was let go" in answer.text
    assert Lot.objects.get().held == 2
    second = _second_permit(client)
    newest = Take.objects.get(replaced_by=None)
    client.post(f"/take/{newest.pk}/move", {"to": second.pk, "why": "valid on the day"})
    assert Take.objects.get(replaced_by=None).permit == second
    assert not Case.objects.filter(closed_at=None, kind="expired").exists()
    refused = client.post(f"/take/{take.pk}/correct", sent)
    assert "It was corrected already; correct the row that stands." in refused.text


def _second_permit(client: Client) -> Permit:
    rows = {
        "line-TOTAL_FORMS": 2,
        "line-INITIAL_FORMS": 0,
        "line-0-words": "Gobies, any",
        "line-0-covers": "group",
        "line-0-names": "Pomatoschistus flavescens | genus Gobius",
        "line-0-limit": 30,
        "line-0-per": "permit",
        "line-0-unit": "animal",
        "line-1-unit": "animal",
        "line-1-covers": "taxon",
        "line-1-per": "permit",
    }
    head = {
        **{"number": "TEST 2", "authority": "BOARD", "holder": "Us", "kind": "collecting"},
        **{"valid_from": "2026-10-01", "valid_until": "2027-09-30", "area": "-5 60|-4 60|-4 61|-5 61"},
    }
    answer = client.post("/permits/new", head | rows, follow=True)
    assert "TEST 2 is entered." in answer.text
    return Permit.objects.get(number="TEST 2")


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ({"return_days": "60"}, "says 30 days: BOARD is here already"),
        ({"authority_name": "Another Board"}, "called &#x27;The Board&#x27;: BOARD is here already"),
    ],
)
def test_what_a_known_authority_does_not_say_is_not_left_out_in_silence(
    house: PermitHouse, as_role: AsRole, stated: dict[str, str], words: str
) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    head = {
        **{"number": "TEST 3", "authority": "BOARD", "holder": "Us", "kind": "collecting"},
        **{"valid_from": "2026-10-01", "valid_until": "2027-09-30"},
        **{"line-TOTAL_FORMS": 1, "line-INITIAL_FORMS": 0, "line-0-words": "Gobies", "line-0-unit": "animal"},
        **{"line-0-covers": "taxon", "line-0-per": "permit"},
    }
    assert words in client.post("/permits/new", head | stated).text
    assert not Permit.objects.filter(number="TEST 3").exists()
    same = {"return_days": "30", "authority_name": "The Board"}
    assert "TEST 3 is entered." in client.post("/permits/new", head | same, follow=True).text


def test_a_permit_is_entered_amended_and_given_its_paper(house: PermitHouse, as_role: AsRole) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    permit = _second_permit(client)
    page = client.get(f"/permit/{permit.pk}/amend").context
    form, rows = page["form"], page["lines"]
    sent = {name: form[name].value() for name in form.fields if form[name].value() not in (None, "", False)}
    sent |= {"line-TOTAL_FORMS": 6, "line-INITIAL_FORMS": 1}
    for index, row in enumerate(rows.forms):
        for name in row.fields:
            value = row[name].value()
            sent[f"line-{index}-{name}"] = "" if value is None else value
    sent |= {"change": "amendment", "amended_on": "2026-10-05", "line-0-limit": 45}
    answer = client.post(f"/permit/{permit.pk}/amend", sent, follow=True)
    assert "TEST 2 has version 2; those before it stay." in answer.text
    version = PermitVersion.objects.get(permit=permit, number=2)
    assert [(line.number, line.limit) for line in version.lines.all()] == [(1, 45)]
    # The link says what it said before: it is not made again.
    assert LineLink.objects.filter(permit=permit).count() == 1
    paper = SimpleUploadedFile("permit.txt", b"the paper itself")
    answer = client.post(f"/permit/{permit.pk}/paper", {"file": paper}, follow=True)
    assert "permit.txt is kept with version 2." in answer.text
    assert PermitDocument.objects.get().version == version


def test_a_permit_that_cannot_be_keeps_what_was_typed(house: PermitHouse, as_role: AsRole) -> None:
    answer = as_role(Role.PERMIT_OFFICER).post(
        "/permits/new",
        {
            **{"number": NUMBER, "authority": "BOARD", "holder": "Us", "kind": "collecting"},
            **{"valid_from": "2026-10-01", "valid_until": "2027-09-30", "area": "60.41"},
            **{"line-TOTAL_FORMS": 1, "line-INITIAL_FORMS": 0, "line-0-words": ""},
        },
    )
    assert "is no corner" in answer.text
    assert f'value="{NUMBER}"' in answer.text


def test_a_case_gets_its_history_on_its_page(house: PermitHouse, as_role: AsRole) -> None:
    (case,) = house.record(a_take("Asterias rubens", 1)).cases
    client = as_role(Role.PERMIT_OFFICER)
    client.post(f"/permits/case/{case.pk}", {"words": "asked the Board", "owner": house.officer.pk})
    answer = client.post(f"/permits/case/{case.pk}", {"words": "allowed", "close": "on"}, follow=True)
    assert "closed" in answer.text
    case.refresh_from_db()
    assert case.closed_by == house.officer
    as_role(Role.INSPECTOR).post(f"/permits/case/{case.pk}", {"words": "I was here"})
    assert [note.words for note in case.notes.all()][1:] == ["asked the Board", "allowed"]


def test_a_case_is_given_only_to_who_can_write_in_it(house: PermitHouse, as_role: AsRole) -> None:
    (case,) = house.record(a_take("Asterias rubens", 1)).cases
    client = as_role(Role.PERMIT_OFFICER)
    page = client.get(f"/permits/case/{case.pk}").text
    offered = re.findall(r"<option[^>]*>([^<]*)", page.partition('name="owner"')[2].partition("</select>")[0])
    assert set(offered) == {"nobody else", "The permit officer", "The registrar"}
    answer = client.post(f"/permits/case/{case.pk}", {"words": "see to it", "owner": house.aquarist.pk})
    assert "Select a valid choice" in answer.text
    case.refresh_from_db()
    assert case.owner != house.aquarist


def test_a_loan_is_kept_on_its_page(house: PermitHouse, as_role: AsRole) -> None:
    lot = factories.make_lot("S1", owner="A Sea Hall", kind="individual")
    factories.make_event("loan_in", lot=lot, place="E02", females=1, happened="2026-02-03")
    client = as_role(Role.PERMIT_OFFICER)
    agreement = {
        **{"reference": "L1", "direction": "in", "party": "A Sea Hall", "starts_on": "2026-02-03"},
        **{"until": "2026-08-02", "young_from_day": 30, "lender_part": "1/2", "lots": "S1"},
    }
    client.post("/loans/new", agreement)
    loan = Loan.objects.get()
    assert "Overdue: the agreement ended on 2 August 2026." in client.get(f"/loan/{loan.pk}").text
    letter = {
        **{"do": "letter", "letter-letter_of": "2026-08-30", "letter-words": "she died", "letter-lot": "S1"},
        **{"letter-died_on": "2026-08-22", "letter-number": 1, "letter-sex": "unknown"},
    }
    answer = client.post(f"/loan/{loan.pk}", letter, follow=True)
    assert "The letter of 2026-08-30 is kept." in answer.text
    assert Event.objects.get(kind="died").evidence == "L1, letter of 2026-08-30"
    wrong = client.post(f"/loan/{loan.pk}", {"do": "young", "young-lot": "Z", "young-born_on": "2026-09-01"})
    assert "There is no lot Z." in wrong.text
    client.post(f"/loan/{loan.pk}", {"do": "extend", "extend-until": "2027-08-02"})
    assert "Overdue" not in client.get(f"/loan/{loan.pk}").text
    assert as_role(Role.AQUARIST).post(f"/loan/{loan.pk}", letter).status_code == 403
    assert loan.confirmations.count() == 1


def test_what_needs_attention_is_said_to_who_keeps_permits(house: PermitHouse) -> None:
    house.record(a_take("Asterias rubens", 1))
    enter_loan(
        facts=LoanFacts("L1", "in", "A Sea Hall", date(2025, 1, 1), until=date(2025, 12, 31)),
        by=house.officer,
        now=house.now,
    )
    house.taxa["Homarus gammarus"].scientific_name = "Homarus novus"
    house.taxa["Homarus gammarus"].save()
    found = {item.heading: item for item in items(house.officer, now=house.now)}
    assert {heading: item.total for heading, item in found.items()} == {
        # It ended on 30 September, and its return is due 30 days later.
        "Permits that end, returns and statements of stock that are due": 2,
        "Permits: cases to settle": 1,
        "Loans overdue, not confirmed, or ended with animals not yet back": 1,
        "Permit lines whose names are to be looked at": 1,
    }
    with CaptureQueriesContext(connection) as few:
        items(house.officer, now=house.now)
    house.record(a_take("Asterias rubens", 1), happened="2026-09-02")
    with CaptureQueriesContext(connection) as more:
        items(house.officer, now=house.now)
    assert len(more) == len(few)


@pytest.mark.parametrize(
    "url", ["/permits", "/permit/{pk}", "/trip/{trip}", "/loans", "/loan/{loan}", "/permit/{pk}/trip"]
)
def test_who_counts_a_tank_finds_none_of_its_numbers(
    house: PermitHouse, as_role: AsRole, monkeypatch: pytest.MonkeyPatch, url: str
) -> None:
    """7919373 animals were taken into the tank that the aquarist counts now (blind count: GAO-02-447G)."""

    def hides(person: Person) -> set[int]:
        return {house.quarantine.pk} if person == house.aquarist else set()

    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(hides)
    recorded = house.record(a_take("Pleurobrachia pileus", 7919373), a_take("shore crab", 1, place="E02"))
    (lot,) = [take.lot for take in recorded.takes if take.kept == 7919373]
    assert lot
    loan = enter_loan(
        facts=LoanFacts("L1", "in", "x", date(2026, 1, 1), lots=[lot.accession]),
        by=house.officer,
        now=house.now,
    )
    where = url.format(pk=house.permit.pk, trip=recorded.trip.identifier, loan=loan.pk)
    page = as_role(Role.AQUARIST).get(where)
    assert page.status_code == 200
    # Seven digits: four have been part of the trip's identifier by chance.
    told = page.text.replace(",", "")
    assert not [number for number in ("7919373", "7919368", "7919374") if number in told]
    if "trip}" in url or url.endswith("{pk}"):
        assert "7,919,373" in as_role(Role.PERMIT_OFFICER).get(where).text


def test_who_may_not_know_the_place_reads_a_case_without_its_position(
    house: PermitHouse, as_role: AsRole
) -> None:
    (case,) = house.record(a_take("two-spotted goby", 1), latitude=Decimal("62.13")).cases
    urls = ["/permits/cases", f"/permits/case/{case.pk}", f"/trip/{case.trip.identifier}"]
    urls.append(f"/permit/{house.permit.pk}")
    for url in urls:
        whole = as_role(Role.PERMIT_OFFICER).get(url).content.decode()
        coarse = as_role(Role.INSPECTOR).get(url).content.decode()
        assert "62.13" in whole, url
        assert "62.13" not in coarse, url
        assert "(position withheld) lies outside the area" in coarse, url


@given(latitude=st.floats(-90, 90), longitude=st.floats(-180, 180))
def test_no_position_that_a_check_writes_is_left(latitude: float, longitude: float) -> None:
    words = f"latitude {latitude:g}, longitude {longitude:g} lies outside the area of P 1 (inside 3 miles)"
    assert without_position(words) == "(position withheld) lies outside the area of P 1 (inside 3 miles)"
