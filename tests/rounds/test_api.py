"""Counting on a device: the sheets that it keeps give no number away, and a count is one count."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from openapi_spec_validator import OpenAPIV31SpecValidator

from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.sheets import hand_in
from census.rounds.models import Census, Count, CountEntry, Notice, Sheet
from census.rounds.rules.passes import how, middle
from inventory.people.actions.codes import check_code, set_code
from inventory.people.actions.devices import enrol, make_device, offer_code
from inventory.people.models import Device, DeviceScope, Person
from tests import factories

from .house import NOW, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
CODE = "4071"


@dataclass
class Phone:
    """A device as it speaks; ``signed`` are the passes of those who gave their code."""

    device: Device
    token: str
    signed: dict[int, str] = field(default_factory=dict)
    client: Client = field(default_factory=Client)

    def choose(self, person: Person, *, at: datetime = NOW) -> None:
        set_code(person, CODE, by=person, now=at - timedelta(days=30))
        confirmed = check_code(person=person, code=CODE, device=self.device, now=at - timedelta(hours=1))
        self.signed[person.pk] = confirmed.signed

    def post(self, path: str, body: Any) -> Any:
        return self.client.post(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Authorization": f"Bearer {self.token}"},
        )

    def sheets(self, person: Person) -> list[dict[str, Any]]:
        answer = self.post("count-sheets", {"person": person.pk, "pass": self.signed[person.pk]})
        assert answer.status_code == 200, answer.content
        found: list[dict[str, Any]] = answer.json()["sheets"]
        return found

    def entry(self, person: Person, sheet: str, *lines: dict[str, Any], **said: Any) -> dict[str, Any]:
        return {
            "identifier": str(uuid4()),
            "person": person.pk,
            "pass": self.signed.get(person.pk),
            "saved_at": NOW.isoformat(),
            "sheet": sheet,
            "lines": [{"counted_at": NOW.isoformat(), **line} for line in lines],
            **said,
        }

    def send(self, *entries: dict[str, Any], sent_at: datetime = NOW) -> list[dict[str, Any]]:
        answer = self.post("counts", {"sent_at": sent_at.isoformat(), "entries": list(entries)})
        assert answer.status_code == 200, answer.content
        found: list[dict[str, Any]] = answer.json()["answers"]
        return found


@pytest.fixture
def phone(house: TestHouse) -> Phone:
    """Enrolled; Alda and Bror have given their codes on it."""
    device = make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=house.registrar, now=NOW)
    enrolled = enrol(code=offer_code(device, by=house.registrar, now=NOW), now=NOW)
    made = Phone(device, enrolled.token)
    made.choose(house.first)
    made.choose(house.second)
    return made


@pytest.fixture
def census(house: TestHouse) -> Census:
    """All sheets issued to Alda."""
    return house.opened_and_issued()


def number_of(census: Census, place: str = "K1") -> str:
    return census.sheets.get(place__code=place).number


def current(house: TestHouse, census: Census, name: str, round_: int = 1) -> Count:
    return Count.objects.get(line=house.line(census, name), round=round_, replaced_by=None)


def test_the_sheets_are_those_of_the_person_with_blank_boxes(
    house: TestHouse, census: Census, phone: Phone
) -> None:
    sheets = phone.sheets(house.first)
    assert [sheet["place"] for sheet in sheets] == ["K1", "K2", "RA"]
    k1 = sheets[0]
    asks = {line["name"]: (line["asks"], line["count_class"]) for line in k1["lines"]}
    assert asks["Clupea harengus"] == ("number", "C")
    assert asks["Conger conger"] == ("roll-call", "A")
    conger = next(line for line in k1["lines"] if line["name"] == "Conger conger")
    assert [one["words"] for one in conger["individuals"]] == ["Hawser", "Thole"]
    assert any("three passes" in hint for hint in k1["hints"])
    assert any("Joined tanks" in hint for hint in sheets[2]["hints"])
    assert phone.sheets(house.second) == []


def test_nobody_gets_the_sheets_of_another(house: TestHouse, census: Census, phone: Phone) -> None:
    signed = phone.signed[house.second.pk]
    for said in ({"person": house.first.pk, "pass": signed}, {"person": house.first.pk, "pass": "no"}):
        answer = phone.post("count-sheets", said)
        assert (answer.status_code, answer.json()["reason"]) == (403, "code")


def test_more_sheets_and_lines_ask_no_more_queries(house: TestHouse, census: Census, phone: Phone) -> None:
    with CaptureQueriesContext(connection) as few:
        phone.sheets(house.first)
    house.add_many_lines(census)
    Sheet.objects.get(number=number_of(census, "K2")).counters.add(house.second)
    with CaptureQueriesContext(connection) as many:
        phone.sheets(house.first)
    assert len(many) == len(few)


def test_a_sheet_is_counted_and_handed_in(house: TestHouse, census: Census, phone: Phone) -> None:
    number = number_of(census)
    line = {name: house.line(census, name).number for name in ("goby", "bib", "cod", "shoal", "conger")}
    moment = (NOW - timedelta(hours=3)).isoformat()
    blenny = {"name": "a small blenny", "counted_at": NOW.isoformat(), "value": 1}
    entry = phone.entry(
        house.first,
        number,
        {"line": line["goby"], "value": 0},
        {"line": line["bib"], "value": 19, "at_least": True, "remark": "two hide"},
        {"line": line["shoal"], "passes": [402, 431, 388], "value": 402},
        {"line": line["conger"], "seen": {
            house.lots["conger"].accession: "seen", house.lots["hawser"].accession: "not seen",
        }},
        hand_in=True,
        written_in=[{**blenny, "remark": "behind the pipe"}],
    )  # fmt: skip
    entry["lines"][0]["counted_at"] = moment
    (answer,) = phone.send(entry)
    assert (answer["outcome"], answer["problems"], answer["flags"]) == ("sent", [], [])
    assert answer["words"] == f"{number}, 5 lines counted, handed in"
    goby = current(house, census, "goby")
    assert (goby.value, goby.counted_at.isoformat(), goby.counter) == (
        0, datetime.fromisoformat(moment).astimezone(goby.counted_at.tzinfo).isoformat(), house.first,
    )  # fmt: skip
    bib = current(house, census, "bib")
    assert (bib.value, bib.at_least, bib.remark) == (19, True, "two hide")
    shoal = current(house, census, "shoal")
    assert (shoal.value, shoal.low, shoal.high, shoal.passes) == (402, 388, 431, 3)
    assert shoal.method == "3 passes: 402, 431, 388"
    conger = current(house, census, "conger")
    assert (conger.value, {s.lot.house_name: s.seen for s in conger.sightings.all()}) == (
        1, {"Thole": "seen", "Hawser": "not seen"},
    )  # fmt: skip
    # Left out is not counted.
    assert not Count.objects.filter(line=house.line(census, "cod")).exists()
    assert Count.objects.get(line__written_name="a small blenny").remark == "behind the pipe"
    assert Sheet.objects.get(number=number).state == "handed in"


def test_the_same_entry_twice_is_one_count_with_one_answer(
    house: TestHouse, census: Census, phone: Phone
) -> None:
    goby = house.line(census, "goby").number
    entry = phone.entry(house.first, number_of(census), {"line": goby, "value": 11}, hand_in=True)
    first, again = phone.send(entry, entry)
    assert again == {**first, "already": True}
    # A correction after it stays, whenever the first is sent once more.
    phone.send(phone.entry(house.first, number_of(census), {"line": goby, "value": 12}))
    assert phone.send(entry)[0]["already"]
    assert current(house, census, "goby").value == 12
    other = {**entry, "lines": [{**entry["lines"][0], "value": 13}]}
    assert phone.send(other)[0]["problems"][0]["field"] == "identifier"
    assert current(house, census, "goby").value == 12


def test_two_counters_of_class_a_write_for_themselves(house: TestHouse, census: Census, phone: Phone) -> None:
    """Both hold the first round's sheet, for they count at the same moment and may have no signal."""
    sheet = Sheet.objects.get(number=number_of(census))
    sheet.counters.add(house.second)
    line = house.line(census, "conger").number
    thole, hawser = house.lots["conger"].accession, house.lots["hawser"].accession
    first = phone.entry(
        house.first, sheet.number, {"line": line, "seen": {thole: "seen", hawser: "seen"}}, hand_in=True
    )
    second = phone.entry(
        house.second, sheet.number, {"line": line, "seen": {thole: "seen", hawser: "not seen"}}, hand_in=True
    )
    assert [one["outcome"] for one in phone.send(first, second)] == ["sent", "sent"]
    assert current(house, census, "conger", 1).counter == house.first
    assert (current(house, census, "conger", 2).counter, current(house, census, "conger", 2).value) == (
        house.second,
        1,
    )


