"""Recording from the browser: one form is one event, and what was refused stands beside its field."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.utils.timezone import get_current_timezone

from inventory.book.actions.close import close_period
from inventory.book.models import Cell, Event, Lot
from inventory.people.rules.roles import Role

from .. import factories
from .conftest import SmallHouse

AsRole = Callable[[Role], Client]


@pytest.fixture(autouse=True)
def _at_the_tests_moment(frozen_clock: object) -> None:
    """The form fills in today, and the ledger refuses the future."""


def filled(**said: Any) -> dict[str, Any]:
    return {"identifier": str(uuid4()), "place": "E02", "day": "2026-10-06", "time": "08:40", **said}


def test_a_death_is_recorded_as_it_was_stated(small_house: SmallHouse, as_role: AsRole) -> None:
    sent = filled(females=1, cause="jumped or drained", note="in the overflow")
    page = as_role(Role.AQUARIST).post("/record/died/A1", sent, follow=True)
    event = Event.objects.latest("id")
    assert f"Recorded as event {event.pk}" in page.text
    assert (event.kind, event.happened, event.cause) == ("died", "2026-10-06T08:40", "jumped or drained")
    assert (event.entered_by.name, str(event.identifier)) == ("The aquarist", sent["identifier"])
    small_house.wrasses.refresh_from_db()
    assert small_house.wrasses.held == 4


def test_the_same_form_sent_twice_is_one_event(small_house: SmallHouse, as_role: AsRole) -> None:
    client, sent = as_role(Role.AQUARIST), filled(females=1, cause="not known")
    before = Event.objects.count()
    client.post("/record/died/A1", sent)
    page = client.post("/record/died/A1", sent, follow=True)
    assert Event.objects.count() == before + 1
    assert "This was sent before; it stands once" in page.text


@pytest.mark.parametrize(
    ("day", "time", "happened"),
    [
        ("2026-09-27", "09:00", "2026-09-27"),
        ("2026-09-27", "15:30", "2026-09-27T15:30"),
        ("2026-10-06", "09:00", "2026-10-06T09:00"),
        ("2026-10-06", "", "2026-10-06"),
    ],
)
def test_the_hour_that_was_offered_is_not_the_hour_of_an_earlier_day(
    small_house: SmallHouse, as_role: AsRole, day: str, time: str, happened: str
) -> None:
    client = as_role(Role.AQUARIST)
    offered = client.get("/record/died/A1")
    assert 'name="initial-time" value="09:00:00"' in offered.text
    sent = filled(females=1, cause="not known", day=day, time=time) | {"initial-time": "09:00:00"}
    client.post("/record/died/A1", sent)
    assert Event.objects.latest("id").happened == happened


def test_who_enters_into_a_closed_period_is_told(small_house: SmallHouse, as_role: AsRole) -> None:
    client = as_role(Role.REGISTRAR)
    quarter = factories.make_period("2026 Q2", "2026-04-01", "2026-06-30")
    signed = factories.NOW - timedelta(days=80)
    close_period(quarter, closed_at=signed, signed_by=small_house.registrar, zone=get_current_timezone())
    page = client.post("/record/died/A1", filled(females=1, cause="not known", day="2026-06-28"), follow=True)
    assert "in a period that is closed" in page.text
    page = client.post("/record/died/A1", filled(females=1, cause="not known"), follow=True)
    assert "in a period that is closed" not in page.text


def test_every_fresh_form_has_an_identifier_of_its_own(small_house: SmallHouse, as_role: AsRole) -> None:
    client = as_role(Role.AQUARIST)
    made = {client.get("/record/died/A1").context["form"]["identifier"].value() for _ in range(2)}
    assert len(made) == 2


def test_a_form_sent_back_with_a_problem_keeps_its_identifier(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    sent = filled()
    page = as_role(Role.AQUARIST).post("/record/died/A1", sent)
    assert sent["identifier"] in page.text


@pytest.mark.parametrize(
    ("kind", "accession", "sent", "field", "said"),
    [
        ("died", "A1", {}, "unknown", "Say how many."),
        ("died", "A1", {"females": -1}, "females", "greater than or equal to 0"),
        ("died", "A1", {"females": 1, "day": "2026-10-07"}, "day", "lies in the future"),
        ("died", "A1", {"females": 1, "place": "E99"}, "place", "E99 is not one of the available choices"),
        ("moved", "A1", {"females": 1}, "to_place", "This field is required"),
        ("moved", "A1", {"females": 1, "to_place": "E02"}, "to_place", "where they are already"),
        ("moved", "A1", {"females": 1, "place": "Q1", "to_place": "E02"}, "place", "Q1"),
    ],
)
def test_what_is_refused_is_said_beside_its_field(
    small_house: SmallHouse,
    as_role: AsRole,
    kind: str,
    accession: str,
    sent: dict[str, Any],
    field: str,
    said: str,
) -> None:
    before = Event.objects.count()
    page = as_role(Role.AQUARIST).post(f"/record/{kind}/{accession}", filled(**sent))
    assert said in " ".join(page.context["form"].errors[field])
    assert "Nothing was saved yet" in page.text
    assert Event.objects.count() == before


def test_an_individual_cannot_die_twice(small_house: SmallHouse, as_role: AsRole) -> None:
    client = as_role(Role.AQUARIST)
    client.post("/record/died/A2", filled())
    assert Lot.objects.get(accession="A2").held == 0
    page = client.post("/record/died/A2", filled(time="08:50"))
    assert page.status_code == 200
    assert page.context["form"].errors
    assert Lot.objects.get(accession="A2").held == 0


def test_a_form_for_an_individual_asks_for_no_number_and_keeps_its_sex(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    client = as_role(Role.AQUARIST)
    assert "How many" not in client.get("/record/moved/A2").text
    assert "unknown" not in client.get("/record/moved/A2").context["form"].fields
    client.post("/record/moved/A2", filled(to_place="Q1"))
    assert "0.1.0" in client.get("/place/Q1").text


def test_missing_animals_stay_in_the_book_and_are_seen_again(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    client = as_role(Role.AQUARIST)
    client.post("/record/missing/A2", filled())
    assert "1 missing" in client.get("/places").text
    assert Lot.objects.get(accession="A2").held == 1
    client.post("/record/seen_again/A2", filled(time="08:55"))
    assert "missing</strong>" not in client.get("/places").text


def test_what_was_really_done_is_never_blocked_for_a_group(small_house: SmallHouse, as_role: AsRole) -> None:
    client = as_role(Role.AQUARIST)
    page = client.post("/record/died/A1", filled(unknown=9, cause="not known"), follow=True)
    assert "Recorded as event" in page.text
    assert "below zero" in page.text


def test_what_needs_papers_is_the_registrars(small_house: SmallHouse, as_role: AsRole) -> None:
    sent = filled(females=2, party="Hestrevik Sea Centre", permit_number="P9")
    response = as_role(Role.AQUARIST).post("/record/sent/A1", sent)
    assert response.status_code == 403
    assert "registrar" in response.text
    assert "/record/sent/" not in as_role(Role.AQUARIST).get("/lot/A1").text
    client = as_role(Role.REGISTRAR)
    assert "/record/sent/A1" in client.get("/lot/A1").text
    client.post("/record/sent/A1", sent)
    event = Event.objects.latest("id")
    assert (event.kind, event.party, event.permit_number) == ("sent", "Hestrevik Sea Centre", "P9")


@pytest.mark.parametrize("role", [Role.INSPECTOR, Role.COUNTER, Role.ADMINISTRATOR])
def test_who_only_reads_records_nothing(small_house: SmallHouse, as_role: AsRole, role: Role) -> None:
    client, before = as_role(role), Event.objects.count()
    assert "/record/" not in client.get("/lot/A1").text
    for url in ("/record/died/A1", f"/event/{small_house.death.pk}/take-back"):
        assert client.get(url).status_code == 403
        assert client.post(url, filled(females=1)).status_code == 403
    assert client.post("/late-entries", {"flag": 1}).status_code == 403
    assert Event.objects.count() == before


def test_the_registrar_takes_back_with_a_reason_and_a_second_name(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    client, url = as_role(Role.REGISTRAR), f"/event/{small_house.death.pk}/take-back"
    # Entered by the same registrar, long ago: then somebody else must agree.
    with time_machine.travel(factories.NOW.replace(hour=10), tick=False):
        page = client.post(url, {"identifier": str(uuid4()), "reason": "wrong lot"})
        assert page.context["form"].errors["approved_by"]
        assert "The registrar" not in dict(page.context["form"].fields["approved_by"].choices)
        sent = {"identifier": str(uuid4()), "reason": "wrong lot", "approved_by": "The curator"}
        page = client.post(url, sent, follow=True)
        assert "This event was taken back by" in page.text
        assert "it stands once" in client.post(url, sent, follow=True).text
    reversal = Event.objects.get(reverses=small_house.death)
    assert (reversal.reason, reversal.approved_by and reversal.approved_by.name) == (
        "wrong lot",
        "The curator",
    )
    assert Lot.objects.get(accession="A1").held == 6


def test_an_event_is_taken_back_once(small_house: SmallHouse, as_role: AsRole) -> None:
    factories.make_reversal(small_house.death)
    sent = {"identifier": str(uuid4()), "reason": "wrong lot", "approved_by": "The curator"}
    page = as_role(Role.REGISTRAR).post(f"/event/{small_house.death.pk}/take-back", sent)
    assert "taken back already" in page.text
    assert Event.objects.filter(reverses=small_house.death).count() == 1


def test_an_aquarist_takes_back_an_own_slip_for_ten_minutes(small_house: SmallHouse, as_role: AsRole) -> None:
    client = as_role(Role.AQUARIST)
    client.post("/record/died/A1", filled(females=1, cause="not known"))
    slip = Event.objects.latest("id")
    url, sent = f"/event/{slip.pk}/take-back", {"identifier": str(uuid4()), "reason": "it moved"}
    with time_machine.travel(factories.NOW.replace(minute=11), tick=False):
        refused = client.post(url, sent)
        assert refused.status_code == 403
        assert "within the last ten minutes" in refused.text
    with time_machine.travel(factories.NOW.replace(minute=9), tick=False):
        client.post(url, sent)
    assert Event.objects.get(reverses=slip).entered_by.name == "The aquarist"
    assert client.get(f"/event/{small_house.death.pk}/take-back").status_code == 403


def test_a_form_from_another_site_is_refused(small_house: SmallHouse) -> None:
    client = Client(enforce_csrf_checks=True)
    user = small_house.people[Role.AQUARIST].user
    assert user is not None
    client.force_login(user)
    response = client.post("/record/died/A1", filled(females=1))
    assert response.status_code == 403
    assert "Nothing was saved" in response.text


def test_a_loan_is_lent_and_comes_back_by_the_page(small_house: SmallHouse, as_role: AsRole) -> None:
    registrar = as_role(Role.REGISTRAR)
    borrower = factories.make_place("L1", kind="off_site")
    registrar.post("/record/loan_out/A1", filled(females=2, to_place="L1", day="2026-10-05"))
    registrar.post("/record/back_from_loan/A1", filled(females=1, place="L1", to_place="E02"))
    kinds = list(Event.objects.order_by("-id").values_list("kind", flat=True)[:2])
    assert kinds == ["back_from_loan", "loan_out"]
    lent = Cell.objects.filter(account__place=borrower, balance__gt=0)
    assert list(lent.values_list("sex", "balance")) == [("female", 1)]
