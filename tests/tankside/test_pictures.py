"""Pictures of taxa and lots: what is taken, what is kept of it, who sets it, who gets it."""

import struct
import zlib
from collections.abc import Callable
from datetime import datetime
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, transaction
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image

from inventory.book.actions.documents import keep_document
from inventory.book.models import Document, Lot
from inventory.book.queries.documents import read_document
from inventory.names.models import Taxon
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.tankside.actions.pictures import PictureRefused, set_picture, take_picture_away
from inventory.tankside.models import Picture
from inventory.tankside.queries.tank_side import tank_side
from inventory.tankside.readers.pictures import LARGEST_THUMBNAIL, NoPicture, prepare

from ..factories import NOW, make_event, make_lot, make_person, make_picture, make_taxon, photograph
from .conftest import Tablet, TankHouse


def _rows(now: datetime) -> dict[str, str | None]:
    return {lot["accession"]: lot["picture_url"] for lot in tank_side(now=now)["lots"]}


def test_what_is_kept_tells_no_position_and_stands_upright() -> None:
    """Tags of position and orientation: Exif 2.3 (CIPA DC-008), as Pillow names them."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6  # turned by a quarter: what is wide is shown high
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (58.0, 14.0, 59.0)
    out = BytesIO()
    Image.new("RGB", (3000, 2000), "teal").save(out, "JPEG", exif=exif, comment=b"near the pier")
    assert b"near the pier" in out.getvalue()
    made = prepare("IMG_1.jpg", out.getvalue())
    for content, sides in ((made.picture, (1067, 1600)), (made.thumbnail, (107, 160))):
        kept = Image.open(BytesIO(content))
        assert kept.format == "JPEG"
        assert kept.size == pytest.approx(sides, abs=1)
        assert not kept.getexif()
        assert "comment" not in kept.info
    assert (made.width, made.height) == Image.open(BytesIO(made.picture)).size


def test_what_is_clear_becomes_white_and_noise_still_fits_a_device() -> None:
    out = BytesIO()
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(out, "PNG")
    assert Image.open(BytesIO(prepare("clear.png", out.getvalue()).picture)).getpixel((5, 5)) == (255,) * 3
    noise = BytesIO()
    Image.effect_noise((400, 400), 120).convert("RGB").save(noise, "WEBP", lossless=True)
    assert len(prepare("noise.webp", noise.getvalue()).thumbnail) <= LARGEST_THUMBNAIL


def _bomb(width: int, height: int) -> bytes:
    """A PNG (ISO/IEC 15948) that says it is so large and holds next to nothing."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(bytes(1000)))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("bomb.png", _bomb(30_000, 30_000), "more than 30 million pixels"),
        ("bomb.png", _bomb(10_000, 10_000), "more than 30 million pixels"),
        ("wide.png", _bomb(6_000, 6_000), "more than 30 million pixels"),
        ("short.png", _bomb(600, 600), "cannot be opened as a picture"),
        ("words.jpg", b"<html><script>alert(1)</script>", "cannot be opened as a picture"),
        ("paper.jpg", b"%PDF-1.7 not a picture", "cannot be opened as a picture"),
        ("moving.jpg", b"GIF89a" + bytes(40), "cannot be opened as a picture"),
        ("half.jpg", photograph()[:200], "cannot be opened as a picture"),
    ],
)
def test_bombs_texts_and_broken_files_are_refused_in_words(name: str, content: bytes, why: str) -> None:
    with pytest.raises(NoPicture, match=why):
        prepare(name, content)


@given(spoilt=st.binary(max_size=64), at=st.integers(0, 600))
def test_a_spoilt_file_is_opened_or_refused_and_nothing_else(spoilt: bytes, at: int) -> None:
    whole = photograph()
    content = whole[:at] + spoilt + whole[at + len(spoilt) :]
    try:
        made = prepare("spoilt.jpg", content)
    except NoPicture:
        return
    assert made.picture.startswith(b"\xff\xd8\xff")


