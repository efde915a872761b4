"""Alarms: raised with the death, never waited for, sent until it has worked, shown until seen."""

import threading
from dataclasses import replace
from datetime import timedelta
from typing import Any, ClassVar

import pytest
from django.core import mail
from django.core.mail.backends.base import BaseEmailBackend
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.models import Event
from inventory.tankside.actions.post import MOST_TRIES, send_due
from inventory.tankside.models import Alarm
from inventory.tankside.rules.alarms import Deaths, Limits, Reason, most_in_a_day, reasons

from ..factories import NOW, make_event, make_person
from .conftest import Tablet, TankHouse

HOUR = timedelta(hours=1)


def deaths(**said: Any) -> Deaths:
    quiet = Deaths(moment=NOW, class_a=False, in_tank=(), of_lot=(), held_now=1000)
    return replace(quiet, **said)


def why(**said: Any) -> list[Reason]:
    return [reason for reason, _ in reasons(deaths(**said), Limits(), now=NOW)]


# census_procedure.md of the house, section 12: 3 in 24 h, or 5 % of a lot in a day, or any of class A
# (common practice, no source).
def test_three_in_a_tank_within_a_day_are_an_alarm_and_two_are_not() -> None:
    assert why(in_tank=((NOW, 1), (NOW - 23 * HOUR, 1))) == []
    assert why(in_tank=((NOW, 1), (NOW - 23 * HOUR, 2))) == [Reason.TANK]
    assert why(in_tank=((NOW, 1), (NOW - 24 * HOUR, 2))) == []


def test_five_per_cent_of_a_lot_in_a_day_are_an_alarm() -> None:
    assert why(of_lot=((NOW, 2),), held_now=38) == [Reason.LOT]
    assert why(of_lot=((NOW, 2),), held_now=39) == []


def test_one_of_a_small_lot_is_no_mass_death() -> None:
    assert why(of_lot=((NOW, 1),), held_now=4) == []


def test_any_of_class_a_is_an_alarm() -> None:
    assert why(class_a=True) == [Reason.CLASS_A]


def test_an_old_slip_wakes_nobody() -> None:
    assert reasons(deaths(class_a=True, moment=NOW - 73 * HOUR), Limits(), now=NOW) == []


@given(
    st.lists(st.tuples(st.integers(0, 96), st.integers(1, 5)), min_size=1, max_size=12),
    st.data(),
)
def test_the_most_in_a_day_is_that_of_the_fullest_day_around_the_death(
    hours: list[tuple[int, int]], data: st.DataObject
) -> None:
    """Against every window that starts at a full hour; deaths stand at full hours."""
    moments = [(NOW + hour * HOUR, n) for hour, n in hours]
    moment = data.draw(st.sampled_from([at for at, _ in moments]))
    windows = [moment - back * HOUR for back in range(24)]
    fullest = max(sum(n for at, n in moments if start <= at < start + 24 * HOUR) for start in windows)
    assert most_in_a_day(moments, moment) == fullest


def test_the_third_death_raises_one_alarm_with_its_words(house: TankHouse, tablet: Tablet) -> None:
    first = tablet.one(tablet.entry(lot="G1", n=2, saved_at=NOW - 5 * HOUR))
    second = tablet.one(tablet.entry(lot="G1", n=1))
    assert (first["alarm"], second["alarm"]) == (None, "3 dead within 24 hours in Kelp Hall (E02)")
    assert Alarm.objects.get().event_id == second["event"]
    third = tablet.one(tablet.entry(lot="G1", n=4, saved_at=NOW - HOUR))
    assert third["alarm"] == "7 dead within 24 hours in Kelp Hall (E02)"
    assert Alarm.objects.count() == 1, "it is ringing already"
    assert Alarm.objects.get().words == third["alarm"], "and says how many there are now"
    Alarm.objects.update(seen_at=NOW, seen_by=house.registrar)
    tablet.one(tablet.entry(lot="G1", n=3, saved_at=NOW - 2 * HOUR))
    assert Alarm.objects.filter(seen_at=None, reason=Reason.TANK).count() == 1, "more, after a look"


def test_every_death_of_class_a_rings_by_itself(tablet: Tablet) -> None:
    for _ in range(2):
        tablet.one(tablet.entry(lot="R2", n=1))
    assert Alarm.objects.filter(reason=Reason.CLASS_A).count() == 2


def test_deaths_that_were_taken_back_and_eggs_do_not_count(house: TankHouse, tablet: Tablet) -> None:
    first = tablet.one(tablet.entry(lot="G1", n=2))
    tablet.one(tablet.entry("undo", undoes=first["identifier"]))
    eggs = make_event("born", lot=None, place=house.kelp_hall, unknown=9).flows.get().to_cell.lot
    type(eggs).objects.filter(pk=eggs.pk).update(unit="egg case")
    tablet.one(tablet.entry(lot=eggs.accession, n=9))
    assert tablet.one(tablet.entry(lot="G1", n=1))["alarm"] is None
    assert not Alarm.objects.exists()


