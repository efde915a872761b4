"""A marked animal was seen: what that says of a pool, held to every possible assignment."""

import random
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.book.models import Cell, Flow, Lot, Place
from inventory.book.rules.happened import Happened, parse_happened
from inventory.book.rules.kinds import EventKind
from inventory.people.models import Person
from inventory.permits.actions.sightings import SightingRefused, record_sighting, withdraw_sighting
from inventory.permits.models import Permit, Sighting
from inventory.permits.queries.whereabouts import whereabouts
from inventory.permits.queries.whereabouts_pool import lot_sources, sources_in_lot
from inventory.permits.rules.shares import Seen, Step

from ..factories import NOW, make_event, make_lot, make_person, make_place
from .shares_by_hand import number_in, worlds
from .test_whereabouts import make_permit, make_take

pytestmark = pytest.mark.django_db
ON = date(2026, 10, 5)
ZONE = timezone.get_current_timezone()


class Pool:
    """Three of P1 and three of P2 in one lot and one tank; Q1 stands beside."""

    def __init__(self, n: int = 3) -> None:
        self.p1, self.p2 = make_permit("P1"), make_permit("P2")
        self.tank, self.other = make_place("E1"), make_place("Q1")
        self.lot = make_lot("POOL")
        for permit in ("P1", "P2"):
            self.event("taken", n, "2026-01-01", permit_number=permit)
        self.person: Person = make_person(roles=["aquarist"])

    def event(self, kind: str, n: int, day: str, *, place: Place | None = None, **more: Any) -> None:
        make_event(kind, lot=self.lot, place=place or self.tank, unknown=n, happened=day, **more)

    def cell(self, place: Place | None = None) -> Cell:
        return Cell.objects.get(lot=self.lot, account__place=place or self.tank)

    def saw(
        self, permit: Permit, day: str, n: int = 1, *, place: Place | None = None, **more: Any
    ) -> Sighting:
        stated: dict[str, Any] = {
            "mark": "left fin clipped",
            "by": self.person,
            "now": NOW,
            "zone": ZONE,
        } | more
        happened = parse_happened(day)
        return record_sighting(cell=self.cell(place), permit=permit, n=n, happened=happened, **stated)

    def held(self, **asked: Any) -> dict[str, tuple[int, int]]:
        found = sources_in_lot(self.lot, **{"before": NOW, **asked})
        return {label: bounds[:2] for label, bounds in found}


def test_an_animal_that_was_seen_had_not_died_before() -> None:
    pool = Pool()
    pool.event("died", 3, "2026-02-01")
    assert pool.held() == {"P1": (0, 3), "P2": (0, 3)}
    pool.saw(pool.p1, "2026-03-01")
    assert pool.held() == {"P1": (1, 3), "P2": (0, 2)}
    [row] = whereabouts([pool.p1], as_of=ON, zone=ZONE)[pool.p1.pk].rows
    assert row.alive[:2] == (1, 3)


def test_an_animal_that_was_seen_before_the_deaths_may_have_died_since() -> None:
    pool = Pool()
    pool.saw(pool.p1, "2026-01-15")
    pool.event("died", 3, "2026-02-01")
    assert pool.held() == {"P1": (0, 3), "P2": (0, 3)}


@pytest.mark.parametrize("seed", range(4))
def test_the_bounds_are_those_of_every_possible_assignment(seed: int) -> None:
    """Deaths, moves between two tanks and sightings in random order, against all assignments."""
    rng = random.Random(seed)
    pool = Pool()
    steps: list[Step | Seen] = [Step(None, "E1", 3, "P1"), Step(None, "E1", 3, "P2")]
    here = {"E1": ["P1"] * 3 + ["P2"] * 3, "Q1": []}
    places = {"E1": pool.tank, "Q1": pool.other}
    day = date(2026, 2, 1)
    for what in ("move", *rng.choices(("died", "move", "seen"), (3, 3, 4), k=7)):
        day += timedelta(days=1)
        box = rng.choice([name for name, animals in here.items() if animals])
        animals = here[box]
        rng.shuffle(animals)
        n = rng.randint(1, min(2, len(animals)))
        if what == "seen":
            permit = pool.p1 if animals[0] == "P1" else pool.p2
            pool.saw(permit, str(day), place=places[box])
            steps.append(Seen(box, 1, animals[0]))
        elif what == "died":
            pool.event("died", n, str(day), place=places[box])
            steps.append(Step(box, "died", n))
            here[box] = animals[n:]
        else:
            to = "Q1" if box == "E1" else "E1"
            pool.event("moved", n, str(day), place=places[box], to_place=places[to])
            steps.append(Step(box, to, n))
            here[box], here[to] = animals[n:], here[to] + animals[:n]
        if sum(map(len, here.values())) < 3:
            break
    assert any(isinstance(step, Seen) for step in steps)
    every = worlds(steps)
    expected = {}
    for source in ("P1", "P2"):
        numbers = [number_in(world, {source}, {"E1", "Q1"}, lambda box: box) for world in every]
        if max(numbers):
            expected[source] = (min(numbers), max(numbers))
    assert pool.held() == expected


def test_a_sighting_of_a_day_counts_after_what_is_dated_by_that_day_and_before_what_has_a_time() -> None:
    pool = Pool()
    pool.event("died", 3, "2026-02-01")
    pool.event("died", 1, "2026-02-01T10:00")
    pool.saw(pool.p1, "2026-02-01")
    assert pool.held() == {"P1": (0, 2), "P2": (0, 2)}
    pool.saw(pool.p1, "2026-02-01T10:30")
    assert pool.held() == {"P1": (1, 2), "P2": (0, 1)}


