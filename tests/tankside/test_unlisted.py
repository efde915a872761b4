"""What an animal on no list was: the registrar says it, the book does not change, the permit officer is told.

*Common practice, no source*: what is written in is free text and a picture; the registrar gives a name and
one of five decisions; an introduced species alerts the permit officer.
"""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Event
from inventory.book.rules.days import day_in_words
from inventory.book.rules.found_as import FoundAs
from inventory.people.models import Person
from inventory.tankside.actions.unlisted import FindingRefused, Said, say_what_it_was, see_finding
from inventory.tankside.attention import items
from inventory.tankside.models import Entry, FindingSeen, SetAside, UnlistedFinding
from inventory.tankside.rules.unlisted import Before, concerns_permit_officer

from ..factories import NOW, make_lot, make_person, make_taxon
from .conftest import Tablet, TankHouse
from .test_pages import signed_in


@pytest.fixture
def officer(house: TankHouse) -> Person:
    return make_person("Peregrine", roles=["permit_officer"])


@pytest.fixture
def registrar(house: TankHouse) -> Client:
    return signed_in(house.registrar)


def written(tablet: Tablet) -> Entry:
    sent = tablet.entry("note", note="Not on the list: 2, a flat oyster with frills", unlisted=True)
    assert tablet.one(sent)["outcome"] == "sent"
    return Entry.objects.get(identifier=sent["identifier"])


def say(
    house: TankHouse,
    entry: Entry,
    found_as: FoundAs,
    *,
    name: str = "Pacific oyster",
    after: UnlistedFinding | None = None,
) -> UnlistedFinding:
    return say_what_it_was(
        entry=entry,
        said=Said(found_as, name, "by its shell"),
        instead_of=after.pk if after else None,
        by=house.registrar,
        now=NOW,
    )


def on_today(person: Person) -> list[str]:
    asked = [one for one in items(person, now=NOW) if one.heading.startswith("Introduced species")]
    return [line.text for one in asked for line in one.lines]


@pytest.mark.parametrize("found_as", list(FoundAs))
def test_no_answer_changes_the_book(
    tablet: Tablet, house: TankHouse, registrar: Client, found_as: FoundAs
) -> None:
    entry, before = written(tablet), Event.objects.count()
    said = {"found_as": found_as.value, "name": "two-spotted goby", "note": "by its spots"}
    page = registrar.post(f"/on-no-list/{entry.pk}", said, follow=True)
    assert "The book has not changed" in page.text
    assert (Event.objects.count(), house.held(house.gobies)) == (before, 200)
    finding = UnlistedFinding.objects.get()
    assert (finding.what, finding.taxon, finding.found_by) == (found_as, house.gobies.taxon, house.registrar)
    assert finding.for_permit_officer is (found_as is FoundAs.INTRODUCED)
    assert "a flat oyster with frills" not in registrar.get("/questions").text
    assert f"{found_as.words}: " in registrar.get("/on-no-list").text.lower()


def test_an_introduced_species_waits_for_the_permit_officer_until_it_was_seen(
    tablet: Tablet, house: TankHouse, officer: Person, registrar: Client
) -> None:
    entry, page = written(tablet), signed_in(officer)
    assert "Introduced species" not in page.get("/").text
    finding = say(house, entry, FoundAs.INTRODUCED)
    said = f"Pacific oyster: introduced species in E02 Kelp Hall, {NOW:%Y-%m-%d}"
    assert on_today(officer) == [said]
    assert f"Pacific oyster: introduced species in E02 Kelp Hall, {day_in_words(NOW)}" in page.get("/").text
    shown = page.get("/on-no-list").text
    assert "check local rules" in shown
    assert "I have seen it" in shown
    assert "I have seen it" not in registrar.get("/on-no-list").text
    assert registrar.post("/on-no-list", {"finding": finding.pk}).status_code == 403
    page.post("/on-no-list", {"finding": finding.pk})
    other = signed_in(make_person("Quill", roles=["permit_officer"]))
    assert "the first name stays" in other.post("/on-no-list", {"finding": finding.pk}, follow=True).text
    seen = FindingSeen.objects.get()
    assert (seen.by, seen.at) == (officer, NOW)
    assert on_today(officer) == []
    assert "Peregrine, <time" in registrar.get("/on-no-list").text
    history = registrar.get("/history/place/E02").text
    assert "Pacific oyster: introduced species" in history
    assert "seen by the permit officer" in history


def test_what_concerns_nobody_cannot_be_seen(tablet: Tablet, house: TankHouse, officer: Person) -> None:
    finding = say(house, written(tablet), FoundAs.SETTLED)
    for asked in (finding.pk, "x", ""):
        assert signed_in(officer).post("/on-no-list", {"finding": asked}).status_code == 404
    assert not FindingSeen.objects.exists()


