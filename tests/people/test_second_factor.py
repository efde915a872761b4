"""The second step of signing in: an app's digits, recovery codes, and roles that must have one.

The digits are those of RFC 6238; its appendix B gives the check values, here by another road than allauth's.
"""

import hashlib
import hmac
import re
import struct
from datetime import timedelta

import pytest
import time_machine
from allauth.mfa.models import Authenticator
from django.contrib.auth.models import User
from django.test import Client
from pytest_django import Settings

from inventory.people.actions.second_factor import add_app, passes_with_code
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..factories import NOW, make_house, make_person

PASSWORD = "wet hands, no signal"

pytestmark = pytest.mark.django_db


@pytest.fixture
def maren() -> Person:
    make_house()
    return make_person("Maren Tolvsund", roles=[Role.REGISTRAR], password=PASSWORD)


def _user(person: Person) -> User:
    assert person.user is not None
    return person.user


def _in(person: Person) -> Client:
    client = Client()
    client.post("/sign-in", {"username": _user(person).get_username(), "password": PASSWORD})
    return client


def _digits(secret: bytes, seconds: float, length: int = 6) -> str:
    """RFC 4226, section 5.3, with the counter of RFC 6238, section 4.2."""
    told = hmac.new(secret, struct.pack(">Q", int(seconds) // 30), hashlib.sha1).digest()
    at = told[-1] & 15
    return str((int.from_bytes(told[at : at + 4], "big") & 0x7FFFFFFF) % 10**length).zfill(length)


def _app(secret: str, seconds: float) -> str:
    import base64

    return _digits(base64.b32decode(secret), seconds)


def _set_up(client: Client, seconds: float) -> tuple[str, list[str]]:
    """Adds an app as a person does; its secret, and the recovery codes that were shown."""
    secret = re.search(r'<code class="secret">([A-Z2-7]+)</code>', client.get("/my-sign-in/app").text)
    assert secret is not None
    page = client.post("/my-sign-in/app", {"code": _app(secret[1], seconds), "password": PASSWORD})
    return secret[1], re.findall(r'<code class="secret">(\d{8})</code>', page.text)


def test_the_digits_are_those_of_the_standard() -> None:
    """RFC 6238, appendix B, SHA-1, eight digits (values from memory of the text)."""
    secret = b"12345678901234567890"
    shown = [_digits(secret, seconds, 8) for seconds in (59, 1111111109, 1234567890, 2000000000)]
    assert shown == ["94287082", "07081804", "89005924", "69279037"]


def test_an_app_is_asked_for_at_the_next_sign_in(maren: Person) -> None:
    with time_machine.travel(NOW, tick=False) as clock:
        secret, codes = _set_up(_in(maren), NOW.timestamp())
        assert len(set(codes)) == 10
        clock.shift(timedelta(minutes=1))
        client = _in(maren)
        for page in ("/", "/devices", "/my-sign-in", "/my-code"):
            assert client.get(page).headers["Location"].startswith("/sign-in/second"), page
        assert client.post("/devices", {"name": "Blue", "scope": "tankside"}).status_code == 302
        wrong = client.post("/sign-in/second", {"code": "000000"})
        assert "This was not taken" in wrong.text
        right = _app(secret, NOW.timestamp() + 60)
        answer = client.post("/sign-in/second", {"code": right, "next": "/devices"})
        assert answer.headers["Location"] == "/devices"
        assert client.get("/devices").status_code == 200


def test_the_same_digits_are_taken_once(maren: Person) -> None:
    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
    with time_machine.travel(NOW, tick=False) as clock:
        add_app(_user(maren), secret=secret, code=_app(secret, NOW.timestamp()))
        clock.shift(timedelta(minutes=1))
        now = NOW + timedelta(minutes=1)
        code = _app(secret, now.timestamp())
        assert [passes_with_code(_user(maren), code, now=now) for _ in range(2)] == [True, False]


def test_a_recovery_code_signs_in_once(maren: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        _, codes = _set_up(_in(maren), NOW.timestamp())
        for expected in (302, 200):
            client = _in(maren)
            assert client.post("/sign-in/second", {"code": codes[0]}).status_code == expected


def test_second_steps_are_not_tried_through(maren: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        _set_up(_in(maren), NOW.timestamp())
        client = _in(maren)
        answers = [client.post("/sign-in/second", {"code": f"{n:06}"}).status_code for n in range(11)]
        assert answers[-1] == 429


def test_the_second_step_leads_to_no_other_site(maren: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        _, codes = _set_up(_in(maren), NOW.timestamp())
        answer = _in(maren).post("/sign-in/second", {"code": codes[0], "next": "https://elsewhere.example/"})
        assert answer.headers["Location"] == "/"


def test_who_has_a_role_that_needs_one_sets_it_up_first(maren: Person, settings: Settings) -> None:
    settings.SECOND_FACTOR_ROLES = ["registrar"]
    other = make_person("Jory", roles=[Role.AQUARIST], password=PASSWORD)
    with time_machine.travel(NOW, tick=False):
        client = _in(maren)
        assert client.get("/").headers["Location"] == "/my-sign-in"
        assert "Your role needs a second factor" in client.get("/my-sign-in").text
        _set_up(client, NOW.timestamp())
        assert client.get("/").status_code == 200
        assert _in(other).get("/").status_code == 200


def test_the_database_alone_makes_no_codes(maren: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        secret, codes = _set_up(_in(maren), NOW.timestamp())
    kept = str(list(Authenticator.objects.values_list("data", flat=True)))
    assert secret not in kept
    assert not any(code in kept for code in codes)


def test_a_lost_factor_is_taken_away_by_another_administrator(maren: Person) -> None:
    one = make_person("Idony Thrale", roles=[Role.ADMINISTRATOR], password=PASSWORD)
    with time_machine.travel(NOW, tick=False) as clock:
        _set_up(_in(maren), NOW.timestamp())
        desk = _in(one)
        assert desk.post(f"/people/{one.pk}/second-factor").status_code == 403
        clock.shift(timedelta(minutes=1))
        assert desk.post(f"/people/{maren.pk}/second-factor").status_code == 302
        clock.shift(timedelta(minutes=1))
        assert _in(maren).get("/").status_code == 200


def test_a_factor_goes_only_with_the_password(maren: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        client = _in(maren)
        _set_up(client, NOW.timestamp())
        factor = Authenticator.objects.get(type="totp")
        wrong = client.post(f"/my-sign-in/factor/{factor.pk}/remove", {"password": "no"})
        assert "this is not your password" in wrong.text
        client.post(f"/my-sign-in/factor/{factor.pk}/remove", {"password": PASSWORD})
        assert not Authenticator.objects.exists()


def test_nobody_removes_the_factor_of_another(maren: Person) -> None:
    other = make_person("Jory", roles=[Role.AQUARIST], password=PASSWORD)
    with time_machine.travel(NOW, tick=False):
        _set_up(_in(maren), NOW.timestamp())
        factor = Authenticator.objects.get(type="totp")
        _in(other).post(f"/my-sign-in/factor/{factor.pk}/remove", {"password": PASSWORD})
        assert Authenticator.objects.filter(pk=factor.pk).exists()


def test_something_that_is_no_passkey_is_refused_and_breaks_nothing(maren: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        client = _in(maren)
        client.get("/my-sign-in/passkey")
        for sent in ("no json", "[]", "{}", '{"id": "x", "response": {}}'):
            page = client.post("/my-sign-in/passkey", {"name": "k", "password": PASSWORD, "credential": sent})
            assert (page.status_code, Authenticator.objects.count()) == (200, 0), sent
        _, codes = _set_up(client, NOW.timestamp())
        second = _in(maren)
        for sent in (
            "no json",
            "[]",
            "{}",
            '{"id": "x", "rawId": "eA", "response": {}, "type": "public-key"}',
        ):
            assert second.post("/sign-in/second", {"credential": sent}).status_code == 200, sent
        assert second.get("/").status_code == 302
        assert len(codes) == 10