def test_the_second_counter_is_led_to_class_a_after_the_first(
    house: TestHouse, census: Census, phone: Phone
) -> None:
    sheet = Sheet.objects.get(number=number_of(census))
    sheet.counters.add(house.second)
    line = house.line(census, "conger").number
    seen = {house.lots[name].accession: "seen" for name in ("conger", "hawser")}
    phone.send(phone.entry(house.first, sheet.number, {"line": line, "seen": seen}, hand_in=True))
    (again,) = phone.sheets(house.second)
    assert (again["round"], [one["name"] for one in again["lines"]]) == (2, ["Conger conger"])


def test_a_count_of_somebody_else_is_not_written_over(house: TestHouse, census: Census, phone: Phone) -> None:
    sheet = Sheet.objects.get(number=number_of(census))
    sheet.counters.add(house.second)
    goby, bib = house.line(census, "goby").number, house.line(census, "bib").number
    phone.send(phone.entry(house.first, sheet.number, {"line": goby, "value": 791937}))
    (back,) = phone.send(
        phone.entry(house.second, sheet.number, {"line": goby, "value": 5}, {"line": bib, "value": 4})
    )
    assert back["outcome"] == "came back"
    assert back["problems"] == [
        {
            "field": f"line {goby}",
            "words": f"line {goby}: another counter has sent it; leave it blank, or ask the registrar for "
            "a recount",
        }
    ]
    assert current(house, census, "goby").value == 791937
    assert not Count.objects.filter(line=house.line(census, "bib")).exists()