def test_there_is_no_share_of_a_lot_under_an_open_name(tablet: Tablet) -> None:
    answer = tablet.one(tablet.entry(open_name="set:rays", n=2))
    assert answer["alarm"].startswith("rays, species open ("), "its strictest member is of class A"
    assert list(Alarm.objects.values_list("reason", flat=True)) == [Reason.CLASS_A]


def test_what_is_put_down_or_missing_is_no_alarm(tablet: Tablet) -> None:
    for kind in ("put_down", "missing"):
        assert tablet.one(tablet.entry(kind, lot="G1", n=20))["alarm"] is None


@pytest.fixture
def told(house: TankHouse, settings: Any) -> None:
    """A house with e-mail, a curator and a veterinarian; one who has left is not written to."""
    settings.EMAIL_HOST = "mail.example"
    for name, role, left in (
        ("Osric", "curator", None),
        ("Ylva", "veterinarian", None),
        ("Corin", "curator", NOW),
    ):
        person = make_person(name, roles=[role], left_on=left and left.date())
        assert person.user is not None
        person.user.email = f"{name.lower()}@house.example"
        person.user.save()


def test_curator_and_vet_get_it_by_e_mail_once(tablet: Tablet, told: None) -> None:
    tablet.one(tablet.entry(lot="R2", n=1))
    assert mail.outbox == []
    assert send_due(now=NOW) == 1
    assert send_due(now=NOW) == 0
    (message,) = mail.outbox
    assert message.to == ["osric@house.example", "ylva@house.example"]
    assert message.subject == "Test Aquarium: spotted ray (R2) dead, class A, in Kelp Hall (E02)"
    assert "entered by Sunniva on Blue" in message.body
    assert Alarm.objects.get().mailed_at == NOW


class Failing(BaseEmailBackend):
    """A mail server that is away for some tries."""

    fails: ClassVar[int] = 2
    sent: ClassVar[list[str]] = []

    def send_messages(self, messages: Any) -> int:
        if Failing.fails:
            Failing.fails -= 1
            raise ConnectionRefusedError("secret words of the server")
        Failing.sent += [message.subject for message in messages]
        return len(messages)


def test_post_that_failed_is_tried_again_later(tablet: Tablet, told: None, settings: Any) -> None:
    settings.EMAIL_BACKEND = f"{__name__}.Failing"
    Failing.fails, Failing.sent = 2, []
    tablet.one(tablet.entry(lot="R2", n=1))
    send_due(now=NOW)
    alarm = Alarm.objects.get()
    assert (alarm.mail_trouble, alarm.next_try_at) == ("ConnectionRefusedError", NOW + timedelta(minutes=1))
    assert send_due(now=NOW) == 0
    send_due(now=NOW + timedelta(minutes=1))
    send_due(now=NOW + timedelta(minutes=6))
    alarm.refresh_from_db()
    assert (len(Failing.sent), alarm.tries, alarm.mail_trouble) == (1, 3, "")
    assert alarm.mailed_at == NOW + timedelta(minutes=6)


def test_tries_end_after_a_day_and_the_page_tells(tablet: Tablet, told: None, settings: Any) -> None:
    settings.EMAIL_BACKEND = f"{__name__}.Failing"
    Failing.fails = 1_000
    tablet.one(tablet.entry(lot="R2", n=1))
    moment, tries = NOW, 0
    while tried := send_due(now=moment):
        tries += tried
        assert tries <= MOST_TRIES
        moment = Alarm.objects.get().next_try_at or moment
    assert tries == MOST_TRIES
    assert moment - NOW > timedelta(hours=20)
    assert Alarm.objects.get().next_try_at is None


def test_a_house_without_e_mail_shows_it_on_the_page(tablet: Tablet, settings: Any) -> None:
    settings.EMAIL_HOST = ""
    tablet.one(tablet.entry(lot="R2", n=1))
    send_due(now=NOW)
    assert Alarm.objects.get().mail_trouble == "no e-mail is set up for this house"
    settings.EMAIL_HOST = "mail.example"
    tablet.one(tablet.entry(lot="R2", n=1))
    send_due(now=NOW)
    assert "has an e-mail address" in Alarm.objects.order_by("id").last().mail_trouble  # type: ignore[union-attr]


def test_two_who_send_at_once_send_it_once(tablet: Tablet, told: None) -> None:
    tablet.one(tablet.entry(lot="R2", n=1))
    Alarm.objects.update(next_try_at=NOW + timedelta(minutes=5), tries=1)  # the other one has it
    assert send_due(now=NOW) == 0
    assert mail.outbox == []


