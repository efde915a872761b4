"""Late entries after closing: below the limit they stay late, above it a restatement is asked for."""

import json

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.restating import approve_restatement, ask_restatement, refuse_restatement
from census.rounds.actions.signing import reopen, sign
from census.rounds.actions.telling import see
from census.rounds.models import Census, Notice
from census.rounds.queries.late import LatePeriod, late_in, late_periods
from census.rounds.queries.open_items import ItemKind, open_items
from census.rounds.queries.settings import settings_in_use
from census.rounds.rules.restating import LateFigure, asks_to_restate
from census.rounds.rules.words import CensusState, SheetState
from inventory.book.actions.close import close_period
from inventory.book.models import Event, PeriodVersion
from inventory.book.models.flags import FlagKind
from inventory.book.queries.lists import late_entries
from inventory.book.statements import CHANGED, FIGURES
from tests import factories

from .house import NOW, WITHOUT, ZONE, TestHouse, at

LATER = at("2026-10-20T09:00")
LATEST = at("2026-10-21T09:00")


def figure(n: int, closing: int, class_a: int = 0) -> LateFigure:
    return LateFigure("Gobius niger", "animal", n, class_a, closing)


@pytest.mark.parametrize(
    ("late", "asks"),
    [
        (figure(1, 400, class_a=1), True),
        (figure(4, 20), False),  # 20 per cent, but fewer than five
        (figure(5, 100), True),  # five, and five per cent exactly
        (figure(5, 101), False),  # five, but less than five per cent
        (figure(30, 601), False),
        (figure(5, 0), True),
        (figure(5, -3), True),
    ],
)
def test_the_limit_is_one_of_class_a_or_five_animals_and_five_per_cent(late: LateFigure, asks: bool) -> None:
    # Section 10 of the house's own procedure: *common practice, no source*.
    assert bool(asks_to_restate(late)) is asks


@given(n=st.integers(0, 500), more=st.integers(0, 50), closing=st.integers(0, 3_000))
def test_more_late_animals_never_ask_less(n: int, more: int, closing: int) -> None:
    if asks_to_restate(figure(n, closing)):
        assert asks_to_restate(figure(n + more, closing))


def closed(house: TestHouse) -> PeriodVersion:
    return sign(census=house.compared({}), by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)


def died(house: TestHouse, name: str, n: int, place: str = "K1") -> Event:
    return factories.make_event(
        "died",
        lot=house.lots[name],
        place=place,
        unknown=n,
        happened="2026-09-20",
        now=LATER,
        entered_by=house.first,
        reason="late death entry",
    )


def late(house: TestHouse) -> LatePeriod:
    found = late_in(house.period, settings=settings_in_use(), zone=ZONE)
    assert found is not None
    return found


@pytest.mark.django_db
def test_an_open_period_has_no_late_entries(house: TestHouse) -> None:
    assert late_in(house.period, settings=settings_in_use(), zone=ZONE) is None


@pytest.mark.django_db
def test_small_late_entries_stay_late_and_many_small_ones_add_up(house: TestHouse) -> None:
    closed(house)
    died(house, "shoal", 4)
    assert [(f.name, f.n, f.closing) for f in late(house).figures] == [("Clupea harengus", 4, 420)]
    assert late(house).asks == []
    for _ in range(5):
        died(house, "shoal", 4)
    assert [why for _, why in late(house).asks] == ["24 of a closing number of 420"]
    assert [one.period for one in late_periods(settings=settings_in_use(), zone=ZONE)] == [house.period]