def test_a_wrong_answer_is_said_anew_and_both_stay(
    tablet: Tablet, house: TankHouse, officer: Person, registrar: Client
) -> None:
    entry = written(tablet)
    first = say(house, entry, FoundAs.INTRODUCED)
    see_finding(first, by=officer, now=NOW)
    anew = {"found_as": "settled", "name": "Ostrea edulis", "note": "an expert looked"}
    registrar.post(f"/on-no-list/{entry.pk}", anew | {"instead_of": first.pk})
    second = UnlistedFinding.objects.get(replaces=first)
    # Whoever was told of an introduced species hears that it was none.
    assert on_today(officer) == [f"Ostrea edulis: settled from sea water in E02 Kelp Hall, {NOW:%Y-%m-%d}"]
    see_finding(second, by=officer, now=NOW)
    say(house, entry, FoundAs.CAME_WITH, after=second)
    assert on_today(officer) == []
    assert registrar.get(f"/on-no-list/{entry.pk}").text.count("said anew since") == 2


def test_of_two_who_answer_at_once_the_second_reads_first_what_was_said(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    entry = written(tablet)
    first = say(house, entry, FoundAs.INTRODUCED)
    with pytest.raises(FindingRefused, match="Maren said: Pacific oyster: introduced species"):
        say(house, entry, FoundAs.SETTLED)
    said = {"found_as": "settled", "name": "Ostrea edulis", "note": "by its shell"}
    page = registrar.post(f"/on-no-list/{entry.pk}", said).text
    assert "said meanwhile" in page
    assert 'value="Ostrea edulis"' in page
    assert f'name="instead_of" value="{first.pk}"' in page
    assert UnlistedFinding.objects.count() == 1


def test_who_may_not_and_what_is_none_is_refused(
    tablet: Tablet, house: TankHouse, officer: Person, registrar: Client
) -> None:
    entry, said = written(tablet), Said(FoundAs.INTRODUCED, "oyster", "by its shell")
    for by in (house.aquarist, officer):
        with pytest.raises(FindingRefused, match="it is for the role registrar"):
            say_what_it_was(entry=entry, said=said, instead_of=None, by=by, now=NOW)
    finding = say(house, entry, FoundAs.INTRODUCED)
    with pytest.raises(FindingRefused, match="it is for the role permit officer"):
        see_finding(finding, by=house.registrar, now=NOW)
    tablet.one(tablet.entry("note", note="algae on the window"))
    note = Entry.objects.latest("pk")
    assert registrar.get(f"/on-no-list/{note.pk}").status_code == 404
    with pytest.raises(FindingRefused, match="tells of no animal"):
        say(house, note, FoundAs.INTRODUCED)


def test_what_was_taken_back_asks_nobody_and_an_alert_of_it_says_so(
    tablet: Tablet, house: TankHouse, officer: Person, registrar: Client
) -> None:
    unsaid, told = written(tablet), written(tablet)
    say(house, told, FoundAs.INTRODUCED)
    for entry in (unsaid, told):
        tablet.one(tablet.entry("undo", undoes=str(entry.identifier)))
    with pytest.raises(FindingRefused, match="has taken it back"):
        say(house, unsaid, FoundAs.SETTLED)
    assert 'action="/on-no-list' not in registrar.get(f"/on-no-list/{unsaid.pk}").text
    assert "taken back since" in signed_in(officer).get("/on-no-list").text
    assert len(on_today(officer)) == 1


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("Raja clavata", "Raja clavata"),
        ("raja  CLAVATA", "Raja clavata"),
        ("thornback ray", "Raja clavata"),
        ("Raja batis", "Dipturus batis"),
        ("skate", None),
        ("Magallana gigas", None),
    ],
)
def test_a_name_of_the_house_is_kept_with_its_kind_and_any_other_as_it_is_written(
    tablet: Tablet, house: TankHouse, typed: str, kept: str | None
) -> None:
    """A name that was joined leads to the kind that it is now; one that two kinds bear, to none."""
    skates = [make_taxon(f"Dipturus {name}", common_name="skate") for name in ("batis", "intermedius")]
    make_taxon("Raja batis", joined_into=skates[0])
    finding = say(house, written(tablet), FoundAs.OTHER_NAME, name=typed)
    assert finding.name == " ".join(typed.split())
    assert (finding.taxon.scientific_name if finding.taxon else None) == kept


@pytest.mark.parametrize(
    ("found_as", "leads"),
    [
        (FoundAs.CAME_WITH, ["/record/found/G1"]),
        (FoundAs.SETTLED, ["/record/settled/G1"]),
        (FoundAs.MOVED, ["/record/moved/G1"]),
        (FoundAs.OTHER_NAME, []),
        (FoundAs.INTRODUCED, []),
    ],
)
def test_where_stock_follows_the_page_leads_to_the_form_of_the_event(
    tablet: Tablet, house: TankHouse, registrar: Client, found_as: FoundAs, leads: list[str]
) -> None:
    entry = written(tablet)
    make_lot("G2", taxon=make_taxon("Gobius niger"))
    finding = say(house, entry, found_as, name="two-spotted goby")
    page = registrar.get(f"/on-no-list/{entry.pk}").text
    linked = [part.split('"')[0] for part in page.split('href="')[1:]]
    leads = [f"{address}?finding={finding.pk}" for address in leads]
    assert [address for address in linked if address.startswith("/record/")] == leads
    for address in leads:
        assert registrar.get(address).status_code == 200


