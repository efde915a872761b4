"""Positions on land, from the slip to the return: kept, asked about, never refused."""

import csv
import zipfile
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.test import Client

from inventory.book.models import Lot
from inventory.people.rules.roles import Role
from inventory.permits.actions.cases import close_case
from inventory.permits.actions.permits import PermitRefused, VersionFacts, amend_permit
from inventory.permits.actions.trips import correct_trip
from inventory.permits.files.export import ARCHIVE, export
from inventory.permits.models import Case, CaseKind, PermitVersion, VersionKind
from inventory.permits.queries.collection_records import collection_records
from inventory.permits.queries.return_checks import findings
from inventory.permits.queries.returns import Asked, read_draft
from inventory.permits.rules.return_checks import Check
from inventory.permits.rules.sheets import PERMITS, readers_of

from .house import LINES, PermitHouse, a_take, a_trip, make_permit_house

DAY = date(2026, 10, 6)
# 140 km from the Baltic.
BERLIN: dict[str, Any] = {"latitude": Decimal("52.52"), "longitude": Decimal("13.405")}


@pytest.fixture
def house(db: None) -> PermitHouse:
    """A permit whose area is known by its words only, so that no polygon tells."""
    return make_permit_house(area=())


def _open() -> list[str]:
    return sorted(Case.objects.filter(closed_at=None).values_list("kind", flat=True))


def test_a_position_on_land_is_kept_and_becomes_a_case_until_it_is_corrected(house: PermitHouse) -> None:
    recorded = house.record(a_take("two-spotted goby", 1), **BERLIN)
    (case,) = recorded.cases
    assert case.kind == CaseKind.COORDINATES
    assert "latitude 52.52, longitude 13.405 lies 143 km inland, and TEST 1 is for the sea" in case.words
    assert (recorded.trip.latitude, Lot.objects.get().held) == (BERLIN["latitude"], 1)
    trip = recorded.trip
    correct_trip(trip=trip, entry=a_trip(), why="misread", by=house.officer, now=house.now, zone=house.zone)
    assert _open() == []


def test_a_position_that_lies_at_sea_when_it_is_turned_round_is_asked_about_as_swapped(
    house: PermitHouse,
) -> None:
    """36 N, 20 E lies in the Ionian Sea; 20 N, 36 E in Sudan."""
    (case,) = house.record(a_take("two-spotted goby", 1), latitude=Decimal(20), longitude=Decimal(36)).cases
    assert "are the two swapped? Then they lie at sea" in case.words


@pytest.mark.parametrize(("waters", "kinds"), [("inland", []), ("both", [])])
def test_a_permit_of_lakes_and_rivers_is_not_asked_about_them(
    db: None, waters: str, kinds: list[str]
) -> None:
    house = make_permit_house(area=(), waters=waters)
    house.record(a_take("two-spotted goby", 1), **BERLIN)
    assert _open() == kinds


def test_a_permit_of_lakes_and_rivers_is_asked_about_the_open_sea(db: None) -> None:
    house = make_permit_house(area=(), waters="inland")
    (case,) = house.record(a_take("two-spotted goby", 1)).cases
    assert "km out at sea, and TEST 1 is for lakes and rivers" in case.words


def test_a_position_is_not_asked_about_within_its_own_uncertainty(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 1), **BERLIN, uncertainty_m=140_000)
    assert _open() == []


def test_the_waters_of_an_amendment_hold_for_trips_from_its_day_on(house: PermitHouse) -> None:
    facts = VersionFacts(date(2026, 1, 1), date(2026, 9, 30), LINES, waters="both")
    amended = date(2026, 8, 1)
    kind = VersionKind.AMENDMENT
    amend_permit(
        permit=house.permit, facts=facts, kind=kind, amended_on=amended, by=house.officer, now=house.now
    )
    house.record(a_take("Urticina felina", 1), happened="2026-08-02", **BERLIN)
    assert _open() == []
    house.record(a_take("Urticina felina", 1), happened="2026-07-02", **BERLIN)
    assert _open() == ["coordinates"]


def test_waters_that_are_none_are_refused(db: None) -> None:
    with pytest.raises(PermitRefused, match="'pond' is none of sea, inland, both") as refused:
        make_permit_house(waters="pond")
    assert refused.value.column == "waters"


def test_the_sheet_of_permits_reads_waters_in_any_letters() -> None:
    assert "waters" in PERMITS.columns
    assert readers_of(PERMITS)["waters"](" Inland ") == "inland"


def test_a_return_and_an_archive_say_that_a_position_is_in_doubt_until_the_case_is_closed(
    house: PermitHouse,
) -> None:
    house.record(a_take("two-spotted goby", 1, let_go=1), **BERLIN)
    house.record(a_take("two-spotted goby", 1))
    asked = Asked(date(2026, 1, 1), date(2026, 9, 30), date(2026, 9, 30))

    def told() -> tuple[int, list[str], list[str]]:
        draft = read_draft(house.permit, asked, zone=house.zone)
        missing = next(one for one in findings(draft, today=DAY) if one.check is Check.DOUBTFUL_PLACE).missing
        found = collection_records(house.permit, as_of=DAY, zone=house.zone, coarse=True)
        with zipfile.ZipFile(BytesIO(export(found, ARCHIVE))) as archive:
            lines = archive.read("occurrence.txt").decode().splitlines()
        rows: Any = csv.DictReader(lines, delimiter="\t")
        return len(missing), found.open_ends, sorted(row["georeferenceVerificationStatus"] for row in rows)

    words = "1 of 2 takes have coordinates that are in doubt"
    assert told() == (1, [words], ["", "requires verification", "requires verification"])
    close_case(case=Case.objects.get(), words="it is a pond", by=house.officer, now=house.now)
    assert told() == (0, [], ["", "", ""])


def test_the_page_says_the_waters_and_an_amendment_keeps_them(
    house: PermitHouse, as_role: Callable[[Role], Client], frozen_clock: object
) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    address = f"/permit/{house.permit.pk}"
    assert "<dt>Waters</dt><dd>the sea</dd>" in client.get(address).text
    sent = {
        **{"change": "amendment", "amended_on": "2026-09-01", "valid_from": "2026-01-01"},
        **{"valid_until": "2026-09-30", "waters": "both", "line-TOTAL_FORMS": 1, "line-INITIAL_FORMS": 0},
        **{"line-0-words": "Gobies", "line-0-per": "permit", "line-0-unit": "animal"},
        **{"line-0-covers": "taxon"},
    }
    client.post(f"{address}/amend", sent)
    waters = PermitVersion.objects.order_by("number").values_list("waters", flat=True)
    assert list(waters) == ["sea", "both"]
    form = client.get(f"{address}/amend").context["form"]
    assert form["waters"].value() == "both"
