"""By which ways animals can leave a place unseen: noted, shut, and never rewritten."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from inventory.book.actions.ways_out import WayOutRefused, note_way_out, shut_way_out
from inventory.book.models import Place, WayOut
from inventory.book.queries.ways_out import hunters_by_place, open_ways_out, ways_out_of
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests.change.rows import Book

from ..factories import NOW, make_lot, make_person, make_place, make_taxon

pytestmark = pytest.mark.django_db
TODAY = date(2026, 10, 6)


def noted(place: Place, what: str = "lid off", since: date = date(2026, 9, 1)) -> WayOut:
    return note_way_out(place=place, what=what, since=since, today=TODAY, by=make_person(), now=NOW)


def test_it_is_open_on_its_first_and_its_last_day_and_on_none_beside_them() -> None:
    place = make_place()
    shut_way_out(way_out=noted(place), until=date(2026, 9, 10), today=TODAY, by=make_person(), now=NOW)
    assert [one.what for one in open_ways_out(date(2026, 9, 10), date(2026, 9, 30))[place.pk]] == ["lid off"]
    assert [one.what for one in open_ways_out(date(2026, 8, 1), date(2026, 9, 1))[place.pk]] == ["lid off"]
    assert open_ways_out(date(2026, 9, 11), date(2026, 9, 30)) == {}
    assert open_ways_out(date(2026, 8, 1), date(2026, 8, 31)) == {}


def test_one_that_is_not_shut_is_open_in_every_later_span_and_stands_first() -> None:
    place = make_place()
    shut_way_out(
        way_out=noted(place, "drain open", date(2026, 9, 20)),
        until=date(2026, 9, 21),
        today=TODAY,
        by=make_person(),
        now=NOW,
    )
    noted(place)
    assert [one.what for one in ways_out_of(place)] == ["lid off", "drain open"]
    assert list(open_ways_out(date(2027, 1, 1), date(2027, 3, 31))) == [place.pk]


def test_the_same_way_is_open_once_whatever_the_letters_and_again_after_it_was_shut() -> None:
    place = make_place()
    first = noted(place)
    with pytest.raises(WayOutRefused, match="“lid off” is noted as open since 2026-09-01 already"):
        noted(place, "Lid off")
    shut_way_out(way_out=first, until=TODAY, today=TODAY, by=make_person(), now=NOW)
    noted(place, "Lid off", TODAY)
    assert WayOut.objects.count() == 2


@pytest.mark.parametrize(
    ("until", "told"),
    [(date(2026, 8, 31), "from 2026-09-01"), (date(2026, 10, 7), "to today, 2026-10-06")],
)
def test_it_is_shut_on_a_day_on_which_it_can_have_been_open(until: date, told: str) -> None:
    way_out = noted(make_place())
    with pytest.raises(WayOutRefused, match=told):
        shut_way_out(way_out=way_out, until=until, today=TODAY, by=make_person(), now=NOW)
    way_out.refresh_from_db()
    assert way_out.until is None


def test_what_is_still_to_come_and_what_is_shut_already_are_refused() -> None:
    with pytest.raises(WayOutRefused, match="still to come"):
        noted(make_place(), since=date(2026, 10, 7))
    way_out = noted(make_place())
    shut_way_out(way_out=way_out, until=TODAY, today=TODAY, by=make_person(), now=NOW)
    with pytest.raises(WayOutRefused, match="already"):
        shut_way_out(way_out=way_out, until=TODAY, today=TODAY, by=make_person(), now=NOW)


def test_what_was_noted_is_not_rewritten_and_not_taken_away() -> None:
    way_out = noted(make_place())
    for change in ({"what": "nothing"}, {"since": date(2026, 1, 1)}, {"noted_at": NOW + timedelta(1)}):
        with pytest.raises(IntegrityError), transaction.atomic():
            WayOut.objects.filter(pk=way_out.pk).update(**change)
    with pytest.raises(IntegrityError), transaction.atomic():
        way_out.delete()


def test_hunters_are_kinds_that_are_held_now_by_place() -> None:
    book, eel = Book(), make_taxon("Conger conger", family="Congridae")
    goby = make_taxon("Gobius niger", family="Gobiidae")
    caves, pools = make_place("E7"), make_place("E3")
    eels = make_lot("EEL", taxon=eel)
    book.crossing("opening", "2026-01-01", eels, caves, 2)
    book.crossing("opening", "2026-01-01", eels, pools, 1)
    book.crossing("died", "2026-02-01", eels, pools, 1)
    book.crossing("opening", "2026-01-01", make_lot("GOBY", taxon=goby), pools, 20)
    assert hunters_by_place() == {caves.pk: ["Conger conger"]}


@pytest.fixture
def ade() -> Person:
    return make_person("Ade", roles=[Role.AQUARIST])


def test_the_aquarist_notes_and_shuts_it_on_the_page_and_the_history_has_both(
    ade: Person, frozen_clock: object, client: Client
) -> None:
    make_place("E03a")
    assert ade.user is not None
    client.force_login(ade.user)
    assert "none noted as open" in client.get("/place/E03a").text
    assert "None was noted yet" in client.get("/ways-out/E03a").text
    sent = {"note-what": "overflow without a screen", "note-since": "2026-09-20"}
    assert "Noted: overflow without a screen" in client.post("/ways-out/E03a", sent, follow=True).text
    assert "already" in client.post("/ways-out/E03a", sent).text
    assert "overflow without a screen, since 20 September 2026" in client.get("/place/E03a").text
    way_out = WayOut.objects.get()
    sent = {"shut-way_out": str(way_out.pk), "shut-until": "2026-09-19"}
    assert "Give a day from 2026-09-20" in client.post("/ways-out/E03a", sent).text
    sent["shut-until"] = "2026-10-01"
    assert "Shut: overflow" in client.post("/ways-out/E03a", sent, follow=True).text
    told = client.get("/history/place/E03a").text
    assert "overflow without a screen: open" in told
    assert "overflow without a screen: shut after" in told


def test_who_only_looks_reads_it_and_notes_nothing(client: Client) -> None:
    way_out = noted(make_place("E1"))
    inspector = make_person(roles=[Role.INSPECTOR])
    assert inspector.user is not None
    client.force_login(inspector.user)
    page = client.get("/ways-out/E1").text
    assert way_out.what in page
    assert "<form" not in page[page.index("<main") :]
    assert client.post("/ways-out/E1", {"note-what": "x", "note-since": "2026-10-01"}).status_code == 403