def test_a_lots_own_picture_comes_before_that_of_its_taxon(house: TankHouse) -> None:
    assert set(_rows(NOW).values()) == {None}
    taxon = house.wolffish.taxon
    of_taxon = make_picture(taxon, by=house.registrar)
    assert of_taxon.thumbnail is not None
    assert _rows(NOW)["W1"] == f"/api/v1/pictures/{of_taxon.thumbnail.sha256}"
    own = make_picture(house.wolffish, by=house.aquarist, colour="maroon")
    assert own.thumbnail is not None
    assert _rows(NOW)["W1"] == f"/api/v1/pictures/{own.thumbnail.sha256}"
    assert _rows(NOW)["R1"] is None
    take_picture_away(of=house.wolffish, by=house.aquarist, now=NOW)
    assert _rows(NOW)["W1"] == f"/api/v1/pictures/{of_taxon.thumbnail.sha256}"
    take_picture_away(of=taxon, by=house.registrar, now=NOW)
    assert _rows(NOW)["W1"] is None
    assert take_picture_away(of=taxon, by=house.registrar, now=NOW) is None
    assert Picture.objects.count() == 4


def test_the_lists_take_as_many_queries_with_many_pictures_as_with_none(
    house: TankHouse, django_assert_num_queries: Callable[..., Any]
) -> None:
    def asked() -> int:
        with django_assert_num_queries(15) as seen:
            tank_side(now=NOW)
        return len(seen)

    none = asked()
    for number in range(6):
        taxon = make_taxon(f"Labrus species{number}")
        lot = make_lot(f"L{number}", taxon=taxon)
        make_event("received", lot=lot, place=house.kelp_hall, unknown=1, happened="2026-09-02")
        make_picture(taxon, by=house.registrar)
        make_picture(lot, by=house.registrar)
    assert asked() == none
    assert sum(url is not None for url in _rows(NOW).values()) == 6


@pytest.mark.parametrize(
    ("role", "taxon", "lot"),
    [(Role.REGISTRAR, True, True), (Role.CURATOR, True, True), (Role.AQUARIST, False, True),
     (Role.COUNTER, False, False), (Role.INSPECTOR, False, False), (Role.ADMINISTRATOR, False, False)],
)  # fmt: skip
def test_who_sets_it(house: TankHouse, role: Role, taxon: bool, lot: bool) -> None:
    by = make_person(f"The {role.words}", roles=[role])
    for of, may in ((house.ray.taxon, taxon), (house.ray, lot)):
        if may:
            assert make_picture(of, by=by)
            assert take_picture_away(of=of, by=by, now=NOW)
            continue
        with pytest.raises(PictureRefused, match="may not set this picture"):
            make_picture(of, by=by)
        with pytest.raises(PictureRefused, match="may not set this picture"):
            take_picture_away(of=of, by=by, now=NOW)


@pytest.mark.parametrize("missing", ["alt", "credit"])
def test_words_and_the_photographers_name_are_asked_for(house: TankHouse, missing: str) -> None:
    said = {"alt": "from the side", "credit": "Maren"} | {missing: "  "}
    with pytest.raises(PictureRefused, match=r"^Say "):
        set_picture(of=house.ray, name="a.jpg", content=photograph(), by=house.registrar, now=NOW, **said)
    assert not Document.objects.exists()


def test_what_was_set_is_never_edited(house: TankHouse) -> None:
    made = make_picture(house.ray, by=house.registrar)
    with pytest.raises(DatabaseError), transaction.atomic():
        Picture.objects.filter(pk=made.pk).update(credit="Somebody else")
    with pytest.raises(DatabaseError), transaction.atomic():
        made.delete()


