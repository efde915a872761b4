"""Quarantine and hospital on one list: days in, reason, end; a release is signed, leaving never blocked."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Event, Lot, Place
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.tankside.actions.quarantine import (
    StayRefused,
    expect_end,
    look_at_early,
    release,
    set_least_days,
)
from inventory.tankside.models.quarantine import QuarantineRule, StayWord
from inventory.tankside.queries.quarantine import isolation

from .. import factories

pytestmark = pytest.mark.django_db
NOW = factories.NOW
SOURCE = "quarantine plan of the house"


@pytest.fixture
def vet() -> Person:
    person = factories.make_person("Dr Ylva Brockhollin", roles=[Role.VETERINARIAN])
    factories.make_house(registrar=person)
    return person


@pytest.fixture
def ward(vet: Person) -> Place:
    factories.make_place("E02", name="Kelp Hall")
    factories.make_place("H1", kind="hospital", name="Hospital")
    return factories.make_place("Q1", kind="quarantine", name="Quarantine fish")


def signed_in(person: Person) -> Client:
    client = Client()
    assert person.user is not None
    client.force_login(person.user)
    return client


def arrive(place: Place | str, happened: str, *, lot: Lot | None = None, n: int = 4, name: str = "") -> Lot:
    lot = lot or factories.make_lot(
        taxon=factories.make_taxon(name, class_name="Elasmobranchii" if name else "")
    )
    factories.make_event("received", lot=lot, place=place, unknown=n, happened=happened)
    return lot


def leave(lot: Lot, place: Place, happened: str, n: int = 4, to: str = "E02") -> Event:
    return factories.make_event("moved", lot=lot, place=place, to_place=to, unknown=n, happened=happened)


def least(vet: Person, days: int, group: str = "", since: date = date(2026, 1, 1)) -> QuarantineRule:
    return set_least_days(group=group, min_days=days, since=since, source=SOURCE, by=vet, now=NOW)


def test_the_list_says_days_in_and_the_end_by_the_groups_least_days(vet: Person, ward: Place) -> None:
    least(vet, 30)
    least(vet, 60, "Elasmobranchii")
    fish = arrive(ward, "2026-09-06")
    ray = arrive(ward, "2026-09-06", name="Raja clavata")
    told = {one.lot: one for one in isolation(now=NOW).stays}
    assert (told[fish].days, told[fish].ends) == (30, date(2026, 10, 6))
    assert (told[ray].days, told[ray].ends) == (30, date(2026, 11, 5))
    assert told[fish].state(NOW.date()) == "ends today: to be released"
    assert told[ray].state(NOW.date()) == "30 days to go"


def test_sending_to_hospital_is_a_move_with_its_reason_and_no_least_days(vet: Person, ward: Place) -> None:
    least(vet, 30)
    lot = arrive("E02", "2026-08-01")
    factories.make_event(
        "moved", lot=lot, place="E02", to_place="H1", unknown=1, happened="2026-10-01", note="cloudy eye"
    )
    (told,) = isolation(now=NOW).stays
    assert (told.place.code, told.days, told.reason, told.ends) == ("H1", 5, "cloudy eye", None)
    expect_end(
        lot=lot, place=told.place, ends_on=date(2026, 10, 20), words="under treatment", by=vet, now=NOW
    )
    (told,) = isolation(now=NOW).stays
    assert (told.reason, told.ends) == ("under treatment", date(2026, 10, 20))


def test_what_is_said_of_one_lot_makes_the_days_longer_never_shorter(vet: Person, ward: Place) -> None:
    least(vet, 30)
    lot = arrive(ward, "2026-09-20")
    expect_end(lot=lot, place=ward, ends_on=date(2026, 9, 25), words="in a hurry", by=vet, now=NOW)
    assert isolation(now=NOW).stays[0].ends == date(2026, 10, 20)
    expect_end(lot=lot, place=ward, ends_on=date(2026, 12, 1), words="parasites", by=vet, now=NOW)
    assert isolation(now=NOW).stays[0].ends == date(2026, 12, 1)


def test_a_release_is_signed_and_ends_with_the_next_that_joins(vet: Person, ward: Place) -> None:
    least(vet, 30)
    lot = arrive(ward, "2026-09-01")
    signed = release(lot=lot, place=ward, words="two clean skin scrapes", by=vet, now=NOW)
    assert isolation(now=NOW).stays[0].released == signed
    later = NOW + timedelta(days=2)
    factories.make_event("received", lot=lot, place=ward, unknown=1, happened="2026-10-07", now=later)
    (told,) = isolation(now=later).stays
    assert told.released is None
    assert (told.since, told.joined, told.ends) == (date(2026, 9, 1), date(2026, 10, 7), date(2026, 11, 6))


def test_a_move_out_too_early_is_kept_and_told_to_the_veterinarian(
    vet: Person, ward: Place, frozen_clock: object
) -> None:
    least(vet, 30)
    lot = arrive(ward, "2026-09-20")
    moved = leave(lot, ward, "2026-10-01")
    (left,) = isolation(now=NOW).left_early
    assert (left.event, left.lot, left.due) == (moved, lot, date(2026, 10, 20))
    today = signed_in(vet).get("/").text
    assert today.index("What concerns you") < today.index("Left quarantine before the least days")
    look_at_early(event=moved, lot=lot, place=ward, words="broken pump in Q1", by=vet, now=NOW)
    assert isolation(now=NOW).left_early == []


@pytest.mark.parametrize(
    ("left_on", "too_early"), [("2026-10-01", True), ("2026-10-05", True), ("2026-10-06", False)]
)
def test_the_day_on_which_the_days_are_full_is_not_too_early(
    vet: Person, ward: Place, left_on: str, too_early: bool
) -> None:
    least(vet, 30)
    leave(arrive(ward, "2026-09-06"), ward, left_on)
    assert bool(isolation(now=NOW).left_early) == too_early


def test_released_taken_back_or_to_the_hospital_is_not_too_early(vet: Person, ward: Place) -> None:
    least(vet, 30)
    released = arrive(ward, "2026-09-20")
    signed = NOW - timedelta(days=3)
    release(lot=released, place=ward, words="clean", by=vet, now=signed)
    leave(released, ward, "2026-10-04")
    factories.make_reversal(leave(arrive(ward, "2026-09-20"), ward, "2026-10-04"))
    leave(arrive(ward, "2026-09-20"), ward, "2026-10-04", to="H1")
    assert isolation(now=NOW).left_early == []


def test_a_release_signed_after_the_move_does_not_excuse_it(vet: Person, ward: Place) -> None:
    least(vet, 30)
    lot = arrive(ward, "2026-09-20")
    leave(lot, ward, "2026-10-04", n=1)
    release(lot=lot, place=ward, words="clean", by=vet, now=NOW)
    assert len(isolation(now=NOW).left_early) == 1


def test_days_set_today_do_not_judge_what_left_before(vet: Person, ward: Place) -> None:
    leave(arrive(ward, "2026-09-20"), ward, "2026-10-01")
    least(vet, 30, since=date(2026, 10, 2))
    assert isolation(now=NOW).left_early == []


def test_only_the_veterinarian_signs_and_says_the_days(vet: Person, ward: Place) -> None:
    curator = factories.make_person("Osric Fennadale", roles=[Role.CURATOR])
    lot = arrive(ward, "2026-09-20")
    moved = leave(lot, ward, "2026-10-01", n=1)
    for attempt in (
        lambda: release(lot=lot, place=ward, words="fine", by=curator, now=NOW),
        lambda: look_at_early(event=moved, lot=lot, place=ward, words="fine", by=curator, now=NOW),
        lambda: least(curator, 3),
    ):
        with pytest.raises(StayRefused, match="The veterinarian decides"):
            attempt()
    assert not StayWord.objects.exists()
    with pytest.raises(StayRefused, match="Say in a few words why"):
        release(lot=lot, place=ward, words=" ", by=vet, now=NOW)
    with pytest.raises(StayRefused, match="on what the days rest"):
        set_least_days(group="", min_days=3, since=NOW.date(), source="", by=vet, now=NOW)


def test_a_look_is_signed_once(vet: Person, ward: Place) -> None:
    lot = arrive(ward, "2026-09-20")
    moved = leave(lot, ward, "2026-10-01")
    look_at_early(event=moved, lot=lot, place=ward, words="first", by=vet, now=NOW)
    with pytest.raises(StayRefused, match="signed this already"):
        look_at_early(event=moved, lot=lot, place=ward, words="second", by=vet, now=NOW)
    assert StayWord.objects.get().words == "first"


def test_the_database_refuses_to_change_what_was_signed(vet: Person, ward: Place) -> None:
    least(vet, 30)
    release(lot=arrive(ward, "2026-09-20"), place=ward, words="clean", by=vet, now=NOW)
    changes = (
        lambda: StayWord.objects.update(words="dirty"),
        lambda: StayWord.objects.all().delete(),
        lambda: QuarantineRule.objects.update(min_days=1),
        lambda: QuarantineRule.objects.all().delete(),
    )
    for change in changes:
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_the_page_lists_signs_and_sets(vet: Person, ward: Place, frozen_clock: object) -> None:
    lot = arrive(ward, "2026-09-06")
    early = arrive(ward, "2026-09-20")
    moved = leave(early, ward, "2026-10-01")
    client = signed_in(vet)
    days = {"group": "", "min_days": "30", "since": "2026-01-01", "source": SOURCE}
    assert "Set: all others: 30 days" in client.post("/quarantine", days, follow=True).text
    page = client.get("/quarantine").text
    assert "ends today: to be released" in page
    assert "the days are full on 2026-10-20" in page
    stay = {"stay": f"{lot.pk}-{ward.pk}"}
    said = client.post("/quarantine/release", {**stay, "words": "two clean scrapes"}, follow=True).text
    assert "is released. The move itself is yet to come." in said
    assert "released by Dr Ylva Brockhollin" in said
    nothing = client.post("/quarantine/release", {**stay, "words": ""}, follow=True).text
    assert "Nothing was signed: say which checks were done." in nothing
    looked = {"stay": f"{early.pk}-{ward.pk}", "event": moved.pk, "words": "broken pump"}
    assert "None in the last 90 days" in client.post("/quarantine/early", looked, follow=True).text
    ends = {**stay, "words": "parasites", "ends_on": "2026-12-01"}
    assert "to end on 2026-12-01" in client.post("/quarantine/expect", ends, follow=True).text


def test_others_read_the_list_and_sign_nothing(vet: Person, ward: Place, frozen_clock: object) -> None:
    lot = arrive(ward, "2026-09-06")
    inspector = signed_in(factories.make_person(roles=[Role.INSPECTOR]))
    page = inspector.get("/quarantine").text
    assert lot.accession in page
    assert "<form method" not in page.partition("<main")[2]
    for url in ("/quarantine", "/quarantine/expect", "/quarantine/release", "/quarantine/early"):
        assert inspector.post(url, {}).status_code == 403, url


def test_who_counts_the_quarantine_sees_no_number_there(
    vet: Person, ward: Place, frozen_clock: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    arrive(ward, "2026-09-06", n=7919373)
    assert "7,919,373 animals" in signed_in(vet).get("/quarantine").text
    monkeypatch.setattr("inventory.book.blind._ASKED", [lambda person: {ward.pk}])
    page = signed_in(vet).get("/quarantine").text
    assert "hidden: you are counting it" in page
    assert "7,919,373" not in page


def test_queries_do_not_grow_with_stays(vet: Person, ward: Place, frozen_clock: object) -> None:
    client = signed_in(vet)
    least(vet, 30)

    def grow(n: int) -> None:
        for _ in range(n):
            lot = arrive(ward, "2026-09-20")
            expect_end(lot=lot, place=ward, ends_on=date(2026, 12, 1), words="x", by=vet, now=NOW)
            leave(lot, ward, "2026-10-01", n=1)

    def asked() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get("/quarantine").status_code == 200
        return len(captured)

    grow(1)
    asked()
    few = asked()
    grow(8)
    assert asked() == few
    assert few <= 25
