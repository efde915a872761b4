"""Papers are kept as they came, once each, and given back as downloads only."""

import hashlib
from datetime import datetime
from pathlib import Path

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from inventory.book.actions.documents import LARGEST, DocumentRefused, keep_document
from inventory.book.models import Document
from inventory.book.queries.documents import path_of, read_document
from inventory.book.rules.media import media_type

from ..factories import make_person

pytestmark = pytest.mark.django_db
PDF = b"%PDF-1.7\n%%EOF\n"


def test_a_document_is_given_back_byte_for_byte(ledger_now: datetime) -> None:
    kept = keep_document(name="letter.pdf", content=PDF, by=make_person(), now=ledger_now)
    assert (kept.media_type, kept.size, kept.sha256) == (
        "application/pdf",
        len(PDF),
        hashlib.sha256(PDF).hexdigest(),
    )
    assert read_document(kept) == PDF


def test_the_same_file_twice_is_one_document(ledger_now: datetime) -> None:
    first = keep_document(name="letter.pdf", content=PDF, by=make_person(), now=ledger_now)
    again = keep_document(name="copy.pdf", content=PDF, by=make_person(), now=ledger_now)
    assert again == first
    assert Document.objects.count() == 1


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("empty.pdf", b"", "is empty"),
        ("page.html", b"<script>alert(1)</script>", "none of the kinds"),
        ("picture.png", b"MZ\x90\x00 a program", "none of the kinds"),
        ("notes.txt", b"\xff\xfe\x00n", "none of the kinds"),
        ("long.pdf", PDF + b"0" * LARGEST, "the largest file kept is 20 MB"),
    ],
)
def test_what_is_not_kept_is_refused_with_the_reason(
    name: str, content: bytes, why: str, ledger_now: datetime
) -> None:
    with pytest.raises(DocumentRefused, match=why):
        keep_document(name=name, content=content, by=make_person(), now=ledger_now)
    assert not Document.objects.exists()


def test_a_path_in_the_name_of_a_file_leads_nowhere(ledger_now: datetime) -> None:
    kept = keep_document(name="../../etc/..\\letter.pdf", content=PDF, by=make_person(), now=ledger_now)
    assert kept.name == "letter.pdf"
    assert path_of(kept.sha256).name == kept.sha256


def test_an_altered_or_lost_file_is_noticed(ledger_now: datetime) -> None:
    kept = keep_document(name="letter.csv", content=b"a,b\n", by=make_person(), now=ledger_now)
    path_of(kept.sha256).write_bytes(b"a,c\n")
    with pytest.raises(ValueError, match="was altered"):
        read_document(kept)
    Path(path_of(kept.sha256)).unlink()
    with pytest.raises(ValueError, match="is gone"):
        read_document(kept)


def test_a_document_is_never_changed(ledger_now: datetime) -> None:
    kept = keep_document(name="letter.pdf", content=PDF, by=make_person(), now=ledger_now)
    with pytest.raises(IntegrityError), transaction.atomic():
        Document.objects.filter(pk=kept.pk).update(name="another.pdf")


def test_a_paper_is_opened_by_whom_a_page_shows_it_and_always_as_a_download(
    client: Client, ledger_now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    reader = make_person(signs_in=True)
    kept = keep_document(name="fângst.pdf", content=PDF + b"1", by=reader, now=ledger_now)
    url = reverse("document", args=[kept.sha256])
    assert client.get(url).status_code == 302
    assert reader.user is not None
    client.force_login(reader.user)
    refused = client.get(url)
    assert refused.status_code == 403, "its hash alone opens no paper"
    assert "opened on the page where it belongs" in refused.content.decode()
    monkeypatch.setattr("inventory.book.withheld._SHOWN", [lambda paper, person, roles: person == reader])
    response = client.get(url)
    assert response.content == PDF + b"1"
    assert response["Content-Disposition"].startswith("attachment;")
    assert response["X-Content-Type-Options"] == "nosniff"


def test_a_zip_is_told_apart_by_its_name_only_among_the_kinds_that_are_zips() -> None:
    assert media_type("book.xlsx", b"PK\x03\x04...").endswith("spreadsheetml.sheet")
    assert media_type("book.exe", b"PK\x03\x04...") == ""
