"""``take`` from the command line, and the sheets of permits in ``load``."""

import csv
import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from inventory.book.actions.load import LoadReport, load
from inventory.book.models import Event, Lot
from inventory.book.readers import open_source
from inventory.permits.models import Case, Loan, Permit, Take, Trip

from .house import NUMBER, PermitHouse, a_take

pytestmark = pytest.mark.usefixtures("frozen_clock")
Rows = list[dict[str, Any]]


def _take(*words: str) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("take", *words, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_the_account_is_told_as_csv_as_json_and_as_a_table(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 9, died=2, let_go=1))
    out, err = _take("--permit", NUMBER, "--format", "csv")
    (first, *rest) = csv.DictReader(StringIO(out))
    numbers = ("limit", "caught", "let_go", "died", "kept", "counted", "used", "left", "over")
    assert [first[column] for column in numbers] == ["10", "12", "1", "2", "9", "11", "11", "-1", "1"]
    assert len(rest) == 5
    assert err == "Over its limit by 1: Two-spotted goby (Gobiusculus flavescens)\n"
    told = json.loads(_take("--permit", NUMBER, "--format", "json")[0])
    assert (told[0]["kept"], told[0]["names"]) == (9, "Pomatoschistus flavescens")
    assert "at the end of 2026-10-06" in _take("--permit", NUMBER)[0]


def test_the_account_can_be_asked_as_of_a_day(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 9))
    out, _ = _take("--permit", NUMBER, "--as-of", "2026-08-31", "--format", "csv")
    assert next(csv.DictReader(StringIO(out)))["kept"] == "0"


def test_a_permit_that_is_not_here_is_told_with_those_that_are(house: PermitHouse) -> None:
    with pytest.raises(CommandError, match="there is no permit 'P9'; the house has TEST 1") as refused:
        _take("--permit", "P9")
    assert refused.value.returncode == 2


# The sheets

PERMIT = {
    **{"number": "A 1", "authority": "BOARD", "holder": "Us", "valid_from": "2026-01-01"},
    **{"valid_until": "2026-12-31", "people": "Ines Marlow|Jan", "gear": "hand net|creel"},
}
LINES: Rows = [
    {"permit": "A 1", "words": "Crabs, any", "covers": "higher", "names": "class Malacostraca", "limit": 5},
]
TRIP = {
    **{"ref": "t1", "permit": "A 1", "happened": "2026-05-01", "people": "", "gear": "creel"},
    **{"entered_by": "Ines Marlow", "latitude": "60.5", "longitude": "-4.5"},
}
TAKE = {"ref": "t1/crab", "trip": "t1", "name": "Carcinus maenas", "caught": 4, "died": 1, "kept": 3}
EVENT = {
    **{
        "ref": "e1",
        "kind": "taken",
        "happened": "2026-05-01",
        "entered_by": "Ines Marlow",
        "accession": "C1",
    },
    **{"place": "Q2", "unknown": 3, "permit": "A 1"},
}
LOAN = {"reference": "L", "direction": "in", "party": "x", "starts_on": "2026-01-01"}
LOT = {"accession": "C1", "name": "Carcinus maenas", "kind": "group"}


def _load(folder: Path, house: PermitHouse, **sheets: Rows) -> LoadReport:
    folder.mkdir(exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    for name, rows in sheets.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(dict.fromkeys(key for row in rows for key in row)), restval="")
            writer.writeheader()
            writer.writerows(rows)
    return load(open_source(folder), now=house.now, zone=house.zone, by="Ines Marlow")


def _whole(**other: Rows) -> dict[str, Rows]:
    sheets: dict[str, Rows] = {
        "lots": [LOT],
        "events": [EVENT],
        "permits": [PERMIT],
        "permit_lines": LINES,
        "trips": [TRIP],
        "takes": [TAKE | {"events": "e1"}],
    }
    return sheets | other


@pytest.fixture
def people(house: PermitHouse) -> PermitHouse:
    """The house with the two whom the sheets name."""
    from .. import factories

    for name in ("Ines Marlow", "Jan"):
        factories.make_person(name)
    return house


def test_the_sheets_are_loaded_with_their_events_and_a_second_load_changes_nothing(
    people: PermitHouse, tmp_path: Path
) -> None:
    for new in (1, 0):
        report = _load(tmp_path / "house", people, **_whole())
        assert [str(problem) for problem in report.problems] == []
        assert {report.sheets[name].new for name in ("permits", "permit_lines", "trips", "takes")} == {new}
    take = Take.objects.get()
    assert (take.line_number, take.lot and take.lot.accession, take.died) == (1, "C1", 1)
    assert Event.objects.filter(kind="taken").count() == 1


def test_a_take_that_names_a_place_brings_its_animals_in(people: PermitHouse, tmp_path: Path) -> None:
    sheets = _whole(takes=[TAKE | {"place": "Q2"}])
    del sheets["events"], sheets["lots"]
    assert _load(tmp_path / "house", people, **sheets).loaded
    assert Lot.objects.get().held == 3
    assert _load(tmp_path / "house", people, **sheets).loaded
    assert Lot.objects.get().held == 3


