"""Blind for real: nothing that a counter can get while counting holds a number of their tank.

Every address of the project is opened, with every value that could lead somewhere, and every link on every
page is followed; the bytes are searched, of pages, prints, workbooks, answers of the interface, and what a
device keeps for the hours without signal. The numbers are improbable: one that is found was given away.
"""

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from urllib.parse import unquote

import pytest
from django.test import Client
from django.urls import resolve

from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.scans import attach_scans
from census.rounds.actions.sheets import hand_in, issue
from census.rounds.models import Census, Line, Sheet
from inventory.book.actions.close import close_period
from inventory.book.models import Event, Period
from inventory.book.rules.kinds import EventKind
from inventory.people.actions.codes import check_code, set_code
from inventory.people.actions.devices import enrol, make_device, offer_code
from inventory.people.models import DeviceScope, Person
from tests import factories

from .blind_walk import Walk, addresses, names_in, pattern_of, patterns
from .house import NOW, ZONE, TestHouse, at

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]

# Sprats in K1: 9311 came, 1392 moved away to K2, so 7919 are there; with K2's 1392 and 604 more the taxon
# has 9915. FIRST is what the first counter counted, LOW and HIGH the range of the passes.
CAME, MOVED, BOOK, ELSEWHERE, FIRST, LOW, HIGH = 9311, 1392, 7919, 604, 8117, 8087, 8161
TAXON = BOOK + MOVED + ELSEWHERE
# Animals in K1 with all others that live there.
TANK = BOOK + 11 + 22 + 15 + 420 + 18 + 2
BOOKS = (CAME, BOOK, TAXON, TANK)
FIRST_COUNT = (FIRST, LOW, HIGH)

LEFT_OUT = {
    "document": "the address is the hash of the content: who can name it has the file already",
    "sign_out": "ends the walk",
}


@pytest.fixture
def shoal(house: TestHouse) -> TestHouse:
    """A house whose sprats are to be counted, with a closed period and its papers behind it."""
    return stocked_with_sprats(house)


def stocked_with_sprats(house: TestHouse) -> TestHouse:
    """Books the sprats, whose numbers are unlike any other."""
    house.lots["sprat"] = factories.make_lot(
        "HER-1", taxon=factories.make_taxon("Sprattus sprattus", count_class="C")
    )
    sprat: dict[str, Any] = {"lot": house.lots["sprat"], "entered_by": house.registrar}
    entered_at = at("2026-06-21T09:00")
    factories.make_event(
        "received", place="K1", unknown=CAME, happened="2026-06-20", entered_at=entered_at, **sprat
    )
    factories.make_event("moved", place="K1", to_place="K2", unknown=MOVED, happened="2026-09-02", **sprat)
    factories.make_event("received", place="K2", unknown=ELSEWHERE, happened="2026-09-03", **sprat)
    return house


def _closed(house: TestHouse) -> Period:
    """The quarter before, with its papers; what came in it stands there."""
    period = factories.make_period("2026 Q2", "2026-04-01", "2026-06-30")
    close_period(period, closed_at=at("2026-07-10T09:00"), signed_by=house.curator, zone=ZONE)
    return period


def _values(house: TestHouse, census: Census) -> dict[str, list[object]]:
    """Whatever may stand in an address."""
    line = _line(house, census)
    return {
        "code": ["K1", "K2", census.code, "2026 Q3", "2026 Q2"],
        "number": [line.sheet.number, 1],
        "step": ["issue"],
        "line": [line.number],
        "scan": [1],
        "name": ["census", "change"],
        "accession": [house.lots["sprat"].accession, house.lots["wrasse"].accession],
        "scientific_name": ["Sprattus sprattus", "Symphodus melops"],
        "kind": [EventKind.DIED.value, EventKind.MOVED.value, EventKind.MISSING.value],
        "pk": list(
            Event.objects.filter(flows__to_cell__lot=house.lots["sprat"]).values_list("pk", flat=True)
        ),
        "sha256": ["0" * 64],
        "method": ["passes"],
        "path": ["x"],
    }


QUESTIONS = ("round=1", "round=2", "show=all", "by=lot", "q=Sprattus", "format=json", "what=lines")


def _asked(values: dict[str, list[object]]) -> Iterator[str]:
    """Every address; what its parameters may be, or 1."""
    known: dict[str, list[object]] = {name: ["1"] for route, _ in patterns() for name in names_in(route)}
    known |= values
    yield from addresses(known, LEFT_OUT)


def _ends(address: str) -> bool:
    return address in ("/sign-out",)


def _walk(person: Person, house: TestHouse, census: Census, numbers: tuple[int, ...]) -> Walk:
    client = Client(raise_request_exception=True)
    client.force_login(person.user)  # type: ignore[arg-type]
    walk = Walk(pattern_of(numbers))
    walk.through(client, ["/", *_asked(_values(house, census))], skip=_ends)
    # One address of each page is enough for the questions that no link asks.
    answered: dict[str, str] = {}
    for address, status in walk.opened.items():
        if status == 200 and "?" not in address and not address.startswith("/static/"):
            answered.setdefault(resolve(unquote(address)).view_name, address)
    asked = [f"{address}?{question}" for address in answered.values() for question in QUESTIONS]
    walk.through(client, asked, skip=_ends)
    return walk


def _issued(house: TestHouse, counter: Person) -> Census:
    """K1 is the counter's; the other tanks are somebody else's, so that a difference of totals would tell."""
    census = house.open()
    for sheet in census.sheets.select_related("place"):
        counters = [counter] if sheet.place.code == "K1" else [house.second]
        issue(sheet=sheet, by=house.registrar, now=at("2026-09-23T09:00"), counters=counters)
    return census