def test_two_counters_each_write_in_the_same_animal_of_class_a(
    house: TestHouse, census: Census, phone: Phone
) -> None:
    factories.make_taxon("Raja brachyura", count_class="A")
    sheet = Sheet.objects.get(number=number_of(census))
    sheet.counters.add(house.second)
    at = {"counted_at": NOW.isoformat()}
    ray, star = {"name": "Raja brachyura", "value": 1, **at}, {"name": "cushion star", "value": 3, **at}
    answers = phone.send(
        phone.entry(house.first, sheet.number, written_in=[ray, star]),
        phone.entry(house.second, sheet.number, written_in=[ray]),
        phone.entry(house.second, sheet.number, written_in=[star]),
    )
    assert [(one["outcome"], one["problems"]) for one in answers[:2]] == [("sent", []), ("sent", [])]
    assert answers[2]["outcome"] == "came back"
    counts = Count.objects.filter(line__written_name="Raja brachyura").order_by("round")
    assert [(one.round, one.counter) for one in counts] == [(1, house.first), (2, house.second)]


def test_a_recount_shows_its_lines_only_and_no_number(house: TestHouse, census: Census, phone: Phone) -> None:
    sheet = Sheet.objects.get(number=number_of(census))
    goby = house.line(census, "goby")
    shrimps = {"name": "8117811 shrimps", "counted_at": NOW.isoformat(), "value": 8117811}
    line = {"line": goby.number, "value": 8117811, "remark": "8117811, sure"}
    phone.send(phone.entry(house.first, sheet.number, line, hand_in=True, written_in=[shrimps]))
    ask_recount(lines=[goby], of=house.second, by=house.registrar, now=NOW)
    answer = phone.post("count-sheets", {"person": house.second.pk, "pass": phone.signed[house.second.pk]})
    assert "8117811" not in answer.text
    (again,) = answer.json()["sheets"]
    assert (again["number"], again["round"], [line["line"] for line in again["lines"]]) == (
        sheet.number, 2, [goby.number],
    )  # fmt: skip
    assert again["hints"][0].startswith("A recount")
    entry = phone.entry(house.second, sheet.number, {"line": goby.number, "value": 9}, round=2, hand_in=True)
    assert phone.send(entry)[0]["outcome"] == "sent"
    assert current(house, census, "goby", 2).value == 9
    assert phone.sheets(house.second) == []
    assert Sheet.objects.get(pk=sheet.pk).state == "handed in"