@pytest.mark.parametrize(
    ("sheet", "wrong", "words"),
    [
        ("takes", TAKE | {"events": "e9"}, "sheet takes, row 2, column events: no such event is in the book"),
        ("takes", TAKE | {"events": "e1", "kept": 2, "died": 2}, "brought 3 Carcinus maenas; the take says"),
        ("takes", TAKE | {"events": "e1", "caught": 9}, "9 caught, but 0 let go, 1 died and 3 kept are 4"),
        ("takes", TAKE, "sheet takes, row 2, column place: 3 were kept; say which place they went to"),
        ("takes", TAKE | {"trip": "t9"}, "column trip: there is no trip 't9' in the sheet trips"),
        ("takes", TAKE | {"caught": "four"}, "column caught: 'four' is not a whole number"),
        ("trips", TRIP | {"permit": "B 2"}, "sheet trips, row 2, column permit: there is no permit 'B 2'"),
        ("trips", TRIP | {"people": "Nobody"}, "column people: nobody here is called 'Nobody'"),
        ("trips", TRIP | {"latitude": "60°N"}, "column latitude: '60°N' is not in decimal degrees"),
        ("permits", PERMIT | {"valid_until": "2025-01-01"}, "column valid_until: it ends on 2025-01-01"),
        ("permits", PERMIT | {"seasons": "spring"}, "column seasons: 'spring' is no season"),
        ("permits", PERMIT | {"colour": "blue"}, "unknown column 'colour'"),
        ("permit_lines", LINES[0] | {"per": "week"}, "permit_lines, row 2, column per: 'week' is none of"),
        ("permit_lines", LINES[0] | {"covers": "some"}, "permit_lines, row 2, column covers: 'some' is none"),
        ("permit_lines", LINES[0] | {"sex": "m"}, "permit_lines, row 2, column sex: 'm' is none of male"),
        ("permits", PERMIT | {"stock_statement": "monthly"}, "stock_statement: 'monthly' is none of quarter"),
        ("takes", TAKE | {"place": "Q2", "sex": "m"}, "takes, row 2, column sex: 'm' is none of male"),
        ("permit_lines", LINES[0] | {"permit": "B 2"}, "there is no version 1 of the permit 'B 2'"),
        ("loans", LOAN | {"direction": "up"}, "'up' is none of out, in"),
        ("loans", LOAN | {"lots": "Z"}, "there is no lot Z"),
    ],
)  # fmt: skip
def test_a_row_that_is_wrong_is_told_with_its_place_and_nothing_is_loaded(
    people: PermitHouse, tmp_path: Path, sheet: str, wrong: dict[str, Any], words: str
) -> None:
    report = _load(tmp_path / "house", people, **_whole(**{sheet: [wrong]}))
    told = "\n".join(str(problem) for problem in report.problems)
    assert words in told
    assert not Permit.objects.filter(number="A 1").exists()
    assert not Event.objects.exists()
    assert not Trip.objects.exists()
    assert not Loan.objects.exists()


def test_swapped_coordinates_and_a_late_trip_are_loaded_and_become_cases(
    people: PermitHouse, tmp_path: Path
) -> None:
    swapped = TRIP | {"latitude": "-4.5", "longitude": "60.5", "happened": "2026-05-01"}
    area = PERMIT | {"area": "-5 60|-4 60|-4 61|-5 61", "valid_until": "2026-04-30", "people": ""}
    report = _load(tmp_path / "house", people, **_whole(permits=[area], trips=[swapped]))
    assert report.loaded
    assert sorted(Case.objects.values_list("kind", flat=True)) == ["coordinates", "expired"]


def test_the_same_name_with_other_numbers_is_told_and_changes_nothing(
    people: PermitHouse, tmp_path: Path
) -> None:
    assert _load(tmp_path / "house", people, **_whole()).loaded
    other = [TAKE | {"events": "e1", "caught": 5, "let_go": 1}]
    report = _load(tmp_path / "house", people, **_whole(takes=other))
    assert "the take 't1/crab' is here and says otherwise" in str(report.problems[0])
    more = [*LINES, {"permit": "A 1", "words": "Crabs, more", "limit": 9}]
    report = _load(tmp_path / "house", people, **_whole(permit_lines=more))
    assert "the schedule of version 1 of A 1 is here and says otherwise" in str(report.problems[0])


def test_a_later_version_and_a_correction_are_rows_of_their_own(people: PermitHouse, tmp_path: Path) -> None:
    second = PERMIT | {"version": 2, "change": "amendment", "amended_on": "2026-06-01"}
    lines = [*LINES, LINES[0] | {"version": 2, "line": 1, "limit": 50}]
    rows = [
        TAKE | {"events": "e1"},
        TAKE
        | {"ref": "t1/again", "replaces": "t1/crab", "caught": 5, "let_go": 1, "events": "e1"}
        | {"why": "one let go was forgotten"},
    ]
    sheets = _whole(permits=[PERMIT, second], permit_lines=lines, takes=rows)
    for _ in range(2):
        report = _load(tmp_path / "house", people, **sheets)
        assert [str(problem) for problem in report.problems] == []
    assert [version.lines.get().limit for version in Permit.objects.get(number="A 1").versions.all()] == [
        5,
        50,
    ]
    assert [(take.caught, take.why) for take in Take.objects.order_by("id")] == [
        (4, ""),
        (5, "one let go was forgotten"),
    ]
