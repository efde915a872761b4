"""The paper of a sheet is kept with it, and shown to those who may read a count off it."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.scans import attach_scans
from census.rounds.actions.sheets import replace_sheet
from census.rounds.models import Scan, Sheet
from census.rounds.rules.words import SheetState
from inventory.book.queries.documents import read_document
from tests import factories

from .house import NOW, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]

PDF = b"%PDF-1.7 a paper"
PNG = b"\x89PNG\r\n\x1a\n a page"
JPEG = b"\xff\xd8\xff another page"


@pytest.fixture
def sheet(house: TestHouse) -> Sheet:
    census = house.opened_and_issued()
    return Sheet.objects.get(census=census, number=f"{census.code}-01")


def test_several_pages_are_kept_in_their_order_with_who_and_when(house: TestHouse, sheet: Sheet) -> None:
    attach_scans(sheet=sheet, files=[("one.png", PNG), ("two.jpg", JPEG)], by=house.first, now=NOW)
    attach_scans(sheet=sheet, files=[("all.pdf", PDF)], by=house.registrar, now=NOW)
    kept = [
        (scan.number, scan.document.name, scan.added_by, scan.added_at)
        for scan in Scan.objects.filter(sheet=sheet)
    ]
    assert kept == [
        (1, "one.png", house.first, NOW),
        (2, "two.jpg", house.first, NOW),
        (3, "all.pdf", house.registrar, NOW),
    ]
    assert read_document(Scan.objects.filter(sheet=sheet)[2].document) == PDF


def test_the_same_file_again_is_kept_once(house: TestHouse, sheet: Sheet) -> None:
    attach_scans(sheet=sheet, files=[("one.png", PNG), ("copy.png", PNG)], by=house.first, now=NOW)
    assert attach_scans(sheet=sheet, files=[("again.png", PNG)], by=house.first, now=NOW) == ()
    assert Scan.objects.count() == 1


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ([], "at least one file"),
        ([("empty.pdf", b"")], "empty"),
        ([("list.csv", b"a,b\n")], "no picture of the paper"),
        ([("page.png", PNG), ("list.csv", b"a,b\n")], "no picture of the paper"),
        ([("run.exe", b"MZ\x00")], "none of the kinds"),
    ],
    ids=["nothing", "empty", "a table", "one good, one not", "a program"],
)
def test_what_is_no_paper_is_refused_and_nothing_is_attached(
    house: TestHouse, sheet: Sheet, files: list[tuple[str, bytes]], words: str
) -> None:
    with pytest.raises(CensusRefused, match=words):
        attach_scans(sheet=sheet, files=files, by=house.first, now=NOW)
    assert not Scan.objects.exists()


def test_a_sheet_that_was_not_issued_has_no_paper(house: TestHouse) -> None:
    sheet = house.open().sheets.first()
    assert sheet is not None
    with pytest.raises(CensusRefused, match="has not been issued"):
        attach_scans(sheet=sheet, files=[("one.pdf", PDF)], by=house.first, now=NOW)


def test_a_lost_sheet_that_is_found_again_is_kept(house: TestHouse, sheet: Sheet) -> None:
    replace_sheet(sheet=sheet, state=SheetState.LOST, by=house.registrar, now=NOW, note="blown away")
    sheet.refresh_from_db()
    assert len(attach_scans(sheet=sheet, files=[("found.pdf", PDF)], by=house.first, now=NOW)) == 1


def test_who_neither_counts_nor_types_attaches_nothing(house: TestHouse, sheet: Sheet) -> None:
    inspector = factories.make_person("Ingrid", roles=["inspector"])
    with pytest.raises(CensusRefused, match="Ingrid may not attach"):
        attach_scans(sheet=sheet, files=[("one.pdf", PDF)], by=inspector, now=NOW)


def test_a_scan_is_neither_changed_nor_taken_away(house: TestHouse, sheet: Sheet) -> None:
    attach_scans(sheet=sheet, files=[("one.pdf", PDF)], by=house.first, now=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        Scan.objects.update(number=9)
    with pytest.raises(IntegrityError), transaction.atomic():
        Scan.objects.all().delete()


def _post(client: Client, sheet: Sheet, *files: SimpleUploadedFile) -> str:
    response = client.post(reverse("sheet_scans", args=[sheet.number]), {"papers": files}, follow=True)
    return response.content.decode()


def test_the_page_takes_several_files_and_lists_them(house: TestHouse, sheet: Sheet, client: Client) -> None:
    client.force_login(house.first.user)  # type: ignore[arg-type]
    page = _post(client, sheet, SimpleUploadedFile("one.png", PNG), SimpleUploadedFile("two.jpg", JPEG))
    assert "2 scans kept" in page
    assert "one.png" in page
    assert "two.jpg" in page
    got = client.get(reverse("sheet_scan", args=[sheet.number, 2]))
    assert got.content == JPEG
    assert got["Content-Type"] == "image/jpeg"
    assert "attachment" in got["Content-Disposition"]


def test_the_page_says_what_is_wrong(house: TestHouse, sheet: Sheet, client: Client) -> None:
    client.force_login(house.first.user)  # type: ignore[arg-type]
    assert "This field is required" in _post(client, sheet)
    assert "no picture of the paper" in _post(client, sheet, SimpleUploadedFile("list.csv", b"a,b\n"))
    assert not Scan.objects.exists()


def test_a_second_counter_does_not_read_the_first_count_off_the_paper(
    house: TestHouse, sheet: Sheet, client: Client
) -> None:
    attach_scans(sheet=sheet, files=[("first count.pdf", PDF)], by=house.first, now=NOW)
    address = reverse("sheet_scan", args=[sheet.number, 1])
    for person, sees in ((house.second, False), (house.first, True), (house.registrar, True)):
        client.force_login(person.user)  # type: ignore[arg-type]
        assert (
            "first count.pdf" in client.get(reverse("sheet", args=[sheet.number])).content.decode()
        ) is sees
        assert (client.get(address).status_code == 200) is sees
