"""Collection records as files: csv, workbook and archive, exact and coarse."""

import csv
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from io import BytesIO, StringIO
from math import cos, hypot, radians
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.models import Lot
from inventory.book.rules.kinds import EventKind
from inventory.names.models import NameCheck
from inventory.people.rules.roles import Role
from inventory.permits.actions.takes import correct_take
from inventory.permits.files.export import ARCHIVE, CSV, FORMS, XLSX, export
from inventory.permits.queries.accounts import account
from inventory.permits.queries.collection_records import CollectionRecords, collection_records
from inventory.permits.rules.collection_records import COLUMNS, Position, Record, coarsened, plain

from ..factories import make_event, make_taxon
from .house import NUMBER, PermitHouse, a_take

DAY = date(2026, 10, 6)


def read(house: PermitHouse, **asked: Any) -> CollectionRecords:
    asked.setdefault("coarse", False)
    return collection_records(house.permit, as_of=asked.pop("as_of", DAY), zone=house.zone, **asked)


def rows_of(found: CollectionRecords) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(export(found, CSV).decode())))


def sheet_of(found: CollectionRecords) -> Any:
    return openpyxl.load_workbook(BytesIO(export(found, XLSX)))["Records"]


def test_a_row_says_what_was_taken_by_whom_where_and_what_became_of_it(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4, let_go=1, died=2, sex="male"), uncertainty_m=100)
    lot = Lot.objects.get()
    make_event(EventKind.DIED, lot=lot, place=house.quarantine, males=1, happened="2026-09-05")
    [row] = rows_of(read(house))
    told = {code: row[code] for code in row if row[code]}
    assert told.pop("eventID").startswith("urn:uuid:")
    assert told.pop("occurrenceID").startswith("urn:uuid:")
    assert told == {
        "eventDate": "2026-09-01",
        "locality": "off the point",
        "decimalLatitude": "60.5",
        "decimalLongitude": "-4.5",
        "geodeticDatum": "WGS84",
        "coordinateUncertaintyInMeters": "100",
        "samplingProtocol": "hand net",
        "recordedBy": "The skipper",
        "permitNumber": "TEST 1",
        "permitLineNumber": "1",
        "permitLine": "Two-spotted goby (Gobiusculus flavescens)",
        "validOnTheDay": "yes",
        "verbatimIdentification": "two-spotted goby",
        "scientificName": "Pomatoschistus flavescens",
        **{"numberTaken": "7", "numberLetGo": "1", "numberDied": "2", "numberKept": "4"},
        **{"unit": "animal", "numberIntoStock": "4", "stockUnit": "animal", "sex": "male"},
        "disposition": "in collection: 3 | died: 1",
        "organismID": lot.accession,
        "bycatch": "no",
    }


def test_the_totals_are_those_of_the_account(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4, let_go=1), a_take("shore crab", 2, died=1))
    house.record(a_take("shore crab", 3), happened="2026-09-03")
    rows = rows_of(read(house))
    for line in account(house.permit, as_of=DAY, zone=house.zone).lines:
        mine = [row for row in rows if row["permitLineNumber"] == str(line.number)]
        assert sum(int(row["numberTaken"]) for row in mine) == line.used.caught
        assert sum(int(row["numberKept"]) for row in mine) == line.used.kept
        assert sum(int(row["numberDied"]) for row in mine) == line.used.died


def test_a_correction_keeps_the_identifiers_and_is_marked(house: PermitHouse) -> None:
    [take] = house.record(a_take("Asterias rubens", let_go=3)).takes
    before = rows_of(read(house))[0]
    correct_take(
        take=take,
        entry=a_take("Asterias rubens", let_go=2),
        by=house.officer,
        now=house.now,
        zone=house.zone,
        why="two, not three",
    )
    [after] = rows_of(read(house))
    assert (before["numberTaken"], after["numberTaken"]) == ("3", "2")
    assert (before["amended"], after["amended"]) == ("", "two, not three")
    for column in ("occurrenceID", "eventID"):
        assert after[column] == before[column]


@pytest.mark.parametrize("text", ["=1+1", "+44 is a number", "-wide", "@cell", "=HYPERLINK(1)"])
def test_text_that_a_spreadsheet_would_run_stays_text(house: PermitHouse, text: str) -> None:
    house.record(a_take("Asterias rubens", let_go=1, remarks=text), locality=text)
    found = read(house)
    [row] = rows_of(found)
    assert row["occurrenceRemarks"] == f"'{text}"
    assert row["locality"] == f"'{text}"
    assert row["decimalLongitude"] == "-4.5", "a number stays a number"
    sheet = sheet_of(found)
    cells = {cell.value: cell for cell in sheet[3]}
    assert cells[text].data_type == "s"