def test_no_answer_holds_a_number_of_the_book_or_of_what_was_sent_before(
    house: TestHouse, census: Census, phone: Phone, make_improbable: Callable[[], int]
) -> None:
    """Searched in the bytes: a number that is found was given away, for nobody would meet it by chance."""
    book = make_improbable()
    number, line = number_of(census), house.line(census, "goby").number
    said = {"person": house.first.pk, "pass": phone.signed[house.first.pk]}
    before = phone.post("count-sheets", said).text
    sent = phone.post("counts", {"sent_at": NOW.isoformat(), "entries": [
        phone.entry(house.first, number, {"line": line, "value": 639739, "remark": "639739"}),
        phone.entry(house.second, number, {"line": line, "value": 1}),
    ]}).text  # fmt: skip
    after = phone.post("count-sheets", said)
    for text in (before, sent, after.text):
        assert not any(str(one) in text for one in (book, book + 11, 639739))
    # That it was counted is all that is told, so that the counter knows where to go on.
    counted = [one["line"] for one in after.json()["sheets"][0]["lines"] if one["counted"]]
    assert counted == [line]


@pytest.fixture
def make_improbable(house: TestHouse) -> Callable[[], int]:
    """Brings 7919373 gobies more into K1."""
    from .house import stock

    def make() -> int:
        stock(house, "goby", "K1", 7919373)
        return 7919373

    return make


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"sheet": "CS-1"}, "there is no sheet 'CS-1'"),
        ({"person": 99_999}, "nobody here"),
        ({"round": 4}, "less than or equal to 3"),
        ({"colour": "blue"}, "Extra"),
        ({"co\ud800lour": "\ud83d"}, "unicode"),
        ({"lines": [{"line": 900, "value": 1}]}, "no line 900"),
        ({"lines": [{"line": 1, "value": -1}]}, "greater than"),
        ({"lines": [{"line": 1, "value": 1.5}]}, "integer"),
        ({"lines": [{"line": 1, "passes": [3, 4, 9], "value": 9}]}, "9 is not the middle of the passes, 4"),
        ({"lines": [{"line": 1, "value": 4, "sexes": {"males": 3}}]}, "add up to 3, not 4"),
        ({"lines": [{"line": 1, "letter": "S"}]}, "class D only"),
        ({"lines": [{"line": 1, "value": 4, "seen": {"A\x001": "seen"}}]}, "a null character cannot be kept"),
        ({"lines": [{"line": 1, "value": 4, "pi\x00eces": 1}]}, "Extra inputs are not permitted"),
        ({"lines": [{"line": 1, "value": 4, "pi\ud800ces": 1}]}, "should be a valid string"),
    ],
)  # fmt: skip
def test_what_cannot_be_comes_back_in_words_and_is_kept(
    house: TestHouse, census: Census, phone: Phone, change: dict[str, Any], says: str
) -> None:
    wrong = phone.entry(house.first, number_of(census)) | change
    wrong["lines"] = [{"counted_at": NOW.isoformat(), **line} for line in wrong["lines"]]
    right = phone.entry(
        house.first, number_of(census), {"line": house.line(census, "bib").number, "value": 20}
    )
    back, sent = phone.send(wrong, right)
    assert (back["outcome"], sent["outcome"]) == ("came back", "sent")
    assert says in " ".join(problem["words"] for problem in back["problems"])
    assert CountEntry.objects.filter(came_back=True).count() == 1
    assert Count.objects.count() == 1


