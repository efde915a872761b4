"""The tank log: readings are kept once and as stated; the page shows, flags, draws and gives them."""

import csv
import io
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book import blind
from inventory.book.models import Place
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.tankside.actions.readings import ReadingRefused, Taken, take_reading, want_range
from inventory.tankside.models.readings import Reading, WantedRange
from inventory.tankside.queries.readings import last_of_each
from inventory.tankside.rules.readings import QUANTITIES

from .. import factories

pytestmark = pytest.mark.django_db
NOW = factories.NOW


@pytest.fixture
def ade() -> Person:
    factories.make_house()
    return factories.make_person("Ade Quillanter", roles=[Role.AQUARIST])


@pytest.fixture
def hall() -> Place:
    return factories.make_place("E02", name="Kelp Hall")


def signed_in(person: Person) -> Client:
    client = Client()
    assert person.user is not None
    client.force_login(person.user)
    return client


def take(
    by: Person | None, value: str = "9.4", *, at: datetime = NOW, place: str = "E02", **stated: object
) -> Taken:
    said = {"quantity": "temperature", "unit": "°C", "identifier": uuid4(), "now": NOW, **stated}
    return take_reading(place=place, value=value, taken_at=at, by=by, **said)  # type: ignore[arg-type]


def test_the_same_identifier_is_one_reading_with_one_answer(ade: Person, hall: Place) -> None:
    identifier = uuid4()
    first = take(ade, identifier=identifier)
    again = take(ade, "9,40", identifier=identifier, now=NOW + timedelta(hours=3))
    assert (first.already, again.already) == (False, True)
    assert again.reading == first.reading
    assert again.words == first.words == "Temperature 9.4 °C, Kelp Hall, 09:00"
    assert Reading.objects.get().recorded_at == NOW


def test_an_identifier_that_says_something_else_is_refused(ade: Person, hall: Place) -> None:
    identifier = uuid4()
    take(ade, identifier=identifier)
    with pytest.raises(ReadingRefused, match="sent before with another reading"):
        take(ade, "9.5", identifier=identifier)
    assert Reading.objects.count() == 1


def test_a_reading_keeps_the_unit_and_the_digits_that_were_stated(ade: Person, hall: Place) -> None:
    take(ade, "48.92", unit="°F")
    reading = Reading.objects.get()
    assert (reading.value, reading.unit) == (Decimal("48.92"), "°F")


@pytest.mark.parametrize(
    ("stated", "field", "says"),
    [
        ({"place": "E77"}, "place", "no place 'E77'"),
        ({"value": "400"}, "value", "no temperature of a tank"),
        ({"unit": "K"}, "unit", "no unit of temperature"),
        ({"quantity": "weather"}, "quantity", "not measured here"),
        ({"at": NOW + timedelta(minutes=1)}, "taken_at", "2026-10-06 09:01 is still to come"),
        ({"replaces": uuid4()}, "replaces", "none of this place and quantity"),
    ],
)
def test_what_can_be_no_reading_is_refused_whole(
    ade: Person, hall: Place, stated: dict[str, object], field: str, says: str
) -> None:
    with pytest.raises(ReadingRefused, match=says) as refused:
        take(ade, **stated)  # type: ignore[arg-type]
    assert [name for name, _ in refused.value.problems] == [field]
    assert not Reading.objects.exists()


def test_a_probe_writes_under_its_device_and_nobody_under_nothing(hall: Place) -> None:
    assert take(None, device="probe 3").reading.by is None
    with pytest.raises(ReadingRefused, match="nobody and no device"):
        take(None)
    with pytest.raises(IntegrityError), transaction.atomic():
        Reading.objects.create(
            identifier=uuid4(), place=hall, quantity="ph", value=8, unit="pH", taken_at=NOW, entered_at=NOW,
            recorded_at=NOW,
        )  # fmt: skip


def test_a_wrong_reading_is_replaced_once_and_both_stay(ade: Person, hall: Place) -> None:
    wrong = take(ade, "19.4").reading
    right = take(ade, "9.4", replaces=wrong.identifier).reading
    assert right.replaces == wrong
    assert last_of_each([hall.pk]) == [right]
    with pytest.raises(ReadingRefused, match="replaced already"):
        take(ade, "9.5", replaces=wrong.identifier)
    assert Reading.objects.count() == 2


