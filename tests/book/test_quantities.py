"""The reader: balances as of a moment, as known at another, out of a constant number of queries."""

from collections import Counter
from datetime import datetime, timedelta
from io import StringIO
from random import Random

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from pytest_django import DjangoAssertNumQueries

from inventory.book.models import Cell
from inventory.book.queries.quantities import (
    Held,
    Point,
    Scope,
    StockBy,
    cell_balances,
    cell_balances_from_now,
    cell_facts,
    held_at,
    source_labels,
    stock,
)
from inventory.book.rules.happened import end_of_day
from tests.change.rows import Book
from tests.factories import make_event, make_lot, make_place, make_taxon

pytestmark = pytest.mark.django_db


@pytest.fixture
def book() -> Book:
    return Book()


def test_a_balance_counts_what_lies_before_its_moment_and_nothing_at_it(book: Book) -> None:
    lot, place = make_lot(), make_place("E1")
    book.crossing("received", "2026-07-01T10:00", lot, place, 5)
    cell = book.cell(lot, place)
    assert cell_balances(before=book.moment("2026-07-01T10:00")) == {}
    assert cell_balances(before=book.moment("2026-07-01T10:01")) == {cell.pk: 5}


def test_known_at_leaves_out_what_was_entered_later(book: Book) -> None:
    lot, place = make_lot(), make_place("E1")
    book.crossing("received", "2026-06-01", lot, place, 5)
    book.crossing("died", "2026-06-28", lot, place, 2, entered="2026-10-02T09:00")
    cell = book.cell(lot, place)
    july = book.moment("2026-07-01")
    assert cell_balances(before=july) == {cell.pk: 3}
    assert cell_balances(before=july, known_at=book.moment("2026-10-02T09:00")) == {cell.pk: 3}
    assert cell_balances(before=july, known_at=book.moment("2026-10-02T08:59")) == {cell.pk: 5}


def test_a_reversal_takes_effect_at_the_moment_of_what_it_reverses(book: Book) -> None:
    lot, place = make_lot(), make_place("E1")
    book.crossing("received", "2026-06-01", lot, place, 5)
    death = book.crossing("died", "2026-06-10", lot, place, 2)
    book.reversal(death, "2026-08-01")
    cell = book.cell(lot, place)
    assert cell_balances(before=book.moment("2026-07-01")) == {cell.pk: 5}
    assert cell_balances(before=book.moment("2026-07-01"), known_at=book.moment("2026-07-01")) == {cell.pk: 3}


