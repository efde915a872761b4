"""Eggs and young that nobody can count exactly: a best value between two bounds, from a device.

That numbers of eggs and young may be ranges is common practice, no source.
"""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.book.models import Event, StatedRange
from inventory.book.rules import ranges
from inventory.tankside.models import Entry
from inventory.tankside.rules.kinds import EVENT_OF, RANGED

from .conftest import Tablet, TankHouse

ONLY = "only eggs, and young that were born or hatched"
MASSES = "about 40 egg masses, between 20 and 60, laid"


def test_a_hatch_between_two_numbers_is_kept_and_confirmed_in_words(tablet: Tablet, house: TankHouse) -> None:
    answer = tablet.one(tablet.entry("hatched", lot="G1", n=40, at_least=30, at_most=60))
    assert answer["words"].startswith("about 40, between 30 and 60, hatched, two-spotted goby, Kelp Hall")
    assert StatedRange.objects.values_list("event", "low", "high").get() == (answer["event"], 30, 60)
    assert house.held(house.gobies) == 240, "the book reckons by the best value"


@pytest.mark.parametrize(
    ("kind", "said", "words"),
    [
        ("born", {"at_least": 30}, "about 40, at least 30, born"),
        ("hatched", {"at_most": 60}, "about 40, at most 60, hatched"),
        (
            "eggs",
            {"stage": "egg mass", "at_least": 20, "at_most": 60},
            MASSES,
        ),
        ("born", {"at_least": 40, "at_most": 40}, "exactly 40, born"),
        ("born", {}, "40 born"),
    ],
)
def test_each_kind_of_young_and_eggs_may_be_a_range(
    tablet: Tablet, kind: str, said: dict[str, Any], words: str
) -> None:
    assert tablet.one(tablet.entry(kind, lot="G1", n=40, **said))["words"].startswith(f"{words}, ")


@pytest.mark.parametrize(
    ("kind", "said", "field", "words"),
    [
        ("born", {"at_least": 41}, "at_least", "at least 41 is more than the number itself, 40"),
        ("hatched", {"at_most": 39}, "at_most", "at most 39 is less than the number itself, 40"),
        ("born", {"at_least": -1}, "at_least", "greater than or equal to 0"),
        ("born", {"at_least": 2.5}, "at_least", "integer"),
        ("died", {"at_least": 30}, "at_least", ONLY),
        ("found", {"at_most": 60}, "at_most", ONLY),
        (
            "note",
            {"at_most": 60, "note": "many"},
            "at_most",
            ONLY,
        ),
    ],
)
def test_a_range_that_cannot_be_comes_back_with_what_to_do(
    tablet: Tablet, kind: str, said: dict[str, Any], field: str, words: str
) -> None:
    events = Event.objects.count()
    answer = tablet.one(tablet.entry(kind, lot="G1", n=40, **said))
    assert answer["outcome"] == "came back"
    assert [problem["field"] for problem in answer["problems"]] == [field]
    assert words in answer["problems"][0]["words"]
    assert Event.objects.count() == events


def test_an_entry_of_an_older_page_is_taken_and_one_without_a_range_asks_no_more(tablet: Tablet) -> None:
    """The body has what it had before there were ranges, so that it keeps its hash too."""
    entry = tablet.entry("hatched", lot="G1", n=40)
    with CaptureQueriesContext(connection) as without:
        assert tablet.one(entry)["outcome"] == "sent"
    assert not {"at_least", "at_most"} & Entry.objects.get().body.keys()
    assert not any("statedrange" in str(query["sql"]) for query in without)
    assert tablet.one(entry)["already"]


def test_what_may_be_a_range_here_may_be_one_in_the_book() -> None:
    assert {EVENT_OF[kind] for kind in RANGED} <= ranges.RANGED


def test_null_bounds_are_no_bounds(tablet: Tablet) -> None:
    tablet.one(tablet.entry("born", lot="G1", n=4, at_least=None, at_most=None))
    assert not StatedRange.objects.exists()


def test_an_undone_hatch_keeps_its_range(tablet: Tablet, house: TankHouse) -> None:
    entry = tablet.entry("hatched", lot="G1", n=40, at_least=30, at_most=60)
    first = tablet.one(entry)
    undone = tablet.one(tablet.entry("undo", undoes=entry["identifier"]))
    assert undone["words"] == f"undone: {first['words']}"
    assert StatedRange.objects.get().event_id == first["event"]
    assert house.held(house.gobies) == 200


def test_what_was_sent_from_devices_tells_the_range(tablet: Tablet, house: TankHouse) -> None:
    tablet.one(tablet.entry("hatched", lot="G1", n=40, at_least=30, at_most=60))
    assert house.registrar.user is not None
    client = Client()
    client.force_login(house.registrar.user)
    assert "about 40, between 30 and 60, hatched" in client.get(reverse("tank_sent")).content.decode()
