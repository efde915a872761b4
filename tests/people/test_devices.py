"""Devices: let in once by a code, known by a token, put out at once."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from inventory.people.actions import devices as actions
from inventory.people.models import Device, DeviceNote, DeviceScope, EnrolmentCode, Person
from inventory.people.queries.devices import NoDevice, device_of
from inventory.people.rules.devices import WORDS, WRONG_CODES, code_as_typed, new_token, token_hash

from ..factories import NOW, make_house, make_person


@pytest.fixture
def registrar(db: None) -> Person:
    person = make_person("Maren", roles=["registrar"])
    make_house(registrar=person)
    return person


@pytest.fixture
def blue(registrar: Person) -> Device:
    return actions.make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=registrar, now=NOW)


def test_the_words_of_codes_are_256_and_different() -> None:
    assert len(WORDS) == len(set(WORDS)) == 256
    assert all(word.isalpha() and word.islower() and len(word) <= 8 for word in WORDS)


def test_a_token_has_32_random_bytes_behind_its_prefix() -> None:
    token = new_token()
    assert token.startswith("tide_")
    assert len(token) == len("tide_") + 43
    assert token != new_token()


def test_a_code_lets_one_device_in_once(registrar: Person, blue: Device) -> None:
    code = actions.offer_code(blue, by=registrar, now=NOW)
    enrolled = actions.enrol(code=f"  {code.upper().replace(' ', '-')} ", now=NOW)
    assert device_of(enrolled.token) == blue
    with pytest.raises(actions.NotEnrolled):
        actions.enrol(code=code, now=NOW)
    assert device_of(enrolled.token) == blue


def test_a_code_opens_nothing_after_a_quarter_of_an_hour(registrar: Person, blue: Device) -> None:
    code = actions.offer_code(blue, by=registrar, now=NOW)
    with pytest.raises(actions.NotEnrolled, match="quarter of an hour"):
        actions.enrol(code=code, now=NOW + timedelta(minutes=15))


def test_a_new_code_ends_the_one_before(registrar: Person, blue: Device) -> None:
    first = actions.offer_code(blue, by=registrar, now=NOW)
    actions.offer_code(blue, by=registrar, now=NOW)
    with pytest.raises(actions.NotEnrolled):
        actions.enrol(code=first, now=NOW)


def test_wrong_codes_end_the_open_ones_so_that_nobody_tries_them_through(
    registrar: Person, blue: Device
) -> None:
    code = actions.offer_code(blue, by=registrar, now=NOW)
    for _ in range(WRONG_CODES):
        with pytest.raises(actions.NotEnrolled):
            actions.enrol(code="no such words here", now=NOW)
    with pytest.raises(actions.NotEnrolled):
        actions.enrol(code=code, now=NOW)


def test_neither_code_nor_token_is_kept_as_it_is(registrar: Person, blue: Device) -> None:
    code = actions.offer_code(blue, by=registrar, now=NOW)
    token = actions.enrol(code=code, now=NOW).token
    blue.refresh_from_db()
    assert blue.token_hash == token_hash(token)
    kept = " ".join(str(row) for row in (*EnrolmentCode.objects.values(), *Device.objects.values()))
    assert code not in kept
    assert code_as_typed(code).split()[0] not in kept.lower().split()
    assert token not in kept


def test_a_device_put_out_is_told_so_and_comes_back_under_a_new_token(
    registrar: Person, blue: Device
) -> None:
    old = actions.enrol(code=actions.offer_code(blue, by=registrar, now=NOW), now=NOW).token
    actions.revoke(blue, by=registrar, now=NOW)
    with pytest.raises(NoDevice) as told:
        device_of(old)
    assert told.value.revoked
    new = actions.enrol(code=actions.offer_code(blue, by=registrar, now=NOW), now=NOW).token
    assert device_of(new) == blue
    with pytest.raises(NoDevice) as told:
        device_of(old)
    assert not told.value.revoked


@pytest.mark.django_db
def test_an_empty_token_is_nobodys(blue: Device) -> None:
    """A device that was never enrolled has no hash, which must not be found by anything."""
    for token in ("", " ", "tide_"):
        with pytest.raises(NoDevice):
            device_of(token)


def test_last_seen_is_written_once_a_minute(
    registrar: Person, blue: Device, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(1):
        actions.seen(blue, now=NOW)
    blue.refresh_from_db()
    assert blue.last_seen_at == NOW
    with django_assert_num_queries(0):
        actions.seen(blue, now=NOW + timedelta(seconds=59))
    with django_assert_num_queries(1):
        actions.seen(blue, now=NOW + timedelta(seconds=60))


def test_what_was_done_with_a_device_is_kept_and_cannot_be_changed(registrar: Person, blue: Device) -> None:
    actions.enrol(code=actions.offer_code(blue, by=registrar, now=NOW), now=NOW)
    actions.revoke(blue, by=registrar, now=NOW)
    assert list(DeviceNote.objects.values_list("what", flat=True)) == [
        "made", "code offered", "enrolled", "revoked",
    ]  # fmt: skip
    with pytest.raises(IntegrityError), transaction.atomic():
        DeviceNote.objects.update(what="nothing")


def test_the_registrar_lets_a_tablet_in_from_the_page(registrar: Person, frozen_clock: object) -> None:
    client = Client()
    assert registrar.user is not None
    client.force_login(registrar.user)
    page = client.post("/devices", {"name": "Yellow", "scope": "tankside"})
    assert page.headers["Cache-Control"] == "no-store"
    code = page.context["code"]
    assert code in page.text
    assert "data:image/svg+xml" in page.text
    answer = Client().post("/api/v1/devices/enrol", {"code": code}, content_type="application/json")
    assert answer.status_code == 200
    yellow = Device.objects.get(name="Yellow")
    assert answer.json()["device"] == {"id": yellow.pk, "name": "Yellow"}
    assert device_of(answer.json()["token"]) == yellow
    assert "Yellow" in client.get("/devices").text
    client.post(f"/devices/{yellow.pk}/revoke")
    with pytest.raises(NoDevice):
        device_of(answer.json()["token"])


def test_a_sensor_gets_a_token_and_no_code(registrar: Person, frozen_clock: object) -> None:
    client = Client()
    assert registrar.user is not None
    client.force_login(registrar.user)
    page = client.post("/devices", {"name": "Probe", "scope": "readings"})
    probe = Device.objects.get(name="Probe")
    assert device_of(page.context["token"]) == probe
    with pytest.raises(actions.DeviceRefused):
        actions.offer_code(probe, by=registrar, now=NOW)


def test_only_the_registrar_opens_the_page_of_devices(registrar: Person, blue: Device) -> None:
    aquarist = make_person(roles=["aquarist", "administrator", "curator"])
    client = Client()
    assert aquarist.user is not None
    client.force_login(aquarist.user)
    assert client.get("/devices").status_code == 403
    for url in (f"/devices/{blue.pk}/let-in", f"/devices/{blue.pk}/revoke", f"/codes/{aquarist.pk}"):
        assert client.post(url).status_code == 403, url
    blue.refresh_from_db()
    assert blue.revoked_at is None


def test_two_devices_never_bear_one_name(registrar: Person, blue: Device) -> None:
    with pytest.raises(actions.DeviceRefused, match="already"):
        actions.make_device(name=" blue ", scope=DeviceScope.TANKSIDE, by=registrar, now=NOW)


def test_a_code_that_opens_nothing_says_nothing_of_which_do(registrar: Person, blue: Device) -> None:
    actions.offer_code(blue, by=registrar, now=NOW)
    answer = Client().post("/api/v1/devices/enrol", {"code": "wrong"}, content_type="application/json")
    assert answer.status_code == 403
    assert answer.json()["reason"] == "code"
    assert "Blue" not in answer.text
