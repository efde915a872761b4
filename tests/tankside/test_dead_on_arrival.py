"""What is dead on arrival counts against permit or supplier, and never enters the stock.

Trade: dead on arrival means died before being taken into the stock (*common practice, no source*).
"""

import csv
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from inventory.book.models import Event
from inventory.people.attention import Attention
from inventory.tankside.attention import items
from inventory.tankside.models import Entry

from ..factories import NOW
from .conftest import Tablet, TankHouse


def _change(capsys: pytest.CaptureFixture[str]) -> dict[str, dict[str, str]]:
    """The population change of the quarter by name, as the command prints it."""
    capsys.readouterr()
    call_command("change", "--from", "2026-10-01", "--to", "2026-12-31", "--format", "csv")
    return {row["name"]: row for row in csv.DictReader(StringIO(capsys.readouterr().out))}


def _arrived(tablet: Tablet, *, alive: int, dead: int, **said: Any) -> dict[str, Any]:
    entry = tablet.entry("arrived", lot="G1", n=alive, dead_on_arrival=dead, **said)
    return {**tablet.one(entry), "identifier": entry["identifier"]}


def test_a_shipment_that_is_all_dead_changes_no_total(
    tablet: Tablet, house: TankHouse, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _change(capsys)
    answer = _arrived(tablet, alive=0, dead=12, note="from Brevik Fish")
    assert answer["outcome"] == "sent", answer
    assert answer["words"] == "12 arrived, all dead on arrival, two-spotted goby, Kelp Hall, 09:00"
    assert answer["event"] is None
    assert answer["undo_until"]
    assert _change(capsys) == before
    assert house.held(house.gobies) == 200
    assert not Event.objects.exclude(happened="2026-09-01").exists()
    # Both numbers stay with the entry, for whoever looks later.
    assert Entry.objects.get().body["dead_on_arrival"] == 12


def test_of_a_shipment_of_which_some_live_only_those_enter(
    tablet: Tablet, house: TankHouse, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = _arrived(tablet, alive=5, dead=7, note="from Brevik Fish")
    assert answer["words"] == "5 arrived alive, 7 dead on arrival, two-spotted goby, Kelp Hall, 09:00"
    goby = _change(capsys)["Pomatoschistus flavescens"]
    assert (goby["opening"], goby["received"], goby["died"], goby["closing"]) == ("200", "5", "0", "205")
    assert Event.objects.get(pk=answer["event"]).note == "from Brevik Fish; dead on arrival: 7"


def _on_today(house: TankHouse) -> list[Attention]:
    return [one for one in items(house.registrar, now=NOW) if one.heading.startswith("Dead on arrival")]


def test_the_registrar_is_asked_to_count_them_until_it_is_done_or_undone(
    tablet: Tablet, house: TankHouse
) -> None:
    client = Client()
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    all_dead = _arrived(tablet, alive=0, dead=12)
    some = _arrived(tablet, alive=5, dead=7)
    undone = _arrived(tablet, alive=0, dead=3)
    assert tablet.one(tablet.entry("undo", undoes=undone["identifier"]))["outcome"] == "sent"
    (today,) = _on_today(house)
    assert today.total == 2
    page = client.get("/questions").text
    assert all_dead["words"] in page
    assert some["words"] in page
    assert undone["words"] not in page
    entry = Entry.objects.get(identifier=all_dead["identifier"])
    client.post("/questions", {"entry": entry.pk, "of": "dead", "why": "with the take of trip 3"})
    assert tablet.one(tablet.entry("undo", undoes=some["identifier"]))["outcome"] == "sent"
    assert _on_today(house) == []
    assert "Dead on arrival" not in client.get("/questions").text


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"kind": "died", "n": 1, "dead_on_arrival": 2}, "dead_on_arrival"),
        ({"kind": "arrived", "dead_on_arrival": 0}, "numbers"),
        ({"kind": "arrived", "dead_on_arrival": -1, "n": 1}, "dead_on_arrival"),
        ({"kind": "arrived", "dead_on_arrival": 3, "lot": "nowhere"}, "lot"),
    ],
)
def test_what_cannot_be_comes_back(tablet: Tablet, said: dict[str, Any], field: str) -> None:
    answer = tablet.one(tablet.entry(**{"lot": "G1", **said}))
    assert answer["outcome"] == "came back"
    assert [one["field"] for one in answer["problems"]] == [field]
