"""Photographs that come with entries: kept once, with the entry, and seen by who may see the entry."""

from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from PIL import ExifTags, Image

from inventory.book import blind
from inventory.book.models import Document, Event
from inventory.book.queries.documents import read_document
from inventory.people.actions.devices import give_token, make_device
from inventory.people.models import DeviceScope, Person
from inventory.tankside.actions import entry_pictures
from inventory.tankside.models import Entry, EntryPicture
from inventory.tankside.readers.pictures import prepare

from ..factories import NOW, make_person, photograph
from .conftest import Tablet, TankHouse


def _send(
    tablet: Tablet, entry: str, content: bytes, *, identifier: str = "", token: str | None = None
) -> Any:
    return tablet.client.post(
        f"/api/v1/entries/{entry}/pictures/{identifier or uuid4()}",
        content,
        content_type="image/jpeg",
        headers={"Authorization": f"Bearer {tablet.token if token is None else token}"},
    )


def _death(tablet: Tablet, **said: Any) -> str:
    """The identifier of an entry that was taken."""
    entry = tablet.entry("died", lot="G1", n=1, **said)
    assert tablet.one(entry)["outcome"] == "sent"
    return str(entry["identifier"])


def _signed_in(person: Person) -> Client:
    assert person.user is not None
    client = Client()
    client.force_login(person.user)
    return client


def test_it_is_kept_with_its_entry_and_tells_no_position(tablet: Tablet) -> None:
    """Tags of position: Exif 2.3 (CIPA DC-008), as Pillow names them."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (58.0, 14.0, 59.0)
    out = BytesIO()
    Image.new("RGB", (2400, 1800), "teal").save(out, "JPEG", exif=exif)
    answer = _send(tablet, _death(tablet), out.getvalue())
    assert answer.status_code == 200, answer.content
    assert (answer.json()["outcome"], answer.json()["already"]) == ("sent", False)
    kept = EntryPicture.objects.get()
    assert kept.entry.event_id == Event.objects.get(kind="died").pk
    assert (kept.width, kept.height) == (1600, 1200)
    drawn = Image.open(BytesIO(read_document(kept.document)))
    assert drawn.size == (1600, 1200)
    assert not drawn.getexif()
    assert kept.document.kept_by == tablet.person


def test_sent_again_it_is_one_picture_with_the_first_answer(tablet: Tablet) -> None:
    entry, identifier = _death(tablet), str(uuid4())
    first, again = (_send(tablet, entry, photograph(), identifier=identifier).json() for _ in range(2))
    assert again == first | {"already": True}
    assert EntryPicture.objects.count() == 1
    assert Document.objects.count() == 2
    for other, content in ((entry, photograph("maroon")), (_death(tablet), photograph())):
        refused = _send(tablet, other, content, identifier=identifier).json()
        assert refused["outcome"] == "came back"
        assert "in use for another picture" in refused["words"]
    assert EntryPicture.objects.count() == 1


def test_one_that_another_tab_kept_meanwhile_is_one_picture(
    tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both look for it before either has kept it; the other is done while this one draws."""
    entry, identifier, drawn = _death(tablet), str(uuid4()), prepare

    def slowly(name: str, content: bytes) -> Any:
        monkeypatch.setattr(entry_pictures, "prepare", drawn)
        assert _send(tablet, entry, content, identifier=identifier).json()["already"] is False
        return drawn(name, content)

    monkeypatch.setattr(entry_pictures, "prepare", slowly)
    assert _send(tablet, entry, photograph(), identifier=identifier).json()["already"] is True
    assert EntryPicture.objects.count() == 1


def test_it_waits_until_its_entry_is_taken(tablet: Tablet) -> None:
    back = tablet.entry("moved", lot="G1", n=500, to_place="Q1")
    assert tablet.one(back)["outcome"] == "came back"
    assert _send(tablet, "no-identifier", photograph()).json()["reason"] == "unreadable"
    for entry in (str(uuid4()), str(back["identifier"])):
        answer = _send(tablet, entry, photograph())
        assert (answer.status_code, answer.json()["reason"]) == (404, "none")
    assert not Document.objects.exists()


