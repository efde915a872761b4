"""Help with counting: plain questions, the estimators' answers, and the line filled in."""

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from census.estimators.rules.estimate import CannotEstimate
from census.estimators.rules.methods import METHODS
from census.estimators.rules.written import BadValue
from census.rounds.models import Count, Line
from census.rounds.rules.count_help import BY_METHOD, HELPS, NoUpperLimit, estimated, written
from tests import factories

from .house import TestHouse

# What a counter types, and what `manage.py estimate` says of the same numbers.
TYPED = {
    "passes": {"counts": "61 58  64"},
    "two_observers": {"first": "31", "second": "28", "both": "25"},
    "two_observers_swapped": {
        "first_leads": "60",
        "second_adds": "10",
        "second_leads": "55",
        "first_adds": "12",
    },
    "chapman": {"marked": "40", "caught": "35", "recaptured": "12"},
    "squares": {"counts": "3, 0, 5, 2, 4, 1, 2, 6, 0, 3", "total_squares": "80"},
    "removal": {"catches": "53; 22; 14; 4"},
    "ratio": {"counts": "212 198 205 221 209", "weights": "50 48 50 51 50", "total_weight": "1840"},
}


def test_every_question_is_one_that_its_estimator_takes_and_all_needed_ones_are_asked() -> None:
    assert set(TYPED) == set(BY_METHOD)
    for help_ in HELPS:
        taken = {value.name: value for value in METHODS[help_.method].values}
        asked = {question.name for question in help_.questions}
        assert asked <= set(taken)
        assert {name for name, value in taken.items() if not value.optional} <= asked
        assert set(TYPED[help_.method]) == asked


def test_no_question_speaks_mathematics() -> None:
    """What the glass knows: animals, marks, squares; how it is worked out stands behind a link."""
    words = " ".join(
        part
        for help_ in HELPS
        for part in (help_.title, help_.when, help_.how, *(q.words + q.help for q in help_.questions))
    )
    for term in (
        "estimate",
        "interval",
        "variance",
        "likelihood",
        "Chapman",
        "stratum",
        "sample size",
        "ratio",
    ):
        assert term.lower() not in words.lower()


@pytest.mark.parametrize("method", TYPED)
def test_what_is_written_holds_its_range_in_whole_animals(method: str) -> None:
    help_ = BY_METHOD[method]
    found = estimated(help_, TYPED[method])
    answer = written(help_, TYPED[method], found)
    assert found.high is not None
    assert answer.low <= found.low
    assert answer.high >= found.high
    assert answer.low <= answer.value <= answer.high
    assert abs(answer.value - found.estimate) <= 0.5
    assert answer.method.startswith(help_.short)


@given(st.lists(st.integers(0, 500), min_size=2, max_size=80))
def test_the_method_of_a_count_fits_its_box_however_many_passes(counts: list[int]) -> None:
    help_, typed = BY_METHOD["passes"], {"counts": " ".join(map(str, counts))}
    answer = written(help_, typed, estimated(help_, typed))
    assert len(answer.method) <= 120
    assert (answer.low, answer.high) == (min(counts), max(counts))


@given(st.text(max_size=20))
def test_whatever_is_typed_gives_a_number_or_a_sentence(text: str) -> None:
    assert _said(text)


def _said(text: str) -> str:
    try:
        return f"{estimated(BY_METHOD['passes'], {'counts': text}).estimate}"
    except (BadValue, CannotEstimate) as refused:
        return str(refused)


def test_without_an_upper_limit_nothing_is_written() -> None:
    typed = {"catches": "12 11 10"}
    with pytest.raises(NoUpperLimit, match="at least"):
        written(BY_METHOD["removal"], typed, estimated(BY_METHOD["removal"], typed))


pages = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


