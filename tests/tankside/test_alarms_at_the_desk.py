"""A death is an alarm wherever it is entered: at the desk as at the tank."""

from typing import Any
from uuid import uuid4

import pytest
from django.core import mail
from django.test import Client

from inventory.book.models import Event
from inventory.tankside.actions.post import send_due
from inventory.tankside.models import Alarm

from ..factories import NOW, make_event, make_person, make_place
from .conftest import Tablet, TankHouse


@pytest.fixture
def desk(house: TankHouse) -> Client:
    client = Client()
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    return client


def record(desk: Client, accession: str, **said: Any) -> str:
    sent = {"identifier": str(uuid4()), "place": "E02", "day": "2026-10-06", "time": "08:40", **said}
    page: str = desk.post(f"/record/died/{accession}", sent, follow=True).text
    assert "Recorded as event" in page
    return page


def test_three_dead_of_a_slip_ring_and_go_out_by_post(house: TankHouse, desk: Client, settings: Any) -> None:
    settings.EMAIL_HOST = "mail.example"
    petra = make_person("Petra", roles=["curator"])
    assert petra.user is not None
    petra.user.email = "petra@house.example"
    petra.user.save(update_fields=["email"])
    page = record(desk, "G1", unknown=3)
    assert "An alarm: 3 dead within 24 hours in Kelp Hall (E02)." in page
    alarm = Alarm.objects.get()
    assert (alarm.event, alarm.raised_at) == (Event.objects.latest("pk"), NOW)
    assert send_due(now=NOW) == 1
    (message,) = mail.outbox
    assert message.to == ["petra@house.example"]
    assert "3 dead within 24 hours in Kelp Hall" in message.subject
    assert "entered by Maren" in message.body


def test_one_of_class_a_rings_by_itself_and_one_of_many_does_not(house: TankHouse, desk: Client) -> None:
    assert "alarm" not in record(desk, "G1", unknown=1).split("<main", 1)[1].lower()
    record(desk, "W1")
    assert [alarm.reason for alarm in Alarm.objects.all()] == ["class A"]


def test_the_desk_and_the_tank_add_up_to_one_alarm_that_tells_both(
    house: TankHouse, desk: Client, tablet: Tablet
) -> None:
    tablet.one(tablet.entry(lot="G1", n=2))
    record(desk, "G1", unknown=1)
    record(desk, "G1", unknown=4)
    assert [alarm.words for alarm in Alarm.objects.all()] == ["7 dead within 24 hours in Kelp Hall (E02)"]


def test_the_form_sent_twice_rings_once(house: TankHouse, desk: Client) -> None:
    identifier = str(uuid4())
    record(desk, "G1", unknown=3, identifier=identifier)
    sent = {"identifier": identifier, "place": "E02", "day": "2026-10-06", "time": "08:40", "unknown": 3}
    assert "sent before" in desk.post("/record/died/G1", sent, follow=True).text
    assert Alarm.objects.count() == 1


def test_a_death_that_the_desk_takes_back_takes_its_alarm_back(house: TankHouse, desk: Client) -> None:
    record(desk, "G1", unknown=3)
    alarm = Alarm.objects.get()
    desk.post(f"/event/{alarm.event_id}/take-back", {"identifier": str(uuid4()), "reason": "another tank"})
    alarm.refresh_from_db()
    assert (alarm.undone_at, alarm.next_try_at) == (NOW, None)


def test_an_old_slip_and_a_death_at_anothers_house_wake_nobody(house: TankHouse, desk: Client) -> None:
    make_event("received", lot=house.gobies, place=make_place("AWAY", kind="off_site"), unknown=9)
    record(desk, "G1", unknown=3, day="2026-10-02")
    record(desk, "G1", unknown=3, place="AWAY")
    assert not Alarm.objects.exists()
