"""Each case of the half-counted census: the proposal, and what comes of it when it is accepted."""

import re
from collections.abc import Iterator

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from census.change.queries.report import change_report
from census.change.rules.question import By, Question
from census.demo.actions.ledger import drafts_of
from census.demo.actions.preview import promised
from census.demo.rules import fixtures
from census.differences.rules.causes import Cause
from census.rounds.actions.accept import Under, accept_proposals
from census.rounds.actions.refused import CensusRefused
from census.rounds.models import Census, Decision
from census.rounds.queries.crossings import crossings
from census.rounds.queries.explaining import Answer, answer
from census.rounds.queries.explaining_lines import Looked
from census.rounds.queries.open_items import open_items
from census.rounds.queries.progress import closing_supported
from census.rounds.queries.reading import Row, read_census
from census.rounds.rules.hypotheses import Hypothesis
from census.rounds.rules.words import CensusState, How
from inventory.book.actions.post import post_events
from inventory.book.models import Event, Lot
from inventory.book.queries.quantities import Point, held_at
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.scope import Scope
from inventory.people.models import Person

from .cases import CASES, CURATOR, OFFICER, Case, Closing
from .conftest import DemoHouse

pytestmark = pytest.mark.django_db
QUARTER = fixtures.read_quarters()[-1]
REGISTRAR = "Maren Tolvsund"


@pytest.fixture(scope="module")
def told(house: DemoHouse, django_db_blocker: DjangoDbBlocker) -> Iterator[dict[Looked, Answer]]:
    """What is proposed of the house as it was built; read once."""
    with django_db_blocker.unblock():
        census = _census()
        rows = read_census(census)
        yield {looked: answer(census, rows, looked=looked, now=house.now) for looked in Looked}


def _census() -> Census:
    """The running one; those before it hold counts of the shoals only."""
    return Census.objects.latest("cutoff")


def _row(place: str, name: str) -> Row:
    rows = read_census(_census())
    return next(r for r in rows if (r.place_codes, r.name) == (place, name) and r.line.unit != "egg case")


def _row_of(case: Case) -> Row:
    """The row that the case is about: where a kind has two lines in a place, the one that differs."""
    rows = [r for r in read_census(_census()) if (r.place_codes, r.name) == (case.place, case.name)]
    rows = [row for row in rows if row.line.unit != "egg case"] or rows
    differing = [row for row in rows if row.latest and row.latest.difference]
    return (differing or rows)[0]


def _closing(house: DemoHouse, wanted: Closing) -> Closing:
    question = Question(QUARTER.starts, QUARTER.ends, scope=Scope.ALL, by=By.PLACE)
    found = dict.fromkeys(wanted, (0, 0))
    for row in change_report(question, zone=house.zone).rows:
        key = (row.label, row.taxon.scientific_name)
        if key in found and row.unit != "egg case":
            total, missing = found[key]
            found[key] = (total + row.change.closing, missing + row.change.missing)
    return found


def _accept(
    house: DemoHouse, found: list[Hypothesis], *, curator: bool = False, of: Census | None = None
) -> list[Decision]:
    people = {person.name: person for person in Person.objects.all()}
    return accept_proposals(
        census=of or _census(),
        keys=[one.key for one in found],
        by=people[REGISTRAR],
        now=house.now,
        zone=house.zone,
        under=Under(approved_by=people[CURATOR] if curator else None),
    )


def _type_slips(house: DemoHouse) -> None:
    post_events(
        drafts_of(fixtures.read_slips(), house.history.accessions, house.zone), now=house.now, zone=house.zone
    )


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.number}-{case.place}-{case.name}")
def test_the_case_is_proposed_and_settled_as_expected(
    house: DemoHouse, told: dict[Looked, Answer], case: Case
) -> None:
    if case.slips:
        _type_slips(house)
    row = _row_of(case)
    now = answer(_census(), read_census(_census()), now=house.now)
    found = list((now if case.slips else told[case.looked]).by_row.get(row.line.pk, ()))
    if case.cause is None:
        assert [one for one in found if one.best] == []
    else:
        first = found[0]
        assert (first.cause, first.explains, first.how) == (case.cause, case.explains, case.how)
        assert (first.best, first.recount) == (True, case.recount)
        assert case.says in first.words
    if case.accept:
        decided = _accept(house, [one for one in found if one.best], curator=case.curator)
        assert decided
        assert all(not row.needs_settling for row in [_row_of(case)])
        for decision in decided:
            for event in decision.events.all():
                assert str(decision.line) in event.evidence or str(decision.line.sheet) in event.ref
    assert _closing(house, case.closing) == case.closing


def test_every_case_of_the_census_has_a_test() -> None:
    tested = {case.number for case in CASES}
    beside = {"C15", "C26"}  # with tests of their own below
    assert tested | beside >= {f"C{n:02}" for n in range(1, 35)} | {"C18b"}


