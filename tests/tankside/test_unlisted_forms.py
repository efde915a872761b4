"""The form of an event that is reached from a find: what is known stands in it, and what is changed stays."""

import re
from typing import Any

import pytest
from django.test import Client

from inventory.book.models import Event
from inventory.book.rules.found_as import FoundAs
from inventory.tankside.models import Entry, UnlistedFinding

from ..factories import NOW, make_person
from .conftest import Tablet, TankHouse
from .test_pages import signed_in
from .test_unlisted import say

NOTE = "Not on the list: 2, a goby with spots; how it got here: not known"


@pytest.fixture
def registrar(house: TankHouse) -> Client:
    return signed_in(house.registrar)


def found(tablet: Tablet, house: TankHouse, found_as: FoundAs, **said: Any) -> UnlistedFinding:
    """Written in at Kelp Hall, and found to be a goby."""
    sent = tablet.entry("note", **{"note": NOTE, "unlisted": True, "n": 2, **said})
    assert tablet.one(sent)["outcome"] == "sent"
    entry = Entry.objects.get(identifier=sent["identifier"])
    return say(house, entry, found_as, name="two-spotted goby")


def shown(client: Client, url: str) -> dict[str, str]:
    """The form as the page offers it: values by field."""
    form = client.get(url).context["form"]
    return {name: str(form[name].value() or "") for name in form.fields}


def the_link(client: Client, finding: UnlistedFinding) -> str:
    page = client.get(f"/on-no-list/{finding.entry_id}").text
    return str(re.findall(r'href="(/record/[^"]+)"', page)[0])


def test_number_place_moment_and_words_stand_in_the_form(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    finding = found(tablet, house, FoundAs.SETTLED, happened="2026-09-28T07:40")
    url = the_link(registrar, finding)
    assert url == f"/record/settled/G1?finding={finding.pk}"
    form = shown(registrar, url)
    assert {name: form[name] for name in ("unknown", "place", "day", "time", "note")} == {
        "unknown": "2",
        "place": "E02",
        "day": "2026-09-28",
        "time": "07:40:00",
        "note": f"{NOTE}; by its shell",
    }
    assert "Filled in from what was written" in registrar.get(url).text


def sent_as(form: dict[str, str], **changed: str) -> dict[str, str]:
    """The form as a browser sends it: the hour as it was offered goes along."""
    return form | {"time": form["time"][:5], "initial-time": form["time"]} | changed


def test_sent_as_it_stands_it_is_the_event_of_that_moment(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    """Also on an earlier day, whose hour is that of the find and not the one of now."""
    url = the_link(registrar, found(tablet, house, FoundAs.SETTLED, happened="2026-09-28T07:40"))
    assert registrar.post(url, sent_as(shown(registrar, url))).status_code == 302
    event = Event.objects.latest("pk")
    assert (event.kind, event.happened, event.entered_by) == (
        "settled",
        "2026-09-28T07:40",
        house.registrar,
    )
    assert event.note == f"{NOTE}; by its shell"
    assert house.held(house.gobies, house.kelp_hall) == 202


def test_what_the_registrar_changes_stays_theirs_also_when_the_form_comes_back(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    url = the_link(registrar, found(tablet, house, FoundAs.CAME_WITH))
    mine = {"unknown": "5", "place": "Q1", "note": "counted again", "day": "not a day"}
    page = registrar.post(url, sent_as(shown(registrar, url), **mine))
    form = page.context["form"]
    assert {name: form[name].value() for name in mine} == mine
    sent = sent_as(shown(registrar, url), **{**mine, "day": f"{NOW:%Y-%m-%d}"})
    assert registrar.post(url, sent).status_code == 302
    assert house.held(house.gobies, house.quarantine) == 5
    assert Event.objects.latest("pk").note == "counted again"


def test_the_hour_goes_with_the_day_that_it_was_offered_for(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    url = the_link(registrar, found(tablet, house, FoundAs.SETTLED, happened="2026-09-28T07:40"))
    registrar.post(url, sent_as(shown(registrar, url), day="2026-09-27"))
    assert Event.objects.latest("pk").happened == "2026-09-27"


def test_where_no_moment_was_said_it_is_when_it_was_saved(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    form = shown(registrar, the_link(registrar, found(tablet, house, FoundAs.SETTLED)))
    assert (form["day"], form["time"][:5]) == (f"{NOW:%Y-%m-%d}", f"{NOW:%H:%M}")


@pytest.mark.parametrize(
    ("happened", "day"), [("2026-09-27", "2026-09-27"), ("2026-09-20/2026-09-26", "2026-09-26")]
)
def test_a_day_without_an_hour_offers_none(
    tablet: Tablet, house: TankHouse, registrar: Client, happened: str, day: str
) -> None:
    form = shown(registrar, the_link(registrar, found(tablet, house, FoundAs.SETTLED, happened=happened)))
    assert (form["day"], form["time"]) == (day, "")


def test_what_moved_went_to_where_it_was_written_in(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    finding = found(tablet, house, FoundAs.MOVED, place="Q1", letter="B", n=0, note="a goby marked B")
    form = shown(registrar, the_link(registrar, finding))
    assert (form["place"], form["to_place"], form["unknown"]) == ("E02", "Q1", "1")


def test_what_nobody_counted_is_left_for_the_registrar_to_say(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    finding = found(tablet, house, FoundAs.SETTLED, abundance="C", n=0, note="spotted gobies everywhere")
    assert shown(registrar, the_link(registrar, finding))["unknown"] == ""


def test_a_find_that_was_said_anew_or_is_none_fills_in_nothing(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    first = found(tablet, house, FoundAs.SETTLED)
    url = the_link(registrar, first)
    say(house, first.entry, FoundAs.INTRODUCED, after=first)
    last = UnlistedFinding.objects.latest("pk")
    other, none, too_long = (
        f"/record/settled/G1?finding={one}" for one in (last.pk, "x&note=typed", "9" * 5_000)
    )
    for asked in (url, other, none, too_long):
        form = shown(registrar, asked)
        assert (form["unknown"], form["note"]) == ("", "")
        assert "Filled in" not in registrar.get(asked).text


def test_who_counts_the_tank_is_told_nothing_of_the_find(
    tablet: Tablet, house: TankHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    finding = found(tablet, house, FoundAs.SETTLED)
    client = signed_in(make_person("Orla", roles=["aquarist"]))
    url = f"/record/settled/G1?finding={finding.pk}"
    assert shown(client, url)["unknown"] == "2"
    monkeypatch.setattr("inventory.book.blind.hidden_from", lambda person: frozenset({house.kelp_hall.pk}))
    assert shown(client, url)["unknown"] == ""


def test_the_form_without_a_find_asks_no_more_than_before(
    tablet: Tablet, house: TankHouse, registrar: Client, django_assert_num_queries: Any
) -> None:
    finding = found(tablet, house, FoundAs.SETTLED)
    registrar.get("/record/settled/G1")
    with django_assert_num_queries(10):
        registrar.get("/record/settled/G1")
    with django_assert_num_queries(11):
        registrar.get(f"/record/settled/G1?finding={finding.pk}")
