"""Where the animals kept under a permit are now, out of the ledger."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta, tzinfo
from typing import Any
from uuid import uuid4

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.book.actions.post import post_event
from inventory.book.models import Event, Lot, Place, PlaceKind
from inventory.book.rules.drafts import DraftLine, Numbers
from inventory.book.rules.kinds import EventKind
from inventory.permits.models import Authority, Permit, Take, TakeEvent, Trip
from inventory.permits.queries.pages import WhereRow, in_layout
from inventory.permits.queries.whereabouts import PermitWhereabouts, whereabouts
from inventory.permits.queries.whereabouts_pool import sources_in_lot
from inventory.permits.rules.shares import Bounds
from inventory.permits.rules.whereabouts import FATES, in_words

from ..factories import NOW, make_draft, make_event, make_lot, make_person, make_place, make_reversal

pytestmark = pytest.mark.django_db

ON = date(2026, 10, 5)


def make_permit(number: str) -> Permit:
    authority, _ = Authority.objects.get_or_create(code="AB", name="Agency of the Bay")
    return Permit.objects.create(number=number, authority=authority, holder="Test Aquarium")


def make_take(permit: Permit, event: Event, *, line: int, kept: int, **more: Any) -> Take:
    """A slip that points to an event, as entered with it."""
    person = make_person()
    stated: dict[str, Any] = {"entered_at": NOW, "entered_by": person, "recorded_at": NOW}
    trip = Trip.objects.create(
        identifier=uuid4(),
        permit=permit,
        happened="2026-09-01",
        starts_on=date(2026, 9, 1),
        ends_on=date(2026, 9, 1),
        **stated,
    )
    take = Take.objects.create(
        identifier=uuid4(),
        trip=trip,
        permit=permit,
        line_number=line,
        verbatim_identification="goldsinny",
        caught=kept,
        kept=kept,
        **stated,
        **more,
    )
    TakeEvent.objects.create(take=take, event=event)
    return take


def found_of(permit: Permit, **asked: Any) -> PermitWhereabouts:
    asked.setdefault("as_of", ON)
    asked.setdefault("zone", timezone.get_current_timezone())
    return whereabouts([permit], **asked)[permit.pk]


def told(found: PermitWhereabouts, row: int = 0) -> dict[str, str]:
    """What is not nothing, by the code of its column."""
    of_row = found.rows[row]
    texts = {fate.code: text for fate, (text, _) in zip(FATES, of_row.texts(), strict=True)}
    return {code: text for code, text in texts.items() if text != "0"}


def test_every_fate_of_a_lot_of_one_source_is_certain() -> None:
    permit = make_permit("P1")
    tank, lender = make_place("E1"), make_place("OFF", kind=PlaceKind.OFF_SITE)
    lot = make_lot("A1")
    make_event(EventKind.TAKEN, lot=lot, place=tank, unknown=40, permit_number="P1", happened="2026-09-01")
    for kind, n in {
        "died": 5,
        "put_down": 2,
        "unaccounted": 3,
        "released": 4,
        "sent": 6,
        "missing": 1,
    }.items():
        make_event(kind, lot=lot, place=tank, unknown=n, happened="2026-09-02")
    make_event(EventKind.LOAN_OUT, lot=lot, place=tank, to_place=lender, unknown=7, happened="2026-09-03")
    found = found_of(permit)
    assert told(found) == {
        **{"alive_here": "12", "alive_on_loan": "7", "missing": "1", "died": "5", "put_down": "2"},
        **{"unaccounted": "3", "released": "4", "sent": "6"},
    }
    [row] = found.rows
    assert (row.line, row.unit, row.kept, row.alive_words) == (None, "animal", 40, "19")
    assert sum(bounds.least for bounds in row.by_fate.values()) == 40
    assert not found.pooled


def make_pool() -> Callable[..., Event]:
    """20 of P1 and 8 of an exchange in one lot after a join, then 12 of P2; returns who loses some."""
    tank, other = make_place("E2"), make_place("Q1")
    pool, exchange = make_lot("POOL"), make_lot("EXCHANGE")
    make_event(EventKind.TAKEN, lot=pool, place=tank, unknown=20, permit_number="P1", happened="2025-06-12")
    make_event(lot=exchange, place=other, unknown=8, party="Gull House", happened="2025-06-18")
    make_event(
        EventKind.MOVED, lot=exchange, place=other, to_place=tank, unknown=8, happened="2025-07-03T10:00"
    )
    make_event(
        EventKind.REGROUPED, lot=exchange, to_lot=pool, place=tank, unknown=8, happened="2025-07-03T10:05"
    )
    make_event(EventKind.TAKEN, lot=pool, place=tank, unknown=12, permit_number="P2", happened="2025-11-19")

    def lose(kind: str, n: int, **stated: Any) -> Event:
        return make_event(kind, lot=pool, place=tank, unknown=n, **stated)

    return lose


def test_a_pool_of_three_sources_gives_least_most_and_even_share() -> None:
    """20, 12 and 8 in, 27 left: figures worked by hand from the plain pool formulas (common practice,
    no source)."""
    p1, p2 = make_permit("P1"), make_permit("P2")
    lose = make_pool()
    lose("died", 11, happened="2026-03-01")
    lose("unaccounted", 2, happened="2026-10-01")
    first, second = found_of(p1), found_of(p2)
    assert first.rows[0].alive == Bounds(7, 20, pytest.approx(13.5))  # type: ignore[arg-type]
    assert second.rows[0].alive == Bounds(0, 12, pytest.approx(8.1))  # type: ignore[arg-type]
    assert told(first)["alive_here"] == "7 to 20 (13.5)"
    assert told(second)["alive_here"] == "0 to 12 (8.1)"
    assert told(second)["died"] == "0 to 11 (3.3)"
    assert first.pooled
    assert in_words(Bounds(0, 8, None)) == "0 to 8"


def test_deaths_before_a_source_came_are_not_its_own() -> None:
    p2 = make_permit("P2")
    lose = make_pool()
    lose("died", 2, happened="2025-08-11")
    lose("died", 11, happened="2026-03-01")
    assert found_of(p2).rows[0].alive[:2] == (1, 12)


def test_a_death_that_names_its_permit_lowers_that_source_first() -> None:
    p1, p2 = make_permit("P1"), make_permit("P2")
    lose = make_pool()
    lose("died", 3, happened="2026-03-01", permit_number="P1")
    lose("died", 10, happened="2026-03-02")
    found = found_of(p1).rows[0]
    assert found.by_fate[next(fate for fate in FATES if fate.code == "died")][:2] == (3, 13)
    assert found.alive == Bounds(7, 17, pytest.approx(17 * 27 / 37))  # type: ignore[arg-type]
    assert found_of(p2).rows[0].alive[:2] == (2, 12)


def test_evidence_that_the_book_cannot_hold_is_set_aside_and_named() -> None:
    p2 = make_permit("P2")
    lose = make_pool()
    event = lose("died", 1, happened="2025-08-11", permit_number="P2")
    found = found_of(p2)
    assert found.set_aside == [event]
    assert found.rows[0].alive == Bounds(12, 12, 12.0)


def test_a_reversed_arrival_did_not_happen_and_is_known_until_it_was_reversed() -> None:
    """Six booked to a permit that had ended, moved to the next two months later."""
    p1, p2 = make_permit("P1"), make_permit("P2")
    tank, lot = make_place(), make_lot()
    stated: dict[str, Any] = {"lot": lot, "place": tank, "unknown": 6, "happened": "2026-07-02"}
    wrong = make_event(EventKind.TAKEN, permit_number="P1", now=NOW - timedelta(days=60), **stated)
    make_reversal(wrong, approved_by=make_person(), reason="wrong permit")
    make_event(EventKind.TAKEN, permit_number="P2", **stated)
    assert found_of(p1).rows == []
    assert told(found_of(p2)) == {"alive_here": "6"}
    before = NOW - timedelta(days=1)
    assert told(found_of(p1, known_at=before)) == {"alive_here": "6"}
    assert found_of(p2, known_at=before).rows == []


def test_as_of_a_day_counts_what_had_happened_by_its_end() -> None:
    permit = make_permit("P1")
    lose = make_pool()
    lose("died", 5, happened="2026-03-01")
    assert told(found_of(permit, as_of=date(2025, 7, 1))) == {"alive_here": "20"}
    assert told(found_of(permit, as_of=date(2026, 2, 28))) == {"alive_here": "20"}
    assert told(found_of(permit, as_of=date(2026, 3, 1)))["died"].startswith("0 to 5")
    assert found_of(permit, as_of=date(2025, 6, 11)).rows == []


def test_slips_say_by_which_line_animals_came() -> None:
    permit = make_permit("P1")
    tank, urchins, stars = make_place(), make_lot(), make_lot(unit="colony")
    for line, lot, n in ((2, urchins, 6), (1, urchins, 4), (3, stars, 5)):
        event = make_event(EventKind.TAKEN, lot=lot, place=tank, unknown=n, permit_number="P1")
        make_take(permit, event, line=line, kept=n)
    make_event("died", lot=urchins, place=tank, unknown=3, happened="2026-09-09")
    found = found_of(permit)
    assert [(row.line, row.unit, row.kept) for row in found.rows] == [
        *((1, "animal", 4), (2, "animal", 6), (3, "colony", 5)),
    ]
    assert [(row.line, row.unit, row.alive_words) for row in found.together] == [
        *((None, "animal", "7"), (None, "colony", "5")),
    ]
    assert told(found, 0)["alive_here"] == "1 to 4 (2.8)"
    assert found.of_line(3) == [found.rows[2]]


def test_one_event_may_bring_animals_of_several_lines() -> None:
    permit, tank = make_permit("P1"), make_place()
    one, two = make_lot(), make_lot()
    lines = [
        DraftLine(lot=lot.accession, place=tank.code, numbers=Numbers(unknown=n))
        for lot, n in ((one, 4), (two, 5))
    ]
    draft = replace(make_draft(EventKind.TAKEN, lot=one, place=tank, permit_number="P1"), lines=lines)
    posted = post_event(draft, now=NOW, zone=timezone.get_current_timezone())
    event = Event.objects.get(pk=posted.event_id)
    make_take(permit, event, line=7, kept=4, lot=one)
    make_take(permit, event, line=8, kept=5, taxon=two.taxon)
    assert [(row.line, row.kept) for row in found_of(permit).rows] == [(7, 4), (8, 5)]


def cells_of(found: PermitWhereabouts) -> str:
    """The right part of a permit's table."""
    fates = in_layout(found.fates)
    rows = [WhereRow(row, row.texts(fates)) for row in (*found.rows, *found.together)]
    return "".join(
        render_to_string("permits/_where_cells.html", {"one": row, "fates": fates}) for row in rows
    )