def test_c02_more_than_the_registrar_may_decide_alone(house: DemoHouse, told: dict[Looked, Answer]) -> None:
    found = list(told[Looked.LATEST].by_row[_row("E07", "Gobius niger").line.pk])
    with pytest.raises(CensusRefused, match="the curator's approval is needed"):
        _accept(house, found[:1])
    assert not Decision.objects.exists()


def test_c03_the_line_says_what_the_slip_moved_and_nothing_is_decided(house: DemoHouse) -> None:
    assert _row("E05", "Callionymus lyra").needs_settling
    _type_slips(house)
    row = _row("E05", "Callionymus lyra")
    assert not row.needs_settling
    assert row.latest
    assert (row.latest.book, row.latest.count) == (8, 8)
    assert not Decision.objects.exists()


def test_c04_the_pair_is_one_move_that_settles_both_lines(
    house: DemoHouse, told: dict[Looked, Answer]
) -> None:
    found = list(told[Looked.LATEST].by_row[_row("E02", "Symphodus melops").line.pk])
    decided = _accept(house, found[:1])
    assert [(one.line.place.code, one.n) for one in Decision.objects.order_by("id")] == [
        ("Q1", -6),
        ("E02", 6),
    ]
    assert decided[0].events.get().kind == EventKind.MOVED
    assert not _row("Q1", "Symphodus melops").needs_settling
    assert not _row("E02", "Symphodus melops").needs_settling


def test_c05_the_move_between_the_counts_is_listed_and_settles_nothing(house: DemoHouse) -> None:
    listed = crossings(read_census(_census()))
    assert [(one.name, one.n, one.start.place.code, one.end.place.code, one.twice) for one in listed] == [
        ("Syngnathus acus", 2, "E04", "E12", True)
    ]


@pytest.mark.parametrize(
    ("place", "name", "first"),
    [
        ("E02", "Labrus bergylta", 14),
        ("E12", "Scyliorhinus canicula", 31),
        ("E08", "Alcyonium digitatum", 46),
        ("E06", "Raja montagui", 4),
        ("E05", "Crangon crangon", 190),
        ("E01", "Adamsia palliata", 5),
    ],
)
def test_a_first_count_that_a_recount_settled_stays_visible(
    house: DemoHouse, place: str, name: str, first: int
) -> None:
    row = _row(place, name)
    assert row.parts[0].counts[1].value == first
    assert row.latest
    assert row.latest.inside


def test_c09_the_permit_officer_is_told(house: DemoHouse, told: dict[Looked, Answer]) -> None:
    found = list(told[Looked.LATEST].by_row[_row("E01", "Styela clava").line.pk])
    decided = _accept(house, found[:1])
    assert [one.owner.name for one in decided if one.owner] == [OFFICER]


def test_c11_the_young_are_counted_in_on_their_day(house: DemoHouse, told: dict[Looked, Answer]) -> None:
    row = _row("E03", "young cushion stars under 5 mm")
    decided = _accept(house, list(told[Looked.LATEST].by_row[row.line.pk])[:1])
    assert [str(one.due_on) for one in decided] == ["2026-10-29"]


def test_c12_a_female_has_become_male(house: DemoHouse, told: dict[Looked, Answer]) -> None:
    row = _row("E02", "Labrus mixtus")
    _accept(house, list(told[Looked.LATEST].by_row[row.line.pk])[:1])
    (held,) = held_at([Point(row.parts[0].lots[0].pk, row.line.place_id, _census().cutoff)])
    assert (held.males, held.females, held.unknown) == (2, 4, 0)


def test_c15_an_estimate_below_the_book_three_times_running_moves_it(
    house: DemoHouse, told: dict[Looked, Answer]
) -> None:
    """Inside ten per cent, but the third time below: 2.7, 4.4 and 6.0 per cent."""
    before = Census.objects.exclude(pk=_census().pk).order_by("cutoff")
    shares = []
    for census in before:
        (row,) = read_census(census)
        assert row.latest
        assert row.latest.difference
        assert (census.state, row.latest.inside, row.needs_settling) == (CensusState.CLOSED, True, False)
        shares.append(round(100 * row.latest.difference / row.latest.book, 1))
    assert shares == [-2.7, -4.4]
    row = _row("E11", "Clupea harengus")
    first = told[Looked.LATEST].by_row[row.line.pk][0]
    assert (first.cause, first.explains, first.how) == (Cause.DRIFT, -25, How.ADJUSTMENT)
    assert "below the book in 3 censuses running (CS-26Q1 -5, CS-26Q2 -19, CS-26Q3 -25)" in first.words
    assert "6.0 per cent" in first.words
    with pytest.raises(CensusRefused, match="the curator's approval is needed"):
        _accept(house, [first])
    (decided,) = _accept(house, [first], curator=True)
    assert (decided.n, decided.events.get().kind) == (-25, EventKind.UNACCOUNTED)
    wanted = {("E11", "Clupea harengus"): (395, 0)}
    assert _closing(house, wanted) == wanted