def test_a_count_without_a_code_is_taken_flagged_and_told(
    house: TestHouse, census: Census, phone: Phone
) -> None:
    line = house.line(census, "goby").number
    entry = {**phone.entry(house.first, number_of(census), {"line": line, "value": 3}), "pass": None}
    (answer,) = phone.send(entry)
    assert [flag["kind"] for flag in answer["flags"]] == ["author"]
    assert Notice.objects.get().role == "registrar"


def test_a_clock_that_is_ahead_is_flagged_and_counts_in_no_future(
    house: TestHouse, census: Census, phone: Phone
) -> None:
    ahead = NOW + timedelta(minutes=40)
    line = {"line": house.line(census, "goby").number, "value": 3, "counted_at": ahead.isoformat()}
    entry = phone.entry(house.first, number_of(census), line, saved_at=ahead.isoformat())
    (answer,) = phone.send(entry, sent_at=ahead)
    assert "clock" in [flag["kind"] for flag in answer["flags"]]
    assert current(house, census, "goby").counted_at == NOW


def test_only_who_is_on_the_sheet_writes_on_it(house: TestHouse, census: Census, phone: Phone) -> None:
    (answer,) = phone.send(phone.entry(house.second, number_of(census), {"line": 1, "value": 3}))
    assert "is not issued to Bror" in answer["problems"][0]["words"]


def test_a_sensor_counts_nothing(house: TestHouse, census: Census, phone: Phone) -> None:
    Device.objects.filter(pk=phone.device.pk).update(scope=DeviceScope.READINGS)
    for path, body in (
        ("count-sheets", {"person": house.first.pk, "pass": phone.signed[house.first.pk]}),
        ("counts", {"sent_at": NOW.isoformat(), "entries": [phone.entry(house.first, "x")]}),
    ):
        answer = phone.post(path, body)
        assert (answer.status_code, answer.json()["reason"]) == (403, "scope")


def test_a_census_that_is_over_takes_no_count(house: TestHouse, census: Census, phone: Phone) -> None:
    Census.objects.filter(pk=census.pk).update(state="abandoned")
    assert phone.sheets(house.first) == []
    (answer,) = phone.send(phone.entry(house.first, number_of(census), {"line": 1, "value": 3}))
    assert answer["outcome"] == "came back"


def test_a_sheet_that_the_first_counter_handed_in_still_takes_the_second(
    house: TestHouse, census: Census, phone: Phone
) -> None:
    sheet = Sheet.objects.get(number=number_of(census))
    sheet.counters.add(house.second)
    hand_in(sheet=sheet, by=house.first, now=NOW)
    line = house.line(census, "goby").number
    entry = phone.entry(house.second, sheet.number, {"line": line, "value": 3}, hand_in=True)
    assert phone.send(entry)[0]["outcome"] == "sent"


def test_the_interface_describes_itself(phone: Phone) -> None:
    spec = phone.client.get("/api/v1/openapi.json").json()
    OpenAPIV31SpecValidator(spec).validate()
    assert {"/api/v1/count-sheets", "/api/v1/counts"} <= set(spec["paths"])
    for name in ("CountEntryIn", "LineIn", "WriteInIn", "CountSheetOut", "LineOut", "SexesIn"):
        fields = spec["components"]["schemas"][name]["properties"]
        assert all(one.get("description") for one in fields.values()), name


@pytest.mark.parametrize(
    ("passes", "expected"), [([61, 58, 64], 61), ([5], 5), ([4, 7], 6), ([1, 2, 3, 10], 3), ([0, 0, 1], 0)]
)
def test_the_middle_of_passes(passes: list[int], expected: int) -> None:
    """The median; of an even number half an animal is rounded up."""
    assert middle(passes) == expected


def test_fewer_passes_than_wanted_say_so() -> None:
    assert how([7, 9], 3) == "2 passes only, 3 wanted: lower quality: 7, 9"
    assert how(list(range(100_000, 100_030)), 3) == "30 passes, 100000 to 100029"