class TestPages:
    """As a counter with a sheet of K1."""

    pytestmark = pages

    @pytest.fixture
    def line(self, house: TestHouse, client: Client) -> Line:
        census = house.opened_and_issued()
        client.force_login(house.first.user)  # type: ignore[arg-type]
        return house.line(census, "shoal")

    @staticmethod
    def _address(method: str, line: Line, **typed: str) -> str:
        from urllib.parse import urlencode

        asked = {"sheet": line.sheet.number, "line": line.number, **typed}
        return f"{reverse('count_help', args=[method])}?{urlencode(asked)}"

    def test_the_sheet_leads_to_the_questions(self, line: Line, client: Client) -> None:
        page = client.get(reverse("sheet", args=[line.sheet.number])).content.decode()
        assert f"{reverse('count_help_list')}?sheet={line.sheet.number}&amp;line={line.number}" in page
        ways = client.get(f"{reverse('count_help_list')}?sheet={line.sheet.number}&line={line.number}")
        for help_ in HELPS:
            assert help_.title in ways.content.decode()
            assert client.get(self._address(help_.method, line)).status_code == 200

    def test_the_answer_stands_in_plain_words_and_the_mathematics_behind_a_link(
        self, line: Line, client: Client
    ) -> None:
        page = client.get(self._address("passes", line, counts="61 58 64")).content.decode()
        assert "About 61, between 58 and 64" in page
        before, _, after = page.partition("<summary>How this is worked out</summary>")
        assert "median" not in before
        assert "median and range of 3 passes" in after
        assert Count.objects.count() == 0

    def test_posting_writes_number_range_and_method_on_the_line(
        self, house: TestHouse, line: Line, client: Client
    ) -> None:
        answer = client.post(
            self._address("passes", line, counts="61 58 64"), {"counted_at": "2026-09-29T10:00"}, follow=True
        )
        assert "61, 58 to 64, is written" in answer.content.decode()
        (count,) = Count.objects.filter(line=line)
        assert (count.value, count.low, count.high, count.counter) == (61, 58, 64, house.first)
        assert count.method == "passes or pictures: 61 58 64"
        assert 'value="61"' in answer.content.decode()

    @pytest.mark.parametrize(
        ("method", "typed", "words"),
        [
            ("passes", {"counts": "61 many"}, "expected whole numbers"),
            ("passes", {"counts": ""}, "0 if there was none"),
            ("two_observers", {"first": "3", "second": "4", "both": "0"}, "No animal was seen by both"),
            ("removal", {"catches": "5 7 8"}, "do not fall"),
            ("removal", {"catches": "12 11 10"}, "nothing is written on the sheet"),
        ],
    )
    def test_what_gives_no_number_is_said_and_nothing_is_written(
        self, line: Line, client: Client, method: str, typed: dict[str, str], words: str
    ) -> None:
        address = self._address(method, line, **typed)
        assert words in client.get(address).content.decode()
        assert words in client.post(address, {"counted_at": "2026-09-29T10:00"}).content.decode()
        assert Count.objects.count() == 0

    def test_what_the_sheet_refuses_is_said(self, line: Line, client: Client) -> None:
        address = self._address("passes", line, counts="61 58 64")
        assert (
            "lies in the future" in client.post(address, {"counted_at": "2027-01-01T10:00"}).content.decode()
        )
        assert Count.objects.count() == 0

    def test_an_unknown_way_is_a_plain_404_and_another_line_is_not_written(
        self, line: Line, client: Client
    ) -> None:
        assert client.get(reverse("count_help", args=["guessing"])).status_code == 404
        nowhere = f"{reverse('count_help', args=['passes'])}?sheet={line.sheet.number}&line=99&counts=1,2,3"
        assert "Write it on line" not in client.get(nowhere).content.decode()
        client.post(nowhere, {"counted_at": "2026-09-29T10:00"})
        assert Count.objects.count() == 0

    def test_who_does_not_count_has_no_use_for_it(self, line: Line, client: Client) -> None:
        inspector = factories.make_person("Ingrid", roles=["inspector"])
        client.force_login(inspector.user)  # type: ignore[arg-type]
        assert client.get(reverse("count_help_list")).status_code == 403
