"""Answers that several rooms need for one page."""

from threading import Thread

import pytest

from inventory.doors.once import asking_once, once

_asked: list[tuple[int, int]] = []


@once
def _sum(a: int, *, b: int = 2) -> int:
    _asked.append((a, b))
    return a + b


@pytest.fixture(autouse=True)
def _nothing_asked() -> None:
    _asked.clear()


def test_inside_the_same_is_asked_once_and_something_else_again() -> None:
    with asking_once():
        assert [_sum(1, b=2), _sum(1, b=2), _sum(2, b=2)] == [3, 3, 4]
    assert _asked == [(1, 2), (2, 2)]


def test_a_default_that_is_said_is_the_same_question_as_one_left_out() -> None:
    with asking_once():
        assert [_sum(1, b=2), _sum(1), _sum(a=1)] == [3, 3, 3]
    assert _asked == [(1, 2)]


def test_outside_everything_is_asked_each_time_and_nothing_stays_from_before() -> None:
    with asking_once():
        _sum(1, b=2)
    assert [_sum(1, b=2), _sum(1, b=2)] == [3, 3]
    with asking_once():
        _sum(1, b=2)
    assert _asked == [(1, 2)] * 4


def test_one_inside_of_another_keeps_what_the_other_kept() -> None:
    with asking_once():
        _sum(1, b=2)
        with asking_once():
            _sum(1, b=2)
            _sum(3, b=3)
        _sum(3, b=3)
    assert _asked == [(1, 2), (3, 3)]


def test_another_thread_asks_for_itself() -> None:
    with asking_once():
        _sum(1, b=2)
        other = Thread(target=lambda: _sum(1, b=2))
        other.start()
        other.join(timeout=10)
        assert not other.is_alive()
    assert _asked == [(1, 2)] * 2


def test_a_failure_is_no_answer() -> None:
    tries = []

    @once
    def fails() -> None:
        tries.append(1)
        raise ValueError("not now")

    with asking_once():
        for _ in range(2):
            with pytest.raises(ValueError, match="not now"):
                fails()
    assert len(tries) == 2
