"""Cells as people type them: understood in one way, or refused with what was expected."""

import calendar
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.models import Event, Lot, Place
from inventory.book.rules import as_typed
from inventory.book.rules.as_typed import Unreadable, Value
from inventory.book.rules.sheets import EVENTS, LOTS, PLACES, TAXA
from inventory.names.models import Taxon
from inventory.people.models import Person

FAROE = ZoneInfo("Atlantic/Faroe")


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        *[(3, 3), (3.0, 3), ("3", 3), (" 3 ", 3), ("3.0", 3), ("3.00", 3), ("+3", 3), ("007", 7)],
        *[(None, 0), ("", 0), ("  ", 0), (0, 0), ("-0", 0), (999_999_999, 999_999_999)],
    ],
)
def test_a_whole_number_is_understood(typed: Value, number: int) -> None:
    assert as_typed.whole_number(typed) == number


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (2.5, "2.5 is not a whole number"),
        ("2.5", "'2.5' is not a whole number"),
        (-1, "-1 is negative"),
        ("-1", "-1 is negative"),
        ("1,000", "'1,000' is not a whole number"),
        ("1 000", "not a whole number"),
        ("1.000", "not a whole number"),  # a thousand to some, one to others
        ("4.6.20", "not a whole number"),
        ("about 20", "not a whole number"),
        ("3e2", "not a whole number"),
        ("\N{ARABIC-INDIC DIGIT THREE}", "not a whole number"),
        (float("inf"), "not a whole number"),
        (float("nan"), "not a whole number"),
        (True, "TRUE where a number was expected"),
        (datetime(2026, 3, 4), "the date 2026-03-04 00:00 where a number was expected"),  # noqa: DTZ001
        (1_000_000_000, "too large"),
        ("#REF!", "the cell shows the error #REF!"),
        (Unreadable("the formula in cell J2 was saved without its result"), "cell J2"),
    ],
)
def test_what_is_no_whole_number_is_refused_with_what_was_expected(typed: Value, told: str) -> None:
    with pytest.raises(ValueError) as refused:  # noqa: PT011  (the message is what is tested)
        as_typed.whole_number(typed)
    assert told in str(refused.value)
    assert "expected" in str(refused.value) or isinstance(typed, Unreadable) or "error" in told


@given(st.integers(0, as_typed.LARGEST_NUMBER))
def test_a_number_reads_the_same_from_a_workbook_and_from_csv(number: int) -> None:
    typed: list[Value] = [number, float(number), str(number), f" {number} ", f"{number}.0"]
    assert {as_typed.whole_number(value) for value in typed} == {number}


@given(st.one_of(st.text(), st.floats(), st.integers(), st.booleans(), st.datetimes(), st.times()))
def test_a_number_is_never_guessed(value: Value) -> None:
    """Whatever stands in the cell: a whole number that it plainly says, or a refusal."""
    try:
        number = as_typed.whole_number(value)
    except ValueError:
        return
    assert isinstance(value, int | float | str)
    assert not isinstance(value, bool)
    assert (float(value.strip() or 0) if isinstance(value, str) else value) == number


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("2026-10-03", "2026-10-03"),
        ("2026-10-03T09:30", "2026-10-03T09:30"),
        ("2026-10-03 09:30", "2026-10-03T09:30"),
        ("2026-10-03/2026-10-05", "2026-10-03/2026-10-05"),
        (datetime(2026, 10, 3), "2026-10-03"),  # noqa: DTZ001
        (datetime(2026, 10, 3, 9, 29, 59, 999_000), "2026-10-03T09:30"),  # noqa: DTZ001
        (date(2026, 10, 3), "2026-10-03"),
        ("25/10/2026", "2026-10-25"),
        ("25.10.2026 14:05", "2026-10-25T14:05"),
        ("10/25/2026", "2026-10-25"),  # no month 25: only one reading
        ("3/3/2026", "2026-03-03"),
        ("2026/10/03", "2026-10-03"),
        ("3 Oct 2026", "2026-10-03"),
        ("3 October 2026", "2026-10-03"),
        ("3-Oct-2026", "2026-10-03"),
        ("3. Sept. 2026", "2026-09-03"),
        ("3rd oct 2026 9:05", "2026-10-03T09:05"),
        ("Oct 3, 2026", "2026-10-03"),
        (" 29 Feb 2024 ", "2024-02-29"),
    ],
)
def test_a_date_is_understood(typed: Value, kept: str) -> None:
    assert str(as_typed.happened(typed)) == kept


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("3/10/2026", "can be read as 3 October or 10 March; expected 2026-MM-DD"),
        ("03.10.2026 14:00", "can be read as 3 October or 10 March"),
        ("3/10/26", "expected YYYY-MM-DD"),
        ("3 Oct 26", "expected YYYY-MM-DD"),
        ("31 Feb 2026", "no day of the calendar"),
        ("2026-02-30", "expected YYYY-MM-DD"),
        ("31/31/2026", "no day of the calendar"),
        ("0/10/2026", "no day of the calendar"),
        ("3 Okt 2026", "expected YYYY-MM-DD"),
        ("3 Oct 2026 9:05 pm", "expected YYYY-MM-DD"),
        ("last week", "expected YYYY-MM-DD"),
        ("2026-10-05/2026-10-03", "ends before it starts"),
        (46_298, "the number 46298 is not a date; format the cell as a date"),
        (time(9, 30), "the time 09:30:00 is not a date"),
        (timedelta(hours=3), "is not a date"),
        (True, "TRUE is not a date"),
        ("", "expected YYYY-MM-DD"),
        (None, "expected YYYY-MM-DD"),
    ],
)
def test_a_date_that_can_be_read_in_two_ways_or_in_none_is_refused(typed: Value, told: str) -> None:
    with pytest.raises(ValueError) as refused:  # noqa: PT011  (the message is what is tested)
        as_typed.happened(typed)
    assert told in str(refused.value)


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)))
def test_every_day_reads_the_same_however_it_is_written(day: date) -> None:
    month = calendar.month_name[day.month]
    forms: list[Value] = [
        *(day, datetime.combine(day, time()), day.isoformat(), f"{day:%Y/%m/%d}"),
        *(
            f"{day.day} {month} {day.year}",
            f"{day.day} {month[:3]} {day.year}",
            f"{month} {day.day}, {day.year}",
        ),
    ]
    assert {str(as_typed.happened(form)) for form in forms} == {day.isoformat()}


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.sampled_from("/.-"))
def test_a_day_in_numbers_is_read_in_its_only_way_or_refused(day: date, between: str) -> None:
    two_ways = day.day <= 12 and day.day != day.month
    for first, second in ((day.day, day.month), (day.month, day.day)):
        typed = f"{first}{between}{second}{between}{day.year}"
        if two_ways:
            with pytest.raises(ValueError, match="can be read as"):
                as_typed.happened(typed)
        else:
            assert str(as_typed.happened(typed)) == day.isoformat()


