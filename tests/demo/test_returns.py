"""C36: the return of P1, sent with six goldsinny that were another permit's, and amended."""

from datetime import date

import pytest

from census.demo.rules import fixtures
from inventory.book.queries.documents import read_document
from inventory.permits.models import PermitReturn, ReturnRow
from inventory.permits.queries.return_changes import changed_since, newest_returns, to_look_at
from inventory.permits.queries.returns import stands_as_frozen
from inventory.permits.rules.return_changes import What

from .conftest import DemoHouse

pytestmark = pytest.mark.django_db
P1 = "HISFB 2024/117"


def _version(number: int) -> PermitReturn:
    return PermitReturn.objects.get(permit__number=P1, version=number)


def _goldsinny(one: PermitReturn) -> int:
    rows = one.rows.filter(withdrawn=False, values__permitLine="Goldsinny (Ctenolabrus rupestris)")
    return sum(row.values["numberTaken"] for row in rows)


def test_both_versions_bear_their_own_days_and_people(house: DemoHouse) -> None:
    told = [
        (
            one.version,
            one.frozen_at.astimezone(house.zone).date(),
            one.frozen_by.name,
            one.sendings.get().sent_on,
        )
        for one in PermitReturn.objects.order_by("version")
    ]
    assert told == [
        (1, date(2025, 11, 27), "Tamsin Corrigarth", date(2025, 11, 27)),
        (2, date(2026, 1, 9), "Tamsin Corrigarth", date(2026, 1, 9)),
    ]


def test_the_first_had_the_six_goldsinny_in_it_and_the_second_has_not(house: DemoHouse) -> None:
    """29 caught with those six, 23 by the permit table."""
    assert [_goldsinny(_version(1)), _goldsinny(_version(2))] == [29, 23]
    withdrawn = ReturnRow.objects.get(of_return=_version(2), withdrawn=True)
    assert (withdrawn.values["eventDate"], withdrawn.mark) == ("2025-11-02", "withdrawn")


def test_the_first_told_what_was_wrong_when_it_was_sent(house: DemoHouse) -> None:
    words = " ".join(_version(1).open_ends)
    assert "HISFB 2025/064 held that day and covers it" in words
    assert "Every row is of a day on which the permit held: not so." in words


def test_what_changed_after_the_first_is_told_with_who_and_when(house: DemoHouse) -> None:
    gone = [
        told for told in changed_since(_version(1), zone=house.zone).changes if told.change.what is What.GONE
    ]
    [told] = gone
    cause = told.causes[-1]
    assert cause.words.startswith("moved to HISFB 2025/064: moved to the permit valid on the day")
    assert (cause.by, cause.at.astimezone(house.zone).date()) == ("Tamsin Corrigarth", date(2026, 1, 9))


def test_names_are_those_of_the_day(house: DemoHouse) -> None:
    """The backbone taken up in January 2026 renamed some animals; what was sent keeps their names."""
    since = changed_since(_version(2), zone=house.zone)
    assert since.changes == []
    renamed = {row["new_name"]: row["old_name"] for row in fixtures.read_rows("renamed_2026.csv")}
    told = {
        (cell.new, cell.old)
        for one in since.names
        for cell in one.change.cells
        if cell.code == "scientificName"
    }
    assert told
    assert told <= set(renamed.items())
    assert {cause.words for one in since.names for cause in one.causes} == {
        "the backbone's release Demo backbone of the north-east Atlantic 2026-01-20 came into use"
    }


def test_what_stands_needs_no_look(house: DemoHouse) -> None:
    assert to_look_at(newest_returns(), zone=house.zone) == set()


def test_they_stand_as_they_were_frozen(house: DemoHouse) -> None:
    for one in PermitReturn.objects.all():
        assert stands_as_frozen(one)
        assert [len(read_document(file.document)) > 1000 for file in one.files.all()] == [True] * 3
