"""The arithmetic of the census, checked by examples of the procedure and by properties."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from census.rounds.rules.accuracy import Accuracy, accuracy_by_class, gains_and_losses, is_measured, total
from census.rounds.rules.approval import AdjustmentCase, approval_needed, barred_from_approving
from census.rounds.rules.compare import Comparison, Measured, compare, compare_joined, counts_agree
from census.rounds.rules.reasons import REASONS, adjustment_kind, reason_of
from census.rounds.rules.roll import roll
from census.rounds.rules.settings import CensusSettings
from census.rounds.rules.tolerance import tolerance
from census.rounds.rules.words import LineKind, Verdict
from census.rounds.rules.written import Written, read_box, read_seen, read_whole
from inventory.book.rules.kinds import EventKind

numbers = st.integers(0, 10_000)
classes = st.sampled_from("ABC")
measures = st.builds(Measured, value=numbers, at_least=st.booleans())


@pytest.mark.parametrize(
    ("count_class", "book", "allowed"),
    [
        ("A", 1000, 0),
        ("B", 0, 0),
        ("B", 20, 0),
        ("B", 21, 1),
        ("B", 39, 1),
        ("B", 40, 2),
        ("B", 60, 3),
        ("C", 0, 2),
        ("C", 29, 2),
        ("C", 30, 3),
        ("C", 420, 42),
        ("", 100, 0),
    ],
)
def test_the_tolerance_of_a_class(count_class: str, book: int, allowed: int) -> None:
    # Census procedure, section 3 (common practice, no source).
    assert tolerance(count_class, book) == allowed


@given(classes, numbers, numbers)
def test_a_bigger_book_never_allows_less(count_class: str, book: int, more: int) -> None:
    assert tolerance(count_class, book + more) >= tolerance(count_class, book)


@given(classes, st.integers(1, 10_000), numbers)
def test_below_zero_no_count_is_right(count_class: str, below: int, count: int) -> None:
    comparison = compare(count_class, -below, Measured(count))
    assert comparison.verdict is Verdict.OUTSIDE
    assert not comparison.inside
    assert not comparison.exact


@given(classes, numbers, measures)
def test_the_verdict_is_what_difference_and_tolerance_say(
    count_class: str, book: int, measured: Measured
) -> None:
    comparison = compare(count_class, book, measured)
    assert comparison.difference == measured.value - book
    assert comparison.exact == (measured.value == book)
    assert comparison.inside == (abs(measured.value - book) <= comparison.tolerance)
    if comparison.verdict is Verdict.MINIMUM:
        assert measured.at_least
        assert measured.value < book


@given(classes, numbers)
def test_a_blank_line_is_not_counted_and_zero_is(count_class: str, book: int) -> None:
    assert compare(count_class, book, None).verdict is Verdict.NOT_COUNTED
    assert compare(count_class, book, Measured(0)).counted


def test_a_minimum_below_the_book_is_outside_and_above_it_is_a_gain() -> None:
    assert compare("C", 60, Measured(22, at_least=True)).verdict is Verdict.MINIMUM
    assert not compare("C", 60, Measured(22, at_least=True)).inside
    assert compare("C", 60, Measured(80, at_least=True)).verdict is Verdict.OUTSIDE


def test_a_shoal_count_may_be_as_wide_as_its_own_passes() -> None:
    assert compare("C", 140, Measured(160, low=130, high=190)).verdict is Verdict.INSIDE
    assert compare("B", 140, Measured(160, low=130, high=190)).verdict is Verdict.OUTSIDE


@given(classes, st.lists(st.tuples(numbers, measures), min_size=1, max_size=5))
def test_a_joined_set_is_compared_on_its_sum(count_class: str, parts: list[tuple[int, Measured]]) -> None:
    joined = compare_joined(count_class, parts)
    alone = compare(
        count_class,
        sum(book for book, _ in parts),
        Measured(sum(m.value for _, m in parts), any(m.at_least for _, m in parts)),
    )
    assert joined == alone


@given(st.lists(st.tuples(numbers, measures), max_size=4), numbers)
def test_a_joined_set_with_a_blank_part_is_not_counted(parts: list[tuple[int, Measured]], book: int) -> None:
    assert compare_joined("B", [*parts, (book, None)]).verdict is Verdict.NOT_COUNTED


def test_shoal_counts_agree_within_a_tenth_and_others_when_equal() -> None:
    assert counts_agree("C", 34, 36)
    assert not counts_agree("C", 80, 100)
    assert not counts_agree("B", 34, 36)
    assert counts_agree("A", 3, 3)


@given(classes, numbers, numbers)
def test_two_counts_agree_either_way_round(count_class: str, one: int, other: int) -> None:
    assert counts_agree(count_class, one, other) == counts_agree(count_class, other, one)


@given(st.lists(st.tuples(classes, numbers, st.none() | measures)))
def test_accuracy_counts_lines_and_never_sums(lines: list[tuple[str, int, Measured | None]]) -> None:
    compared: list[tuple[str, Comparison]] = [(c, compare(c, book, m)) for c, book, m in lines]
    by_class = accuracy_by_class(compared)
    everything = total(by_class)
    assert everything.lines == sum(1 for _, _, m in lines if m is not None)
    assert everything.exact <= everything.inside <= everything.lines
    assert everything == sum(by_class.values(), Accuracy())


def test_letters_write_ins_presence_lines_and_egg_cases_stand_apart() -> None:
    assert is_measured(LineKind.GROUP, "animal", "B")
    assert is_measured(LineKind.INDIVIDUALS, "animal", "A")
    assert is_measured(LineKind.GROUP, "colony", "B")
    assert not is_measured(LineKind.GROUP, "egg case", "")
    assert not is_measured(LineKind.PRESENCE, "animal", "D")
    assert not is_measured(LineKind.WRITE_IN, "animal", "B")
    assert not is_measured(LineKind.LETTER, "animal", "A")


@given(st.lists(st.integers(-500, 500)))
def test_gains_and_losses_are_never_netted(differences: list[int]) -> None:
    found = gains_and_losses(differences)
    assert found.net == sum(differences)
    assert found.gross == sum(abs(d) for d in differences)
    assert found.gain_lines + found.loss_lines == sum(1 for d in differences if d)


@given(numbers, st.lists(st.integers(-50, 50)), st.lists(st.integers(-50, 50)))
def test_rolling_a_right_count_gives_the_book_at_the_end(
    book: int, before: list[int], after: list[int]
) -> None:
    at_count = book + sum(before)
    assert roll(at_count, book_at_count=at_count, book_at_end=at_count + sum(after)) == at_count + sum(after)
    # Counted after the end: the events between come off again.
    assert roll(at_count, book_at_count=at_count, book_at_end=at_count - sum(after)) == at_count - sum(after)


def test_young_that_settle_after_the_count_are_rolled_on() -> None:
    assert roll(45, book_at_count=45, book_at_end=57) == 57


@pytest.mark.parametrize(
    ("case", "curator", "officer"),
    [
        (AdjustmentCase("B", 5, 11, unexplained=False), False, False),
        (AdjustmentCase("B", 6, 11, unexplained=False), True, False),
        (AdjustmentCase("C", 10, 200, unexplained=False), False, False),
        (AdjustmentCase("B", 2, 29, unexplained=True), False, False),
        (AdjustmentCase("B", 3, 29, unexplained=True), True, False),
        (AdjustmentCase("C", 25, 420, unexplained=True), True, False),
        (AdjustmentCase("C", 8, 420, unexplained=True), False, False),
        (AdjustmentCase("A", 1, 4, unexplained=False), True, False),
        (AdjustmentCase("A", 1, 4, unexplained=False, permit_or_loan=True), True, True),
        (AdjustmentCase("B", 1, 40, unexplained=False, stock_condition=True), False, True),
        (
            AdjustmentCase("B", 2, 30, unexplained=True, tank_held=30, tank_unexplained_loss=4),
            True,
            False,
        ),
    ],
)
def test_who_must_approve(case: AdjustmentCase, curator: bool, officer: bool) -> None:
    # Census procedure, section 8 (common practice, no source).
    needed = approval_needed(case)
    assert (needed.curator, needed.permit_officer) == (curator, officer)
    assert bool(needed.why) == (curator or officer)


@given(st.integers(1, 10_000), st.integers(0, 10_000), st.booleans())
def test_more_animals_never_need_less_approval(n: int, book: int, unexplained: bool) -> None:
    fewer = approval_needed(AdjustmentCase("B", n, book, unexplained))
    more = approval_needed(AdjustmentCase("B", n + 1, book, unexplained))
    assert more.curator or not fewer.curator


def test_a_registrar_may_change_the_limits() -> None:
    case = AdjustmentCase("B", 6, 11, unexplained=False)
    assert approval_needed(case, CensusSettings(registrar_limit_animals=6)).registrar_alone


def test_nobody_approves_what_they_counted_typed_or_entered() -> None:
    assert barred_from_approving(1, counted=[1], typed=[], entered=9) == "counted this line"
    assert barred_from_approving(1, counted=[], typed=[1], entered=9) == "typed this line"
    assert barred_from_approving(1, counted=[], typed=[], entered=1) == "entered this decision"
    assert barred_from_approving(1, counted=[2], typed=[3], entered=4) == ""


def test_no_reason_turns_a_suspicion_into_a_death() -> None:
    for reason in REASONS:
        for n in (-1, 1):
            try:
                kind = adjustment_kind(reason, n)
            except ValueError:
                continue
            assert kind not in (EventKind.DIED, EventKind.PUT_DOWN)
            assert (kind is EventKind.UNACCOUNTED) == (n < 0)


def test_a_reason_that_is_not_on_the_list_is_refused_with_the_list() -> None:
    with pytest.raises(ValueError, match="unexplained loss"):
        reason_of("other")


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("", Written()),
        ("  ", Written()),
        ("0", Written(0)),
        ("12", Written(12)),
        ("12.0", Written(12)),
        ("at least 22", Written(22, at_least=True)),
        ("At Least 5", Written(5, at_least=True)),
        (">= 5", Written(5, at_least=True)),
        ("c", Written(letter="C")),
        ("S", Written(letter="S")),
    ],
)
def test_a_box_is_read_as_it_is_written(text: str, written: Written) -> None:
    assert read_box(text) == written
    assert read_box(text).blank == (text.strip() == "")


@pytest.mark.parametrize("text", ["-1", "1.5", "about 20", "2.6.1", "X", "1e3"])
def test_what_is_no_count_is_refused_with_what_was_expected(text: str) -> None:
    with pytest.raises(ValueError, match="expected"):
        read_box(text)


def test_marks_and_ranges_are_read_or_refused() -> None:
    assert read_seen(" ") is None
    assert read_seen("Not seen") == "not seen"
    assert read_whole("") is None
    with pytest.raises(ValueError, match="whole number"):
        read_whole("-3")
    with pytest.raises(ValueError, match="not looked for"):
        read_seen("perhaps")
