"""Field slips from a device: kept as they were written, once, and never refused for what a permit says."""

import json
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from census.rounds.queries.corrections_elsewhere import elsewhere
from inventory.book import blind
from inventory.book.models import Event, Place
from inventory.book.rules.kinds import EventKind
from inventory.names.models import Taxon
from inventory.people.rules.roles import Role
from inventory.permits.actions.entries import TakeEntry
from inventory.permits.actions.permits import LineFacts, LinkFacts, VersionFacts, enter_permit
from inventory.permits.actions.takes import correct_take
from inventory.permits.models import Case, Permit, Take, Trip
from inventory.permits.queries.accounts import account
from inventory.permits.queries.takes import kept_not_stocked
from inventory.tankside.models import Entry

from ..factories import NOW, make_event, make_lot, make_person
from .conftest import Tablet, TankHouse

ANEMONES = "Anemones, any, together"


@pytest.fixture
def permit(house: TankHouse) -> Permit:
    """Ten gobies, six anemones, for Sunniva with a hand net."""
    Taxon.objects.filter(scientific_name="Pomatoschistus flavescens").update(rank="species")
    return enter_permit(
        number="P 7",
        authority="BOARD",
        authority_name="The Board",
        return_days=30,
        holder="Test Aquarium",
        facts=VersionFacts(
            valid_from=date(2026, 1, 1),
            valid_until=date(2026, 12, 31),
            people=[house.aquarist.name],
            gear=["hand net"],
            lines=(
                LineFacts(
                    "Two-spotted goby (Gobiusculus flavescens)",
                    10,
                    link=LinkFacts("taxon", ["Pomatoschistus flavescens"]),
                ),
                LineFacts(ANEMONES, 6, link=LinkFacts("group", ["order Actiniaria"])),
            ),
        ),
        by=house.registrar,
        now=NOW,
    )


def a_slip(house: TankHouse, *takes: dict[str, Any], **said: Any) -> dict[str, Any]:
    return {
        "permit": "P 7",
        "people": [house.aquarist.pk],
        "locality": "off the point",
        "latitude": 62.1234567,
        "longitude": -6.75,
        "uncertainty_m": 12,
        "position_from": "device",
        "gear": "hand net",
        "vessel": "Tern",
        "takes": [*takes],
        **said,
    }


def taken(name: str, caught: int, **said: int | str | bool) -> dict[str, Any]:
    return {"name": name, "caught": caught, **said}


def test_a_slip_becomes_a_trip_with_its_takes_as_they_were_written(
    permit: Permit, house: TankHouse, tablet: Tablet
) -> None:
    slip = a_slip(
        house,
        taken("Two-spotted goby", 9, let_go=2, died=1, kept=6),
        taken("wee brown crab", 1, let_go=1, bycatch=True),
        others="Brede of the Tern",
        depth_from_m=3.25,
    )
    entry = tablet.entry("slip", place="Q1", slip=slip, note="calm", happened="2026-10-05T14:20")
    answer = tablet.one(entry)
    assert answer["outcome"] == "sent", answer
    assert answer["words"] == (
        "field slip, P 7, off the point, 5 October, 14:20: 10 caught, 3 let go, 1 died, 6 kept"
    )
    trip = Trip.objects.get()
    assert (str(trip.identifier), trip.happened, trip.vessel, trip.gear, trip.device) == (
        entry["identifier"], "2026-10-05T14:20", "Tern", "hand net", "Blue",
    )  # fmt: skip
    # A device's position is in WGS 84: W3C Geolocation, section 6.4.
    assert (str(trip.latitude), str(trip.longitude), trip.datum, trip.uncertainty_m) == (
        "62.123457", "-6.750000", "WGS84", 12,
    )  # fmt: skip
    assert trip.note == "calm\nAlso on the trip: Brede of the Tern.\nPosition by the device."
    assert [one.person for one in trip.people.all()] == [house.aquarist]
    goby, crab = trip.takes.order_by("id")
    assert (goby.verbatim_identification, goby.caught, goby.let_go, goby.died, goby.kept) == (
        "Two-spotted goby", 9, 2, 1, 6,
    )  # fmt: skip
    assert goby.taxon == house.gobies.taxon
    assert (crab.verbatim_identification, crab.bycatch, crab.kept) == ("wee brown crab", True, 0)
    assert Entry.objects.get().event == Event.objects.get(kind=EventKind.TAKEN)
    assert goby.lot is not None
    assert house.held(goby.lot, house.quarantine) == 6