@pytest.mark.parametrize("row", ["reading", "range"])
def test_the_database_refuses_to_change_or_lose_a_row(ade: Person, hall: Place, row: str) -> None:
    take(ade)
    want(hall, ade, "8", "11")
    rows = Reading.objects.all() if row == "reading" else WantedRange.objects.all()
    for change in (lambda: rows.update(unit="°F"), rows.delete):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def want(place: Place, by: Person, low: str | None, high: str | None, since: date = date(2026, 1, 1)) -> None:
    want_range(
        place=place,
        quantity="temperature",
        unit="°C",
        low=Decimal(low) if low else None,
        high=Decimal(high) if high else None,
        since=since,
        by=by,
        now=NOW,
    )


def test_a_range_set_for_an_exhibit_holds_in_its_basins_and_from_its_day(ade: Person, hall: Place) -> None:
    factories.make_place("E02a", parent=hall)
    want(hall, ade, "8", "11", since=date(2026, 10, 6))
    assert take(ade, "12", place="E02a").outside == "above 8 to 11 °C"
    assert take(ade, "12", at=NOW - timedelta(days=1), place="E02a").outside == ""
    with pytest.raises(ReadingRefused, match="less than"):
        want(hall, ade, "11", "8")


def test_the_page_takes_a_reading_and_says_it_back(ade: Person, hall: Place, frozen_clock: object) -> None:
    client = signed_in(ade)
    want(hall, ade, "8", "11")
    form = {
        "identifier": str(uuid4()), "measure": "temperature °C", "value": "12,5", "day": "2026-10-06",
        "time": "08:10", "note": "after the storm",
    }  # fmt: skip
    page = client.post("/place/E02/log", form, follow=True).text
    assert "Kept: Temperature 12.5 °C, Kelp Hall, 08:10." in page
    assert "That is above 8 to 11 °C, the range wanted here." in page
    assert page.count('<span class="tag">above 8 to 11 °C</span>') == 2
    assert "This was sent before; it stands once." in client.post("/place/E02/log", form, follow=True).text
    reading = Reading.objects.get()
    assert (reading.by, reading.note, reading.taken_at.isoformat()) == (
        ade,
        "after the storm",
        "2026-10-06T07:10:00+00:00",
    )


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"value": "400"}, "400 °C is no temperature of a tank"),
        ({"value": ""}, "This field is required"),
        ({"measure": "temperature K"}, "Select a valid choice"),
        ({"time": "10:00"}, "2026-10-06 10:00 is still to come"),
    ],
)
def test_the_page_says_what_is_wrong_beside_the_field(
    ade: Person, hall: Place, frozen_clock: object, change: dict[str, str], says: str
) -> None:
    form = {
        "identifier": str(uuid4()), "measure": "temperature °C", "value": "9", "day": "2026-10-06",
        "time": "08:10",
    }  # fmt: skip
    page = signed_in(ade).post("/place/E02/log", {**form, **change}).text
    assert "Nothing was kept yet" in page
    assert says in page
    assert not Reading.objects.exists()


def test_who_only_reads_the_log_adds_nothing(hall: Place, frozen_clock: object) -> None:
    factories.make_house()
    inspector = factories.make_person(roles=[Role.INSPECTOR])
    client = signed_in(inspector)
    assert "Keep</button>" not in client.get("/place/E02/log").text
    assert client.post("/place/E02/log", {"value": "9"}).status_code == 403
    assert client.get("/place/E02/wanted").status_code == 403
    assert Client().get("/place/E02/log").status_code == 302
    assert client.get("/place/E77/log").status_code == 404


