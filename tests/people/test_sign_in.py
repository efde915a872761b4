"""Wrong passwords lock, sessions end, and nobody is told who is here."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.test import Client
from pytest_django import Settings

from inventory.people.actions import limits
from inventory.people.actions.sign_in import end_sessions
from inventory.people.models import Asked, Person
from inventory.people.rules.limits import SIGN_INS, Limit, SessionLimits, why_session_ended
from inventory.people.rules.roles import Role

from ..factories import NOW, make_house, make_person

PASSWORD = "wet hands, no signal"

pytestmark = pytest.mark.django_db


@pytest.fixture
def jory() -> Person:
    make_house()
    return make_person("Jory Penhalloway", roles=[Role.AQUARIST], password=PASSWORD)


@pytest.fixture
def lock(settings: Settings) -> None:
    """Wrong passwords are counted, as in a house."""
    settings.AXES_ENABLED = True


def _name(person: Person) -> str:
    assert person.user is not None
    return person.user.get_username()


def _try(client: Client, name: str, password: str) -> int:
    return client.post("/sign-in", {"username": name, "password": password}).status_code


def test_five_wrong_passwords_lock_a_name_at_an_address_for_a_quarter_of_an_hour(
    jory: Person, lock: None, client: Client
) -> None:
    with time_machine.travel(NOW, tick=False) as clock:
        tries = [_try(client, _name(jory), "wrong") for _ in range(5)]
        assert tries == [200, 200, 200, 200, 429]
        locked = client.post("/sign-in", {"username": _name(jory), "password": PASSWORD})
        assert locked.status_code == 429, "not even the right password opens it"
        assert "Try again in 15 minutes" in locked.text
        assert locked.headers["Retry-After"] == "900"
        clock.shift(timedelta(minutes=16))
        assert _try(client, _name(jory), PASSWORD) == 302


def test_another_address_and_another_name_are_not_locked(jory: Person, lock: None) -> None:
    for _ in range(5):
        _try(Client(), _name(jory), "wrong")
    other = make_person("Sella Ranmoor", roles=[Role.TYPIST], password=PASSWORD)
    assert _try(Client(), _name(other), PASSWORD) == 302
    assert _try(Client(REMOTE_ADDR="192.0.2.7"), _name(jory), PASSWORD) == 302


def test_a_name_that_nobody_has_is_answered_and_locked_alike(jory: Person, lock: None) -> None:
    told = []
    with time_machine.travel(NOW, tick=False):
        for name in (_name(jory), "nobody-here"):
            client = Client()
            answers = [client.post("/sign-in", {"username": name, "password": "wrong"}) for _ in range(6)]
            told.append([(one.status_code, _without(one.text, name, _token(one.text))) for one in answers])
    assert told[0] == told[1]


def _token(text: str) -> str:
    found = re.search(r'csrfmiddlewaretoken" value="([^"]*)', text)
    return found[1] if found else "-"


def _without(text: str, *words: str) -> str:
    for word in words:
        text = text.replace(word, "")
    return text


def test_the_administrator_unlocks_a_sign_in(jory: Person, lock: None) -> None:
    administrator = make_person("Idony Thrale", roles=[Role.ADMINISTRATOR])
    assert administrator.user is not None
    for _ in range(5):
        _try(Client(), _name(jory), "wrong")
    desk = Client()
    desk.force_login(administrator.user)
    assert "locked" in desk.get("/people").text
    assert desk.post(f"/people/{jory.pk}/unlock").status_code == 302
    assert _try(Client(), _name(jory), PASSWORD) == 302


def test_too_many_sign_ins_from_one_address_are_told_when_to_come_again(
    jory: Person, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = Limit("sign-in", 2, SIGN_INS.within)
    monkeypatch.setattr("inventory.people.views.sign_in.SIGN_INS", few)
    with time_machine.travel(NOW, tick=False):
        assert [_try(client, "nobody", "wrong") for _ in range(3)] == [200, 200, 429]
        assert _try(Client(REMOTE_ADDR="192.0.2.7"), "nobody", "wrong") == 200


def test_requests_are_counted_in_stretches_and_no_name_is_kept() -> None:
    few, now = Limit("try", 2, timedelta(minutes=1)), datetime(2026, 10, 6, 8, 0, 10, tzinfo=UTC)
    assert [limits.count(few, "192.0.2.7", now=now) for _ in range(3)] == [0, 0, 50]
    assert limits.count(few, "192.0.2.8", now=now) == 0
    assert limits.count(few, "192.0.2.7", now=now + timedelta(minutes=1)) == 0
    assert Asked.objects.count() == 1, "old rows are gone"
    assert not Asked.objects.filter(key__contains="192").exists()


def test_requests_counted_in_memory_slide_along() -> None:
    few, now = Limit("here", 2, timedelta(minutes=1)), datetime(2026, 10, 6, 8, tzinfo=UTC)
    waits = [limits.count_here(few, 1, now=now + timedelta(seconds=s)) for s in (0, 10, 20, 65)]
    assert waits == [0, 0, 40, 5]


@pytest.mark.parametrize(
    ("signed_in", "seen", "ended", "said"),
    [
        (0, 0, None, ""),
        (0, 59, None, ""),
        (0, -1, None, "Nothing was done"),
        (-660, 0, None, "has lasted its time"),
        (0, 0, 1, "signed out everywhere"),
        (0, 0, -1, ""),
    ],
)
def test_a_session_ends_when_idle_when_old_and_when_it_is_ended(
    signed_in: int, seen: int, ended: int | None, said: str
) -> None:
    """Minutes from eight o'clock; it is nine."""
    start, limit = (
        datetime(2026, 10, 6, 8, tzinfo=UTC),
        SessionLimits(timedelta(hours=1), timedelta(hours=12)),
    )
    why = why_session_ended(
        signed_in=start + timedelta(minutes=signed_in),
        seen=start + timedelta(minutes=seen) + timedelta(seconds=30),
        ended=None if ended is None else start + timedelta(minutes=ended),
        now=start + timedelta(hours=1),
        limits=limit,
    )
    assert why.startswith(said) if not said else said in why