def test_the_command_carries_the_post_and_says_what_waits(
    tablet: Tablet, told: None, settings: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    tablet.one(tablet.entry(lot="R2", n=1))
    call_command("send_alarms")
    assert "1 tried, 0 wait" in capsys.readouterr().err
    settings.EMAIL_BACKEND = f"{__name__}.Failing"
    Failing.fails = 1
    tablet.one(tablet.entry(lot="R2", n=1))
    with pytest.raises(CommandError) as refused:
        call_command("send_alarms")
    assert refused.value.returncode == 1


class Hanging(BaseEmailBackend):
    """A mail server that says nothing until it is let go."""

    asked: ClassVar[threading.Event] = threading.Event()
    let_go: ClassVar[threading.Event] = threading.Event()

    def send_messages(self, messages: Any) -> int:
        Hanging.asked.set()
        Hanging.let_go.wait(30)
        return len(messages)


@pytest.mark.django_db(transaction=True)
def test_the_entry_is_answered_while_the_mail_server_hangs(
    transactional_db: None, told: None, tablet: Tablet, settings: Any
) -> None:
    """The post has begun and is not done when the next entries are answered."""
    settings.EMAIL_BACKEND = f"{__name__}.Hanging"
    settings.ALARM_POST_IN_BACKGROUND = True
    Hanging.asked.clear()
    Hanging.let_go.clear()
    try:
        answer = tablet.one(tablet.entry(lot="R2", n=1))
        assert answer["alarm"]
        assert Hanging.asked.wait(30)
        assert tablet.one(tablet.entry(lot="R2", n=1))["outcome"] == "sent"
        assert not Hanging.let_go.is_set()
        assert Alarm.objects.filter(reason=Reason.CLASS_A, mailed_at=None).count() == 2
    finally:
        Hanging.let_go.set()
        for thread in threading.enumerate():
            if thread.name == "alarm post":
                thread.join(30)
    assert not Alarm.objects.filter(mailed_at=None).exists()
    assert Event.objects.filter(kind="died").count() == 2


@pytest.mark.django_db(transaction=True)
def test_an_entry_that_is_rolled_back_sends_nothing(
    transactional_db: None, told: None, tablet: Tablet, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.ALARM_POST_IN_BACKGROUND = True
    started: list[int] = []
    monkeypatch.setattr("inventory.tankside.actions.post._start", lambda: started.append(1))

    def broken(*args: object) -> None:
        raise RuntimeError("after the alarm was raised")

    with monkeypatch.context() as patch:
        patch.setattr("inventory.tankside.actions.take.raise_flags", broken)
        assert tablet.one(tablet.entry(lot="R2", n=1))["outcome"] == "came back"
    assert (started, Alarm.objects.count()) == ([], 0)
    tablet.one(tablet.entry(lot="R2", n=1))
    assert (started, Alarm.objects.count()) == ([1], 1)


def test_an_undo_lowers_the_number_of_an_alarm_that_nobody_has_seen(house: TankHouse, tablet: Tablet) -> None:
    first = tablet.entry(lot="G1", n=2)
    tablet.send(first, tablet.entry(lot="G1", n=3))
    assert Alarm.objects.get().words == "5 dead within 24 hours in Kelp Hall (E02)"
    tablet.one(tablet.entry("undo", undoes=first["identifier"]))
    alarm = Alarm.objects.get()
    assert (alarm.words, alarm.undone_at) == ("3 dead within 24 hours in Kelp Hall (E02)", None)


def test_an_alarm_whose_deaths_were_undone_says_so_and_is_not_sent(house: TankHouse, tablet: Tablet) -> None:
    """Also where another death than the one undone had raised it."""
    first = tablet.entry(lot="G1", n=2)
    tablet.send(first, tablet.entry(lot="R1", n=1))
    assert Alarm.objects.get(reason=Reason.TANK).next_try_at is not None
    tablet.one(tablet.entry("undo", undoes=first["identifier"]))
    alarm = Alarm.objects.get(reason=Reason.TANK)
    assert alarm.words == "undone: 3 dead within 24 hours in Kelp Hall (E02)"
    assert (alarm.undone_at, alarm.next_try_at, alarm.mail_trouble) == (
        NOW,
        None,
        "undone before it went out",
    )
    # The next two deaths make three once more: a new alarm, which is sent.
    again = tablet.one(tablet.entry(lot="G1", n=2, saved_at=NOW - HOUR))
    assert again["alarm"] == "3 dead within 24 hours in Kelp Hall (E02)"
    new = Alarm.objects.get(reason=Reason.TANK, undone_at=None)
    assert (new.event_id, new.next_try_at) == (again["event"], NOW)


def test_a_death_of_class_a_that_was_undone_is_no_alarm_and_those_of_others_stay(
    house: TankHouse, tablet: Tablet
) -> None:
    wolffish = tablet.entry(lot="W1", n=1)
    tablet.send(wolffish, tablet.entry(lot="R2", n=1))
    tablet.one(tablet.entry("undo", undoes=wolffish["identifier"]))
    told = dict(Alarm.objects.filter(reason=Reason.CLASS_A).values_list("lot__accession", "words"))
    assert told["W1"].startswith("undone: Old Tom (W1) dead, class A")
    assert told["R2"].startswith("spotted ray (R2) dead, class A")


def test_what_somebody_has_seen_is_not_told_anew(house: TankHouse, tablet: Tablet) -> None:
    first = tablet.entry(lot="G1", n=3)
    tablet.one(first)
    Alarm.objects.update(seen_at=NOW, seen_by=house.registrar)
    tablet.one(tablet.entry("undo", undoes=first["identifier"]))
    assert Alarm.objects.get().words == "3 dead within 24 hours in Kelp Hall (E02)"