def test_c15_two_censuses_are_no_drift(house: DemoHouse) -> None:
    census, row = _census(), _row("E11", "Clupea harengus")
    Census.objects.filter(code="CS-26Q1").update(state=CensusState.ABANDONED)
    assert row.line.pk not in answer(census, read_census(census), now=house.now).by_row


def test_c15_the_charts_of_the_shoal_show_its_three_counts(house: DemoHouse, client: Client) -> None:
    client.force_login(get_user_model().objects.get(username="maren"))
    page = client.get(reverse("census_drift", args=[_census().code, "Clupea harengus"])).content.decode()
    assert "CS-26Q1 178 (book 183), CS-26Q2 413 (book 432), CS-26Q3 395 (book 420)" in page
    assert "it drifts" in page


def test_what_is_proposed_for_lines_that_stop_no_signing_stands_in_the_list_too(
    house: DemoHouse, client: Client
) -> None:
    """C12 agrees in number, C15 lies inside its error, C21 too, C27 is a minimum, C30 the wrong animal."""
    client.force_login(get_user_model().objects.get(username="maren"))
    page = client.get(reverse("differences", args=[_census().code])).text
    rows = re.findall(r'<tr id="[^"]*">(.*?)</tr>', page, re.DOTALL)
    assert len(rows) == sum(row.needs_settling for row in read_census(_census())) + 5
    found = {re.findall(r'<i class="name">([^<]*)', row)[0] for row in rows if "stops no signing" in row}
    assert found == {
        "Labrus mixtus", "Clupea harengus", "Atherina presbyter", "Ammodytes tobianus", "Eledone cirrhosa",
    }  # fmt: skip


def test_c18_the_ray_died_on_the_day_that_the_letter_tells(
    house: DemoHouse, told: dict[Looked, Answer]
) -> None:
    row = _row("LO", "Raja undulata")
    decided = _accept(house, list(told[Looked.LATEST].by_row[row.line.pk])[:1])
    event = decided[0].events.get()
    assert (event.kind, event.happened, event.cause) == (EventKind.DIED, "2026-08-22", "not known")


def test_c19_the_search_belongs_to_the_permit_officer_until_today(
    house: DemoHouse, told: dict[Looked, Answer]
) -> None:
    case = next(case for case in CASES if case.number == "C19")
    decided = _accept(house, list(told[Looked.LATEST].by_row[_row_of(case).line.pk])[:1])
    assert [(one.how, one.owner.name if one.owner else "", str(one.due_on)) for one in decided] == [
        (How.MISSING, OFFICER, "2026-10-06")
    ]


def test_c20_the_closed_quarter_keeps_its_version_and_the_deaths_are_late(house: DemoHouse) -> None:
    _type_slips(house)
    report = change_report(Question(QUARTER.starts, QUARTER.ends, scope=Scope.ALL), zone=house.zone)
    assert report.totals["animal"].late == promised()["late"]
    second = fixtures.read_quarters()[-2]
    closed = change_report(Question(second.starts, second.ends, scope=Scope.ALL), zone=house.zone)
    assert closed.closing.version
    assert (closed.closing.version.number, closed.totals["animal"].closing) == (1, second.closing)


def test_c26_a_sheet_that_is_not_back_stands_against_signing(house: DemoHouse) -> None:
    census = _census()
    rows = read_census(census)
    blocking = [item for item in open_items(census, rows) if item.sheet.endswith("-14")]
    assert blocking
    out = [row for row in rows if row.line.sheet.number.endswith("-14")]
    assert (len(out), sum(part.at_end.total for row in out for part in row.parts)) == (9, 60)
    assert not any(row.counted for row in out)


def test_c28_twelve_passed_by_themselves_and_one_is_found(
    house: DemoHouse, told: dict[Looked, Answer]
) -> None:
    row = _row("E03a + E03b", "Palaemon serratus")
    best = [one for one in told[Looked.LATEST].by_row[row.line.pk] if one.best]
    assert [(one.cause, abs(one.explains)) for one in best] == [(Cause.JOINED, 12), (Cause.GAIN, 1)]
    with pytest.raises(CensusRefused, match="Maren Tolvsund typed this line"):
        _accept(house, best)
    _accept(house, best, curator=True)
    kinds = Event.objects.filter(ref__startswith=row.line.sheet.number).values_list("kind", flat=True)
    assert sorted(kinds) == [EventKind.FOUND, EventKind.MOVED]


def test_c30_pip_lives_and_merle_is_dead(house: DemoHouse, told: dict[Looked, Answer]) -> None:
    row = _row("E09", "Eledone cirrhosa")
    _accept(house, list(told[Looked.LATEST].by_row[row.line.pk])[:1], curator=True)
    lots = {lot.house_name: lot.held for lot in Lot.objects.filter(house_name__in=["Merle", "Pip"])}
    assert lots == {"Merle": 0, "Pip": 1}


def test_c34_what_settled_after_the_count_is_in_the_closing(house: DemoHouse) -> None:
    row = _row("E12", "Homarus gammarus")
    assert row.latest
    assert (row.latest.count, closing_supported(row)) == (45, 57)