def test_the_same_slip_twice_is_one_trip_with_one_answer(
    permit: Permit, house: TankHouse, tablet: Tablet
) -> None:
    entry = tablet.entry("slip", place="Q1", slip=a_slip(house, taken("two-spotted goby", 3, kept=3)))
    first, again = tablet.one(entry), tablet.one(entry)
    assert again == {**first, "already": True}
    assert Trip.objects.count() == Take.objects.count() == 1
    assert Event.objects.filter(kind=EventKind.TAKEN).count() == 1


def test_what_the_permit_does_not_allow_is_kept_and_becomes_a_case(
    permit: Permit, house: TankHouse, tablet: Tablet
) -> None:
    slip = a_slip(house, taken("two-spotted goby", 14, kept=13, died=1), gear="dynamite")
    answer = tablet.one(tablet.entry("slip", place="Q1", slip=slip))
    assert answer["outcome"] == "sent"
    assert {case.kind for case in Case.objects.all()} == {"over_limit", "gear"}
    told = [flag["words"] for flag in answer["flags"] if flag["kind"] == "permit"]
    assert len(told) == 2
    # Somebody who counts may hold the device: what is used and what is left is not in the answer.
    assert not any("14" in words or "10" in words for words in told)


def test_kept_ones_without_a_tank_count_at_once_and_wait_for_the_desk(
    permit: Permit, house: TankHouse, tablet: Tablet, client: Client
) -> None:
    slip = a_slip(house, taken("two-spotted goby", 4, kept=4))
    answer = tablet.one(tablet.entry("slip", place="", slip=slip))
    assert (answer["outcome"], answer["event"]) == ("sent", None), answer["problems"]
    assert not Event.objects.filter(kind=EventKind.TAKEN).exists()
    line, *_ = account(permit, as_of=date(2026, 10, 6), zone=NOW.tzinfo).lines  # type: ignore[arg-type]
    assert line.used.kept == 4
    (take,) = kept_not_stocked()
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    page = f"/trip/{take.trip.identifier}"
    assert "not yet in the stock" in client.get(page).content.decode()
    correct_take(
        take=take,
        entry=TakeEntry(identifier=take.identifier.__class__(int=5), name=take.verbatim_identification,
                        caught=4, kept=4, place="Q1"),
        why="into quarantine", by=house.registrar, now=NOW, zone=NOW.tzinfo,  # type: ignore[arg-type]
    )  # fmt: skip
    assert kept_not_stocked() == []
    assert Event.objects.filter(kind=EventKind.TAKEN).count() == 1
    lot = Take.objects.get(replaced_by=None).lot
    assert lot is not None
    assert house.held(lot, house.quarantine) == 4
    assert "not yet in the stock" not in client.get(page).content.decode()
    (waits,) = elsewhere(house.registrar, [Role.REGISTRAR])
    assert ("lot", "not in the stock", lot.accession) in waits.cells


def test_a_take_may_name_a_tank_of_its_own(permit: Permit, house: TankHouse, tablet: Tablet) -> None:
    slip = a_slip(house, taken("two-spotted goby", 2, kept=2), taken("Raja clavata", 1, kept=1, place="E02"))
    assert tablet.one(tablet.entry("slip", place="Q1", slip=slip))["outcome"] == "sent"
    events = Event.objects.filter(kind="taken")
    places = {flow.to_cell.account.place for one in events for flow in one.flows.all()}
    assert places == {house.kelp_hall, house.quarantine}


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"takes": [taken("goby", 9, kept=3)]}, "slip.takes.0.caught", "9 caught"),
        ({"permit": "P 8"}, "slip.permit", "no permit 'P 8'"),
        ({"people": [99_999]}, "slip.people", "not known"),
        ({"takes": [taken("goby", 2, kept=2, place="X9")]}, "slip.takes.0.place", "'X9'"),
        ({"takes": [taken("goby", -2)]}, "slip.takes.0.caught", "greater than"),
        ({"coast": "rocky"}, "slip.coast", "Extra"),
    ],
)  # fmt: skip
def test_what_cannot_be_comes_back_with_its_field_and_the_rest_goes_on(
    permit: Permit, house: TankHouse, tablet: Tablet, change: dict[str, Any], field: str, says: str
) -> None:
    wrong = tablet.entry("slip", place="Q1", slip=a_slip(house, **change))
    right = tablet.entry("slip", place="Q1", slip=a_slip(house))
    back, sent = tablet.send(wrong, right)
    assert (back["outcome"], sent["outcome"]) == ("came back", "sent")
    problem = next(one for one in back["problems"] if one["field"] == field)
    assert says in problem["words"]
    assert Trip.objects.count() == 1
    assert sent["words"].endswith("nothing caught")


