"""Checks, scopes, accounts, bars and loans as pure rules."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.permits.rules.accounts import (
    HELD,
    PERMIT,
    TRIP,
    YEAR,
    Limit,
    Taken,
    by_line,
    limit_words,
    used_of,
)
from inventory.permits.rules.bars import WIDTH, bar_of
from inventory.permits.rules.checks import (
    CaseKind,
    LineTerms,
    TakeFacts,
    Terms,
    TripFacts,
    check_position,
    check_take,
    check_trip,
    days_left,
    in_season,
    inside_polygon,
    refuse_position,
)
from inventory.permits.rules.loans import add_months, confirm_by, share, share_words
from inventory.permits.rules.scopes import Animal, Covers, Member, field_name, line_for, names_in
from inventory.permits.rules.sheets import area, days, degrees, part, seasons, several, young

SQUARE = ((-5.0, 60.0), (-4.0, 60.0), (-4.0, 61.0), (-5.0, 61.0))
TERMS = Terms("P", date(2026, 1, 1), date(2026, 12, 31), area=SQUARE)
DAY = date(2026, 6, 1)


# Positions


@pytest.mark.parametrize(
    ("latitude", "longitude", "kind", "words"),
    [
        (60.5, -4.5, None, ""),
        (60.0, -4.5, None, ""),  # on the edge is inside
        (-4.5, 60.5, CaseKind.COORDINATES, "swapped, they lie inside the area of P"),
        (60.5, 4.5, CaseKind.OUTSIDE_AREA, "lies outside the area of P"),
        (60.5, None, CaseKind.COORDINATES, "only one of latitude and longitude is given"),
        (None, None, None, ""),
    ],
)  # fmt: skip
def test_a_position_is_looked_at(
    latitude: float | None, longitude: float | None, kind: CaseKind | None, words: str
) -> None:
    found = check_position(latitude, longitude, TERMS)
    assert [breach.kind for breach in found] == ([kind] if kind else [])
    assert all(words in breach.words for breach in found)


@pytest.mark.parametrize(
    ("latitude", "longitude", "words"),
    [
        (160.5, -4.5, "latitude 160.5 is not between -90 and 90: is it the longitude? Swap the two"),
        (160.5, 170.0, "latitude 160.5 is not between -90 and 90"),
        (60.0, 181.0, "longitude 181 is not between -180 and 180"),
        (60.0, -4.0, ""),
        (None, None, ""),
    ],
)
def test_what_cannot_be_coordinates_is_said(
    latitude: float | None, longitude: float | None, words: str
) -> None:
    assert refuse_position(latitude, longitude) == words


@given(st.floats(-4.999, -4.001), st.floats(60.001, 60.999))
def test_points_of_a_square_are_inside_and_their_swaps_are_not(x: float, y: float) -> None:
    assert inside_polygon(x, y, SQUARE)
    assert not inside_polygon(y, x, SQUARE)


# Time, people, gear


def test_each_day_of_a_trip_has_to_be_valid() -> None:
    trip = TripFacts(date(2026, 12, 31), date(2027, 1, 1))
    (breach,) = check_trip(trip, TERMS)
    assert breach.kind is CaseKind.EXPIRED
    assert breach.words == "2027-01-01 is 1 day after P expired on 2026-12-31"


@pytest.mark.parametrize(
    ("mark", "open_"),
    [("01-31", True), ("11-01", True), ("02-01", False), ("10-31", False), ("12-31", True)],
)
def test_a_season_may_run_over_the_new_year(mark: str, open_: bool) -> None:
    assert in_season(date.fromisoformat(f"2026-{mark}"), [("11-01", "01-31")]) is open_


@pytest.mark.parametrize(
    ("used", "allowed"),
    [("hand net", True), ("Hand Net, creel", True), ("hand net + trawl", False), ("", False)],
)
def test_every_gear_named_has_to_be_allowed(used: str, allowed: bool) -> None:
    terms = Terms("P", date(2026, 1, 1), date(2026, 12, 31), gear=("hand net", "creel"))
    assert (not check_trip(TripFacts(DAY, DAY, gear=used), terms)) is allowed


def test_a_permit_that_names_nobody_lets_anybody() -> None:
    assert not check_trip(TripFacts(DAY, DAY, people=("Somebody",)), TERMS)


def test_days_left_count_today() -> None:
    assert [days_left(date(2026, 6, day), DAY) for day in (1, 2)] == [1, 2]
    assert days_left(date(2026, 5, 31), DAY) == -1


# Lines


@pytest.mark.parametrize(
    ("take", "kinds"),
    [
        (TakeFacts("x", kept=1, size_mm=150, sex="female"), []),
        (TakeFacts("x", kept=1, size_mm=99, sex="female"), [CaseKind.CONDITION]),
        (TakeFacts("x", kept=1, size_mm=201, sex="female"), [CaseKind.CONDITION]),
        (TakeFacts("x", kept=1, sex="female"), [CaseKind.CONDITION, CaseKind.CONDITION]),
        (TakeFacts("x", kept=1, size_mm=150, sex="male"), [CaseKind.CONDITION]),
        (TakeFacts("x", sex="male"), []),
        (TakeFacts("x", kept=1, size_mm=150, sex="female", unit="piece"), [CaseKind.UNIT]),
        (TakeFacts("x", kept=1, size_mm=150, sex="female", berried=True), [CaseKind.CONDITION]),
    ],
)
def test_conditions_of_a_line_are_looked_at(take: TakeFacts, kinds: list[CaseKind]) -> None:
    line = LineTerms("X", sex="female", condition="not berried", smallest_mm=100, largest_mm=200)
    assert [breach.kind for breach in check_take(take, line, permit="P")] == kinds


CRAB = Animal(
    1, "Carcinus maenas", (("genus", "Carcinus"), ("class", "Malacostraca"), ("phylum", "Arthropoda"))
)
LOBSTER = Animal(2, "Homarus gammarus", (("genus", "Homarus"), ("class", "Malacostraca")))


def test_the_narrowest_line_counts_an_animal_and_only_that() -> None:
    lines = [
        Covers(1, "not_listed", [Member("Malacostraca", "class")]),
        Covers(2, "higher", [Member("Arthropoda", "phylum")]),
        Covers(3, "group", [Member("Carcinus", "genus"), Member("Necora", "genus")]),
        Covers(4, "taxon", [Member("Homarus gammarus", "species", taxon_id=2)]),
    ]
    assert (line_for(CRAB, lines), line_for(LOBSTER, lines)) == (3, 4)
    assert line_for(CRAB, lines[:2]) == 2
    assert line_for(LOBSTER, lines[:1]) == 1
    assert line_for(Animal(9, "Asterias rubens"), lines) is None


def test_a_taxon_is_followed_by_its_row_when_its_name_changes() -> None:
    line = Covers(1, "taxon", [Member("Gobiusculus flavescens", "species", taxon_id=5)])
    assert line_for(Animal(5, "Pomatoschistus flavescens"), [line]) == 1
    assert line_for(Animal(6, "Gobiusculus flavescens"), [line]) is None


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("sea snail x3", ("sea snail", 3)),
        ("3 sea snail", ("sea snail", 3)),
        ("3 x sea snail", ("sea snail", 3)),
        ("Maxillaria", ("Maxillaria", None)),
        ("Xiphias gladius", ("Xiphias gladius", None)),
    ],
)
def test_a_number_beside_a_name_is_no_part_of_it(written: str, read: tuple[str, int | None]) -> None:
    assert field_name(written) == read


def test_the_words_of_a_line_name_the_animal_twice() -> None:
    assert names_in("Sea snail (Liparis liparis)") == {"sea snail", "liparis liparis"}
    assert names_in("Lobster (Homarus gammarus), not berried") == {"lobster", "homarus gammarus"}


# Accounts

_TAKES = st.lists(
    st.builds(
        lambda trip, day, let_go, died, kept: Taken(
            1, trip, day, "animal", let_go + died + kept, let_go, died, kept
        ),
        trip=st.integers(1, 4),
        day=st.dates(date(2025, 1, 1), date(2026, 12, 31)),
        let_go=st.integers(0, 9),
        died=st.integers(0, 9),
        kept=st.integers(0, 9),
    ),
    max_size=12,
)


def _limit(
    per: str = PERMIT, limit: int | None = 10, *, let_go: bool = False, since: date = date.min
) -> Limit:
    return Limit(1, limit, per, "animal", let_go, since)


@given(_TAKES, st.booleans())
def test_caught_is_what_was_let_go_died_and_kept_and_left_is_the_rest(
    takes: list[Taken], let_go: bool
) -> None:
    as_of = date(2026, 6, 30)
    used = used_of(_limit(let_go=let_go), takes, as_of=as_of)
    assert used.caught == used.let_go + used.died + used.kept
    assert used.counted == used.kept + used.died + (used.let_go if let_go else 0)
    assert used.left == 10 - used.counted
    assert used.over == max(0, used.counted - 10)
    assert used.caught == sum(take.caught for take in takes if take.day <= as_of)


@given(_TAKES)
def test_years_and_trips_add_up_to_the_whole(takes: list[Taken]) -> None:
    end = date(2026, 12, 31)
    whole = used_of(_limit(), takes, as_of=end)
    years = [used_of(_limit(YEAR), takes, as_of=date(year, 12, 31)).used for year in (2025, 2026)]
    assert sum(years) == whole.counted
    trips = {take.trip for take in takes}
    each = [used_of(_limit(TRIP), [t for t in takes if t.trip == trip], as_of=end).used for trip in trips]
    assert used_of(_limit(TRIP), takes, as_of=end).used == max(each, default=0)
    assert sum(each) == whole.counted


def test_a_renewal_counts_from_its_first_day() -> None:
    takes = [Taken(1, 1, date(2025, 5, 1), "animal", 4, 0, 0, 4), Taken(1, 2, DAY, "animal", 3, 0, 0, 3)]
    assert used_of(_limit(since=date(2026, 1, 1)), takes, as_of=DAY).used == 3


def test_what_is_counted_in_another_unit_is_shown_apart() -> None:
    takes = [Taken(1, 1, DAY, "piece", 3, 0, 0, 3), Taken(1, 1, DAY, "animal", 2, 0, 0, 2)]
    used = used_of(_limit(), takes, as_of=DAY)
    assert (used.caught, used.left, used.other_units) == (2, 8, {"piece": 3})


def test_what_is_held_at_once_comes_from_the_book() -> None:
    assert used_of(_limit(HELD), [], as_of=DAY, held=12).over == 2
    assert used_of(_limit(HELD), [], as_of=DAY).left is None


def test_takes_part_by_line() -> None:
    takes = [Taken(None, 1, DAY, "animal", 1, 0, 0, 1), Taken(2, 1, DAY, "animal", 1, 1, 0, 0)]
    assert {number: len(found) for number, found in by_line(takes).items()} == {None: 1, 2: 1}


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ((40, PERMIT, "animal"), "40"),
        ((50, TRIP, "animal"), "50 a trip"),
        ((3, PERMIT, "piece"), "3 pieces"),
        ((1, YEAR, "piece"), "1 piece a year"),
        ((20, HELD, "animal"), "20 held at once"),
        ((None, PERMIT, "animal"), "no limit"),
    ],
)
def test_a_limit_in_words(limit: tuple[int | None, str, str], words: str) -> None:
    assert limit_words(*limit) == words


@given(_TAKES, st.integers(1, 60), st.booleans())
def test_a_bar_lies_in_its_frame_and_shows_what_is_over(takes: list[Taken], limit: int, let_go: bool) -> None:
    used = used_of(_limit(limit=limit, let_go=let_go), takes, as_of=date(2026, 12, 31))
    bar = bar_of(used, limit, counts_let_go=let_go)
    assert bar
    assert all(piece.x >= 0 and piece.x + piece.width <= WIDTH + 0.2 for piece in bar.parts)
    assert (bar.over is not None) is bool(used.over)
    assert bar.words.endswith(f"limit {limit}")


# Loans


@pytest.mark.parametrize(
    ("day", "months", "after"),
    [
        ("2026-01-31", 1, "2026-02-28"),
        ("2024-01-31", 1, "2024-02-29"),
        ("2025-11-30", 3, "2026-02-28"),
        ("2025-05-12", 12, "2026-05-12"),
    ],
)
def test_months_later(day: str, months: int, after: str) -> None:
    assert add_months(date.fromisoformat(day), months) == date.fromisoformat(after)


def test_the_next_letter_is_due_after_the_last() -> None:
    begun = date(2025, 5, 12)
    assert confirm_by(begun, [], 3) == date(2025, 8, 12)
    assert confirm_by(begun, [date(2026, 2, 12), date(2025, 8, 12)], 3) == date(2026, 5, 12)
    assert confirm_by(begun, [], None) is None


@given(st.integers(0, 50), st.fractions(0, 1, max_denominator=6))
def test_shares_of_young_add_up_and_a_half_stays_a_half(reached: int, lender: Fraction) -> None:
    found = share(date(2026, 6, 14), from_day=30, reached=reached, lender_part=lender)
    assert found.lender is not None
    assert found.borrower is not None
    assert found.lender + found.borrower == reached
    assert found.shared_on == date(2026, 6, 14) + timedelta(days=30)


def test_young_that_are_not_old_enough_belong_to_nobody_yet() -> None:
    found = share(date(2026, 6, 14), from_day=30, reached=None, lender_part=Fraction(1, 2))
    assert (found.lender, found.borrower) == (None, None)


def test_parts_in_words() -> None:
    assert [share_words(Fraction(n)) for n in ("0", "1/2", "2/3", "1")] == ["none", "half", "2 of 3", "all"]


# Cells of the sheets


def test_cells_of_the_sheets_are_read() -> None:
    assert several(" hand net | creel |") == ("hand net", "creel")
    assert area("-4.62 60.41 | -3.88, 60.41 | -3.88 60.86") == (
        (-4.62, 60.41),
        (-3.88, 60.41),
        (-3.88, 60.86),
    )
    assert seasons("04-01 to 09-30|11-01 to 02-29") == (("04-01", "09-30"), ("11-01", "02-29"))
    assert degrees("-4.1") == Decimal("-4.1")
    assert part("1/2") == Fraction(1, 2)
    assert young("0001234 2026-06-14") == (("0001234", date(2026, 6, 14)),)
    assert days("2026-06-14 | 2026-07-14") == (date(2026, 6, 14), date(2026, 7, 14))


@pytest.mark.parametrize(
    ("read", "cell", "words"),
    [
        (degrees, "60°25'N", "not in decimal degrees"),
        (degrees, "60,4213", "not in decimal degrees"),
        (area, "60.41", "is no corner"),
        (area, "-4.6 160.4", "lies on no globe"),
        (seasons, "April to June", "is no season"),
        (seasons, "04-31 to 06-30", "day"),
        (part, "3/2", "is no part of a whole"),
        (part, "half", "is no part"),
        (young, "2026-06-14", "says no lot"),
    ],
)  # fmt: skip
def test_cells_that_cannot_be_read_say_what_was_expected(read: object, cell: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        read(cell)  # type: ignore[operator]
