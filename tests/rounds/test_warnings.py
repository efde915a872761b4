"""What a registrar is warned of before the counters go out, and how good the counts are that come back."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.opening import add_line
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.sheets import issue
from census.rounds.models import Census, Sheet
from census.rounds.queries.presence import presence_due
from census.rounds.queries.quality import quality
from census.rounds.queries.warnings import WarningKind, opening_warnings
from census.rounds.rules.passes import stated
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.words import LineKind
from inventory.book.models import Flag, Keeping, Period
from inventory.people.models import Person
from tests import factories

from .house import COUNTED, NOW, OPENED, TestHouse, at

pytestmark = pytest.mark.django_db
ISSUED = at("2026-09-23T09:00")


def keeps(person: Person, *places: object) -> None:
    for place in places:
        Keeping.objects.create(place=place, keeper=person, since=date(2026, 1, 1))  # type: ignore[misc]


def kinds(census: Census, sheet: str = "01") -> list[WarningKind]:
    found = opening_warnings(census, now=ISSUED)
    return [one.kind for one in found if one.sheet.endswith(sheet)]


def issued(house: TestHouse, *counters: Person) -> Census:
    census = house.open("K1", "K2")
    for sheet in census.sheets.all():
        issue(sheet=sheet, by=house.registrar, now=ISSUED, counters=counters)
    return Census.objects.get(pk=census.pk)


def test_a_sheet_without_a_counter_is_named(house: TestHouse) -> None:
    census = house.open("K1", "K2")
    assert kinds(census) == [WarningKind.NO_COUNTER]
    assert "K1): no counter is named" in opening_warnings(census, now=ISSUED)[0].text


def test_two_counters_of_class_a_come_from_different_areas(house: TestHouse) -> None:
    keeps(house.first, house.places["K1"], house.places["K2"])
    keeps(house.second, house.places["K2"])
    census = issued(house, house.first)
    assert kinds(census) == [WarningKind.ONE_COUNTER]
    assert kinds(census, "02") == []  # no class A in K2
    Sheet.objects.get(number__endswith="01").counters.add(house.second)
    (warning,) = opening_warnings(census, now=ISSUED)
    assert warning.kind is WarningKind.SAME_TEAM
    assert "Alda and Bror keep the same tanks" in warning.text
    third = factories.make_person("Ceri", roles=["counter", "aquarist"])
    keeps(third, house.places["RA"])
    Sheet.objects.get(number__endswith="01").counters.add(third)
    assert kinds(census) == []


def test_who_kept_a_tank_before_and_who_keeps_what_is_inside(house: TestHouse) -> None:
    inside = factories.make_place("K1a", parent=house.places["K1"])
    keeps(house.first, house.places["K1"])
    keeps(house.second, inside)
    census = issued(house, house.first, house.second)
    assert kinds(census) == [WarningKind.SAME_TEAM]
    Keeping.objects.filter(keeper=house.second).update(until=ISSUED.date() - timedelta(days=1))
    assert kinds(census) == []


def test_a_list_that_changed_after_it_was_issued_is_told(house: TestHouse) -> None:
    census = issued(house, house.first, house.second)
    assert kinds(census) == []
    sheet = Sheet.objects.get(number__endswith="01")
    mussel = factories.make_taxon("Mytilus edulis", count_class="D")
    line = add_line(
        sheet=sheet, kind=LineKind.PRESENCE, taxon=mussel, by=house.registrar, now=ISSUED + timedelta(days=1)
    )
    (warning,) = opening_warnings(census, now=NOW)
    assert (warning.kind, warning.sheet) == (WarningKind.LIST_CHANGED, sheet.number)
    assert f"line {line.number} Mytilus edulis was added" in warning.text
    lot = factories.make_lot(taxon=factories.make_taxon("Zeus faber", count_class="B"))
    factories.make_event("received", lot=lot, place="K2", happened="2026-09-25", now=NOW)
    told = opening_warnings(census, now=NOW)
    assert f"Zeus faber ({lot.accession}) came and is on no line" in told[1].text


def test_a_move_with_an_open_question_is_told_at_both_ends(house: TestHouse) -> None:
    census = issued(house, house.first, house.second)
    move = factories.make_event(
        "moved", lot=house.lots["wrasse"], place="K1", to_place="K2", unknown=2, happened="2026-09-20"
    )
    assert kinds(census) == []
    flag = Flag.objects.create(kind="more_than_book", event=move, owner=house.registrar, raised_at=NOW)
    told = [one for one in opening_warnings(census, now=ISSUED) if one.kind is WarningKind.OPEN_MOVE]
    assert [one.sheet[-2:] for one in told] == ["01", "02"]
    assert f"event {move.pk}, more than the book held" in told[0].text
    Flag.objects.filter(pk=flag.pk).update(settled_at=NOW, settled_by=house.registrar)
    assert kinds(census) == []


def test_the_board_shows_what_to_see_to_and_says_so_when_a_census_is_opened(
    house: TestHouse, client: Client
) -> None:
    flag_on = factories.make_event(
        "moved", lot=house.lots["wrasse"], place="K1", to_place="K2", unknown=2, happened="2026-09-10"
    )
    Flag.objects.create(kind="double", event=flag_on, owner=house.registrar, raised_at=NOW)
    assert house.registrar.user
    client.force_login(house.registrar.user)
    told = client.post(
        reverse("census_list"),
        {"period": house.period.code, "places": [house.places["K1"].pk]},
        follow=True,
    ).content.decode()
    assert "1 thing to see to before the counters go out" in told
    assert "moves that are not through" in told
    assert "no counter is named" in told


def test_warnings_cost_the_same_for_many_sheets(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    census = issued(house, house.first, house.second)
    with django_assert_num_queries(QUERIES):
        opening_warnings(census, now=ISSUED)
    house.period = factories.make_period("2026 Q4", "2026-10-01", "2026-12-31")
    later = at("2026-12-15T09:00")
    many = house.open("K1", "K2", "RA", now=later)
    for sheet in many.sheets.all():
        issue(sheet=sheet, by=house.registrar, now=later, counters=[house.first, house.second])
    with django_assert_num_queries(QUERIES):
        opening_warnings(many, now=later)


QUERIES = 13


def of_the_pair(house: TestHouse, minutes: int) -> list[str]:
    census = issued(house, house.first, house.second)
    line = house.line(census, "conger")
    for round_, counter in ((1, house.first), (2, house.second)):
        moment = COUNTED + timedelta(minutes=minutes if round_ == 2 else 0)
        entry = Entry(line=line.number, counted_at=moment, counter=counter, value=2)
        take_counts(sheet=line.sheet, entries=[entry], by=counter, now=NOW, round=round_)
    return quality(house.row(census, "conger"), DEFAULTS)


def test_a_pair_of_class_a_counted_at_different_moments_is_flagged(house: TestHouse) -> None:
    (said,) = of_the_pair(house, 40)
    assert said.endswith("the two of class A counted 40 minutes apart, not at the same moment")


def test_a_pair_that_wrote_one_after_the_other_at_the_glass_is_not(house: TestHouse) -> None:
    assert of_the_pair(house, 5) == []


def test_a_recount_of_class_a_is_no_pair(house: TestHouse) -> None:
    census = house.compared({"conger": 1})
    line = house.line(census, "conger")
    ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW)
    entry = Entry(line=line.number, counted_at=NOW, counter=house.second, value=1)
    take_counts(sheet=line.sheet, entries=[entry], by=house.second, now=NOW, round=2)
    assert quality(house.row(census, "conger"), DEFAULTS) == []


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"passes": 3}, ""),
        ({"passes": 2}, "2 passes, 3 are asked for; an estimate of lower quality"),
        ({"passes": 1}, "1 pass, 3 are asked for"),
        ({}, "it is not said of how many passes"),
        ({"method": "passes or pictures: 410 418"}, "2 passes"),
        ({"method": "3 passes: 402, 418, 431"}, ""),
        ({"method": "sample squares: 12 13 14"}, ""),
        ({"at_least": True}, ""),
    ],
)
def test_a_count_of_many_from_few_passes_is_an_estimate_of_lower_quality(
    house: TestHouse, entry: dict[str, object], says: str
) -> None:
    census = issued(house, house.first)
    number = house.line(census, "shoal").number
    made = Entry(line=number, counted_at=COUNTED, counter=house.first, value=418, **entry)  # type: ignore[arg-type]
    house.count(census, {"shoal": made})
    said = quality(house.row(census, "shoal"), DEFAULTS)
    assert (bool(said), says in "".join(said)) == (bool(says), True)


def test_only_class_c_is_asked_for_passes(house: TestHouse) -> None:
    census = issued(house, house.first)
    house.count(census, {"goby": 11})
    assert quality(house.row(census, "goby"), DEFAULTS) == []


@pytest.mark.parametrize(
    ("passes", "method", "n"),
    [
        (4, "", 4),
        (None, "", None),
        (None, "1 pass only, 3 wanted: lower quality: 7", 1),
        (None, "passes or pictures: 1 2...", None),
    ],
)
def test_passes_are_told_by_their_number_or_by_the_method(
    passes: int | None, method: str, n: int | None
) -> None:
    assert stated(passes, method) == n


def test_the_line_and_the_board_say_it(house: TestHouse, client: Client) -> None:
    census = house.compared({"shoal": 418})
    line = house.line(census, "shoal")
    assert house.curator.user
    client.force_login(house.curator.user)
    page = client.get(reverse("census_line", args=[line.sheet.number, line.number])).content.decode()
    assert "an estimate of lower quality" in page
    assert (
        "Counts to be read with care: 1" in client.get(reverse("census", args=[census.code])).content.decode()
    )


def _opened(house: TestHouse, period: Period) -> Census:
    """A census of another period in K1, with the presence lines of the one before."""
    house.period = period
    return house.open("K1", now=at(f"{period.ends_on}T09:00"))


def test_a_letter_of_class_d_is_due_once_a_year(house: TestHouse) -> None:
    census = house.open("K1")
    sponge = factories.make_taxon("Halichondria panicea", count_class="D")
    line = add_line(
        sheet=census.sheets.get(),
        kind=LineKind.PRESENCE,
        taxon=sponge,
        count_class="D",
        by=house.registrar,
        now=OPENED,
    )
    assert presence_due(census, DEFAULTS) == {line.pk: None}
    issue(sheet=census.sheets.get(), by=house.registrar, now=ISSUED, counters=[house.first])
    entry = Entry(line=line.number, counted_at=COUNTED, counter=house.first, letter="C")
    take_counts(sheet=Sheet.objects.get(), entries=[entry], by=house.first, now=NOW)
    assert presence_due(census, DEFAULTS) == {}
    for code, start, end, due in (
        ("2026 Q4", "2026-10-01", "2026-12-31", False),
        ("2027 Q2", "2027-04-01", "2027-06-30", False),
        ("2027 Q3", "2027-07-01", "2027-09-30", True),
    ):
        period = factories.make_period(code, start, end)
        later = _opened(house, period)
        assert bool(presence_due(later, DEFAULTS)) is due