def test_who_counts_a_tank_is_told_nothing_of_what_can_be_there() -> None:
    permit = make_permit("P1")
    make_pool()
    other = make_lot()
    make_take(permit, make_event(EventKind.TAKEN, lot=other, unknown=3, permit_number="P1"), line=1, kept=3)
    found = found_of(permit, hidden=[Place.objects.get(code="E2").pk])
    assert [(row.line, row.hidden, row.kept) for row in found.rows] == [(1, False, 3), (None, True, 0)]
    assert found.together[0].hidden
    page = cells_of(found)
    assert "hidden: these animals are being counted" in page
    assert "20" not in page.replace("2026", "").replace("to 20", "")


def test_the_table_says_ranges_and_what_they_mean() -> None:
    permit = make_permit("P1")
    lose = make_pool()
    lose("died", 13, happened="2026-03-01")
    event = lose("died", 1, happened="2025-06-15", permit_number="P2")
    found = found_of(permit)
    page = render_to_string("permits/_whereabouts.html", {"whereabouts": found})
    assert "<i>6 to 19 (" in cells_of(found)
    assert "even share" in page
    assert "given back" not in [fate.words for fate in found.fates], "nothing here was borrowed"
    assert f"/event/{event.pk}" not in page, "that names another permit"
    nothing = render_to_string("permits/_whereabouts.html", {"whereabouts": found_of(make_permit("P9"))})
    assert "Nothing taken under this permit" in nothing


