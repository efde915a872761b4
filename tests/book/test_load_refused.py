"""What ``load`` refuses: each with sheet, row, column and what was expected, and nothing is loaded."""

from pathlib import Path

import pytest

from inventory.book.actions.load import posting
from inventory.book.models import Event
from tests.book.load_files import HOUSE, Rows, event, run_load, summary_of, write_folder, write_workbook
from tests.book.test_load import everything, house_with, problems_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]

ARRIVED = event("in", "received", "2026-01-02", accession="G1", place="T1", unknown=9)
ARRIVED_ALONE = event("in-1", "received", "2026-01-02", accession="I1", place="Q1", unknown=1)


@pytest.mark.parametrize(
    ("row", "where", "told"),
    [
        ({"place": "T9"}, "column place", "there is no place 'T9'"),
        ({"accession": "G9"}, "column accession", "there is no lot 'G9'"),
        ({"accession": ""}, "column accession", "an accession number is needed"),
        ({"place": ""}, "column place", "a place code is needed"),
        ({"unknown": -1}, "column unknown", "-1 is negative; expected a whole number from 0"),
        ({"unknown": 2.5}, "column unknown", "'2.5' is not a whole number; expected a whole number from 0"),
        ({"unknown": "1,000"}, "column unknown", "'1,000' is not a whole number"),
        ({"unknown": ""}, "column males, females, hermaphrodites, unknown", "an event of nothing"),
        (
            {"accession": "I1", "place": "Q1", "unknown": 2},
            "column males, females, hermaphrodites, unknown",
            "I1 is an individual: its number is 1, not 2",
        ),
        ({"happened": "2026-10-07"}, "column happened", "2026-10-07 lies in the future"),
        ({"happened": "3/10/2026"}, "column happened", "can be read as 3 October or 10 March"),
        ({"happened": ""}, "column happened", "empty; a value is needed here"),
        ({"kind": ""}, "column kind", "empty; a value is needed here"),
        (
            {"kind": "dyed"},
            "column kind",
            "'dyed' is no kind of event (did you mean 'died'?); expected opening,",
        ),
        ({"ref": ""}, "column ref", "empty; a value is needed here"),
        ({"kind": "moved", "to_place": ""}, "column to_place", "say where to"),
        ({"kind": "moved", "to_place": "T9"}, "column to_place", "there is no place 'T9'"),
        ({"kind": "moved", "place": "Q1", "to_place": "T1"}, "column place", "G1 was never held in Q1"),
        ({"kind": "regrouped"}, "column to_sex", "says to_sex, to_stage or to_accession"),
        ({"kind": "regrouped", "to_sex": "boy"}, "column to_sex", "'boy' is not one of male, female"),
        ({"entered": "2025-12-31"}, "column entered", "entered before it happened"),
        ({"stage": "x" * 21}, "column stage", "is 21 characters long; expected at most 20"),
        ({"kind": "reversed", "reverses": "none"}, "column reverses", "no animals of its own"),
    ],
)
def test_a_row_that_is_wrong_is_refused_with_its_place(
    tmp_path: Path, row: dict[str, object], where: str, told: str
) -> None:
    bad = {**event("x", "died", "2026-02-01", accession="G1", place="T1", unknown=1), **row}
    (problem,) = problems_of(tmp_path / "house", house_with(ARRIVED, ARRIVED_ALONE, bad))
    assert problem.startswith(f"house: sheet events, row 4, {where}: ")
    assert told in problem


def test_two_rows_with_one_ref_that_disagree_are_refused_naming_both(tmp_path: Path) -> None:
    bad = {**ARRIVED, "happened": "2026-01-03", "party": "A dealer"}
    assert problems_of(tmp_path / "house", house_with(ARRIVED, ARRIVED_ALONE, bad)) == [
        "house: sheet events, row 4, column happened: the event 'in' has 2026-01-03 here and 2026-01-02 in "
        "row 2; expected the same in all rows with one ref, or another ref",
        "house: sheet events, row 4, column party: the event 'in' has A dealer here and nothing in "
        "row 2; expected the same in all rows with one ref, or another ref",
    ]


def test_a_ref_that_stands_for_another_event_of_the_book_is_refused(tmp_path: Path) -> None:
    summary_of(write_folder(tmp_path / "first", house_with(ARRIVED)))
    (problem,) = problems_of(tmp_path / "second", {"events": [{**ARRIVED, "unknown": 8}]})
    assert problem.startswith("second: sheet events, row 2, column ref: 'in' is in use for another event")