def test_a_replaced_reading_is_struck_through_and_out_of_the_chart(
    ade: Person, hall: Place, frozen_clock: object
) -> None:
    wrong = take(ade, "19.4", at=NOW - timedelta(hours=2)).reading
    client = signed_in(ade)
    shown = client.get(f"/place/E02/log?replaces={wrong.identifier}").text
    assert "Replace a reading" in shown
    assert f'name="replaces" value="{wrong.identifier}"' in shown
    take(ade, "9.4", at=NOW - timedelta(hours=2), replaces=wrong.identifier)
    page = client.get("/place/E02/log").text
    assert "<del>19.4 °C</del>" in page
    assert "1 reading, lowest 9.4 °C, highest 9.4 °C" in page


def test_a_house_in_fahrenheit_sees_fahrenheit_and_what_was_stated(
    ade: Person, hall: Place, frozen_clock: object, settings: object
) -> None:
    settings.TEMPERATURE_UNIT = "°F"  # type: ignore[attr-defined]
    take(ade, "10")
    page = signed_in(ade).get("/place/E02/log").text
    assert "<strong>50 °F</strong>" in page
    assert "(10 °C)" in page
    assert "Temperature, °F</title>" in page.replace(", E02 Kelp Hall", "")


def test_deaths_and_births_stand_against_the_values_and_what_was_taken_back_does_not(
    ade: Person, hall: Place, frozen_clock: object
) -> None:
    lot = factories.make_lot("A1")
    stated: dict[str, Any] = {"lot": lot, "place": hall, "entered_by": ade}
    factories.make_event("received", unknown=30, happened="2026-09-01", **stated)
    factories.make_event("died", unknown=3, happened="2026-09-30T08:00", **stated)
    factories.make_event("put_down", unknown=1, happened="2026-09-30T09:00", **stated)
    factories.make_event("born", unknown=12, happened="2026-10-02", **stated)
    factories.make_reversal(factories.make_event("died", unknown=7, happened="2026-10-03", **stated))
    take(ade)
    page = signed_in(ade).get("/place/E02/log").text
    assert page.count('<path class="death"') == page.count('<path class="birth"') == 2
    rows = page[page.index("Deaths and births in this time") :]
    assert rows.count('<td class="num">4</td>') == 1
    assert rows.count('<td class="num">12</td>') == 1
    assert '<td class="num">7</td>' not in rows