def test_without_a_lot_the_page_says_how_one_is_made(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    entry = written(tablet)
    say(house, entry, FoundAs.SETTLED, name="Magallana gigas")
    page = registrar.get(f"/on-no-list/{entry.pk}").text
    assert "no lot of it yet" in page
    assert "/record/" not in page


def test_what_was_said_before_there_were_decisions_stays_and_may_be_said_anew(
    tablet: Tablet, house: TankHouse, registrar: Client
) -> None:
    entry = written(tablet)
    SetAside.objects.create(entry=entry, why="a Pacific oyster", by=house.registrar, at=NOW)
    assert "frills" not in registrar.get("/questions").text
    assert "a Pacific oyster (Maren" in registrar.get(f"/on-no-list/{entry.pk}").text
    say(house, entry, FoundAs.INTRODUCED)
    assert "Introduced species: “Pacific oyster”" in registrar.get("/on-no-list").text


def test_who_counts_the_tank_sees_nothing_of_it(
    tablet: Tablet, house: TankHouse, officer: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = written(tablet)
    finding = say(house, entry, FoundAs.INTRODUCED)
    page = signed_in(officer)
    assert "frills" in page.get("/on-no-list").text
    monkeypatch.setattr("inventory.book.blind.hidden_from", lambda person: frozenset({house.kelp_hall.pk}))
    assert "frills" not in page.get("/on-no-list").text
    assert page.get(f"/on-no-list/{entry.pk}").status_code == 404
    assert page.post("/on-no-list", {"finding": finding.pk}).status_code == 404
    assert on_today(officer) == []


@pytest.mark.parametrize("table", ["tankside_unlistedfinding", "tankside_findingseen"])
def test_both_are_append_only(tablet: Tablet, house: TankHouse, officer: Person, table: str) -> None:
    see_finding(say(house, written(tablet), FoundAs.INTRODUCED), by=officer, now=NOW)
    for statement in (f"UPDATE {table} SET id = id + 1", f"DELETE FROM {table}"):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


def more(tablet: Tablet, house: TankHouse, officer: Person) -> None:
    """One that waits, one introduced and seen, and one said anew that the permit officer has to see."""
    written(tablet)
    see_finding(say(house, written(tablet), FoundAs.INTRODUCED), by=officer, now=NOW)
    first = say(house, written(tablet), FoundAs.INTRODUCED, name="Raja clavata")
    say(house, first.entry, FoundAs.SETTLED, after=first)


@pytest.mark.parametrize("url", ["/", "/history/place/E02"])
def test_queries_of_other_pages_do_not_grow_with_what_was_written_in(
    tablet: Tablet, house: TankHouse, officer: Person, registrar: Client, url: str
) -> None:
    more(tablet, house, officer)
    registrar.get(url)
    counted = []
    for times in (0, 4):
        for _ in range(times):
            more(tablet, house, officer)
        with CaptureQueriesContext(connection) as asked:
            assert registrar.get(url).status_code == 200
        counted.append(len(asked))
    assert counted[0] == counted[1]


@pytest.mark.parametrize(
    ("url", "queries"), [("/questions", 12), ("/on-no-list", 10), ("/on-no-list/{}", 11)]
)
def test_the_pages_take_as_many_queries_with_many_as_with_few(
    tablet: Tablet,
    house: TankHouse,
    officer: Person,
    registrar: Client,
    url: str,
    queries: int,
    django_assert_num_queries: Callable[..., Any],
) -> None:
    more(tablet, house, officer)
    url = url.format(Entry.objects.latest("pk").pk)
    registrar.get(url)
    with django_assert_num_queries(queries):
        registrar.get(url)
    for _ in range(4):
        more(tablet, house, officer)
    with django_assert_num_queries(queries):
        registrar.get(url)


def test_the_permit_officer_hears_of_it_and_once_more_when_it_is_none() -> None:
    introduced, settled = FoundAs.INTRODUCED, FoundAs.SETTLED
    assert concerns_permit_officer(introduced)
    assert not concerns_permit_officer(settled)
    assert concerns_permit_officer(settled, Before(introduced, concerned=True, seen=True))
    assert concerns_permit_officer(settled, Before(introduced, concerned=True, seen=False))
    # The word that it is none was not read yet: the next one is for the same eyes.
    assert concerns_permit_officer(FoundAs.MOVED, Before(settled, concerned=True, seen=False))
    assert not concerns_permit_officer(FoundAs.MOVED, Before(settled, concerned=True, seen=True))
    assert not concerns_permit_officer(FoundAs.MOVED, Before(settled, concerned=False, seen=False))
    assert concerns_permit_officer(introduced, Before(settled, concerned=True, seen=True))