def test_the_workbook_has_headings_codes_and_numbers(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4, let_go=1))
    found = read(house)
    sheet = sheet_of(found)
    assert [cell.value for cell in sheet[1]] == [column.heading for column in COLUMNS]
    assert [cell.value for cell in sheet[2]] == [column.code for column in COLUMNS]
    values = dict(zip((column.code for column in COLUMNS), (cell.value for cell in sheet[3]), strict=True))
    assert (values["numberTaken"], values["decimalLatitude"]) == (5, 60.5)
    head = openpyxl.load_workbook(BytesIO(export(found, XLSX)))["Head"]
    said = {row[0]: row[1] for row in head.iter_rows(values_only=True)}
    assert said["sum, animal"] == "5 taken: 1 let go alive, 0 died in the process, 4 kept"
    assert said["title"] == "Collection records of TEST 1, The Board"


def test_coarse_records_say_so_and_tell_no_place(house: PermitHouse) -> None:
    place: dict[str, Any] = {
        "locality": "under the pier",
        "latitude": Decimal("60.54321"),
        "longitude": Decimal("-4.56789"),
    }
    house.record(a_take("Asterias rubens", let_go=1, remarks="by the third pile"), **place)
    found = read(house, coarse=True)
    [row] = rows_of(found)
    assert (row["decimalLatitude"], row["decimalLongitude"]) == ("60.5", "-4.6")
    assert row["dataGeneralizations"].startswith("Coordinates rounded to 0.1 degree")
    assert row["informationWithheld"]
    for form in FORMS:
        content = export(found, form)
        for secret in (b"under the pier", b"third pile", b"60.543"):
            assert secret not in content
    head = openpyxl.load_workbook(BytesIO(export(found, XLSX)))["Head"]
    assert any("rounded to 0.1 degree" in str(words) for _, words in head.iter_rows(values_only=True))
    exact = rows_of(read(house))[0]
    assert (exact["decimalLatitude"], exact["locality"]) == ("60.54321", "under the pier")
    assert exact["dataGeneralizations"] == ""


@pytest.fixture(scope="module")
def somewhere() -> Any:
    """Any record."""
    blank = dict.fromkeys(Record.__dataclass_fields__)
    return lambda position: Record(**blank | {"position": position})  # type: ignore[arg-type]


@given(
    st.decimals(-89, 89, places=6), st.decimals(-179, 179, places=6), st.integers(0, 2000),
    st.sampled_from([Decimal("0.1"), Decimal("0.01"), Decimal(1)]),
)  # fmt: skip
def test_the_circle_of_a_coarse_position_holds_the_true_place(
    somewhere: Any, latitude: Decimal, longitude: Decimal, uncertainty: int, degrees: Decimal
) -> None:
    """Distance on a sphere of 6,371,009 m, the mean radius of the Earth (IUGG)."""
    exact = Position("here", latitude, longitude, "WGS84", uncertainty)
    coarse = coarsened(somewhere(exact), house="House", degrees=degrees).position
    assert coarse.latitude is not None
    assert coarse.longitude is not None
    assert coarse.uncertainty_m is not None
    north = radians(float(coarse.latitude - latitude)) * 6_371_009
    east = radians(float(coarse.longitude - longitude)) * 6_371_009 * cos(radians(float(latitude)))
    assert hypot(north, east) + uncertainty <= coarse.uncertainty_m


@given(st.decimals(-89, 89, places=6))
def test_a_coarse_position_tells_no_more_than_its_cell(somewhere: Any, latitude: Decimal) -> None:
    """Two places of one cell give the same answer, down to the uncertainty."""

    def of(place: Decimal) -> Position:
        return coarsened(somewhere(Position("", place, Decimal(4), "WGS84", 50)), house="House").position

    middle = of(latitude).latitude
    assert middle is not None
    assert of(latitude) == of(middle)


def test_a_number_has_no_zeros_that_nobody_stated() -> None:
    assert [str(plain(Decimal(text))) for text in ("60.571200", "-4.000000", "100", "0.0")] == [
        *("60.5712", "-4", "100", "0"),
    ]
    assert plain(None) is None


def test_the_same_records_are_the_same_bytes_in_every_form(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4), a_take("shore crab", 2))
    for form in FORMS:
        assert export(read(house), form) == export(read(house), form)