def test_who_counts_the_tank_sees_no_death_there(
    ade: Person, hall: Place, frozen_clock: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = factories.make_lot("A1")
    factories.make_event("received", lot=lot, place=hall, unknown=30, entered_by=ade)
    factories.make_event("died", lot=lot, place=hall, unknown=7919373, happened="2026-09-30", entered_by=ade)
    take(ade)
    monkeypatch.setattr(blind, "_ASKED", [lambda person: {hall.pk}])
    page = signed_in(ade).get("/place/E02/log").text
    assert "deaths and births are hidden from you" in page
    assert "7919373" not in page
    assert 'class="death"' not in page


def test_the_period_is_chosen_by_days_or_from_one_day_to_another(
    ade: Person, hall: Place, frozen_clock: object
) -> None:
    for back in (0, 10, 40, 100):
        take(ade, f"{9 + back / 100}", at=NOW - timedelta(days=back))
    client = signed_in(ade)

    def shown(query: str) -> int:
        page = client.get(f"/place/E02/log{query}").text
        return (
            page[page.index("Readings, newest first") :].count("<tr>") - 1
            if "Readings, newest" in page
            else 0
        )

    assert shown("") == 2
    assert shown("?days=7") == 1
    assert shown("?days=90") == 3
    assert shown("?first=2026-06-28&last=2026-08-27") == 2
    assert shown("?first=2026-06-29&last=2026-08-26") == 0
    assert (
        "This is before the first day" in client.get("/place/E02/log?first=2026-09-02&last=2026-09-01").text
    )


def test_the_csv_gives_every_reading_as_it_was_stated(ade: Person, hall: Place, frozen_clock: object) -> None:
    wrong = take(ade, "68.9", unit="°F", at=NOW - timedelta(hours=1), note="=1+1")
    right = take(ade, "48.9", unit="°F", at=NOW - timedelta(hours=1), replaces=wrong.reading.identifier)
    take(None, "34.10", quantity="salinity", unit="PSU", device="probe 3")
    answer = signed_in(ade).get("/place/E02/log.csv?days=7")
    assert answer["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["value"], row["unit"], row["by"], row["device"]) for row in rows] == [
        ("68.9", "°F", "Ade Quillanter", ""),
        ("48.9", "°F", "Ade Quillanter", ""),
        ("34.1", "PSU", "", "probe 3"),
    ]
    assert rows[0]["note"] == "'=1+1"
    assert rows[0]["replaced_by"] == str(right.reading.identifier)
    assert rows[0]["taken_at"] == "2026-10-06T08:00:00+01:00"


def test_the_range_is_set_on_its_page(ade: Person, hall: Place, frozen_clock: object) -> None:
    curator = factories.make_person("Osric Fennadale", roles=[Role.CURATOR])
    client = signed_in(curator)
    form = {"measure": "oxygen mg/L", "low": "7", "high": "", "since": "2026-10-06"}
    assert "Oxygen: set from 2026-10-06." in client.post("/place/E02/wanted", form, follow=True).text
    take(ade, "6.2", quantity="oxygen", unit="mg/L")
    page = client.get("/place/E02/log").text
    assert "Wanted: at least 7 mg/L" in page
    assert 'class="spot-outside"' in page
    refused = client.post("/place/E02/wanted", {**form, "high": "6"}).text
    assert "This is less than the lower bound" in refused
    assert "Osric Fennadale" in refused


def test_the_last_values_of_all_tanks_are_one_list(ade: Person, hall: Place, frozen_clock: object) -> None:
    factories.make_place("E04", name="Eelgrass Bay")
    want(hall, ade, "8", "11")
    take(ade, "12")
    take(ade, "13", place="E04")
    client = signed_in(ade)
    assert "Eelgrass Bay" in client.get("/tank-logs").text
    outside = client.get("/tank-logs?outside=1").text
    assert "Kelp Hall" in outside
    assert "Eelgrass Bay" not in outside


@pytest.mark.parametrize("url", ["/place/E02/log", "/place/E02/log.csv", "/tank-logs", "/place/E02/wanted"])
def test_queries_do_not_grow_with_readings_places_and_ranges(
    hall: Place, frozen_clock: object, url: str
) -> None:
    curator = factories.make_person(roles=[Role.CURATOR])
    factories.make_house(registrar=curator)
    client = signed_in(curator)

    def grow(n: int) -> None:
        for number in range(n):
            place = factories.make_place()
            want(hall, curator, "8", "11", since=date(2026, 9, 1))
            for code in ("E02", place.code):
                reading = take(curator, "9", place=code, at=NOW - timedelta(hours=number + 1))
                take(
                    curator, "8", place=code, at=NOW - timedelta(hours=1), replaces=reading.reading.identifier
                )
            lot = factories.make_lot()
            factories.make_event("received", lot=lot, place=hall, unknown=9, happened="2026-09-20")
            factories.make_event("died", lot=lot, place=hall, unknown=1, happened="2026-09-30")

    def asked() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get(url).status_code == 200
        return len(captured)

    grow(1)
    asked()
    few = asked()
    grow(8)
    assert asked() == few
    assert few <= 30


def test_the_last_values_are_found_by_the_index_and_not_by_reading_the_log(hall: Place) -> None:
    """A probe writes a thousand times; what is asked for stays ten seeks for a place."""
    Reading.objects.bulk_create(
        Reading(
            identifier=uuid4(), place=hall, quantity="temperature", value=9, unit="°C", device="probe",
            taken_at=NOW - timedelta(minutes=n), entered_at=NOW, recorded_at=NOW,
        )
        for n in range(1_000)
    )  # fmt: skip
    if connection.vendor != "sqlite":
        pytest.skip("the plan is told apart by each database in its own words")
    with CaptureQueriesContext(connection) as captured:
        last_of_each([hall.pk])
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {captured[0]['sql']}")
        plan = [row[3] for row in cursor.fetchall()]
    assert not [step for step in plan if step.startswith("SCAN") and "reading" in step]
    assert sum("reading_newest_of_place" in step for step in plan) == sum(
        len(one.units) for one in QUANTITIES
    )
