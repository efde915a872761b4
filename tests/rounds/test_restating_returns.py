"""Late entries that touch a return already sent: they ask to restate whatever their number."""

from datetime import date, datetime

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.restating import approve_restatement, ask_restatement
from census.rounds.actions.signing import sign
from census.rounds.actions.telling import see
from census.rounds.models import Notice
from census.rounds.queries.late import LatePeriod, late_in, late_periods
from census.rounds.queries.settings import settings_in_use
from inventory.book.models import Event
from inventory.permits.models import Authority, Permit, PermitReturn, ReturnSending
from tests import factories

from .house import NOW, WITHOUT, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db
LATER = at("2026-10-20T09:00")
LATEST = at("2026-10-21T09:00")


def made_return(
    house: TestHouse, *, version: int = 1, amends: PermitReturn | None = None, frozen: datetime = NOW
) -> PermitReturn:
    authority, _ = Authority.objects.get_or_create(code="AB", name="Agency of the Bay")
    permit, _ = Permit.objects.get_or_create(number="P7", defaults={"authority": authority, "holder": "T"})
    return PermitReturn.objects.create(
        permit=permit,
        serial=1,
        version=version,
        amends=amends,
        starts_on=date(2026, 7, 1),
        ends_on=date(2026, 9, 30),
        as_of=date(2026, 9, 30),
        columns=[],
        head=[],
        fingerprint="0" * 64,
        frozen_at=frozen,
        frozen_by=house.officer,
        recorded_at=frozen,
    )


def sent(house: TestHouse, one: PermitReturn) -> PermitReturn:
    day = one.frozen_at.date()
    ReturnSending.objects.create(
        of_return=one, sent_on=day, how="post", to="Agency", entered_at=NOW, entered_by=house.officer
    )
    return one


def taken(house: TestHouse, n: int = 8) -> None:
    """Bibs that came under the permit and were put to the gobies' lot afterwards: one pool, two sources."""
    factories.make_event(
        "taken", lot=house.lots["bib"], place="K1", unknown=n, happened="2026-07-20", permit_number="P7"
    )


def died(house: TestHouse, name: str, happened: str = "2026-09-20") -> Event:
    return factories.make_event(
        "died", lot=house.lots[name], place="K1", happened=happened, now=LATER, entered_by=house.first
    )


def closed(house: TestHouse) -> None:
    sign(census=house.compared({"bib": 30}), by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)


def late(house: TestHouse) -> LatePeriod:
    found = late_in(house.period, settings=settings_in_use(), zone=ZONE)
    assert found is not None
    return found


def test_one_late_death_of_a_permits_animals_asks_once_its_return_was_sent(house: TestHouse) -> None:
    taken(house)
    closed(house)
    death = died(house, "bib")
    made = made_return(house)
    assert not late(house).asks_to_restate  # frozen, and still on the desk
    sent(house, made)
    found = late(house)
    assert (found.asks, [one.sent for one in found.touched]) == ([], [made])
    assert found.touched[0].events == (death,)
    assert found.asks_to_restate
    assert found.why == f"it touches P7 return 1 version 1, sent on {made.frozen_at.date()}"


def test_other_animals_other_days_and_what_the_return_knew_do_not_touch_it(house: TestHouse) -> None:
    taken(house)
    closed(house)
    sent(house, made_return(house))
    died(house, "goby")
    assert not late(house).touched
    died(house, "bib", happened="2026-10-02")  # after the day up to which it tells
    assert not late(house).touched
    died(house, "bib")
    assert late(house).touched
    amended = made_return(house, version=2, amends=PermitReturn.objects.get(), frozen=LATEST)
    sent(house, amended)  # made when the death was known
    assert not late(house).touched


def test_animals_put_to_another_lot_take_their_permit_along(house: TestHouse) -> None:
    taken(house)
    factories.make_event(
        "regrouped",
        lot=house.lots["bib"],
        place="K1",
        unknown=8,
        to_lot=house.lots["cod"],
        happened="2026-08-01",
        reason="wrong name",
    )
    sign(census=house.compared({"cod": 23}), by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    sent(house, made_return(house))
    died(house, "cod")
    assert [one.sent.permit.number for one in late(house).touched] == ["P7"]


def test_the_permit_officer_is_told_and_has_to_have_seen_it(house: TestHouse, client: Client) -> None:
    taken(house)
    closed(house)
    sent(house, made_return(house))
    died(house, "bib")
    assert house.officer.user
    client.force_login(house.officer.user)
    today = client.get("/").content.decode()
    assert "Returns already sent that late entries touch" in today
    assert "P7 return 1 version 1" in today
    page = client.get(reverse("period", args=[house.period.code])).content.decode()
    assert "A return already sent is touched: P7 return 1 version 1" in page
    asked = ask_restatement(period=house.period, why="slip", by=house.registrar, now=LATER, zone=ZONE)
    notice = Notice.objects.get()
    assert (notice.role, "P7 return 1 version 1" in notice.words) == ("permit_officer", True)
    with pytest.raises(CensusRefused, match="the permit officer has to say first"):
        approve_restatement(restatement=asked, by=house.curator, now=LATER, zone=ZONE)
    see(notice=notice, by=house.officer, now=LATER)
    approve_restatement(restatement=asked, by=house.curator, now=LATEST, zone=ZONE)
    asked.refresh_from_db()
    assert asked.approved_by == house.curator


def test_a_return_that_is_touched_only_after_asking_is_asked_for_again(house: TestHouse) -> None:
    taken(house)
    closed(house)
    for _ in range(5):
        died(house, "bib")
    asked = ask_restatement(period=house.period, why="slips", by=house.registrar, now=LATER, zone=ZONE)
    sent(house, made_return(house))
    with pytest.raises(CensusRefused, match="ask again"):
        approve_restatement(restatement=asked, by=house.curator, now=LATER, zone=ZONE)
    again = ask_restatement(period=house.period, why="", by=house.registrar, now=LATEST, zone=ZONE)
    assert again == asked
    see(notice=Notice.objects.get(), by=house.officer, now=LATEST)
    approve_restatement(restatement=asked, by=house.curator, now=LATEST, zone=ZONE)


def test_sent_returns_cost_two_queries_more_however_many(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    taken(house)
    closed(house)
    died(house, "bib")
    settings = settings_in_use()
    with django_assert_num_queries(7):
        late_periods(settings=settings, zone=ZONE)
    first = sent(house, made_return(house))
    with django_assert_num_queries(9):
        late_periods(settings=settings, zone=ZONE)
    sent(house, made_return(house, version=2, amends=first))
    died(house, "goby")
    with django_assert_num_queries(9):
        late_periods(settings=settings, zone=ZONE)
