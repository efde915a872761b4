"""Quarters and years: the days that a code says, and the command that adds them."""

import csv
import io
from datetime import date, timedelta
from itertools import pairwise

import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.models import Period
from inventory.book.rules.periods import code_of, days_of


@pytest.mark.parametrize(
    ("text", "code", "first", "last"),
    [
        ("2026 Q1", "2026 Q1", date(2026, 1, 1), date(2026, 3, 31)),
        ("2026q3", "2026 Q3", date(2026, 7, 1), date(2026, 9, 30)),
        (" 2024 q4 ", "2024 Q4", date(2024, 10, 1), date(2024, 12, 31)),
        ("2024", "2024", date(2024, 1, 1), date(2024, 12, 31)),
    ],
)
def test_a_code_says_its_days(text: str, code: str, first: date, last: date) -> None:
    assert code_of(text) == code
    assert days_of(text) == (first, last)


@given(year=st.integers(min_value=1900, max_value=2200))
def test_four_quarters_make_the_year_without_gap_or_overlap(year: int) -> None:
    quarters = [days_of(f"{year} Q{n}") for n in range(1, 5)]
    assert (quarters[0][0], quarters[-1][1]) == days_of(str(year))
    for (_, last), (first, _) in pairwise(quarters):
        assert first == last + timedelta(days=1)


@pytest.mark.parametrize("text", ["", "2026 Q5", "Q3", "26 Q3", "2026 Q3 to Q4", "2026-07"])
def test_what_is_no_period_is_refused_with_what_was_expected(text: str) -> None:
    with pytest.raises(ValueError, match="2026 Q3"):
        code_of(text)


@pytest.mark.django_db
def test_the_command_adds_periods_once_and_lists_all() -> None:
    call_command("period", "2026 Q3", "2026", stderr=io.StringIO(), stdout=io.StringIO())
    out, err = io.StringIO(), io.StringIO()
    call_command("period", "2026 Q3", "--format=csv", stdout=out, stderr=err)
    assert "was there before" in err.getvalue()
    assert list(csv.reader(io.StringIO(out.getvalue())))[1:] == [
        ["2026", "2026-01-01", "2026-12-31", ""],
        ["2026 Q3", "2026-07-01", "2026-09-30", ""],
    ]


@pytest.mark.django_db
def test_one_wrong_code_adds_nothing() -> None:
    with pytest.raises(CommandError, match="Nothing was added"):
        call_command("period", "2026 Q3", "2026 Q9", stdout=io.StringIO(), stderr=io.StringIO())
    assert not Period.objects.exists()