@pytest.mark.django_db
def test_late_entries_of_many_periods_are_read_in_as_many_queries_as_those_of_one(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    closed(house)
    died(house, "shoal", 4)
    settings = settings_in_use()
    with django_assert_num_queries(7):
        late_periods(settings=settings, zone=ZONE)
    for code, start, end in (("2026", "2026-01-01", "2026-12-31"), ("2026 Q2", "2026-04-01", "2026-06-30")):
        period = factories.make_period(code, start, end)
        close_period(period, closed_at=at("2027-01-10T09:00"), signed_by=house.curator, zone=ZONE)
    factories.make_event(
        "died", lot=house.lots["goby"], place="K1", happened="2026-09-20", now=at("2027-02-01T09:00")
    )
    with django_assert_num_queries(7):
        found = late_periods(settings=settings, zone=ZONE)
    assert [(one.period.code, [f.n for f in one.figures]) for one in found] == [
        ("2026", [1]),
        ("2026 Q3", [4, 1]),
    ]


@pytest.mark.django_db
def test_one_animal_of_class_a_asks(house: TestHouse) -> None:
    closed(house)
    died(house, "conger", 1)
    assert [why for _, why in late(house).asks] == ["1 of class A"]


@pytest.mark.django_db
def test_a_loss_and_a_gain_are_not_netted(house: TestHouse) -> None:
    closed(house)
    died(house, "goby", 3)
    factories.make_event(
        "born", lot=house.lots["goby"], place="K1", unknown=3, happened="2026-09-21", now=LATER
    )
    assert [f.n for f in late(house).figures] == [6]
    assert len(late(house).asks) == 1


@pytest.mark.django_db
def test_a_census_that_is_open_again_asks_only_for_what_changed_since_it_was_signed(
    house: TestHouse,
) -> None:
    # A census of which one sheet was typed in later; the period was signed without it.
    census = house.open("K1")
    version = close_period(house.period, closed_at=NOW, signed_by=house.curator, zone=ZONE)
    Census.objects.filter(pk=census.pk).update(state=CensusState.CLOSED.value, version=version)
    census.sheets.update(state=SheetState.ACCEPTED.value)
    census = Census.objects.get()
    reopen(census=census, by=house.curator, now=LATER, note="a slip was found")
    died(house, "wrasse q", 1, place="K2")
    census = Census.objects.get()
    asked = [one.text for one in open_items(census, []) if one.kind is ItemKind.NO_SHEET]
    (text,) = asked
    assert text.startswith("no sheet counts K2, where the book holds ")
    assert "Symphodus melops at the cut-off" in text


@pytest.mark.django_db
def test_a_counted_period_is_reopened_signed_again_and_both_versions_stay(house: TestHouse) -> None:
    first = closed(house)
    papers = {paper.name: bytes(paper.content) for paper in first.statements.all()}
    slip = died(house, "shoal", 30)
    asked = ask_restatement(
        period=house.period, why="slip of 20 September", by=house.registrar, now=LATER, zone=ZONE
    )
    assert (
        ask_restatement(period=house.period, why="again", by=house.registrar, now=LATER, zone=ZONE) == asked
    )
    approve_restatement(restatement=asked, by=house.curator, now=LATER, zone=ZONE)
    census = Census.objects.get()
    assert census.state == CensusState.REOPENED
    # Approved and not signed yet: what comes late now joins the next version without being asked for.
    assert (
        ask_restatement(period=house.period, why="once more", by=house.registrar, now=LATER, zone=ZONE)
        == asked
    )
    second = sign(census=census, by=house.curator, now=LATEST, zone=ZONE, without_sample=WITHOUT)
    asked.refresh_from_db()
    assert (second.number, asked.new_version) == (2, second)
    assert second.note == "Restated: slip of 20 September"
    assert {paper.name: bytes(paper.content) for paper in first.statements.all()} == papers
    changed = json.loads(bytes(second.statements.get(name=CHANGED).content))
    assert {(row["name"], row["figure"]): (row["old"], row["new"]) for row in changed} == {
        ("Clupea harengus", "died"): (0, 30),
        ("Clupea harengus", "closing"): (420, 390),
        ("Clupea harengus", "closing_mfu"): ("0.0.420", "0.0.390"),
    }
    assert changed[0]["events"] == [
        {
            "event": slip.pk,
            "kind": "died",
            "happened": "2026-09-20",
            "entered_by": "Alda",
            "approved_by": "",
            "reason": "late death entry",
        }
    ]
    assert late(house).events == []


@pytest.mark.django_db
def test_what_has_joined_a_new_version_is_not_asked_about_as_late_any_more(house: TestHouse) -> None:
    closed(house)
    year = factories.make_period("2025", starts_on="2025-01-01", ends_on="2025-12-31")
    close_period(year, closed_at=NOW, signed_by=house.curator, zone=ZONE)
    lot, tank = factories.make_lot(), factories.make_place()
    elsewhere = [
        factories.make_event(kind, lot=lot, place=tank, unknown=2, happened=day, now=LATER)
        for kind, day in (("received", "2025-06-01"), ("sent", "2025-06-02"))
    ]
    slip = died(house, "shoal", 30)
    asked = ask_restatement(period=house.period, why="a slip", by=house.registrar, now=LATER, zone=ZONE)
    approve_restatement(restatement=asked, by=house.curator, now=LATER, zone=ZONE)
    assert {flag.event for flag in late_entries()} == {slip, *elsewhere}
    version = sign(
        census=Census.objects.get(),
        by=house.curator,
        now=LATEST,
        zone=ZONE,
        note="seen with the keeper",
        without_sample=WITHOUT,
    )
    assert version.note == "Restated: a slip; seen with the keeper"
    # The year before is not restated: what came late there is carried as late as before.
    assert {flag.event for flag in late_entries()} == set(elsewhere)
    flag = slip.flags.get(kind=FlagKind.LATE_ENTRY)
    assert (flag.settled_by, flag.settled_at) == (house.curator, LATEST)


@pytest.mark.django_db
def test_a_period_without_a_census_is_closed_at_once_and_the_permit_officer_is_told(house: TestHouse) -> None:
    close_period(house.period, closed_at=NOW, signed_by=house.curator, zone=ZONE)
    died(house, "shoal", 30)
    asked = ask_restatement(period=house.period, why="freezer", by=house.registrar, now=LATER, zone=ZONE)
    done = approve_restatement(restatement=asked, by=house.curator, now=LATEST, zone=ZONE, note="agreed")
    assert done.new_version is not None
    assert (done.new_version.number, done.new_version.note) == (2, "Restated: freezer")
    figures = json.loads(bytes(done.new_version.statements.get(name=FIGURES).content))
    assert {row["name"]: row["closing"] for row in figures["by_taxon"]}["Clupea harengus"] == 390
    notice = Notice.objects.get()
    assert (notice.role, notice.seen_at) == ("permit_officer", None)
    with pytest.raises(CensusRefused, match="for the role permit officer"):
        see(notice=notice, by=house.registrar, now=LATEST)
    assert see(notice=notice, by=house.officer, now=LATEST).seen_by == house.officer


@pytest.mark.django_db
def test_nobody_approves_what_they_asked_for_or_entered(house: TestHouse) -> None:
    closed(house)
    both = factories.make_person("Ketil", roles=["registrar", "curator"])
    asked = ask_restatement(period=house.period, why="freezer", by=both, now=LATER, zone=ZONE)
    with pytest.raises(CensusRefused, match="asked for this restatement"):
        approve_restatement(restatement=asked, by=both, now=LATER, zone=ZONE)
    factories.make_event(
        "died",
        lot=house.lots["goby"],
        place="K1",
        happened="2026-09-20",
        now=LATER,
        entered_by=house.curator,
    )
    with pytest.raises(CensusRefused, match="entered what is to be restated"):
        approve_restatement(restatement=asked, by=house.curator, now=LATER, zone=ZONE)
    with pytest.raises(CensusRefused, match="for the role curator"):
        approve_restatement(restatement=asked, by=house.registrar, now=LATER, zone=ZONE)


@pytest.mark.django_db
def test_a_restatement_that_is_refused_leaves_the_figures_and_the_reason(house: TestHouse) -> None:
    closed(house)
    died(house, "shoal", 30)
    asked = ask_restatement(period=house.period, why="slip", by=house.registrar, now=LATER, zone=ZONE)
    with pytest.raises(CensusRefused, match="Say why"):
        refuse_restatement(restatement=asked, by=house.curator, now=LATER, note=" ")
    refuse_restatement(restatement=asked, by=house.curator, now=LATER, note="told in the next report")
    assert PeriodVersion.objects.count() == 1
    with pytest.raises(CensusRefused, match="was decided"):
        approve_restatement(restatement=asked, by=house.curator, now=LATER, zone=ZONE)


@pytest.mark.django_db
def test_the_page_of_a_period_asks_approves_and_gives_the_papers_back(
    house: TestHouse, client: Client
) -> None:
    version = closed(house)
    died(house, "shoal", 30)
    address = reverse("period", args=[house.period.code])

    def as_(person: object) -> Client:
        client.force_login(person.user)  # type: ignore[attr-defined]
        return client

    page = as_(house.registrar).get(address).content.decode()
    assert "30 of a closing number of 420" in page
    told = as_(house.registrar).post(address, {"step": "ask", "note": "slip"}, follow=True)
    assert "The curator is asked to restate" in told.content.decode()
    told = as_(house.curator).post(address, {"step": "approve", "note": ""}, follow=True)
    assert "open again until its census is signed" in told.content.decode()
    for person in (house.registrar, house.curator):
        page = as_(person).get(address).content.decode()
        assert "What came late joins version 2" in page
        assert reverse("census_sign", args=[Census.objects.get().code]) in page
        assert "Ask the curator to restate" not in page
        assert "asks the curator to restate" not in page
    paper = as_(house.officer).get(reverse("period_paper", args=[house.period.code, 1, FIGURES]))
    assert paper.content == bytes(version.statements.get(name=FIGURES).content)
    assert "attachment" in paper["Content-Disposition"]
    assert as_(house.officer).get(reverse("period_paper", args=["2026 Q3", 7, FIGURES])).status_code == 404
    assert as_(house.first).get(address).status_code == 403
    assert as_(house.officer).get(reverse("periods")).status_code == 200


@pytest.mark.django_db
def test_the_list_of_late_entries_says_which_of_them_reach_the_limit(
    house: TestHouse, client: Client
) -> None:
    closed(house)
    below, one, other = died(house, "goby", 1), died(house, "shoal", 20), died(house, "shoal", 4)
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)

    page = client.get(reverse("late_entries")).text

    rows = {
        pk: row
        for row in page.partition("<tbody>")[2].split("</tr>")
        for pk in (below.pk, one.pk, other.pk)
        if f"/event/{pk}" in row
    }
    assert "below the limit" in rows[below.pk]
    period = reverse("period", args=[house.period.code])
    for event in (one, other):
        assert f'<a href="{period}">2026 Q3, Clupea harengus: at or above the limit</a>' in rows[event.pk]
        assert "420" not in rows[event.pk], "the closing number is not for who counts"


@pytest.mark.django_db
def test_the_list_of_late_entries_names_the_period_without_a_link_to_who_may_not_open_it(
    house: TestHouse, client: Client
) -> None:
    closed(house)
    died(house, "shoal", 24)
    assert house.first.user is not None
    client.force_login(house.first.user)
    page = client.get(reverse("late_entries")).text
    assert "2026 Q3, Clupea harengus: at or above the limit" in page
    assert reverse("period", args=[house.period.code]) not in page