def test_an_idle_session_leads_to_the_sign_in_and_back(
    jory: Person, client: Client, settings: Settings
) -> None:
    settings.SESSION_IDLE_MINUTES, settings.SESSION_HOURS = 30, 12
    with time_machine.travel(NOW, tick=False) as clock:
        _try(client, _name(jory), PASSWORD)
        for _ in range(3):
            clock.shift(timedelta(minutes=29))
            assert client.get("/lots").status_code == 200, "whoever works stays signed in"
        clock.shift(timedelta(minutes=31))
        gone = client.get("/lots")
        assert gone.headers["Location"] == "/sign-in?next=/lots"
        assert "Nothing was done for a while" in client.get("/sign-in").text


def test_a_session_ends_after_its_hours_however_busy(
    jory: Person, client: Client, settings: Settings
) -> None:
    settings.SESSION_IDLE_MINUTES, settings.SESSION_HOURS = 600, 2
    with time_machine.travel(NOW, tick=False) as clock:
        _try(client, _name(jory), PASSWORD)
        clock.shift(timedelta(minutes=119))
        assert client.get("/lots").status_code == 200
        clock.shift(timedelta(minutes=2))
        assert client.get("/lots").status_code == 302


def test_signing_out_everywhere_ends_every_session(jory: Person) -> None:
    here, there = Client(), Client()
    with time_machine.travel(NOW, tick=False) as clock:
        for client in (here, there):
            _try(client, _name(jory), PASSWORD)
        clock.shift(timedelta(minutes=1))
        assert here.post("/my-sign-in/everywhere").status_code == 302
        assert here.get("/").status_code == there.get("/").status_code == 302
        clock.shift(timedelta(minutes=1))
        _try(there, _name(jory), PASSWORD)
        assert there.get("/").status_code == 200


def test_a_changed_password_ends_the_other_sessions(jory: Person) -> None:
    here, there = Client(), Client()
    for client in (here, there):
        _try(client, _name(jory), PASSWORD)
    wrong = here.post(
        "/my-sign-in/password", {"password": "no", "new": "a longer tide", "again": "a longer tide"}
    )
    assert "this is not your password" in wrong.text
    typed = {"password": PASSWORD, "new": "another long tide", "again": "another long tide"}
    assert here.post("/my-sign-in/password", typed).status_code == 302
    assert here.get("/").status_code == 200
    assert there.get("/").status_code == 302
    assert _try(Client(), _name(jory), "another long tide") == 302


def test_who_has_left_is_out_at_once_and_stays_in_the_book(jory: Person, client: Client) -> None:
    with time_machine.travel(NOW, tick=False):
        _try(client, _name(jory), PASSWORD)
        assert client.get("/lots").status_code == 200
        Person.objects.filter(pk=jory.pk).update(left_on=date(2026, 10, 6))
        closed = client.get("/lots")
        assert (closed.status_code, "left the house on 2026-10-06" in closed.text) == (403, True)
        assert client.get("/lots").status_code == 302, "the session is over"
        assert Person.objects.get(pk=jory.pk).name == "Jory Penhalloway"


def test_ending_sessions_touches_nobody_else(jory: Person, client: Client) -> None:
    other = make_person(roles=[Role.AQUARIST], password=PASSWORD)
    _try(client, _name(other), PASSWORD)
    end_sessions(jory, now=NOW + timedelta(days=400))
    assert client.get("/").status_code == 200


def test_a_new_session_number_comes_with_the_sign_in(jory: Person, client: Client) -> None:
    client.get("/sign-in")
    client.session["before"] = 1
    before = client.session.session_key
    _try(client, _name(jory), PASSWORD)
    assert client.session.session_key != before


def test_passwords_are_kept_with_argon2() -> None:
    from inventory.site import settings as of_a_house

    assert of_a_house.PASSWORD_HASHERS[0].endswith("Argon2PasswordHasher")