def test_an_entry_that_is_undone_keeps_its_picture(tablet: Tablet) -> None:
    entry = _death(tablet)
    assert _send(tablet, entry, photograph()).json()["outcome"] == "sent"
    assert tablet.one(tablet.entry("undo", undoes=entry))["outcome"] == "sent"
    assert _send(tablet, entry, photograph("maroon")).json()["outcome"] == "sent"
    assert EntryPicture.objects.filter(entry__identifier=entry).count() == 2


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (b"<html><script>alert(1)</script>", "cannot be opened as a picture"),
        (b"GIF89a" + bytes(40), "cannot be opened as a picture"),
        (photograph()[:200], "cannot be opened as a picture"),
    ],
)
def test_a_hostile_file_comes_back_in_words_and_the_entry_stands(
    tablet: Tablet, content: bytes, why: str
) -> None:
    answer = _send(tablet, _death(tablet), content)
    assert answer.status_code == 200
    assert answer.json()["outcome"] == "came back"
    assert why in answer.json()["words"]
    assert not Document.objects.exists()
    assert Event.objects.filter(kind="died").count() == 1


def test_what_is_too_large_is_refused_before_it_is_read(tablet: Tablet) -> None:
    answer = _send(tablet, _death(tablet), bytes(entry_pictures.LARGEST + 1))
    assert answer.status_code == 413
    assert "larger than 4 MB" in answer.json()["detail"]


def test_three_go_with_an_entry_and_a_full_day_waits(tablet: Tablet, monkeypatch: pytest.MonkeyPatch) -> None:
    entry = _death(tablet)
    for colour in ("teal", "maroon", "navy"):
        assert _send(tablet, entry, photograph(colour)).json()["outcome"] == "sent"
    fourth = _send(tablet, entry, photograph("gold")).json()
    assert fourth["outcome"] == "came back"
    assert "3 pictures" in fourth["words"]
    monkeypatch.setattr(entry_pictures, "MOST_A_DAY", 3)
    other = _death(tablet, note="another")
    assert _send(tablet, other, photograph()).status_code == 429
    taken = entry_pictures.take_entry_picture(
        entry=Entry.objects.get(identifier=other).identifier,
        identifier=uuid4(),
        content=photograph(),
        device=tablet.device,
        now=NOW + timedelta(days=1),
    )
    assert not taken.already


def test_neither_sensors_nor_revoked_devices_nor_strangers_send_any(tablet: Tablet, house: TankHouse) -> None:
    entry = _death(tablet)
    sensor = make_device(name="Probe", scope=DeviceScope.READINGS, by=house.registrar, now=NOW)
    probe = give_token(sensor, by=house.registrar, now=NOW).token
    assert _send(tablet, entry, photograph(), token=probe).status_code == 403
    assert _send(tablet, entry, photograph(), token="tide_" + "x" * 43).status_code == 401
    type(tablet.device).objects.filter(pk=tablet.device.pk).update(revoked_at=NOW, revoked_by=house.registrar)
    assert _send(tablet, entry, photograph()).json()["reason"] == "revoked"
    assert not EntryPicture.objects.exists()


def test_what_was_kept_is_never_edited(tablet: Tablet) -> None:
    _send(tablet, _death(tablet), photograph())
    with pytest.raises(DatabaseError), transaction.atomic():
        EntryPicture.objects.update(width=1)
    with pytest.raises(DatabaseError), transaction.atomic():
        EntryPicture.objects.get().delete()


def test_the_last_write_fails_and_no_row_stays(tablet: Tablet, monkeypatch: pytest.MonkeyPatch) -> None:
    entry = _death(tablet)

    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("power")

    monkeypatch.setattr(EntryPicture, "save", fails)
    with pytest.raises(RuntimeError):
        _send(tablet, entry, photograph())
    assert not Document.objects.exists()