def test_the_last_write_fails_and_no_row_stays(house: TankHouse, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(**_: object) -> None:
        raise RuntimeError("power")

    monkeypatch.setattr(Picture.objects, "create", fails)
    with pytest.raises(RuntimeError):
        make_picture(house.ray, by=house.registrar)
    assert not Document.objects.exists()


def test_a_device_gets_thumbnails_by_its_token_and_no_other_paper(tablet: Tablet, house: TankHouse) -> None:
    made = make_picture(house.ray, by=house.registrar)
    assert made.thumbnail is not None
    assert made.document is not None
    url = _rows(NOW)["R1"]
    assert url
    bearer = {"Authorization": f"Bearer {tablet.token}"}
    answer = tablet.client.get(url, headers=bearer)
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "image/jpeg")
    assert answer.content == read_document(made.thumbnail)
    assert tablet.client.get(url).status_code == 401
    paper = keep_document(name="a.pdf", content=b"%PDF-1.7 secret", by=house.registrar, now=NOW)
    for sha256 in (paper.sha256, made.document.sha256, "0" * 64):
        assert tablet.client.get(f"/api/v1/pictures/{sha256}", headers=bearer).status_code == 404
    assert tablet.client.get("/api/v1/pictures/..", headers=bearer).status_code in (404, 422)


def _signed_in(person: Person) -> Client:
    assert person.user is not None
    client = Client()
    client.force_login(person.user)
    return client


def _sent(client: Client, url: str, content: bytes, name: str = "ray.jpg") -> Any:
    said = {
        "file": SimpleUploadedFile(name, content, "image/jpeg"),
        "alt": "from above, <b>pale</b> spots",
        "credit": "Sunniva & Maren",
    }
    return client.post(url, said, follow=True)


@pytest.mark.parametrize("of", ["taxon", "lot"])
def test_the_page_sets_it_and_the_pages_show_it(house: TankHouse, of: str) -> None:
    client = _signed_in(house.registrar)
    name = house.ray.taxon.scientific_name
    url = f"/picture/taxon/{name}" if of == "taxon" else "/picture/lot/R1"
    assert "<figure" not in client.get("/lot/R1").text
    answer = _sent(client, url, photograph())
    assert "The picture is kept." in answer.text
    kept = Picture.objects.get()
    assert kept.document is not None
    where = ["/lot/R1", *([f"/taxon/{name}"] if of == "taxon" else [])]
    for page in (url, *where):
        text = client.get(page).text
        assert f'src="/picture/{kept.document.sha256}.jpg"' in text
        assert 'alt="from above, &lt;b&gt;pale&lt;/b&gt; spots"' in text
        assert "Picture: Sunniva &amp; Maren" in text
    shown = client.get(f"/picture/{kept.document.sha256}.jpg")
    assert shown.headers["Content-Type"] == "image/jpeg"
    assert shown.headers["X-Content-Type-Options"] == "nosniff"
    assert Image.open(BytesIO(shown.content)).size == (kept.width, kept.height)
    assert "No picture is shown from now on." in client.post(url, {"away": "1"}, follow=True).text
    assert "<figure" not in client.get("/lot/R1").text


def test_a_text_called_jpg_is_refused_on_the_page_and_nothing_is_kept(house: TankHouse) -> None:
    client = _signed_in(house.registrar)
    answer = _sent(client, "/picture/lot/R1", b"<html><script>alert(1)</script>", "ray.jpg")
    assert "cannot be opened as a picture" in answer.text
    assert not Document.objects.exists()
    assert not Picture.objects.exists()


def test_other_papers_are_not_given_out_as_pictures(house: TankHouse) -> None:
    paper = keep_document(name="a.png", content=b"\x89PNG\r\n\x1a\n", by=house.registrar, now=NOW)
    assert _signed_in(house.registrar).get(f"/picture/{paper.sha256}.jpg").status_code == 404


def test_the_page_takes_as_many_queries_with_many_pictures_as_with_one(
    house: TankHouse, django_assert_num_queries: Callable[..., Any]
) -> None:
    client = _signed_in(house.registrar)
    taxon: Taxon = house.ray.taxon
    lot: Lot = house.ray
    make_picture(taxon, by=house.registrar)
    make_picture(lot, by=house.registrar)
    with django_assert_num_queries(8) as one:
        client.get("/picture/lot/R1")
    for number in range(5):
        make_picture(lot, by=house.registrar, colour=f"#0000{number}0")
    with django_assert_num_queries(len(one)):
        client.get("/picture/lot/R1")
