"""The paper that travels with animals, read back by pypdf."""

from collections import defaultdict
from collections.abc import Callable
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfReader
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from inventory.book.models import Event, Lot, Place
from inventory.names.models import ListEntry, NameList
from inventory.people.models import House
from inventory.people.rules.roles import Role
from inventory.permits.actions.loans import LoanFacts, enter_loan
from inventory.permits.models import Loan

from .. import factories
from .house import PermitHouse, a_take

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.fixture
def sent(house: PermitHouse) -> Event:
    """Three anemones taken under the permit, of which two are sent for good."""
    house.record(a_take("dahlia anemone", 3))
    Lot.objects.filter(taxon__scientific_name="Urticina felina").update(marks="on one stone")
    lot = Lot.objects.get(taxon__scientific_name="Urticina felina")
    return factories.make_event(
        "sent", lot=lot, place="Q2", unknown=2, happened="2026-09-20T08:00", party="A & B <Sea Hall>"
    )


@pytest.fixture
def lent(house: PermitHouse) -> Loan:
    """1.2.0 lobsters lent, with their agreement."""
    away = Place.objects.get(code="LO")
    lot = factories.make_lot("H1", taxon=house.taxa["Homarus gammarus"], house_name="Thole")
    factories.make_event("received", lot=lot, place="E02", males=1, females=2, happened="2026-01-02")
    factories.make_event(
        "loan_out",
        lot=lot,
        place="E02",
        to_place=away,
        males=1,
        females=2,
        happened="2026-05-12",
        party="Hall",
    )
    facts = LoanFacts("L1", "out", "Hall", date(2026, 5, 12), lots=["H1"])
    return enter_loan(facts=facts, by=house.officer, now=house.now)


def _words(client: Client, event: Event) -> str:
    response = client.get(f"/event/{event.pk}/transport.pdf")
    assert (response.status_code, response.headers["Content-Type"]) == (200, "application/pdf")
    pages = PdfReader(BytesIO(response.content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_the_paper_says_who_what_how_many_marks_source_and_permit(
    sent: Event, as_role: Callable[[Role], Client]
) -> None:
    words = _words(as_role(Role.REGISTRAR), sent)
    for part in (
        "Check local rules: this is a record, not a permit.",
        "Test Aquarium",
        f"event {sent.pk}, 20 September 2026 08:00, page 1 of 1",
        "A & B <Sea Hall>",
        "Urticina felina dahlia anemone",
        "2 animals, 0.0.2",
        "on one stone",
        "20 September 2026 08:00",
        "TEST 1, The Board, holder Test Aquarium",
        str(sent.identifier),
        "That is no proof that there is none.",
    ):
        assert part in words, part


def test_the_foot_keeps_its_words_apart_in_a_house_of_a_long_name(
    sent: Event, as_role: Callable[[Role], Client]
) -> None:
    name = "The Public Aquarium and Marine Research Station of the Northern Isles"
    House.objects.update(name=name)
    page = PdfReader(BytesIO(as_role(Role.REGISTRAR).get(f"/event/{sent.pk}/transport.pdf").content)).pages[0]
    # What is in a table stands at places of its own.
    feet: defaultdict[float, str] = defaultdict(str)

    def note(text: str, _: Any, at: list[float], *__: Any) -> None:
        if 10 * mm < at[5] < 20 * mm:
            feet[at[5]] += text.strip()

    page.extract_text(visitor_text=note)
    assert any(name in words for words in feet.values())
    assert all(stringWidth(words, "Helvetica", 8) < A4[0] - 36 * mm for words in feet.values())


def test_the_paper_of_a_loan_names_its_agreement_and_sexes(
    lent: Loan, as_role: Callable[[Role], Client]
) -> None:
    client = as_role(Role.REGISTRAR)
    event = Event.objects.get(kind="loan_out")
    words = _words(client, event)
    for part in ("3 animals, 1.2.0", "Thole", "L1 with Hall", "loan out: 3 in all"):
        assert part in words, part
    link = f"/event/{event.pk}/transport.pdf"
    assert link in client.get(f"/loan/{lent.pk}").text
    assert link in client.get(f"/event/{event.pk}").text


def test_hazards_and_lists_of_trade_stand_on_the_paper(
    sent: Event, as_role: Callable[[Role], Client]
) -> None:
    for code, kind, annotation, what, first in (
        ("h", "hazard", "stings", "The skin burns.", "Rinse with sea water."),
        ("l", "legal", "Appendix II", "", ""),
    ):
        of_list = NameList.objects.create(
            code=code, version=1, name=f"List {code}", kind=kind, authority="x", source="a test",
            source_date="2026", mark="memory", loaded_at=factories.NOW, fingerprint="0",
        )  # fmt: skip
        ListEntry.objects.create(
            of_list=of_list, row=7, scientific_name="Urticina felina", name="Urticina felina",
            first_word="Urticina", rank="species", annotation=annotation, what=what,
            what_to_do_first=first, mark="memory",
        )  # fmt: skip
    words = _words(as_role(Role.REGISTRAR), sent)
    for part in (
        "Urticina felina: stings", "The skin burns. First: Rinse with sea water.",
        "This is not medical advice", "Urticina felina: Appendix II (List l; from memory",
    ):  # fmt: skip
        assert part in words, part
    assert "no proof that there is none" not in words


def test_the_same_paper_is_the_same_bytes(sent: Event, as_role: Callable[[Role], Client]) -> None:
    client = as_role(Role.REGISTRAR)
    path = f"/event/{sent.pk}/transport.pdf"
    assert client.get(path).content == client.get(path).content


def test_nobody_travels_by_a_death_or_by_what_was_taken_back(
    sent: Event, as_role: Callable[[Role], Client]
) -> None:
    client = as_role(Role.REGISTRAR)
    taken = Event.objects.get(kind="taken")
    assert client.get(f"/event/{taken.pk}/transport.pdf").status_code == 404
    assert "transport.pdf" not in client.get(f"/event/{taken.pk}").text
    factories.make_reversal(sent)
    assert client.get(f"/event/{sent.pk}/transport.pdf").status_code == 404
    assert "transport.pdf" not in client.get(f"/event/{sent.pk}").text


def test_who_counts_these_animals_gets_no_paper(
    house: PermitHouse, sent: Event, as_role: Callable[[Role], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("inventory.book.blind._ASKED", [lambda person: [house.quarantine.pk]])
    assert as_role(Role.REGISTRAR).get(f"/event/{sent.pk}/transport.pdf").status_code == 403


def test_letters_that_the_fonts_lack_do_not_stop_the_paper(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    lot = factories.make_lot("X1", marks="Łódź 7")
    factories.make_event("received", lot=lot, place="E02", unknown=1, happened="2026-01-02")
    event = factories.make_event(
        "sent", lot=lot, place="E02", unknown=1, happened="2026-02-02", party="水族館"
    )
    assert "X1" in _words(as_role(Role.REGISTRAR), event)
