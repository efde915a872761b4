"""Histories: everything that was ever said, in order, refused entries included; constant queries; blind."""

import re
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.book.models import Place, RefusedEntry
from inventory.people.models import Person
from inventory.permits.actions.loans import LoanFacts, confirm_loan, enter_loan
from inventory.tankside.models import Entry
from tests.factories import make_event, make_house, make_lot, make_person, make_place, make_reversal
from tests.permits.house import a_take, make_permit_house

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.fixture
def registrar(client: Client) -> Client:
    person = make_person("Reg", roles=["registrar"])
    make_house(registrar=person)
    _sign_in(client, person)
    return client


def _history(client: Client, kind: str, key: str, **query: str) -> Any:
    answer = client.get(reverse("history", args=[kind, key]), query)
    assert answer.status_code == 200
    return answer


def test_an_entry_that_the_ledger_refuses_on_a_page_is_kept_and_told(registrar: Client) -> None:
    lot, place, other = make_lot("A-7", kind="individual"), make_place("E07"), make_place("E08")
    make_event("received", lot=lot, place=place, happened="2026-09-01")
    make_event("died", lot=lot, place=place, happened="2026-09-10")
    said = {
        "identifier": "0f8fad5b-d9cb-469f-a165-70867728950e",
        "place": "E07",
        "to_place": "E08",
        "day": "2026-10-01",
        "note": "seen <b>alive</b>",
    }

    answer = registrar.post(reverse("record", args=["moved", lot.accession]), said)

    assert answer.status_code == 200
    kept = RefusedEntry.objects.get()
    assert kept.by_name == "Reg"
    assert kept.said["note"] == "seen <b>alive</b>"
    assert kept.why
    for kind, key in (("lot", "A-7"), ("place", place.code), ("place", other.code)):
        page = _history(registrar, kind, key).content.decode()
        assert "seen &lt;b&gt;alive&lt;/b&gt;" in page
        assert '<span class="tag">refused, a page of the book</span>' in page
        assert "to place E08" in page
        assert "to_place" not in page


def test_a_form_that_lacks_something_is_kept_too(registrar: Client) -> None:
    lot = make_lot("A-8")
    make_event("received", lot=lot, unknown=3)

    registrar.post(reverse("record", args=["died", lot.accession]), {"note": "two dead", "day": "2026-10-01"})

    kept = RefusedEntry.objects.get()
    assert kept.said == {"note": "two dead", "day": "2026-10-01"}
    assert "Number: " in kept.why
    assert "unknown" not in kept.why


def test_what_is_taken_is_not_kept_as_refused(registrar: Client) -> None:
    lot, place = make_lot("A-9"), make_place("E09")
    make_event("received", lot=lot, place=place, unknown=3)
    said = {
        "place": "E09",
        "unknown": "1",
        "day": "2026-10-01",
        "identifier": "0f8fad5b-d9cb-469f-a165-70867728950e",
    }

    answer = registrar.post(reverse("record", args=["died", lot.accession]), said)

    assert answer.status_code == 302
    assert not RefusedEntry.objects.exists()


def test_a_refused_load_is_kept_although_nothing_was_loaded(registrar: Client, tmp_path: Path) -> None:
    make_lot("A-10")
    make_place("E10")
    (tmp_path / "events.csv").write_text(
        "ref,kind,happened,accession,place,unknown\nR1,died,2026-09-01,A-10,E10,0\n", encoding="utf-8"
    )

    with pytest.raises(SystemExit):
        call_command("load", str(tmp_path), by="Somebody")

    kept = RefusedEntry.objects.get()
    assert (kept.by, kept.by_name, kept.door) == (None, "Somebody", "load")
    assert "R1" in kept.why or "row 2" in kept.why
    assert "refused, a load of spreadsheets" in _history(registrar, "lot", "A-10").content.decode()


