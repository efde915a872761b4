"""Closing a period: versions, snapshots, fingerprints, and figures that come out the same with them."""

import hashlib
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from inventory.book.actions.close import PeriodNotClosed, close_period
from inventory.book.models import PeriodVersion
from inventory.book.queries.quantities import cell_balances, cell_balances_from_now
from tests.change.rows import Book
from tests.factories import make_lot, make_period, make_place

pytestmark = pytest.mark.django_db


@pytest.fixture
def book() -> Book:
    return Book()


def _close(book: Book, day: str, period: object = None) -> PeriodVersion:
    return close_period(
        period or make_period(),  # type: ignore[arg-type]
        closed_at=book.moment(day),
        signed_by=book.person,
        zone=book.zone,
    )


def test_a_closing_keeps_the_balances_at_the_end_as_known_at_the_closing(book: Book) -> None:
    lot, place = make_lot(), make_place()
    book.crossing("received", "2026-09-30T23:59", lot, place, 5)
    book.crossing("received", "2026-10-01", lot, place, 7)
    book.crossing("died", "2026-09-29", lot, place, 2, entered="2026-10-20")
    version = _close(book, "2026-10-15")
    cell = book.cell(lot, place)
    assert version.number == 1
    assert list(version.balances.values_list("cell_id", "n")) == [(cell.pk, 5)]
    assert version.fingerprint == hashlib.sha256(f"{cell.pk}:5\n".encode()).hexdigest()


def test_a_restatement_is_the_next_version_and_the_first_stays(book: Book) -> None:
    lot, place, period = make_lot(), make_place(), make_period()
    book.crossing("received", "2026-09-01", lot, place, 5)
    first = _close(book, "2026-10-15", period)
    book.crossing("died", "2026-09-20", lot, place, 1, entered="2026-11-03")
    second = _close(book, "2026-11-04", period)
    assert [v.number for v in period.versions.all()] == [1, 2]
    assert [b.n for b in first.balances.all()] == [5]
    assert [b.n for b in second.balances.all()] == [4]
    assert first.fingerprint != second.fingerprint


def test_a_period_is_not_closed_before_it_ends(book: Book) -> None:
    with pytest.raises(PeriodNotClosed, match="can be closed from 2026-10-01T00:00"):
        _close(book, "2026-09-30T23:59")
    assert not PeriodVersion.objects.exists()


def test_a_version_comes_after_the_one_before_it(book: Book) -> None:
    period = make_period()
    _close(book, "2026-10-15", period)
    with pytest.raises(PeriodNotClosed, match="version 2 must come later"):
        _close(book, "2026-10-15", period)


class SnapshotsAgainstAllFlows(TestCase):
    """Whatever is entered before, at or after closings, reading from a snapshot changes nothing."""

    @given(
        flows=st.lists(
            st.tuples(st.booleans(), st.integers(1, 5), st.integers(0, 40), st.integers(0, 40)), max_size=14
        ),
        closings=st.lists(st.tuples(st.sampled_from([10, 20]), st.integers(0, 30)), max_size=3),
        day=st.integers(0, 45),
        known=st.none() | st.integers(0, 80),
    )
    def test_a_balance_is_the_same_with_and_without_snapshots(
        self,
        flows: list[tuple[bool, int, int, int]],
        closings: list[tuple[int, int]],
        day: int,
        known: int | None,
    ) -> None:
        book = Book()
        lot, place = make_lot(), make_place()
        start = book.moment("2026-01-01")
        for into, n, happened, late in flows:
            effective = start + timedelta(days=happened)
            book.crossing(
                "received" if into else "died",
                _day(effective),
                lot,
                place,
                n,
                entered=_day(effective + timedelta(days=late)),
            )
        periods = {
            length: make_period(f"first {length}", "2026-01-01", _day(start + timedelta(days=length - 1)))
            for length in (10, 20)
        }
        for length, after in sorted(set(closings), key=lambda closing: closing[1]):
            _close(book, _day(start + timedelta(days=length + after)), periods[length])
        before = start + timedelta(days=day)
        known_at = None if known is None else start + timedelta(days=known)
        plain = cell_balances(before=before, known_at=known_at, snapshots=False)
        assert cell_balances(before=before, known_at=known_at) == plain
        assert cell_balances_from_now(before=before, known_at=known_at) == plain


def _day(moment: datetime) -> str:
    return moment.date().isoformat()
