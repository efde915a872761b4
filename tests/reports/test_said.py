"""How a report says when something was."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from census.reports.rules.said import Saying

# An hour behind universal time in winter: the day changes an hour later here.
ZONE = ZoneInfo("Atlantic/Azores")
BEGAN = datetime(2026, 11, 28, 22, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("ended", "words", "said"),
    [
        (datetime(2026, 11, 29, 0, 45, tzinfo=UTC), True, "28 November 2026 21:30 to 23:45"),
        (datetime(2026, 11, 29, 1, 5, tzinfo=UTC), True, "28 November 2026 21:30 to 29 November 2026 00:05"),
        (BEGAN, True, "28 November 2026 21:30"),
        (
            datetime(2026, 11, 29, 0, 45, tzinfo=UTC),
            False,
            "2026-11-28T21:30-01:00 to 2026-11-28T23:45-01:00",
        ),
    ],
)
def test_a_span_within_one_day_of_the_house_names_the_day_once_and_only_in_words(
    ended: datetime, words: bool, said: str
) -> None:
    assert Saying(ZONE, words).span(BEGAN, ended) == said