def test_coordinates_that_cannot_be_are_kept_as_written_and_asked_for(
    permit: Permit, house: TankHouse, tablet: Tablet
) -> None:
    slip = a_slip(house, taken("goby", 1, let_go=1), latitude=-96.5, longitude=62.1)
    assert tablet.one(tablet.entry("slip", place="Q1", slip=slip))["outcome"] == "sent"
    trip = Trip.objects.get()
    assert trip.latitude is None
    assert "-96.5" in trip.note
    assert Case.objects.filter(kind="coordinates").exists()


def test_a_slip_that_nobody_confirmed_is_taken_and_flagged(
    permit: Permit, house: TankHouse, tablet: Tablet
) -> None:
    entry = tablet.entry("slip", place="Q1", slip=a_slip(house, taken("two-spotted goby", 1, kept=1)))
    answer = tablet.one({**entry, "pass": None})
    assert answer["outcome"] == "sent"
    assert "author" in [flag["kind"] for flag in answer["flags"]]


def test_other_entries_still_say_which_tank(house: TankHouse, tablet: Tablet) -> None:
    entry = tablet.entry("died", lot="G1", n=1)
    del entry["place"]
    answer = tablet.one(entry)
    assert [one["field"] for one in answer["problems"]] == ["place"]


def _lists(tablet: Tablet) -> dict[str, Any]:
    got = tablet.client.get("/api/v1/tank-side", headers={"Authorization": f"Bearer {tablet.token}"})
    found: dict[str, Any] = got.json()
    return found


def test_the_lists_say_what_is_left_of_each_line(permit: Permit, house: TankHouse, tablet: Tablet) -> None:
    tablet.one(tablet.entry("slip", place="Q1", slip=a_slip(house, taken("two-spotted goby", 3, kept=3))))
    (told,) = _lists(tablet)["permits"]
    assert (told["number"], told["people"], told["gear"]) == ("P 7", ["Sunniva"], ["hand net"])
    lines = {line["words"]: (line["limit"], line["left"], line["names"]) for line in told["lines"]}
    assert lines["Two-spotted goby (Gobiusculus flavescens)"] == (10, 7, ["Pomatoschistus flavescens"])
    assert lines[ANEMONES][:2] == (6, 6)


def test_what_anybody_counts_is_not_in_the_lists(
    permit: Permit, house: TankHouse, tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A device is held by many: the numbers are improbable, and one that is found was given away."""
    slip = a_slip(house, taken("two-spotted goby", 791937, kept=791937))
    tablet.one(tablet.entry("slip", place="Q1", slip=slip))
    assert "-791927" in json.dumps(_lists(tablet))
    quarantine: Place = house.quarantine
    monkeypatch.setattr(blind, "_ASKED_OF_ALL", [lambda: {quarantine.pk}])
    told = json.dumps(_lists(tablet))
    assert "P 7" in told
    assert not any(number in told for number in ("791937", "791927"))


def test_more_permits_ask_no_more_queries(permit: Permit, house: TankHouse, tablet: Tablet) -> None:
    goby = taken("two-spotted goby", 1, kept=1)
    tablet.one(tablet.entry("slip", place="Q1", slip=a_slip(house, goby)))
    with CaptureQueriesContext(connection) as few:
        _lists(tablet)
    for n in range(3):
        lot = make_lot(f"N{n}")
        make_event("received", lot=lot, place=house.kelp_hall, unknown=2, happened="2026-09-01")
        make_person(f"More {n}", roles=["aquarist"])
        tablet.one(tablet.entry("slip", place="Q1", slip=a_slip(house, taken("two-spotted goby", 1, kept=1))))
    with CaptureQueriesContext(connection) as many:
        _lists(tablet)
    assert len(many) == len(few)


def test_the_interface_describes_the_slip(house: TankHouse, tablet: Tablet) -> None:
    schemas = tablet.client.get("/api/v1/openapi.json").json()["components"]["schemas"]
    assert {"SlipIn", "TakeIn"} <= set(schemas)
    for name in ("SlipIn", "TakeIn"):
        assert all(field.get("description") for field in schemas[name]["properties"].values()), name
