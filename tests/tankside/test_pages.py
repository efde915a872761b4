"""The pages of what came from the tanks: who may do what, and what it does."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Event, Flag
from inventory.book.models.flags import FlagKind
from inventory.people.models import Person
from inventory.tankside.models import Alarm, Body, DoubleDecision, Entry

from ..factories import NOW, make_event, make_person
from .conftest import Tablet, TankHouse

SignedIn = Callable[[Person], Client]
PAGES = ("/alarms", "/doubles", "/open-names", "/came-back", "/questions", "/on-no-list", "/sent", "/")


def signed_in(person: Person) -> Client:
    client = Client()
    assert person.user is not None
    client.force_login(person.user)
    return client


@pytest.fixture
def registrar(house: TankHouse) -> Client:
    return signed_in(house.registrar)


@pytest.fixture
def vet(house: TankHouse) -> Client:
    return signed_in(make_person("Ylva", roles=["veterinarian"]))


def busy(tablet: Tablet, times: int = 1) -> None:
    """Something on every page."""
    for number in range(times):
        at = NOW - timedelta(hours=2, minutes=number)
        tablet.send(
            tablet.entry(lot="G1", n=2, saved_at=at),
            tablet.entry(lot="G1", n=2, saved_at=at + timedelta(seconds=30)),
            tablet.entry(open_name="set:rays", n=1, saved_at=at),
            tablet.entry(lot="R2", n=1, saved_at=at),
            tablet.entry("moved", lot="R1", n=90, to_place="Q1", saved_at=at),
            tablet.entry("note", note="algae on the window", saved_at=at),
            tablet.entry(lot="G1", n=number + 5, saved_at=at) | {"pass": None},
        )


@pytest.mark.parametrize("url", PAGES)
def test_an_empty_house_has_nothing_to_look_at(registrar: Client, url: str) -> None:
    page = registrar.get(url)
    assert page.status_code == 200
    if url != "/":
        assert "None: " in page.text or "Nothing was sent" in page.text


@pytest.mark.parametrize("url", PAGES)
def test_queries_do_not_grow_with_what_waits(tablet: Tablet, registrar: Client, url: str) -> None:
    busy(tablet)
    registrar.get(url)
    with CaptureQueriesContext(connection) as few:
        registrar.get(url)
    busy(tablet, times=6)
    with CaptureQueriesContext(connection) as many:
        page = registrar.get(url)
    assert page.status_code == 200
    assert len(many) == len(few), url


def test_today_tells_each_what_concerns_them(
    house: TankHouse, tablet: Tablet, registrar: Client, vet: Client
) -> None:
    busy(tablet)
    told = registrar.get("/").text
    for words in ("Suspected doubles", "Species still open", "came back to their authors", "with a question"):
        assert words in told
    assert "Alarm: deaths that nobody has looked at yet" in vet.get("/").text
    assert "Entries of yours that came back" in signed_in(house.aquarist).get("/").text
    assert "Entries of yours" not in told


def test_the_vet_sees_an_alarm_and_the_first_name_stays(
    house: TankHouse, tablet: Tablet, vet: Client
) -> None:
    tablet.one(tablet.entry(lot="R2", n=1))
    alarm = Alarm.objects.get()
    assert signed_in(house.aquarist).post("/alarms", {"alarm": alarm.pk}).status_code == 403
    assert "I have seen it" in vet.get("/alarms").text
    vet.post("/alarms", {"alarm": alarm.pk})
    curator = make_person("Osric", roles=["curator"])
    signed_in(curator).post("/alarms", {"alarm": alarm.pk})
    alarm.refresh_from_db()
    assert (alarm.seen_by, alarm.seen_at) == (Person.objects.get(name="Ylva"), NOW)
    assert "Alarm: deaths" not in vet.get("/").text


def test_the_same_takes_the_later_one_back_and_both_stay(
    house: TankHouse, tablet: Tablet, registrar: Client
) -> None:
    first, second = tablet.send(tablet.entry(lot="G1", n=2), tablet.entry(lot="G1", n=2))
    page = registrar.get("/doubles").text
    assert "suspected as it came in" in page
    registrar.post("/doubles", {"first": first["event"], "second": second["event"], "answer": "same"})
    assert house.held(house.gobies) == 198
    reversal = Event.objects.get(reverses=second["event"])
    assert (reversal.entered_by, reversal.reason) == (
        house.registrar,
        f"entered twice: the same as event {first['event']}",
    )
    assert not Flag.objects.filter(settled_at=None).exists()
    assert "None: no two events look like one" in registrar.get("/doubles").text


def test_two_is_not_asked_again(house: TankHouse, tablet: Tablet, registrar: Client) -> None:
    first, second = tablet.send(tablet.entry(lot="G1", n=2), tablet.entry(lot="G1", n=2))
    asked = {"first": first["event"], "second": second["event"], "answer": "two"}
    registrar.post("/doubles", asked)
    assert house.held(house.gobies) == 196
    assert "None: no two events look like one" in registrar.get("/doubles").text
    page = registrar.post("/doubles", asked | {"answer": "same"}, follow=True)
    assert "already" in page.text
    assert (house.held(house.gobies), DoubleDecision.objects.count()) == (196, 1)


def test_slips_of_two_people_within_a_day_are_on_the_list_and_further_apart_are_not(
    house: TankHouse, registrar: Client
) -> None:
    for happened in ("2026-10-01T08:00", "2026-10-02T07:59", "2026-10-04T08:00"):
        make_event("died", lot=house.gobies, place=house.kelp_hall, unknown=3, happened=happened)
    make_event("died", lot=house.gobies, place=house.kelp_hall, unknown=4, happened="2026-10-02T08:00")
    page = registrar.get("/doubles")
    assert len(page.context["page"]) == 1
    assert "suspected as it came in" not in page.text


def test_who_entered_both_does_not_say_alone_that_it_was_one(house: TankHouse, registrar: Client) -> None:
    first, second = (
        make_event("died", lot=house.gobies, place=house.kelp_hall, unknown=3, entered_by=house.registrar)
        for _ in range(2)
    )
    asked = {"first": first.pk, "second": second.pk, "answer": "same"}
    page = registrar.post("/doubles", asked, follow=True)
    assert "You entered event" in page.text
    assert house.held(house.gobies) == 194


def test_only_the_registrar_decides_on_doubles(house: TankHouse, tablet: Tablet) -> None:
    first, second = tablet.send(tablet.entry(lot="G1", n=2), tablet.entry(lot="G1", n=2))
    curator = signed_in(make_person("Osric", roles=["curator"]))
    assert curator.get("/doubles").status_code == 200
    asked = {"first": first["event"], "second": second["event"], "answer": "same"}
    assert curator.post("/doubles", asked).status_code == 403
    assert signed_in(house.aquarist).get("/doubles").status_code == 403


def test_an_open_name_is_settled_from_the_page_and_stays_readable_in_both_stories(
    house: TankHouse, tablet: Tablet, registrar: Client
) -> None:
    answer = tablet.one(tablet.entry(open_name="set:rays", n=1, saved_at=NOW - timedelta(hours=3)))
    page = registrar.get("/open-names")
    ((row, identifier),) = page.context["page"]
    assert {lot.accession for lot in row.choices} == {"R1", "R2"}
    said = {"event": answer["event"], "lot": "R1", "identifier": str(identifier)}
    registrar.post("/open-names", said)
    assert (house.held(house.ray), house.held(house.other_ray)) == (3, 3)
    settled = Event.objects.latest("id")
    assert settled.kind == "regrouped"
    assert settled.effective_at == Event.objects.get(pk=answer["event"]).effective_at
    open_lot = Flag.objects.get(event=answer["event"], kind=FlagKind.OPEN_NAME).lot
    assert open_lot is not None
    assert house.held(open_lot) == 0
    assert not Flag.objects.filter(kind=FlagKind.OPEN_NAME, settled_at=None).exists()
    for accession in ("R1", open_lot.accession):
        assert f"/event/{settled.pk}" in registrar.get(f"/lot/{accession}").text
    assert "somebody was faster" in registrar.post("/open-names", said, follow=True).text
    assert house.held(house.ray) == 3


def test_an_open_name_is_not_settled_as_something_else(
    house: TankHouse, tablet: Tablet, registrar: Client
) -> None:
    answer = tablet.one(tablet.entry(open_name="set:rays", n=1))
    ((_, identifier),) = registrar.get("/open-names").context["page"]
    said = {"event": answer["event"], "lot": "G1", "identifier": str(identifier)}
    assert "is none of" in registrar.post("/open-names", said, follow=True).text
    aquarist = signed_in(house.aquarist)
    assert aquarist.post("/open-names", said | {"lot": "R1"}).status_code == 403
    assert Flag.objects.filter(kind=FlagKind.OPEN_NAME, settled_at=None).count() == 1


def test_an_entry_that_came_back_waits_for_its_author_until_it_is_corrected(
    house: TankHouse, tablet: Tablet, registrar: Client
) -> None:
    wrong = tablet.entry("moved", lot="R1", n=90, to_place="Q1")
    tablet.one(wrong)
    author, other = signed_in(house.aquarist), signed_in(make_person(roles=["aquarist"]))
    assert "more than the book has" in author.get("/came-back").text
    assert "None: " in other.get("/came-back").text
    assert "more than the book has" in registrar.get("/came-back").text
    tablet.one(tablet.entry("moved", lot="R1", n=2, to_place="Q1", replaces=wrong["identifier"]))
    assert "None: " in author.get("/came-back").text


def test_an_entry_that_came_back_is_set_aside_with_a_reason_and_stays_readable(
    house: TankHouse, tablet: Tablet
) -> None:
    tablet.one(tablet.entry("moved", lot="R1", n=90, to_place="Q1"))
    author = signed_in(house.aquarist)
    (entry,) = author.get("/came-back").context["page"]
    assert "Say why" in author.post("/came-back", {"entry": entry.pk, "why": " "}, follow=True).text
    author.post("/came-back", {"entry": entry.pk, "why": "typed twice"})
    assert "None: " in author.get("/came-back").text
    sent = author.get("/sent").text
    assert "came back" in sent
    # Of what, where and how many: whoever reads it did not write it.
    assert entry.told in sent
    assert entry.told.startswith("90 moved, ")


def test_one_that_came_back_of_an_open_name_says_the_name_in_words(
    house: TankHouse, tablet: Tablet, registrar: Client
) -> None:
    tablet.one(tablet.entry("moved", lot=None, open_name="set:rays", n=3, to_place="Q1"))
    for page in ("/came-back", "/sent"):
        text = registrar.get(page).text
        assert "3 moved, rays, " in text
        assert "set:rays" not in text


def test_a_body_is_stated_later_and_its_question_ends(tablet: Tablet, vet: Client, registrar: Client) -> None:
    answer = tablet.one(tablet.entry(lot="R2", n=1))
    assert "Say where it is" in registrar.get("/questions").text
    url = f"/event/{answer['event']}/body"
    vet.post(url, {"kept": "freezer", "bag": "F-77", "part": "whole"})
    assert Body.objects.get().bag == "F-77"
    assert "None: " in registrar.get("/questions").text
    other = tablet.one(tablet.entry(lot="R2", n=1, saved_at=NOW - timedelta(hours=2)))
    page = vet.post(f"/event/{other['event']}/body", {"kept": "freezer", "bag": "F-77", "part": "whole"})
    assert "in use for event" in page.text


def test_the_registrar_ticks_questions_off(house: TankHouse, tablet: Tablet, registrar: Client) -> None:
    tablet.one(tablet.entry(lot="G1", n=1) | {"pass": None})
    flag = Flag.objects.get(kind=FlagKind.AUTHOR)
    assert signed_in(house.aquarist).post("/questions", {"flag": flag.pk}).status_code == 403
    registrar.post("/questions", {"flag": flag.pk})
    assert "None: " in registrar.get("/questions").text


def test_an_animal_on_no_list_waits_for_the_registrar(
    house: TankHouse, tablet: Tablet, registrar: Client
) -> None:
    written = tablet.entry("note", note="Not on the list: 2, a red starfish", unlisted=True)
    undone = tablet.entry("note", note="Not on the list: 1, a goby", unlisted=True)
    tablet.send(written, undone, tablet.entry("undo", undoes=undone["identifier"]))
    heading = "Animals on no list, written in at a tank"
    assert heading in registrar.get("/").text
    page = registrar.get("/questions").text
    assert "a red starfish" in page
    assert "a goby" not in page
    entry = Entry.objects.get(identifier=written["identifier"])
    said = {"found_as": "moved", "name": "Henricia oculata", "note": "0001234, moved on 3 October"}
    assert signed_in(house.aquarist).post(f"/on-no-list/{entry.pk}", said).status_code == 403
    assert "Nothing was kept" in registrar.post(f"/on-no-list/{entry.pk}", said | {"note": " "}).text
    assert "a red starfish" in registrar.get("/questions").text
    registrar.post(f"/on-no-list/{entry.pk}", said)
    assert "None: " in registrar.get("/questions").text
    assert heading not in registrar.get("/").text
    assert "a red starfish" in registrar.get("/sent").text


def test_notes_are_found_from_the_place_and_the_lot(
    house: TankHouse, tablet: Tablet, registrar: Client
) -> None:
    tablet.send(
        tablet.entry("note", note="algae on the window"),
        tablet.entry("note", lot="G1", note="spawning colours"),
    )
    assert "/sent?place=E02" in registrar.get("/place/E02").text
    assert "/sent?lot=G1" in registrar.get("/lot/G1").text
    assert "algae on the window" in registrar.get("/sent?place=E02").text
    of_lot = registrar.get("/sent?lot=G1").text
    assert "spawning colours" in of_lot
    assert "algae" not in of_lot


def test_a_counter_does_not_see_what_happened_in_a_tank_while_counting_it(
    house: TankHouse, tablet: Tablet, registrar: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    busy(tablet)
    hidden = frozenset({house.kelp_hall.pk})
    monkeypatch.setattr("inventory.book.blind.hidden_from", lambda person: hidden)
    for url in ("/doubles", "/open-names", "/questions", "/on-no-list", "/sent"):
        page: Any = registrar.get(url)
        assert len(page.context["page"]) == 0, url


def test_what_a_workbook_or_a_desk_brings_twice_within_minutes_is_on_today_too(
    house: TankHouse, registrar: Client
) -> None:
    """Nobody looks at such events as they come in; the registrar is asked all the same."""
    said: dict[str, Any] = {"lot": house.gobies, "place": house.kelp_hall, "entered_by": house.aquarist}
    for minute in ("07:52", "07:53"):
        make_event("died", **said, unknown=3, happened=f"2026-10-02T{minute}")
    # Two slips of one day, and two of one person that are hours apart, may well be two.
    for day in ("2026-10-01", "2026-10-01"):
        make_event("died", **said, unknown=4, happened=day)
    for hour in ("07", "11"):
        make_event("died", **said, unknown=5, happened=f"2026-10-03T{hour}:00")
    page = registrar.get("/doubles")
    assert [pair.suspected for pair in page.context["page"]] == [True, False, False]
    (asked,) = (one for one in registrar.get("/").context["today"].yours if "doubles" in one.heading)
    assert asked.total == 1
