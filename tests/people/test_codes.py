"""Four digits: who holds the tablet. Counted before they are checked, locked after five wrong ones."""

import logging
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import identify_hasher
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from inventory.people.actions.codes import (
    CodeRefused,
    WrongCode,
    check_code,
    set_code,
    take_code_away,
    unlock,
)
from inventory.people.actions.devices import enrol, make_device, offer_code
from inventory.people.models import CodeTries, Device, DeviceScope, Person, PersonCode
from inventory.people.queries.devices import read_pass
from inventory.people.rules.codes import Pass, what_is_wrong_with

from ..factories import NOW, make_house, make_person

CODE = "4071"


@pytest.fixture
def registrar(db: None) -> Person:
    person = make_person("Maren", roles=["registrar"])
    make_house(registrar=person)
    return person


@pytest.fixture
def sunniva(registrar: Person) -> Person:
    person = make_person("Sunniva", roles=["aquarist"])
    set_code(person, CODE, by=person, now=NOW)
    return person


def device(registrar: Person, name: str = "Blue") -> Device:
    return make_device(name=name, scope=DeviceScope.TANKSIDE, by=registrar, now=NOW)


@pytest.fixture
def blue(registrar: Person) -> Device:
    return device(registrar)


def try_wrong(person: Person | None, on: Device, times: int, **more: Any) -> list[tuple[int, bool]]:
    """(tries left, locked before) of wrong codes in a row."""
    found = []
    for _ in range(times):
        with pytest.raises(WrongCode) as wrong:
            check_code(person=person, code="0000", device=on, now=more.get("now", NOW))
        found.append((wrong.value.tries_left, wrong.value.locked_until is not None))
    return found


@given(st.text(max_size=8))
def test_a_code_is_four_digits(text: str) -> None:
    if not (len(text) == 4 and text.isascii() and text.isdigit()):
        assert what_is_wrong_with(text)


@pytest.mark.parametrize("code", ["0000", "7777", "1234", "6789", "9876", "٣٤٥٦", "12345", ""])
def test_codes_that_are_none_or_guessed_at_once(code: str) -> None:
    assert what_is_wrong_with(code)


@pytest.mark.parametrize("code", ["4071", "1235", "9875", "1212"])
def test_other_codes_are_fine(code: str) -> None:
    assert what_is_wrong_with(code) == ""


def test_a_code_is_kept_as_a_password_is(sunniva: Person) -> None:
    kept = PersonCode.objects.get(person=sunniva).code_hash
    assert CODE not in kept
    assert identify_hasher(kept)


def test_the_houses_hasher_is_argon2() -> None:
    from inventory.site import settings

    assert settings.PASSWORD_HASHERS[0] == "django.contrib.auth.hashers.Argon2PasswordHasher"


def test_the_right_code_gives_a_pass_for_that_person_and_device(sunniva: Person, blue: Device) -> None:
    confirmed = check_code(person=sunniva, code=CODE, device=blue, now=NOW)
    stated = read_pass(confirmed.signed)
    assert stated == Pass(sunniva.pk, blue.pk, NOW, NOW)
    assert read_pass(confirmed.signed[:-1] + "x") is None
    assert read_pass("no pass") is None


@pytest.mark.parametrize(
    ("hours", "person", "device", "holds"),
    [
        (0, 1, 1, True),
        (16, 1, 1, True),
        (16.1, 1, 1, False),
        (1, 2, 1, False),
        (1, 1, 2, False),
        (-1, 1, 1, False),
    ],
)
def test_a_pass_holds_for_sixteen_hours_for_its_person_on_its_device(
    hours: float, person: int, device: int, holds: bool
) -> None:
    given_at = Pass(1, 1, NOW, NOW)
    moment = NOW + timedelta(hours=hours)
    assert given_at.holds(person=person, device=device, moment=moment, code_changed_at=NOW) is holds


def test_a_changed_code_ends_the_passes_of_the_old_one() -> None:
    given_at = Pass(1, 1, NOW, NOW)
    later = NOW + timedelta(hours=1)
    assert not given_at.holds(person=1, device=1, moment=later, code_changed_at=later)
    assert not given_at.holds(person=1, device=1, moment=later, code_changed_at=None)


def test_five_wrong_codes_lock_a_person_on_that_device_for_a_quarter_of_an_hour(
    registrar: Person, sunniva: Person, blue: Device
) -> None:
    assert try_wrong(sunniva, blue, 6) == [
        (4, False),
        (3, False),
        (2, False),
        (1, False),
        (0, False),
        (0, True),
    ]
    with pytest.raises(WrongCode):
        check_code(person=sunniva, code=CODE, device=blue, now=NOW + timedelta(minutes=14))
    assert check_code(person=sunniva, code=CODE, device=device(registrar, "Yellow"), now=NOW)
    assert check_code(person=sunniva, code=CODE, device=blue, now=NOW + timedelta(minutes=15))


