"""``load``: a house's spreadsheets come into the book once, whole, or not at all."""

from datetime import date
from pathlib import Path

import pytest
from django.core.management.base import CommandError

from inventory.book.models import Account, Cell, Event, Flow, Lot, Place
from inventory.book.rules.drafts import identifier_of
from inventory.book.rules.kinds import EventKind
from inventory.names.models import CheckState, NameCheck, Taxon
from inventory.people.models import Person
from tests.book.load_files import (
    EXAMPLE,
    HOUSE,
    Rows,
    event,
    read_folder,
    run_load,
    summary_of,
    write_folder,
    write_workbook,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def held() -> dict[tuple[str, str, str], int]:
    """Animals by lot, place and sex, as the book has them."""
    cells = Cell.objects.filter(inside=True).exclude(balance=0)
    return {
        (accession, place, sex): balance
        for accession, place, sex, balance in cells.values_list(
            "lot__accession", "account__place__code", "sex", "balance"
        )
    }


def everything() -> list[object]:
    """All that a load can write, as it stands."""
    return [
        list(model.objects.order_by("pk").values_list())
        for model in (Place, Account, Taxon, NameCheck, Lot, Cell, Event, Flow, Person)
    ]


def problems_of(folder: Path, sheets: dict[str, Rows]) -> list[str]:
    """Loads, and returns what was wrong, one line for each; nothing may have been loaded."""
    before = everything()
    code, out, err = run_load(write_folder(folder, sheets))
    assert code == 1, out
    assert out == ""
    assert everything() == before
    *problems, last = err.strip().split("\n")
    assert last.endswith("Nothing was loaded.")
    return problems


def house_with(*events: dict[str, object]) -> dict[str, Rows]:
    return {**HOUSE, "events": events}


# What is loaded


def test_the_example_is_loaded() -> None:
    assert summary_of(EXAMPLE) == {
        "places": {"rows": 4, "new": 4, "changed": 0, "already_there": 0},
        "taxa": {"rows": 2, "new": 2, "changed": 0, "already_there": 0},
        "lots": {"rows": 2, "new": 2, "changed": 0, "already_there": 0},
        "events": {"rows": 6, "new": 6, "changed": 0, "already_there": 0},
    }
    assert held() == {
        ("2024-001", "X1-T1", "male"): 3,
        ("2024-001", "X1-T1", "female"): 6,
        ("2024-001", "X1-T1", "unknown"): 19,
        ("2025-014", "X1-T1", "female"): 1,
    }
    tank = Place.objects.get(code="X1-T1")
    assert (tank.parent and tank.parent.code, tank.water, tank.account.pk > 0) == ("X1", "open", True)
    lot = Lot.objects.get(accession="2025-014")
    assert (lot.house_name, lot.owner, lot.verbatim_identification) == (
        "Invented Ines",
        "",
        "Labrus bergylta",
    )
    assert lot.taxon.can_change_sex is True


def test_an_event_keeps_when_it_happened_when_it_was_entered_by_whom_and_its_file() -> None:
    summary_of(EXAMPLE)
    death = Event.objects.get(identifier=identifier_of("dead-1"))
    assert death.happened == "2025-05-06/2025-05-08"
    assert f"{death.entered_at:%Y-%m-%d %H:%M}" == "2025-05-08 08:00"  # 09:00 summer time of the house
    assert (death.entered_by.name, death.entered_by.user) == ("A. Keeper", None)
    assert death.evidence == "example, sheet events, row 5"
    assert death.cause == "found in the morning"
    stock = Event.objects.get(identifier=identifier_of("stock-1"))
    assert (stock.entered_at, stock.note) == (stock.recorded_at, "first book")


def test_the_same_rows_as_a_workbook_give_the_same_book(tmp_path: Path) -> None:
    typed = {
        sheet: [{column: _as_a_spreadsheet_has_it(value) for column, value in row.items()} for row in rows]
        for sheet, rows in read_folder(EXAMPLE).items()
    }
    workbook = write_workbook(tmp_path / "house.xlsx", typed)
    from_workbook = summary_of(workbook)
    held_from_workbook = held()
    # Had any event come out different, its ref would be refused as in use for another.
    again = summary_of(EXAMPLE)
    assert {sheet: row["rows"] for sheet, row in again.items()} == {
        sheet: row["new"] for sheet, row in from_workbook.items()
    }
    assert all(row["already_there"] == row["rows"] for row in again.values())
    assert held() == held_from_workbook


def _as_a_spreadsheet_has_it(text: str) -> object:
    """Numbers as numbers and days as dates, the rest as text, an empty cell as nothing."""
    if text.isdigit():
        return float(text)
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text or None


def test_a_second_load_changes_nothing(tmp_path: Path) -> None:
    summary_of(EXAMPLE)
    before = everything()
    again = summary_of(EXAMPLE)
    assert all(row["new"] == row["changed"] == 0 for row in again.values())
    assert [row["already_there"] for row in again.values()] == [4, 2, 2, 6]
    assert everything() == before


def test_a_second_load_by_another_person_from_a_copy_changes_nothing(tmp_path: Path) -> None:
    rows = [event("a", "received", accession="G1", place="T1", males=2)]
    summary_of(write_folder(tmp_path / "first", house_with(*rows)), "--by", "Ann Invented")
    before = everything()
    again = summary_of(write_workbook(tmp_path / "copy.xlsx", house_with(*rows)), "--by", "Bob Invented")
    assert again["events"] == {"rows": 1, "new": 0, "changed": 0, "already_there": 1}
    assert everything() == before
    assert Event.objects.get().entered_by.name == "Ann Invented"


def test_rows_added_to_a_loaded_file_are_all_that_is_new(tmp_path: Path) -> None:
    first = event("a", "received", accession="G1", place="T1", males=2)
    summary_of(write_folder(tmp_path, house_with(first)))
    second = event("b", "died", "2026-01-05", accession="G1", place="T1", males=1)
    assert summary_of(write_folder(tmp_path, house_with(first, second)))["events"] == {
        "rows": 2,
        "new": 1,
        "changed": 0,
        "already_there": 1,
    }
    assert held() == {("G1", "T1", "male"): 1}


def test_a_dry_run_says_what_would_change_and_changes_nothing(tmp_path: Path) -> None:
    summary_of(write_folder(tmp_path, HOUSE))
    before = everything()
    changed: dict[str, Rows] = {
        "places": [
            {"code": "T1", "name": "Tank one", "kind": "tank", "parent": "E1"},
            {"code": "E1", "name": "Exhibit 1", "kind": "exhibit", "parent": ""},
        ],
        "lots": [{"accession": "G1", "name": "Carcinus maenas", "kind": "group", "owner": "A lender"}],
        "events": [event("a", "received", accession="G1", place="E1", unknown=5, entered_by="A. New")],
    }
    folder = write_folder(tmp_path / "second", changed)
    code, out, err = run_load(folder, "--dry-run", "--format", "csv")
    assert (code, everything()) == (0, before)
    assert out.splitlines() == [
        "sheet,rows,new,changed,already_there",
        *("places,2,1,1,0", "lots,1,0,1,0", "events,1,1,0,0", "taxa,0,0,0,1"),
    ]
    assert "places T1: name Tank 1 -> Tank one" in err
    assert "places T1: parent  -> E1" in err
    assert "lots G1: owner  -> A lender" in err
    assert "people A. New: new, without a sign-in" in err
    assert err.endswith("Dry run: nothing was loaded.\n")
    assert run_load(folder)[0] == 0
    assert Place.objects.get(code="T1").name == "Tank one"


def test_a_name_that_the_backbone_does_not_know_is_loaded_and_put_up_for_review(tmp_path: Path) -> None:
    lots = [{"accession": "G1", "name": "Nemo nescius", "kind": "group"}]
    code, _, err = run_load(write_folder(tmp_path, {"lots": lots}))
    assert (code, err) == (0, "1 name put among the names to review\n")
    assert Lot.objects.get().taxon.scientific_name == "Nemo nescius"
    assert NameCheck.objects.get().state == CheckState.TO_REVIEW


def test_rows_with_one_ref_are_one_event(tmp_path: Path) -> None:
    rows = [
        event("a", "received", accession="G1", place="T1", males=2, party="A dealer"),
        event("a", "received", accession="I1", place="Q1", females=1, party="A dealer"),
    ]
    assert summary_of(write_folder(tmp_path, house_with(*rows)))["events"]["new"] == 1
    assert Event.objects.get().flows.count() == 2


def test_sheets_and_rows_may_stand_in_any_order(tmp_path: Path) -> None:
    """A move above the arrival it needs, and the sheet events before the sheets it names."""
    events = [
        event("c", "died", "2026-01-04", accession="I1", place="T1", unknown=1),
        event("b", "moved", "2026-01-03", accession="I1", place="Q1", to_place="T1", unknown=1),
        event("a", "received", "2026-01-03", accession="I1", place="Q1", males=1),
    ]
    sheets: dict[str, Rows] = {"events": events, "lots": HOUSE["lots"], "places": HOUSE["places"][::-1]}
    assert summary_of(write_workbook(tmp_path / "house.xlsx", sheets))["events"]["new"] == 3
    assert held() == {}
    assert list(Event.objects.order_by("pk").values_list("ref", flat=True)) == ["a", "b", "c"]


def test_a_reversal_takes_back_at_once_what_the_file_says_was_wrong(tmp_path: Path) -> None:
    """The animal moves on after the day of its supposed death, which was taken back later still."""
    events = [
        event("a", "received", "2026-01-02", accession="I1", place="Q1", males=1),
        event("b", "died", "2026-01-03", accession="I1", place="Q1", males=1),
        event("c", "moved", "2026-01-05", accession="I1", place="Q1", to_place="T1", males=1),
        event("d", "reversed", "2026-01-09", reverses="b", reason="another animal"),
    ]
    summary_of(write_folder(tmp_path, house_with(*events)))
    assert held() == {("I1", "T1", "male"): 1}


def test_a_reversal_of_an_event_loaded_earlier_comes_first(tmp_path: Path) -> None:
    first = [
        event("a", "received", "2026-01-02", accession="I1", place="Q1", males=1),
        event("b", "died", "2026-01-03", accession="I1", place="Q1", males=1),
    ]
    summary_of(write_folder(tmp_path / "first", house_with(*first)))
    second = [
        event("c", "moved", "2026-01-05", accession="I1", place="Q1", to_place="T1", males=1),
        event("d", "reversed", "2026-01-09", reverses="b"),
    ]
    summary_of(write_folder(tmp_path / "second", {"events": second}))
    assert held() == {("I1", "T1", "male"): 1}


def test_dates_as_people_type_them_are_understood(tmp_path: Path) -> None:
    rows = [
        event(f"r{n}", "received", happened, accession="G1", place="T1", unknown=1)
        for n, happened in enumerate(("3 Feb 2026", "25/2/2026", "2026-03-01 14:00", "2026-03-01/2026-03-04"))
    ]
    summary_of(write_folder(tmp_path, house_with(*rows)))
    assert list(Event.objects.order_by("ref").values_list("happened", flat=True)) == [
        *("2026-02-03", "2026-02-25", "2026-03-01T14:00", "2026-03-01/2026-03-04"),
    ]


def test_a_loan_goes_to_a_place_held_by_others_and_comes_back(tmp_path: Path) -> None:
    events = [
        event("a", "opening", accession="G1", place="T1", unknown=9),
        event("b", "loan_out", "2026-02-01", accession="G1", place="T1", to_place="LENT", unknown=4),
        event("c", "back_from_loan", "2026-03-01", accession="G1", place="T1", unknown=1),
    ]
    summary_of(write_folder(tmp_path, house_with(*events)))
    assert held() == {("G1", "T1", "unknown"): 6, ("G1", "LENT", "unknown"): 3}


def test_every_kind_of_event_can_be_loaded(tmp_path: Path) -> None:
    plain = dict(accession="G1", place="T1", unknown=1)  # noqa: C408  (read as columns)
    more: dict[str, dict[str, object]] = {
        "moved": {"to_place": "Q1"},
        "loan_out": {"to_place": "LENT"},
        "regrouped": {"to_sex": "male"},
    }
    later = ("opening", "reversed", "back_from_loan")
    order = ["opening", *(kind for kind in EventKind if kind not in later)]
    order.insert(order.index("loan_out") + 1, "back_from_loan")
    events = [
        event(kind, kind, f"2026-02-{day:02}", **{**plain, **more.get(kind, {})})
        for day, kind in enumerate(order, start=1)
    ]
    events[0]["unknown"] = 50
    events.append(event("reversed", "reversed", "2026-03-01", reverses="died"))
    summary_of(write_folder(tmp_path, house_with(*events)))
    assert set(Event.objects.values_list("kind", flat=True)) == {kind.value for kind in EventKind}


def test_a_group_may_go_below_zero_and_is_listed(tmp_path: Path) -> None:
    """The birth slip will come: story 30, told of balances below zero."""
    rows = [
        event("a", "received", accession="G1", place="T1", unknown=1),
        event("b", "died", "2026-01-03", accession="G1", place="T1", unknown=3),
    ]
    summary_of(write_folder(tmp_path, house_with(*rows)))
    assert held() == {("G1", "T1", "unknown"): -2}


# The command


def test_a_path_that_is_not_there_is_bad_usage(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="there is no file or folder") as refused:
        run_load(tmp_path / "nowhere.xlsx")
    assert refused.value.returncode == 2


def test_a_file_that_is_no_workbook_is_a_fault_of_the_data(tmp_path: Path) -> None:
    path = tmp_path / "house.xlsx"
    path.write_bytes(b"ref,kind")
    code, out, err = run_load(path)
    assert (code, out) == (1, "")
    assert err.splitlines() == [
        "house.xlsx: not a workbook; expected an .xlsx file, or a folder of .csv files",
        "Nothing was loaded.",
    ]


def test_the_summary_is_a_table_for_people() -> None:
    _, out, _ = run_load(EXAMPLE)
    assert "already there" in out
    assert "│ events │    6 │   6 │" in out