def test_a_dry_run_leaves_nothing(registrar: Client, tmp_path: Path) -> None:
    make_lot("A-11")
    (tmp_path / "events.csv").write_text(
        "ref,kind,happened,accession,place,unknown\nR1,died,2026-09-01,A-11,NOWHERE,1\n", encoding="utf-8"
    )

    with pytest.raises(SystemExit):
        call_command("load", str(tmp_path), dry_run=True)

    assert not RefusedEntry.objects.exists()


def test_refused_entries_are_never_changed_or_removed(registrar: Client) -> None:
    test_a_form_that_lacks_something_is_kept_too(registrar)

    for change in (lambda: RefusedEntry.objects.update(why=""), lambda: RefusedEntry.objects.all().delete()):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_events_and_their_reversals_stand_in_order_of_happening_and_of_entry(registrar: Client) -> None:
    lot, place = make_lot("A-12"), make_place("E12")
    first = make_event("received", lot=lot, place=place, unknown=9, happened="2026-09-05")
    early = make_event("died", lot=lot, place=place, happened="2026-09-01", now=_later(1), note="typed late")
    taken_back = make_reversal(early, now=_later(2))

    happened = [one.event for one, _ in _history(registrar, "lot", "A-12").context["rows"]]
    entered = [one.event for one, _ in _history(registrar, "lot", "A-12", order="entered").context["rows"]]

    assert happened == [early.pk, taken_back.pk, first.pk]
    assert entered == [first.pk, early.pk, taken_back.pk]


def test_what_came_back_at_the_tank_side_is_told_once(registrar: Client) -> None:
    from inventory.people.models import Device

    lot, place, person = make_lot("A-13"), make_place("E13"), make_person("Wet Hand")
    device = Device.objects.create(name="Blue", made_at=_later(0), made_by=person)
    Entry.objects.create(
        identifier="0f8fad5b-d9cb-469f-a165-70867728950e",
        content_hash="0" * 64,
        kind="died",
        device=device,
        person=person,
        place=place,
        lot=lot,
        total=2,
        saved_at=_later(0),
        received_at=_later(1),
        body={"note": "by the drain"},
        outcome="came back",
        answer={"problems": [{"words": "the animal is dead already"}]},
    )

    for kind, key in (("lot", "A-13"), ("place", "E13")):
        page = _history(registrar, kind, key).content.decode()
        assert page.count("refused, tank side") == 1
        assert "the animal is dead already" in page
        assert "by the drain" in page


def test_the_number_of_queries_does_not_grow_with_the_history(registrar: Client) -> None:
    few, many = make_lot("A-20"), make_lot("A-21")
    place = make_place("E20")
    make_event("received", lot=few, place=place, unknown=9)
    make_event("received", lot=many, place=place, unknown=90)
    for day in range(10, 30):
        make_event("died", lot=many, place=place, happened=f"2026-09-{day}")
    _history(registrar, "lot", "A-20")

    counts = []
    for accession in ("A-20", "A-21"):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            _history(registrar, "lot", accession)
        counts.append(len(queries))

    assert counts[0] == counts[1] < 50


def test_a_history_of_more_than_five_hundred_is_paged(registrar: Client) -> None:
    lot, place = make_lot("A-22"), make_place("E22")
    make_event("received", lot=lot, place=place, unknown=3)
    RefusedEntry.objects.bulk_create(
        RefusedEntry(at=_later(n), by_name="x", door="page", what="w", said={}, why="") for n in range(505)
    )
    from inventory.book.models import RefusedAbout

    RefusedAbout.objects.bulk_create(
        RefusedAbout(refused=one, kind="lot", key="A-22") for one in RefusedEntry.objects.all()
    )

    first, second = (_history(registrar, "lot", "A-22", page=page) for page in ("1", "2"))

    assert (len(first.context["rows"]), len(second.context["rows"])) == (500, 6)