def _line(house: TestHouse, census: Census) -> Line:
    lines = Line.objects.select_related("sheet__census", "place", "taxon")
    return lines.get(sheet__census=census, lots=house.lots["sprat"], place__code="K1")


ROLES = {
    "aquarist": ["counter", "aquarist"],
    "volunteer": ["counter"],
    "registrar who counts": ["counter", "registrar"],
    "permit officer and veterinarian who counts": ["counter", "permit_officer", "veterinarian"],
    "inspector and curator who counts": ["counter", "inspector", "curator"],
}


@pytest.mark.slow
@pytest.mark.parametrize("roles", ROLES.values(), ids=ROLES)
def test_while_counting_no_address_of_the_house_holds_a_number_of_the_tank(
    shoal: TestHouse, roles: list[str]
) -> None:
    counter = factories.make_person("Alvilda", roles=roles)
    _closed(shoal)
    census = _issued(shoal, counter)
    walk = _walk(counter, shoal, census, BOOKS)
    assert "\n".join(walk.leaks) == ""
    assert sum(status == 200 for status in walk.opened.values()) > 40
    assert not {status for status in walk.opened.values() if status >= 500}


@pytest.mark.slow
def test_who_counts_again_finds_neither_the_book_nor_the_first_count(shoal: TestHouse) -> None:
    second = factories.make_person("Torger", roles=["counter", "aquarist"])
    census = _recount(shoal, second)
    walk = _walk(second, shoal, census, (*BOOKS, *FIRST_COUNT))
    assert "\n".join(walk.leaks) == ""


def _recount(house: TestHouse, second: Person) -> Census:
    from census.rounds.actions.counts import Entry, take_counts

    census = _issued(house, house.first)
    line = _line(house, census)
    counted = Entry(
        line=line.number, counted_at=at("2026-09-29T10:00"), counter=house.first,
        value=FIRST, low=LOW, high=HIGH, remark=f"passes of {LOW} and {HIGH}",
    )  # fmt: skip
    take_counts(sheet=line.sheet, entries=[counted], by=house.first, now=at("2026-09-29T11:00"))
    hand_in(sheet=Sheet.objects.get(pk=line.sheet_id), by=house.first, now=at("2026-09-29T12:00"))
    paper = f"%PDF-1.7 {FIRST}".encode()
    attach_scans(sheet=Sheet.objects.get(pk=line.sheet_id), files=[("p.pdf", paper)], by=house.first, now=NOW)
    ask_recount(lines=[line], of=second, by=house.registrar, now=at("2026-09-29T18:00"))
    return census


@pytest.mark.slow
def test_the_walk_finds_the_numbers_where_nobody_counts(shoal: TestHouse) -> None:
    """So that a search which finds nothing means something."""
    reader = factories.make_person("Sigrun", roles=["registrar"])
    _closed(shoal)
    walk = _walk(reader, shoal, _issued(shoal, shoal.first), BOOKS)
    found = " ".join(walk.leaks)
    for place in ("/places", "/place/K1", "/lot/HER-1", "/taxon/Sprattus sprattus", "/event/", "/change"):
        assert f"{place}" in found, place


def test_what_a_device_is_given_for_the_hours_without_signal_holds_no_number(shoal: TestHouse) -> None:
    """The offline copy: the lists of the interface, the pages of the tank side and all their files; and the
    answers to entries about the tank that is counted, for an answer must not tell what is left."""
    counter = factories.make_person("Alvilda", roles=["counter", "aquarist"], initials="AL")
    _issued(shoal, counter)
    device = make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=shoal.registrar, now=NOW)
    enrolled = enrol(code=offer_code(device, by=shoal.registrar, now=NOW), now=NOW)
    set_code(counter, "4071", by=counter, now=NOW - timedelta(days=3))
    signed = check_code(person=counter, code="4071", device=device, now=NOW - timedelta(hours=1)).signed
    client, walk = Client(headers={"Authorization": f"Bearer {enrolled.token}"}), Walk(pattern_of(BOOKS))
    entries = [
        {
            "identifier": f"00000000-0000-4000-8000-00000000000{n}",
            "kind": kind,
            "person": counter.pk,
            "pass": signed,
            "saved_at": NOW.isoformat(),
            "place": "K1",
            "lot": "HER-1",
            "numbers": {"unknown": number},
            **more,
        }
        for n, (kind, number, more) in enumerate(
            [
                ("died", 500, {}),
                ("died", BOOK * 2 + 5, {}),
                ("moved", 3, {"to_place": "K2"}),
                ("missing", 2, {}),
            ]
        )
    ]
    answer = client.post(
        "/api/v1/entries",
        {"sent_at": NOW.isoformat(), "entries": entries},
        content_type="application/json",
    )
    assert answer.status_code == 200
    left = pattern_of([*BOOKS, BOOK - 500, BOOK - 500 - 3, CAME - 500])
    walk.forbidden = left
    walk.look("answer to entries", answer.content)
    lists = client.get("/api/v1/tank-side")
    assert "HER-1" in json.dumps(lists.json())
    walk.look("lists", lists.content)
    client.force_login(counter.user)  # type: ignore[arg-type]
    shell = [f"/{route}" for route, _ in patterns() if route.startswith("tank/")]
    walk.through(client, shell, skip=lambda address: not address.startswith(("/tank/", "/static/tankside")))
    assert walk.leaks == []
    assert "/tank/" in walk.opened
