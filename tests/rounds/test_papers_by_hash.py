"""A kept paper is opened by who may open the page that shows it; its hash, which lists tell, does not."""

from datetime import date

import pytest
from django.test import Client

from census.rounds.actions.beside import add_picture
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.scans import attach_scans
from census.rounds.models import Scan
from inventory.book import blind
from inventory.book.actions.documents import keep_document
from inventory.book.models import Document
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.permits.models import Loan, LoanConfirmation
from tests import factories

from .house import COUNTED, NOW, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
PNG = b"\x89PNG\r\n\x1a\n a page"


def status(client: Client, by: Person, paper: Document) -> int:
    assert by.user is not None
    client.force_login(by.user)
    return client.get(f"/document/{paper.sha256}").status_code


def test_a_scan_with_the_first_count_is_not_opened_by_its_hash(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued()
    sheet = house.line(census, "goby").sheet
    attach_scans(sheet=sheet, files=[("one.png", PNG)], by=house.first, now=NOW)
    scan = Scan.objects.get().document
    inspector = factories.make_person("Ivo", roles=[Role.INSPECTOR])
    for person in (house.second, house.first, inspector, house.registrar):
        assert status(client, person, scan) == 403, person.name


def test_a_picture_of_what_was_written_in_is_for_who_compares(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued()
    sheet = house.line(census, "goby").sheet
    written = Entry(line=0, written_name="Gobius sp.", counted_at=COUNTED, counter=house.first, value=1)
    take_counts(sheet=sheet, entries=[written], by=house.first, now=NOW)
    line = sheet.lines.get(written_name="Gobius sp.")
    paper = add_picture(line=line, name="it.png", content=PNG, by=house.first, now=NOW).document
    inspector = factories.make_person("Ivo", roles=[Role.INSPECTOR])
    assert status(client, house.registrar, paper) == 200
    assert status(client, inspector, paper) == 200
    assert status(client, house.second, paper) == 403


def test_a_letter_that_tells_numbers_waits_until_one_has_counted(
    house: TestHouse, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    paper = keep_document(name="letter.txt", content=b"three rays are here", by=house.registrar, now=NOW)
    loan = Loan.objects.create(
        reference="LN-9",
        direction="out",
        party="A hall",
        starts_on=date(2026, 1, 1),
        entered_at=NOW,
        entered_by=house.registrar,
    )
    LoanConfirmation.objects.create(
        loan=loan, letter_of=date(2026, 9, 1), document=paper, entered_at=NOW, entered_by=house.registrar
    )
    assert status(client, house.second, paper) == 200
    monkeypatch.setattr(blind, "_ASKED", [lambda person: [house.places["LO"].pk]])
    assert status(client, house.second, paper) == 403