def test_each_point_is_answered_at_its_own_moment_in_one_query(
    book: Book, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    lot, place, other = make_lot(), make_place("E1"), make_place("E2")
    book.crossing("received", "2026-06-01", lot, place, 4, sex="male")
    book.crossing("received", "2026-06-05", lot, place, 3)
    book.event("moved", "2026-06-20", (book.cell(lot, place), book.cell(lot, other), 2))
    book.event("missing", "2026-06-25", (book.cell(lot, other), book.cell(lot, other, standing="missing"), 1))
    points = [
        Point(lot.pk, place.pk, book.moment("2026-06-02")),
        Point(lot.pk, place.pk, book.moment("2026-06-21")),
        Point(lot.pk, other.pk, book.moment("2026-06-21")),
        Point(lot.pk, other.pk, book.moment("2026-06-26")),
        Point(make_lot().pk, other.pk, book.moment("2026-06-26")),
    ]
    with django_assert_num_queries(1):
        held = held_at(points)
    assert held == [
        Held(males=4),
        Held(males=4, unknown=1),
        Held(unknown=2),
        Held(unknown=2, missing=1),
        Held(),
    ]
    with django_assert_num_queries(1):
        assert held_at(points * 2000)[:5] == held


def test_missing_animals_are_part_of_the_total(book: Book) -> None:
    lot, place = make_lot(taxon=make_taxon("Conger conger")), make_place("E7")
    book.crossing("received", "2026-06-01", lot, place, 2)
    book.event("missing", "2026-08-20", (book.cell(lot, place), book.cell(lot, place, standing="missing"), 1))
    (row,) = stock(by=StockBy.TAXON, before=book.moment("2026-09-01"))
    assert (row.label, row.held.total, row.held.missing) == ("Conger conger", 2, 1)


def test_scope_says_whose_animals_count_and_where(book: Book) -> None:
    here, away = make_place("E6"), make_place("AWAY", kind="off_site")
    ours, theirs = make_lot(), make_lot(owner="Far Sea Centre")
    book.crossing("received", "2026-06-01", ours, here, 5)
    book.event("loan_out", "2026-06-10", (book.cell(ours, here), book.cell(ours, away), 2))
    book.crossing("loan_in", "2026-06-01", theirs, here, 4)

    def total(scope: Scope) -> int:
        return sum(
            row.held.total for row in stock(by=StockBy.LOT, before=book.moment("2026-07-01"), scope=scope)
        )

    assert (total(Scope.HERE), total(Scope.OURS), total(Scope.ALL)) == (7, 5, 9)


def test_units_are_never_mixed_in_a_row(book: Book) -> None:
    taxon, place = make_taxon("Scyliorhinus canicula"), make_place("E12")
    book.crossing("received", "2026-06-01", make_lot(taxon=taxon), place, 8)
    book.crossing("born", "2026-06-01", make_lot(taxon=taxon, unit="egg case"), place, 23)
    rows = stock(by=StockBy.TAXON, before=book.moment("2026-07-01"))
    assert [(row.label, row.unit, row.held.total) for row in rows] == [
        ("Scyliorhinus canicula", "animal", 8),
        ("Scyliorhinus canicula", "egg case", 23),
    ]


def test_a_row_below_zero_is_shown_and_an_empty_one_is_not(book: Book) -> None:
    place = make_place("E10")
    jelly, gone = make_lot("J"), make_lot("G")
    book.crossing("died", "2026-06-01", jelly, place, 6)
    book.crossing("received", "2026-06-01", gone, place, 3)
    book.crossing("sent", "2026-06-02", gone, place, 3)
    rows = stock(by=StockBy.LOT, before=book.moment("2026-07-01"))
    assert [(row.label, row.held.total) for row in rows] == [("J", -6)]


def test_the_source_of_a_pool_names_every_source_and_lots_inherit_it(book: Book) -> None:
    place = make_place("E2")
    pool, split, hatched, plain = make_lot(), make_lot(), make_lot(), make_lot()
    book.crossing("taken", "2025-06-01", pool, place, 20, permit_number="P1")
    book.crossing("received", "2025-07-03", pool, place, 8, party="Far Sea Centre")
    doubled = book.crossing("taken", "2025-11-02", pool, place, 6, permit_number="P9")
    book.reversal(doubled, "2025-11-03")
    book.event("regrouped", "2025-12-01", (book.cell(pool, place), book.cell(split, place), 3))
    book.crossing("born", "2026-01-01", hatched, place, 9)
    book.crossing("opening", "2024-10-01", plain, place, 9)
    assert source_labels() == {
        pool.pk: "P1 + from Far Sea Centre",
        split.pk: "P1 + from Far Sea Centre",
        hatched.pk: "born here",
        plain.pk: "opening stock",
    }
    early = source_labels(before=book.moment("2025-06-30"))
    assert early == {pool.pk: "P1", plain.pk: "opening stock"}
    known = source_labels(known_at=book.moment("2025-11-02T23:00"))
    assert known[pool.pk] == "P1 + P9 + from Far Sea Centre"


def test_the_sources_of_a_few_lots_are_those_that_they_have_among_all(
    book: Book, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    place = make_place("E2")
    first, second, third, other = make_lot(), make_lot(), make_lot(), make_lot()
    book.crossing("taken", "2025-06-01", first, place, 20, permit_number="P1")
    book.crossing("received", "2025-07-03", second, place, 8, party="Far Sea Centre")
    book.crossing("born", "2025-07-03", other, place, 8)
    book.event("regrouped", "2025-12-01", (book.cell(first, place), book.cell(second, place), 3))
    book.event("regrouped", "2025-12-02", (book.cell(second, place), book.cell(third, place), 3))
    book.event("regrouped", "2025-12-03", (book.cell(third, place), book.cell(first, place), 1))
    undone = book.event("regrouped", "2025-12-04", (book.cell(other, place), book.cell(third, place), 2))
    book.reversal(undone, "2025-12-05")
    early, known = book.moment("2025-12-02"), book.moment("2025-12-04T23:00")
    for before, known_at in ((None, None), (early, None), (None, known)):
        every = source_labels(before=before, known_at=known_at)
        for lot in (first, second, third, other):
            with django_assert_num_queries(3):
                found = source_labels(before=before, known_at=known_at, lots=[lot.pk])
            assert found == {pk: label for pk, label in every.items() if pk == lot.pk}
    assert source_labels(lots=[third.pk]) == {third.pk: "P1 + from Far Sea Centre"}
    assert source_labels(lots=[]) == {}


@pytest.mark.parametrize("seed", range(3))
def test_sources_read_of_the_whole_book_are_those_read_of_each_lot(
    book: Book, seed: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    """Two ways to the same: all cells looked up at once, and the flows of a lot's own cells."""
    draw = Random(seed)
    places, lots = [make_place(), make_place()], [make_lot() for _ in range(6)]
    written = []
    for number in range(24):
        lot, place, day = draw.choice(lots), draw.choice(places), f"2026-06-{number + 1:02}"
        if draw.random() < 0.4:
            # Also to another place of the same lot, which is no regroup of another's.
            giver, taker = book.cell(lot, place), book.cell(draw.choice(lots), draw.choice(places))
            if giver != taker:
                written.append(book.event("regrouped", day, (giver, taker, 1)))
            continue
        words = {"party": draw.choice(["", "Gull House"]), "permit_number": draw.choice(["", "P1", "P2"])}
        kind = draw.choice(["taken", "received", "born", "opening", "died", "moved"])
        if kind == "moved":
            book.event(kind, day, (book.cell(lot, places[0]), book.cell(lot, places[1]), 1))
        else:
            written.append(book.crossing(kind, day, lot, place, 2, **words))
    for event in draw.sample(written, 4):
        book.reversal(event, "2026-07-01")
    some_day = book.moment("2026-06-12")
    for before, known_at in ((None, None), (some_day, None), (None, some_day), (some_day, some_day)):
        with django_assert_num_queries(2):
            every = source_labels(before=before, known_at=known_at)
        apart: dict[int, str] = {}
        for lot in lots:
            apart |= source_labels(before=before, known_at=known_at, lots=[lot.pk])
        assert every == apart


@pytest.mark.django_db(transaction=True)
def test_sources_of_all_lots_are_read_again_when_an_event_tells_of_one(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    place, first, second = make_place("E2"), make_lot(), make_lot()
    make_event("taken", permit_number="P1", lot=first, place=place, unknown=9, happened="2026-06-01")
    assert source_labels() == {first.pk: "P1"}
    make_event("died", lot=first, place=place, unknown=1, happened="2026-06-02")
    with django_assert_num_queries(1):
        assert source_labels() == {first.pk: "P1"}
    came = make_event("received", party="Far Sea Centre", lot=second, place=place, happened="2026-06-02")
    assert source_labels() == {first.pk: "P1", second.pk: "from Far Sea Centre"}
    make_event("regrouped", lot=first, to_lot=second, place=place, unknown=2, happened="2026-06-03")
    assert source_labels()[second.pk] == "P1 + from Far Sea Centre"
    make_event("reversed", reverses=came, happened="2026-06-04")
    assert source_labels() == {first.pk: "P1", second.pk: "P1"}
    with transaction.atomic():
        make_event("born", lot=first, place=place, happened="2026-06-05")
        assert source_labels()[first.pk] == "P1 + born here"
        transaction.set_rollback(True)
    assert source_labels() == {first.pk: "P1", second.pk: "P1"}


@pytest.mark.parametrize("by", list(StockBy))
def test_the_number_of_queries_does_not_grow_with_rows(
    book: Book, by: StockBy, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    place = make_place("E1")
    for _ in range(12):
        book.crossing("received", "2026-06-01", make_lot(), place, 2)
    with django_assert_max_num_queries(5):
        stock(by=by, before=book.moment("2026-07-01"))


def test_facts_can_be_asked_for_some_lots_only(book: Book) -> None:
    lot, other, place = make_lot(owner="Far Sea Centre"), make_lot(), make_place("AWAY", kind="off_site")
    cell = book.cell(lot, place, "female", "missing", "juvenile")
    book.cell(other, place)
    book.cell(lot, "died")
    (fact,) = cell_facts(lots=[lot.pk]).values()
    assert (fact.cell_id, fact.lot_id, fact.accession, fact.owner) == (
        cell.pk,
        lot.pk,
        lot.accession,
        "Far Sea Centre",
    )
    assert (fact.place_code, fact.off_site, fact.sex, fact.stage, fact.standing) == (
        "AWAY",
        True,
        "female",
        "juvenile",
        "missing",
    )


@pytest.mark.parametrize(
    ("by", "first"), [("taxon", "name"), ("place", "place"), ("lot", "lot"), ("permit", "permit")]
)
def test_the_command_writes_the_columns_of_the_contract(book: Book, by: str, first: str) -> None:
    lot, place = make_lot("L1", taxon=make_taxon("Raja clavata")), make_place("E6")
    book.crossing("taken", "2026-06-01", lot, place, 3, sex="female", permit_number="P2")
    out = StringIO()
    call_command("stock", "--as-of=2026-06-30", f"--by={by}", "--format=csv", stdout=out)
    label = {"taxon": "Raja clavata", "place": "E6", "lot": "L1", "permit": "P2"}[by]
    assert out.getvalue().splitlines() == [
        f"{first},unit,males,females,hermaphrodites,unknown,total,missing",
        f"{label},animal,0,3,0,0,3,0",
    ]


# from cell, to cell, number, day happened, days until it was entered
_FLOWS = st.tuples(
    st.integers(0, 3), st.integers(0, 3), st.integers(1, 5), st.integers(0, 20), st.integers(0, 20)
)


def test_a_day_that_is_none_is_refused_with_what_was_expected() -> None:
    with pytest.raises(CommandError, match="'today' is not a day; expected YYYY-MM-DD"):
        call_command("stock", "--as-of=today")


class ReaderAgainstPlainSums(TestCase):
    """Against sums over a plain list, for random flows, days and knowledge."""

    @given(
        flows=st.lists(
            st.tuples(
                st.integers(0, 3),
                st.integers(0, 3),
                st.integers(1, 5),
                st.integers(0, 20),
                st.integers(0, 20),
            ).filter(lambda flow: flow[0] != flow[1]),
            max_size=12,
        ),
        day=st.integers(0, 21),
        known=st.none() | st.integers(0, 41),
    )
    def test_balances_equal_the_sums_of_a_plain_list(
        self, flows: list[tuple[int, int, int, int, int]], day: int, known: int | None
    ) -> None:
        book = Book()
        lot, places = make_lot(), [make_place(), make_place()]
        cells = [
            book.cell(lot, places[0]),
            book.cell(lot, places[0], "male"),
            book.cell(lot, places[1]),
            book.cell(lot, "received"),
        ]
        start = book.moment("2026-07-01")
        expected: Counter[int] = Counter()
        known_at = None if known is None else start + timedelta(days=known)
        for a, b, n, happened, late in flows:
            effective = start + timedelta(days=happened)
            entered = effective + timedelta(days=late)
            book.event("moved", _day(effective), (cells[a], cells[b], n), entered=_day(entered))
            if happened < day and (known is None or happened + late <= known):
                expected[cells[a].pk] -= n
                expected[cells[b].pk] += n
        inside = {cell.pk for cell in cells if cell.inside}
        expected_now = {pk: n for pk, n in expected.items() if n and pk in inside}
        before = start + timedelta(days=day)
        assert cell_balances(before=before, known_at=known_at) == expected_now
        assert cell_balances_from_now(before=before, known_at=known_at) == expected_now
        held = held_at([Point(lot.pk, place.pk, before) for place in places], known_at=known_at)
        assert sum(h.total for h in held) == sum(expected_now.values())
        if day == 21 and known is None:
            assert expected_now == {
                cell.pk: cell.balance for cell in Cell.objects.filter(inside=True).exclude(balance=0)
            }


def _day(moment: datetime) -> str:
    return moment.date().isoformat()


def test_the_end_of_a_day_holds_the_day(book: Book) -> None:
    lot, place = make_lot(), make_place()
    book.crossing("received", "2026-06-30T23:59", lot, place, 1)
    assert len(cell_balances(before=end_of_day(book.moment("2026-06-30").date(), book.zone))) == 1


def test_where_too_much_would_be_taken_back_every_flow_is_read(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot, place = make_lot(), make_place()
    for day in ("2026-06-01", "2026-06-02", "2026-06-03"):
        book.crossing("received", day, lot, place, 1)
    # A false cache is taken along by the one way and not looked at by the other.
    Cell.objects.filter(inside=True).update(balance=100)
    early = book.moment("2026-06-02")
    assert list(cell_balances_from_now(before=early).values()) == [98]
    monkeypatch.setattr("inventory.book.queries.quantities.balances._TAKEN_BACK", 1)
    assert list(cell_balances_from_now(before=early).values()) == [1]