def test_a_lock_that_ran_out_begins_anew(sunniva: Person, blue: Device) -> None:
    try_wrong(sunniva, blue, 5)
    later = NOW + timedelta(minutes=16)
    assert try_wrong(sunniva, blue, 2, now=later) == [(4, False), (3, False)]


def test_ten_wrong_codes_over_all_devices_lock_the_person_everywhere(
    registrar: Person, sunniva: Person
) -> None:
    for name in ("Blue", "Yellow"):
        try_wrong(sunniva, device(registrar, name), 5)
    with pytest.raises(WrongCode) as wrong:
        check_code(person=sunniva, code=CODE, device=device(registrar, "Boat"), now=NOW)
    assert wrong.value.locked_until == NOW + timedelta(minutes=15)


def test_the_right_code_forgets_the_wrong_ones(sunniva: Person, blue: Device) -> None:
    try_wrong(sunniva, blue, 4)
    check_code(person=sunniva, code=CODE, device=blue, now=NOW)
    assert try_wrong(sunniva, blue, 1) == [(4, False)]


def test_the_registrar_unlocks(sunniva: Person, blue: Device) -> None:
    try_wrong(sunniva, blue, 6)
    unlock(sunniva)
    assert check_code(person=sunniva, code=CODE, device=blue, now=NOW).person == sunniva


def test_somebody_without_a_code_is_answered_as_with_a_wrong_one(
    sunniva: Person, registrar: Person, blue: Device
) -> None:
    """In words, in tries and in locks; nobody learns who has a code."""
    assert try_wrong(registrar, blue, 6) == try_wrong(sunniva, blue, 6)
    with pytest.raises(WrongCode) as without:
        check_code(person=registrar, code="0000", device=blue, now=NOW)
    with pytest.raises(WrongCode) as wrong:
        check_code(person=sunniva, code="0000", device=blue, now=NOW)
    assert str(without.value) == str(wrong.value)


def test_nobody_at_all_is_answered_like_a_wrong_code_and_keeps_no_row(blue: Device) -> None:
    assert try_wrong(None, blue, 1) == [(4, False)]
    assert CodeTries.objects.count() == 0


def test_a_code_taken_away_opens_nothing(sunniva: Person, blue: Device) -> None:
    take_code_away(sunniva)
    with pytest.raises(WrongCode):
        check_code(person=sunniva, code=CODE, device=blue, now=NOW)


def test_a_code_that_is_none_changes_nothing(sunniva: Person) -> None:
    with pytest.raises(CodeRefused, match="4 digits"):
        set_code(sunniva, "12", by=sunniva, now=NOW)
    assert PersonCode.objects.get(person=sunniva).changed_at == NOW


def test_everybody_chooses_their_own_code_on_the_page(
    sunniva: Person, blue: Device, frozen_clock: object
) -> None:
    client = Client()
    assert sunniva.user is not None
    client.force_login(sunniva.user)
    page = client.post("/my-code", {"code": "2222", "again": "2222"})
    assert "too easy to guess" in page.text
    page = client.post("/my-code", {"code": "5820", "again": "5821"})
    assert "not the same as above" in page.text
    page = client.post("/my-code", {"code": "5820", "again": "5820"}, follow=True)
    assert "Your code is set" in page.text
    assert check_code(person=sunniva, code="5820", device=blue, now=NOW)


def test_the_registrar_sees_locks_and_takes_codes_away_and_never_sees_a_code(
    registrar: Person, sunniva: Person, blue: Device, frozen_clock: object
) -> None:
    client = Client()
    assert registrar.user is not None
    client.force_login(registrar.user)
    try_wrong(sunniva, blue, 6)
    page = client.get("/devices").text
    assert "Unlock Sunniva" in page
    assert CODE not in page
    client.post(f"/codes/{sunniva.pk}", {"unlock": "1"})
    assert "Unlock Sunniva" not in client.get("/devices").text
    client.post(f"/codes/{sunniva.pk}", {"take_away": "1"})
    assert not PersonCode.objects.filter(person=sunniva).exists()


def test_over_the_interface_the_answer_says_how_many_tries_are_left(
    registrar: Person, sunniva: Person, blue: Device, frozen_clock: object, caplog: pytest.LogCaptureFixture
) -> None:
    token = enrol(code=offer_code(blue, by=registrar, now=NOW), now=NOW).token
    client = Client(headers={"Authorization": f"Bearer {token}"})

    def ask(person: int, code: str) -> Any:
        return client.post(
            "/api/v1/persons/check", {"person": person, "code": code}, content_type="application/json"
        )

    with caplog.at_level(logging.DEBUG):
        wrong = ask(sunniva.pk, "9173")
        right = ask(sunniva.pk, CODE)
        nobody = ask(999_999, "9173")
    assert (wrong.status_code, wrong.json()["tries_left"]) == (403, 4)
    assert right.status_code == 200
    assert right.json()["person"] == {"id": sunniva.pk, "name": "Sunniva", "initials": ""}
    assert read_pass(right.json()["pass"]) is not None
    assert nobody.json() == wrong.json()
    assert not any(secret in caplog.text for secret in ("9173", CODE, token, right.json()["pass"]))
