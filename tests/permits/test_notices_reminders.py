"""One list of days for all doors: page, e-mail digest, calendar."""

import logging
import re
from collections.abc import Callable
from datetime import date, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from inventory.book.actions.settings import change_number
from inventory.people.rules.roles import Role
from inventory.permits.actions.loans import LoanFacts, enter_loan
from inventory.permits.actions.notices import make_calendar_address, revoke_calendar_address
from inventory.permits.actions.permits import LineFacts, LinkFacts
from inventory.permits.models import CalendarAddress, DigestSent
from inventory.permits.queries.reminders import reminders
from inventory.permits.rules.reminders import About, Reminder, step_of

from .. import factories
from .house import NUMBER, PermitHouse, make_permit_house

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
TODAY = date(2026, 10, 6)


@pytest.fixture
def house(db: None) -> PermitHouse:
    """A permit to hold lobsters that ended on 30 September, with a death to tell; the officer has mail."""
    held = LineFacts("Lobster, holding", 20, per="held", link=LinkFacts("taxon", ["Homarus gammarus"]))
    made = make_permit_house((held,), notice_days=7)
    lot = factories.make_lot("H1", taxon=made.taxa["Homarus gammarus"], house_name="Thole")
    factories.make_event("received", lot=lot, place="E02", unknown=5, happened="2026-03-01")
    factories.make_event("died", lot=lot, place="E02", unknown=2, happened="2026-09-29")
    _mail(made, Role.PERMIT_OFFICER)
    return made


def _mail(house: PermitHouse, role: Role) -> None:
    user = house.people[role].user
    assert user is not None
    user.email = f"{role.value}@house.example".replace(" ", "-")
    user.save()


def _read(house: PermitHouse, on: date = TODAY) -> list[Reminder]:
    return reminders(on=on, zone=house.zone)


@pytest.mark.parametrize(
    ("on", "step"),
    [
        (date(2026, 7, 1), None),
        (date(2026, 7, 2), 90),
        (date(2026, 8, 30), 90),
        (date(2026, 8, 31), 30),
        (date(2026, 9, 22), 30),
        (date(2026, 9, 23), 7),
        (date(2026, 9, 30), 7),
        (date(2026, 12, 30), 7),
    ],
)
def test_expiry_is_told_90_30_and_7_days_before_and_a_permit_to_hold_stays(
    house: PermitHouse, on: date, step: int | None
) -> None:
    steps = [one.step for one in _read(house, on) if one.about is About.EXPIRY]
    assert steps == ([] if step is None else [step])


def test_the_days_before_are_named_numbers(house: PermitHouse) -> None:
    change_number(
        name="permit_reminder_days_first", value=120, by=house.people[Role.REGISTRAR],
        now=house.now, why="the board is slow",
    )  # fmt: skip
    assert [one.step for one in _read(house, date(2026, 6, 10)) if one.about is About.EXPIRY] == [120]


def test_a_return_is_due_by_the_authoritys_rule(house: PermitHouse) -> None:
    (due,) = [one for one in _read(house) if one.about is About.RETURN]
    assert (due.due_on, due.detail) == (date(2026, 10, 30), "for 2026-01-01 to 2026-09-30")


def test_a_return_is_due_on_the_permits_own_day_before_any_rule() -> None:
    house = make_permit_house(return_due_on=date(2026, 11, 15))
    assert [one.due_on for one in _read(house) if one.about is About.RETURN] == [date(2026, 11, 15)]


def test_loans_are_reminded_of_until_they_end(house: PermitHouse) -> None:
    facts = LoanFacts(
        reference="L1", direction="out", party="A Sea Hall", starts_on=date(2025, 5, 12),
        until=date(2026, 5, 11), confirm_every_months=3,
    )  # fmt: skip
    loan = enter_loan(facts=facts, by=house.officer, now=house.now)
    found = {one.about: one for one in _read(house)}
    assert (found[About.LOAN_BACK].due_on, found[About.LOAN_BACK].when) == (
        date(2026, 5, 11),
        "148 days ago",
    )
    assert found[About.LOAN_LETTER].due_on == date(2025, 8, 12)
    type(loan).objects.filter(pk=loan.pk).update(ended_on=TODAY)
    assert {About.LOAN_BACK, About.LOAN_LETTER}.isdisjoint(one.about for one in _read(house))