def test_a_sighting_that_the_book_leaves_no_room_for_is_kept_and_set_aside() -> None:
    pool = Pool()
    pool.event("died", 5, "2026-02-01")
    first = pool.saw(pool.p1, "2026-02-02")
    against = pool.saw(pool.p2, "2026-02-03")
    assert pool.held() == {"P1": (1, 1)}
    assert lot_sources(pool.lot, before=NOW).set_aside == [against]
    found = whereabouts([pool.p1, pool.p2], as_of=ON, zone=ZONE)
    assert found[pool.p1.pk].sightings_set_aside == []
    assert found[pool.p2.pk].sightings_set_aside == [against]
    withdraw_sighting(sighting=first, why="another mark", by=pool.person, now=NOW)
    assert pool.held() == {"P2": (1, 1)}
    assert lot_sources(pool.lot, before=NOW).set_aside == []


def test_what_was_known_at_a_moment_stays_what_was_known() -> None:
    pool = Pool()
    pool.event("died", 3, "2026-02-01")
    later, latest = NOW + timedelta(hours=1), NOW + timedelta(hours=2)
    seen = pool.saw(pool.p1, "2026-03-01", now=later)
    withdraw_sighting(sighting=seen, why="a mistake", by=pool.person, now=latest)
    told = [pool.held(known_at=at)["P1"] for at in (NOW, later, latest)]
    assert told == [(0, 3), (1, 3), (0, 3)]


def test_where_several_lines_are_in_the_pool_the_line_is_asked_for() -> None:
    pool = Pool()
    for line, flow in enumerate(Flow.objects.order_by("id"), start=1):
        make_take(pool.p1, flow.event, line=line, kept=3)
    pool.event("died", 3, "2026-02-01")
    unclear = pool.saw(pool.p1, "2026-03-01")
    told = lot_sources(pool.lot, before=NOW)
    assert told.set_aside == [unclear]

    def of_lines() -> dict[int | None, tuple[int, int]]:
        rows = whereabouts([pool.p1], as_of=ON, zone=ZONE)[pool.p1.pk].rows
        return {row.line: row.alive[:2] for row in rows}

    assert of_lines() == {1: (0, 3), 2: (0, 3)}
    pool.saw(pool.p1, "2026-03-02", line_number=2)
    assert of_lines() == {1: (0, 2), 2: (1, 3)}


@pytest.mark.parametrize(
    ("more", "column", "words"),
    [
        ({"n": 0}, "n", "at least one"),
        ({"mark": " "}, "mark", "say by what it is known"),
        ({"happened": parse_happened("2999-01-01")}, "happened", "lies in the future"),
    ],
)
def test_what_cannot_be_a_sighting_is_refused(more: dict[str, Any], column: str, words: str) -> None:
    pool = Pool()
    stated: dict[str, Any] = {"mark": "tag 7", "happened": Happened(ON, ON), "n": 1} | more
    with pytest.raises(SightingRefused, match=words) as refused:
        record_sighting(cell=pool.cell(), permit=pool.p1, by=pool.person, now=NOW, zone=ZONE, **stated)
    assert refused.value.column == column
    assert not Sighting.objects.exists()


def test_animals_are_seen_in_tanks_only() -> None:
    pool = Pool()
    pool.event("died", 1, "2026-02-01")
    dead = Cell.objects.get(lot=pool.lot, account__cause=EventKind.DIED)
    stated: dict[str, Any] = {"mark": "tag", "happened": Happened(ON, ON), "by": pool.person}
    with pytest.raises(SightingRefused, match="choose one that the lot stands in"):
        record_sighting(cell=dead, permit=pool.p1, now=NOW, zone=ZONE, **stated)


def test_the_same_sighting_twice_stands_once_and_none_is_ever_changed() -> None:
    pool = Pool()
    first = pool.saw(pool.p1, "2026-03-01")
    assert pool.saw(pool.p1, "2026-03-01") == first
    with pytest.raises(DatabaseError), transaction.atomic():
        Sighting.objects.update(n=2)
    with pytest.raises(DatabaseError), transaction.atomic():
        first.delete()


def test_the_page_takes_a_sighting_shows_it_and_takes_it_back(frozen_clock: datetime) -> None:
    pool = Pool()
    pool.event("died", 3, "2026-02-01")
    user = pool.person.user
    assert user
    client = Client()
    client.force_login(user)
    address = reverse("lot_sources", args=["POOL"])
    sent = {"cell": pool.cell().pk, "day": "2026-03-01", "permit": pool.p1.pk, "mark": "tag 7", "n": 1}
    assert "This field is required" in client.post(address, sent | {"mark": ""}).text
    page = client.post(address, sent, follow=True).text
    assert '<td data-label="Known by">tag 7</td>' in page
    assert "counts" in page
    assert pool.held()["P1"] == (1, 3)
    one = Sighting.objects.get()
    client.post(reverse("sighting_withdraw", args=[one.pk]), {"why": ""})
    assert pool.held()["P1"] == (1, 3)
    client.post(reverse("sighting_withdraw", args=[one.pk]), {"why": "it was tag 1"})
    assert ": it was tag 1</td>" in client.get(address).text
    assert pool.held()["P1"] == (0, 3)


def test_the_number_of_queries_does_not_grow_with_sightings(django_assert_max_num_queries: Any) -> None:
    pool = Pool()
    pool.saw(pool.p1, "2026-03-01")
    with django_assert_max_num_queries(20) as few:
        pool.held()
    for day in range(2, 8):
        pool.saw(pool.p1, f"2026-03-0{day}", mark=f"tag {day}")
    lot = Lot.objects.get()
    with django_assert_max_num_queries(len(few)):
        sources_in_lot(lot, before=NOW)