def test_the_moment_of_entry_is_the_house_s_own_time() -> None:
    assert as_typed.read_moment("2026-07-03T09:30", FAROE) == datetime(2026, 7, 3, 9, 30, tzinfo=FAROE)
    assert as_typed.read_moment("3 Jul 2026 9:30", FAROE) == datetime(2026, 7, 3, 9, 30, tzinfo=FAROE)
    assert as_typed.read_moment(date(2026, 7, 3), FAROE) == datetime(2026, 7, 3, tzinfo=FAROE)
    with_offset = as_typed.read_moment("2026-07-03T09:30+02:00", FAROE)
    assert with_offset == datetime(2026, 7, 3, 8, 30, tzinfo=FAROE)
    assert as_typed.read_moment(" ", FAROE) is None


@pytest.mark.parametrize(
    ("typed", "kept"),
    [(" 2024-001 ", "2024-001"), (1042, "1042"), (1042.0, "1042"), (2.5, "2.5"), (None, ""), ("\xa0x", "x")],
)
def test_text_keeps_its_digits_and_loses_the_spaces_around(typed: Value, kept: str) -> None:
    assert as_typed.text(typed) == kept


def test_an_accession_number_that_the_spreadsheet_made_a_date_is_refused() -> None:
    with pytest.raises(ValueError, match="format the cell as text"):
        as_typed.text(datetime(2026, 4, 3))  # noqa: DTZ001


def test_text_that_is_too_long_or_cannot_be_printed_is_refused() -> None:
    with pytest.raises(ValueError, match="expected at most 20"):
        as_typed.text("x" * 21, longest=20)
    with pytest.raises(ValueError, match="cannot be printed"):
        as_typed.text("a\x00b")
    assert as_typed.text("two\nlines", longest=20) == "two\nlines"


def test_yes_and_no_are_understood_and_an_empty_cell_says_neither() -> None:
    assert [as_typed.yes_or_no(typed) for typed in ("Yes", "y", 1, 1.0, True, "TRUE")] == [True] * 6
    assert [as_typed.yes_or_no(typed) for typed in ("no", "N", 0, False, "false")] == [False] * 5
    assert [as_typed.yes_or_no(typed) for typed in (None, "", " ")] == [None] * 3
    for typed in ("perhaps", 2, date(2026, 1, 1)):
        with pytest.raises(ValueError, match="expected yes or no"):
            as_typed.yes_or_no(typed)


def test_a_volume_is_a_decimal_number_with_a_full_stop() -> None:
    def volume(typed: Value) -> Decimal | None:
        return as_typed.decimal_number(typed, digits=9, places=2)

    assert [volume(typed) for typed in (12.5, "12.50", 9, " ", None)] == [
        *(Decimal("12.5"), Decimal("12.5"), Decimal(9), None, None),
    ]
    for typed in ("12,5", "-1", -1, 0.125, "1e3", "12.5 m3", True, float("nan"), 10_000_000):
        with pytest.raises(ValueError, match=r"expected a number such as 12\.5"):
            volume(typed)


def test_the_longest_texts_of_the_sheets_are_those_of_the_tables() -> None:
    fields = {
        PLACES.name: (Place, {}),
        TAXA.name: (Taxon, {"name": "scientific_name"}),
        LOTS.name: (Lot, {"name": "verbatim_identification"}),
        EVENTS.name: (Event, {"permit": "permit_number"}),
    }
    elsewhere = {
        *("entered_by", "accession", "place", "to_place", "to_accession", "stage", "to_stage", "reverses"),
    }
    for sheet in (PLACES, TAXA, LOTS, EVENTS):
        model, called = fields[sheet.name]
        for column, longest in sheet.longest.items():
            if sheet is EVENTS and column in elsewhere:
                continue
            field = model._meta.get_field(called.get(column, column))
            assert field.max_length == longest, f"{sheet.name}.{column}"  # type: ignore[union-attr]
    assert EVENTS.longest["entered_by"] == Person._meta.get_field("name").max_length
    assert EVENTS.longest["accession"] == EVENTS.longest["to_accession"] == LOTS.longest["accession"]
    assert EVENTS.longest["place"] == EVENTS.longest["to_place"] == PLACES.longest["code"]