def test_who_counts_the_tank_does_not_read_its_history(
    registrar: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from inventory.book import blind

    lot, place = make_lot("A-23"), make_place("E23")
    make_event("received", lot=lot, place=place, unknown=7771777, note="all of them")
    monkeypatch.setattr(blind, "_ASKED", [lambda person: {place.pk}])

    for kind, key in (("lot", "A-23"), ("place", "E23"), ("permit", "P-1")):
        page = _history(registrar, kind, key).content.decode()
        assert "7771777" not in page
        assert "hidden from you" in page


def test_a_history_of_nothing_is_not_found(registrar: Client) -> None:
    for kind, key in (("lot", "none"), ("place", "none"), ("permit", "none"), ("taxon", "none")):
        assert registrar.get(f"/history/{kind}/{key}").status_code == 404


def _later(minutes: int) -> datetime:
    from datetime import timedelta

    from tests.factories import NOW

    return NOW + timedelta(minutes=minutes)


def test_a_permit_tells_its_versions_trips_takes_and_events(client: Client) -> None:
    house = make_permit_house()
    house.record(a_take("Asterias rubens", 2), locality="off the secret point", vessel="Vesla")
    _sign_in(client, house.officer)

    answer = _history(client, "permit", house.permit.number)
    assert (
        f'<a href="{reverse("permit", args=[house.permit.pk])}">To the permit</a>' in answer.content.decode()
    )

    told = [one.what for one, _ in answer.context["rows"]]
    assert {"as issued", "link of a line", "trip", "take", "event"} <= set(told)
    assert "off the secret point" not in answer.content.decode()
    trip = next(one for one, _ in answer.context["rows"] if one.what == "trip")
    assert trip.words == "hand net, Vesla"
    main = re.sub(r"<[^>]+>", " ", answer.content.decode())
    assert not re.search(r"\d{4}-\d{2}-\d{2}", main)
    assert re.search(r"version 1, valid \d{1,2} [A-Z][a-z]+ \d{4} to", main)


@pytest.mark.parametrize("kind", ["permit", "place"])
def test_the_queries_of_a_permit_and_a_place_do_not_grow(client: Client, kind: str) -> None:
    house = make_permit_house()
    _sign_in(client, house.officer)
    key = house.permit.number if kind == "permit" else house.kelp_hall.code
    counts = []
    for _ in range(2):
        for _ in range(4):
            house.record(a_take("Asterias rubens", 2))
            make_event("received", lot=make_lot(), place=house.kelp_hall, unknown=2)
        with CaptureQueriesContext(connection) as queries:
            _history(client, kind, key)
        counts.append(len(queries))

    assert counts[0] == counts[1] < 50


def _sign_in(client: Client, person: Person) -> None:
    assert person.user is not None
    client.force_login(person.user)


def test_a_letter_without_words_leaves_no_colon_behind(client: Client) -> None:
    """The history of a lent animal says that the holder wrote, and what, where anything was said."""
    house = make_permit_house()
    _sign_in(client, house.officer)
    hall, away = make_place("E06"), Place.objects.get(code="LO")
    lot = make_lot("R7", kind="individual")
    make_event("received", lot=lot, place=hall, females=1, happened="2025-01-02")
    make_event("loan_out", lot=lot, place=hall, to_place=away, females=1, happened="2025-05-12")
    facts = LoanFacts(
        reference="L7",
        direction="out",
        party="A Sea Hall",
        starts_on=date(2025, 5, 12),
        until=date(2026, 5, 11),
        lots=["R7"],
    )
    loan = enter_loan(facts=facts, by=house.officer, now=house.now)
    for day, words in ((12, ""), (13, "both well")):
        letter_of = date(2025, 8, day)
        confirm_loan(
            loan=loan, letter_of=letter_of, words=words, by=house.officer, now=house.now, zone=house.zone
        )
    page = _history(client, "lot", "R7").content.decode()
    assert "<td>L7</td>" in page
    assert "<td>L7: both well</td>" in page