def test_pages_show_it_where_somebody_looks_for_it(tablet: Tablet, house: TankHouse) -> None:
    """Event, history of the lot, alarm, body for the veterinarian, a name left open, an animal on no list."""
    thole = tablet.entry("died", lot="W1", n=1, body={"kept": "vet"})
    open_name = tablet.entry("died", n=1)
    keys = {
        one["key"]
        for one in tablet.client.get(
            "/api/v1/tank-side", headers={"Authorization": f"Bearer {tablet.token}"}
        ).json()["open_names"]
        if one["place"] == "E02"
    }
    open_name["open_name"] = next(key for key in sorted(keys) if "rays" in key)
    unlisted = tablet.entry("note", note="Not on the list: 1, a brown sea slug", unlisted=True)
    for answer in tablet.send(thole, open_name, unlisted):
        assert answer["outcome"] == "sent", answer
    of = {}
    for name, entry, colour in (
        ("thole", thole, "teal"),
        ("open", open_name, "maroon"),
        ("unlisted", unlisted, "navy"),
    ):
        assert _send(tablet, entry["identifier"], photograph(colour)).json()["outcome"] == "sent"
        of[name] = EntryPicture.objects.get(entry__identifier=entry["identifier"])
    client = _signed_in(house.registrar)
    event, other = (of[name].entry.event_id for name in ("thole", "open"))
    shown = {
        f"/event/{event}": "thole", "/lot/W1": "thole", "/alarms": "thole", "/bodies": "thole",
        f"/event/{event}/body": "thole", "/sent?lot=W1": "thole",
        "/open-names": "open", f"/event/{other}": "open", "/questions": "unlisted", "/sent": "unlisted",
    }  # fmt: skip
    for page, name in shown.items():
        assert f'src="/picture/entry/{of[name].pk}/small.jpg"' in client.get(page).text, page
    whole = client.get(f"/picture/entry/{of['thole'].pk}.jpg")
    assert (whole.status_code, whole.headers["Content-Type"]) == (200, "image/jpeg")
    assert whole.headers["X-Content-Type-Options"] == "nosniff"
    assert "no-cache" in whole.headers["Cache-Control"]
    small = client.get(f"/picture/entry/{of['thole'].pk}/small.jpg")
    assert max(Image.open(BytesIO(small.content)).size) <= 160
    assert Client().get(f"/picture/entry/{of['thole'].pk}.jpg").status_code == 302
    assert client.get("/picture/entry/4711.jpg").status_code == 404


def test_who_counts_the_tank_sees_neither_entry_nor_picture(
    tablet: Tablet, house: TankHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    _send(tablet, _death(tablet), photograph())
    kept = EntryPicture.objects.select_related("entry").get()
    counter = make_person("Ade", roles=["counter"])
    monkeypatch.setattr(blind, "_ASKED", [lambda who: {house.kelp_hall.pk} if who == counter else set()])
    for person, seen in ((house.registrar, True), (counter, False)):
        client = _signed_in(person)
        event = client.get(f"/event/{kept.entry.event_id}").text
        assert (f"/picture/entry/{kept.pk}" in event) is seen
        for address in (f"/picture/entry/{kept.pk}.jpg", f"/picture/entry/{kept.pk}/small.jpg"):
            assert client.get(address).status_code == (200 if seen else 404)


@pytest.mark.parametrize(
    ("page", "queries"), [("/sent", 10), ("/lot/G1", 20), ("/alarms", 10), ("/questions", 15)]
)
def test_a_page_takes_as_many_queries_with_many_pictures_as_with_one(
    tablet: Tablet,
    house: TankHouse,
    page: str,
    queries: int,
    django_assert_num_queries: Callable[..., Any],
) -> None:
    def entry(number: int) -> str:
        one = tablet.entry("died", lot="G1", n=1, saved_at=NOW - timedelta(minutes=20 * number))
        assert tablet.one(one)["outcome"] == "sent"
        return str(one["identifier"])

    client = _signed_in(house.registrar)
    entries = [entry(number) for number in range(5)]
    _send(tablet, entries[0], photograph())
    client.get(page)
    with django_assert_num_queries(queries):
        client.get(page)
    for identifier in entries:
        _send(tablet, identifier, photograph("maroon"))
    with django_assert_num_queries(queries):
        client.get(page)


def test_the_description_tells_of_files_and_bounds(client: Client, house: TankHouse) -> None:
    described = client.get("/api/v1/openapi.json").json()["paths"]
    post = described["/api/v1/entries/{entry}/pictures/{identifier}"]["post"]
    assert set(post["requestBody"]["content"]) == {"image/jpeg", "image/png", "image/webp"}
    assert "at most 4 MB" in post["requestBody"]["description"]
    assert "413" in post["responses"]