def test_all_problems_are_told_at_once(tmp_path: Path) -> None:
    sheets: dict[str, Rows] = {
        "places": [
            *HOUSE["places"],
            {"code": "P1", "name": "Pond", "kind": "pond"},
            {"code": "P2", "name": "Small pond", "kind": "tank", "parent": "P1"},
        ],
        "taxa": [{"name": "Carcinus maenas", "count_class": "E", "can_divide": "perhaps"}],
        "lots": [*HOUSE["lots"], {"accession": "G2", "name": "", "kind": "herd"}],
        "events": [
            ARRIVED,
            event("a", "died", "2026-02-30", accession="G9", place="T9", males=-1, females="2.5"),
            event("b", "died", "2026-10-09", accession="G1", place="T1", unknown=1),
            event("c", "moved", "2026-02-01", accession="I1", place="Q1", to_place="T1", unknown=1),
        ],
        "counts": [{"sheet": 1}],
        "fish": [{"name": "x"}],
    }
    problems = problems_of(tmp_path / "house", sheets)
    assert sorted(problem.split(": ")[1] for problem in problems) == [
        "sheet counts",
        "sheet events, row 3, column accession",
        "sheet events, row 3, column females",
        "sheet events, row 3, column happened",
        "sheet events, row 3, column males",
        "sheet events, row 3, column place",
        "sheet events, row 4, column happened",
        "sheet events, row 5, column place",
        "sheet fish",
        "sheet lots, row 4, column kind",
        "sheet lots, row 4, column name",
        "sheet places, row 5, column kind",
        "sheet taxa, row 2, column can_divide",
        "sheet taxa, row 2, column count_class",
    ]


def test_sheets_that_come_by_another_door_are_refused_with_that_door(tmp_path: Path) -> None:
    assert problems_of(tmp_path / "house", {"counts": [{"x": 1}]}) == [
        "house: sheet counts: it is not loaded here: counts are taken with `census take`",
    ]


def test_what_may_only_follow_from_another_refusal_is_said_to(tmp_path: Path) -> None:
    """The move is refused because the arrival was; who corrects the arrival need not look for more."""
    arrival = {**ARRIVED_ALONE, "place": "Q9"}
    move = event("m", "moved", "2026-01-05", accession="I1", place="Q1", to_place="T1", unknown=1)
    first, second = problems_of(tmp_path / "house", house_with(arrival, move))
    assert first.startswith("house: sheet events, row 2, column place: there is no place 'Q9'")
    assert second.startswith("house: sheet events, row 3")
    assert second.endswith("(perhaps only because of sheet events, row 2)")


def test_a_long_list_of_problems_is_cut_and_counted(tmp_path: Path) -> None:
    rows = [event(f"r{n}", "died", "whenever", accession="G1", place="T1") for n in range(250)]
    problems = problems_of(tmp_path / "house", house_with(*rows))
    assert len(problems) == 201
    assert problems[-1] == "... and 50 more"


def test_a_workbook_s_formula_without_a_result_is_told_with_sheet_row_and_cell(tmp_path: Path) -> None:
    rows = [ARRIVED, {**ARRIVED, "ref": "f", "unknown": "=1+1"}]
    code, _, err = run_load(write_workbook(tmp_path / "house.xlsx", house_with(*rows)))
    assert code == 1
    assert err.startswith(
        "house.xlsx: sheet events, row 3, column unknown: the formula in cell F3 was saved without its result"
    )
    assert not Event.objects.exists()


def test_a_csv_file_that_is_not_utf_8_is_told_with_its_line(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "house", house_with(ARRIVED))
    with (folder / "events.csv").open("ab") as file:
        file.write(b"x,died,2026-02-01,G1,T1,\xff\n")
    before = everything()
    code, _, err = run_load(folder)
    assert (code, everything()) == (1, before)
    assert err.startswith("house: sheet events, line 3: the byte 0xff")


def test_a_failure_at_the_very_end_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("the power went")

    before = everything()
    monkeypatch.setattr(posting, "post_events", fails)
    with pytest.raises(RuntimeError, match="the power went"):
        run_load(write_folder(tmp_path, house_with(ARRIVED)))
    assert everything() == before