def test_the_number_of_queries_does_not_grow(django_assert_num_queries: Any, zone: tzinfo) -> None:
    permits = [make_permit(f"N{i}") for i in range(3)]

    def fill(permit: Permit) -> None:
        tank, lot = make_place(), make_lot()
        event = make_event(EventKind.TAKEN, lot=lot, place=tank, unknown=9, permit_number=permit.number)
        make_take(permit, event, line=1, kept=9)
        make_event("died", lot=lot, place=tank, unknown=2, happened="2026-09-05")

    def ask() -> None:
        assert len(whereabouts(permits, as_of=ON, zone=zone)) == 3

    fill(permits[0])
    with django_assert_num_queries(12):
        ask()
    for permit in permits * 3:
        fill(permit)
    with django_assert_num_queries(12):
        ask()


def test_the_page_of_a_lots_sources_gives_ranges_and_hides_what_is_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lose = make_pool()
    lose("died", 13, happened="2026-03-01")
    client = Client()
    user = make_person(roles=["aquarist"]).user
    assert user
    client.force_login(user)
    page = client.get(reverse("lot_sources", args=["POOL"]), {"as_of": "2026-10-05"}).content.decode()
    cells = [re.findall(r"<t[hd][^>]*>([^<]*)", row) for row in re.findall(r"<tr>(.*?)</tr>", page)]
    assert cells[1:] == [
        *(["P1", "7", "20", "13.5"], ["P2", "0", "12", "8.1"], ["from Gull House", "0", "8", "5.4"]),
    ]
    before = client.get(reverse("lot_sources", args=["POOL"]), {"as_of": "2025-01-01"}).content.decode()
    assert "holds nothing" in before
    place = Place.objects.get(code="E2")
    monkeypatch.setattr("inventory.book.blind._ASKED", [lambda person: {place.pk}])
    page = client.get(reverse("lot_sources", args=["POOL"])).content.decode()
    assert "hidden from you" in page
    assert "13.5" not in page


def test_what_would_be_lost_in_one_tank_leaves_of_each_source_what_may_be_left() -> None:
    """Of 29 that are left of 20, 12 and 8, two more go: the ranges of the 27, worked by hand."""
    lose = make_pool()
    lose("died", 11, happened="2026-03-01")
    lot, place = Lot.objects.get(accession="POOL"), Place.objects.get(code="E2")
    stated: dict[str, Any] = {"before": NOW, "lost": 2}
    found = dict(sources_in_lot(lot, lost_in=place.pk, **stated))
    assert {label: (bounds.least, bounds.most) for label, bounds in found.items()} == {
        "P1": (7, 20), "P2": (0, 12), "from Gull House": (0, 8),
    }  # fmt: skip
    assert [bounds.even for bounds in found.values()] == pytest.approx([13.5, 8.1, 5.4])
    elsewhere = dict(sources_in_lot(lot, lost_in=make_place("E9").pk, **stated))
    assert elsewhere == dict(sources_in_lot(lot, before=NOW))
    assert elsewhere["P1"][:2] == (9, 20)
    assert dict(sources_in_lot(lot, lost_in=place.pk, before=NOW, lost=100)) == {}