def test_who_counts_a_tank_is_not_told_what_became_of_its_animals(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    make_event(EventKind.DIED, lot=Lot.objects.get(), place=house.quarantine, happened="2026-09-05")
    found = read(house, hidden=[house.quarantine.pk])
    assert rows_of(found)[0]["disposition"] == "not told: these animals are being counted"


def test_the_number_of_queries_does_not_grow(house: PermitHouse, django_assert_max_num_queries: Any) -> None:
    house.record(a_take("two-spotted goby", 1))
    with django_assert_max_num_queries(40) as few:
        read(house)
    for day in range(1, 6):
        house.record(a_take("shore crab", 1), a_take("Urticina felina", 1), happened=f"2026-09-0{day}")
    with django_assert_max_num_queries(len(few)) as many:
        read(house)
    assert len(many) == len(few)


def test_the_command_writes_the_file_and_says_what_is_open(
    house: PermitHouse, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house.record(a_take("a worm that nobody knows", let_go=1), latitude=None, longitude=None)
    out = tmp_path / "records.csv"
    call_command("export_takes", f"--permit={NUMBER}", "--format=csv", f"--out={out}", "--as-of=2026-10-06")
    told = capsys.readouterr()
    assert out.read_bytes() == export(read(house), CSV)
    assert told.out == ""
    assert "1 of 1 takes have no coordinates" in told.err
    assert "1 of 1 takes have a name that is still open" in told.err


def test_the_command_refuses_an_unknown_permit_and_a_file_that_cannot_be(
    house: PermitHouse, tmp_path: Path
) -> None:
    with pytest.raises(CommandError, match="there is no permit 'X 9'; the house has TEST 1") as refused:
        call_command("export_takes", "--permit=X 9", "--format=csv", f"--out={tmp_path / 'x.csv'}")
    assert refused.value.returncode == 2
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("export_takes", f"--permit={NUMBER}", "--format=xlsx", f"--out={tmp_path / 'no' / 'x'}")


def get(client: Client, house: PermitHouse, form: str, **asked: str) -> Any:
    return client.get(reverse("takes_file", args=[house.permit.pk, form]), asked)


def test_who_keeps_permits_downloads_exact_places_and_others_coarse_ones(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    house.record(a_take("two-spotted goby", 4))
    for role, coarse, asked in (
        *((Role.PERMIT_OFFICER, False, {}), (Role.REGISTRAR, False, {}), (Role.INSPECTOR, True, {})),
        *((Role.AQUARIST, True, {}), (Role.PERMIT_OFFICER, True, {"coarse": "1"})),
    ):
        answer = get(as_role(role), house, CSV, as_of="2026-10-06", **asked)
        assert answer.status_code == 200
        assert answer.content == export(read(house, coarse=coarse), CSV), role
        ending = "2026-10-06-coarse.csv" if coarse else "2026-10-06.csv"
        assert answer["Content-Disposition"] == f'attachment; filename="takes-test-1-{ending}"'


def test_a_download_asks_for_a_known_form_and_a_day(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    assert get(client, house, "pdf").status_code == 404
    assert get(client, house, CSV, as_of="yesterday").status_code == 404
    assert get(client, house, ARCHIVE)["Content-Type"] == "application/zip"
    assert get(Client(), house, CSV).status_code == 302


def test_who_is_counting_these_animals_waits_with_the_download(
    house: PermitHouse, as_role: Callable[[Role], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    house.record(a_take("two-spotted goby", 4))
    client = as_role(Role.AQUARIST)
    monkeypatch.setattr("inventory.book.blind._ASKED", [lambda person: {house.quarantine.pk}])
    answer = get(client, house, CSV)
    assert answer.status_code == 403
    assert b"Hand your sheet in first" in answer.content


def test_the_permits_page_says_where_they_are_and_offers_the_records(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    house.record(a_take("two-spotted goby", 4))
    page = as_role(Role.INSPECTOR).get(reverse("permit", args=[house.permit.pk])).content.decode()
    _, used, where = page.split("<caption>", 2)
    assert used.startswith("What is used and what is left at the end of")
    assert where.startswith("Where they are now, of those kept")
    assert "Alive, together" in where
    assert "Alive, together" not in used
    assert "with places made coarse" in page
    assert reverse("takes_file", args=[house.permit.pk, "dwca"]) in page


def test_a_name_that_waits_for_a_person_is_no_scientific_name(house: PermitHouse) -> None:
    """A suggestion is none either: what was typed stays in its own column."""
    taxon = make_taxon("Carcinus maenass")
    house.record(a_take("Carcinus maenass", let_go=1))
    assert rows_of(read(house))[0]["scientificName"] == "Carcinus maenass"
    NameCheck.objects.create(
        typed="Carcinus maenass",
        verdict="misspelling",
        name="Carcinus maenas",
        taxon=taxon,
        asked_at=house.now,
    )
    [row] = rows_of(read(house))
    assert (row["verbatimIdentification"], row["scientificName"], row["nameAccordingTo"]) == (
        "Carcinus maenass",
        "",
        "",
    )