def test_the_number_of_queries_does_not_grow_with_loans(house: PermitHouse) -> None:
    def ask() -> int:
        with CaptureQueriesContext(connection) as captured:
            _read(house)
        return len(captured)

    def lend(reference: str) -> None:
        facts = LoanFacts(reference, "in", "x", date(2026, 1, 1), confirm_every_months=1)
        enter_loan(facts=facts, by=house.officer, now=house.now)

    lend("M0")
    few = ask()
    for n in range(4):
        lend(f"M{n + 1}")
    assert ask() == few


@given(st.integers(-1000, 1000), st.sets(st.integers(0, 365), min_size=1))
def test_the_step_is_the_nearest_one_that_is_reached(days: int, steps: set[int]) -> None:
    step = step_of(days, steps)
    reached = [one for one in steps if one >= days]
    assert step == (min(reached) if reached else None)


def test_the_list_shows_every_day_and_no_number_before_its_time(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    text = as_role(Role.PERMIT_OFFICER).get("/permits/reminders").text
    for words in ("permit ends", "return", "notice of a death or an absence", NUMBER, "30 October 2026"):
        assert words in text
    today = as_role(Role.PERMIT_OFFICER).get("/").text
    assert "Deaths and absences to tell an authority" in today
    assert "Homarus gammarus died, by 6 October 2026 (today)" in today


# --- the digest ---------------------------------------------------------------------------------------


def _send(*args: str) -> str:
    err = StringIO()
    call_command("send_digest", "--on", "2026-10-06", *args, stderr=err)
    return err.getvalue()


def test_the_digest_goes_to_each_who_keeps_permits_once_a_day(house: PermitHouse) -> None:
    said = _send()
    assert "sent to 1" in said
    assert "no e-mail address: The registrar" in said
    (letter,) = mail.outbox
    user = house.officer.user
    assert user is not None
    assert letter.to == [user.email]
    assert letter.subject == "Test Aquarium: 3 reminders, 1 late, 2026-10-06"
    assert "Notice of a death or an absence: permit TEST 1, 2026-10-06 (today)" in letter.body
    assert "sent before today" in _send()
    assert len(mail.outbox) == 1
    _mail(house, Role.REGISTRAR)
    _send()
    assert len(mail.outbox) == 2
    call_command("send_digest", "--on", "2026-10-07", stderr=StringIO())
    assert len(mail.outbox) == 4


def test_no_animal_and_no_place_stands_in_the_letter(house: PermitHouse) -> None:
    _send()
    for secret in ("Homarus", "lobster", "Thole", "H1", "E02", "Kelp Hall"):
        assert secret.lower() not in f"{mail.outbox[0].body} {mail.outbox[0].subject}".lower(), secret


def test_when_the_post_fails_nothing_is_noted_and_the_next_call_tries_again(
    house: PermitHouse, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(message: object, **_: object) -> int:
        raise OSError("no route")

    caplog.set_level(logging.WARNING)
    with monkeypatch.context() as patched:
        patched.setattr("django.core.mail.EmailMessage.send", fails)
        with pytest.raises(CommandError, match="call it again"):
            _send()
    assert not DigestSent.objects.exists()
    _send()
    assert DigestSent.objects.count() == len(mail.outbox) == 1


def test_a_house_without_mail_is_told_so(house: PermitHouse, settings: Any) -> None:
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = "django.core.mail.backends.smtp.EmailBackend", ""
    with pytest.raises(CommandError, match="TIDETALLY_EMAIL_HOST"):
        _send()
    assert not DigestSent.objects.exists()


def test_a_day_without_reminders_sends_nothing(db: None) -> None:
    factories.make_house()
    assert _send() == "nothing to remind of\n"
    assert mail.outbox == []


# --- the calendar -------------------------------------------------------------------------------------


def _address(page: str) -> str:
    found = re.search(r"/calendar/[A-Za-z0-9_-]{43}\.ics", page)
    assert found
    return found[0]


def _feed(address: str, client: Client | None = None) -> Calendar:
    response = (client or Client()).get(address)
    assert (response.status_code, response.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    calendar = Calendar.from_ical(response.content)
    assert isinstance(calendar, Calendar)
    return calendar


def test_the_address_is_shown_once_and_the_feed_reads_back(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    made = client.post("/permits/calendar", {"do": "make"})
    address = _address(made.text)
    assert "no-store" in made.headers["Cache-Control"]
    assert "/calendar/" not in client.get("/permits/reminders").text
    token = address.removeprefix("/calendar/").removesuffix(".ics")
    assert token not in CalendarAddress.objects.get().token_hash
    calendar = _feed(address)
    assert str(calendar["version"]) == "2.0"
    assert calendar["prodid"]
    events = calendar.walk("VEVENT")
    assert [(str(one["summary"]), one.decoded("dtstart")) for one in events] == [
        ("Permit ends: permit TEST 1", date(2026, 9, 30)),
        ("Notice of a death or an absence: permit TEST 1", date(2026, 10, 6)),
        ("Return: permit TEST 1", date(2026, 10, 30)),
    ]
    for one in events:
        # RFC 5545: UID and DTSTAMP are required; DTEND of a day is the day after, not inside.
        assert one.decoded("dtend") == one.decoded("dtstart") + timedelta(days=1)
        assert one.decoded("dtstamp").tzinfo is not None
    assert len({str(one["uid"]) for one in events}) == 3
    expiry = [alarm.decoded("trigger").days for alarm in events[0].walk("VALARM")]
    assert expiry == [-90, -30, -7]


def test_the_feed_holds_to_the_form_of_the_standard(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    """RFC 5545 3.1: lines end in CRLF and are no longer than 75 octets."""
    address = _address(as_role(Role.PERMIT_OFFICER).post("/permits/calendar", {"do": "make"}).text)
    content = Client().get(address).content
    lines = content.split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in lines) <= 75


def test_no_animal_and_no_place_stands_in_the_feed(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    address = _address(as_role(Role.PERMIT_OFFICER).post("/permits/calendar", {"do": "make"}).text)
    content = Client().get(address).content.replace(b"\r\n ", b"").decode().lower()
    for secret in ("homarus", "lobster", "thole", "e02", "kelp hall", "quarantine", "h1"):
        assert secret not in content, secret


def test_an_address_ends_when_it_is_closed_or_made_anew_or_the_person_leaves(house: PermitHouse) -> None:
    first = make_calendar_address(person=house.officer, now=house.now)
    second = make_calendar_address(person=house.officer, now=house.now)
    client = Client()
    assert client.get(f"/calendar/{first}.ics").status_code == 404
    assert client.get(f"/calendar/{second}.ics").status_code == 200
    house.officer.left_on = TODAY - timedelta(days=400)
    house.officer.save()
    assert client.get(f"/calendar/{second}.ics").status_code == 404
    house.officer.left_on = None
    house.officer.save()
    user = house.officer.user
    assert user is not None
    user.groups.clear()
    assert client.get(f"/calendar/{second}.ics").status_code == 404
    assert revoke_calendar_address(person=house.officer, now=house.now)
    assert not revoke_calendar_address(person=house.officer, now=house.now)
    with pytest.raises(IntegrityError), transaction.atomic():
        CalendarAddress.objects.update(token_hash="0")


def test_who_keeps_no_permits_has_no_calendar(house: PermitHouse, as_role: Callable[[Role], Client]) -> None:
    assert as_role(Role.CURATOR).post("/permits/calendar", {"do": "make"}).status_code == 403
    assert as_role(Role.PERMIT_OFFICER).get("/permits/calendar").status_code == 405
