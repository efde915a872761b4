"""Returns: frozen as they were sent, amended, and compared with what is known later."""

import csv
import hashlib
from datetime import date, datetime, timedelta
from decimal import Decimal
from io import BytesIO, StringIO
from typing import Any

import openpyxl
import pypdf
import pytest
from django.db import DatabaseError, transaction

from inventory.book.models import Lot
from inventory.book.queries.documents import read_document
from inventory.book.rules.kinds import EventKind
from inventory.permits.actions.permits import VersionFacts, enter_permit
from inventory.permits.actions.return_templates import save_template
from inventory.permits.actions.returns import (
    ReturnRefused,
    freeze_return,
    nil_return,
    note_look,
)
from inventory.permits.actions.takes import correct_take, move_take
from inventory.permits.files.returns import write_return
from inventory.permits.models import PermitReturn, ReturnRow, Take
from inventory.permits.queries.return_changes import changed_since, newest_returns, to_look_at
from inventory.permits.queries.return_checks import findings
from inventory.permits.queries.return_statement import statement_of
from inventory.permits.queries.returns import (
    Asked,
    next_asked,
    read_draft,
    seen,
    stands_as_frozen,
    told_already,
)
from inventory.permits.rules.return_checks import Check

from ..factories import make_event
from .house import LINES, PermitHouse, a_take

DAY = date(2026, 10, 6)
ASKED = Asked(date(2026, 1, 1), date(2026, 9, 30), DAY)


def freeze(house: PermitHouse, asked: Asked = ASKED, **stated: Any) -> PermitReturn:
    facts: dict[str, Any] = {"explained": "as told by telephone", "now": house.now} | stated
    return freeze_return(
        permit=house.permit, asked=asked, write=write_return, by=house.officer, zone=house.zone, **facts
    )


def content(one: PermitReturn, form: str) -> bytes:
    return read_document(one.files.get(form=form).document)


def rows_of(one: PermitReturn) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(content(one, "csv").decode())))


def amend(house: PermitHouse, one: PermitReturn, **stated: Any) -> PermitReturn:
    asked = Asked(one.starts_on, one.ends_on, one.as_of, one.template, amends=one)
    return freeze(house, asked, **stated)


def correct(house: PermitHouse, take: Take, *, after: timedelta = timedelta(days=1), **stated: Any) -> None:
    entry = a_take(take.verbatim_identification, **stated)
    correct_take(
        take=take,
        entry=entry,
        why="written wrongly",
        by=house.officer,
        now=house.now + after,
        zone=house.zone,
    )


def test_a_return_keeps_who_when_files_and_their_fingerprints(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4, let_go=1, died=2))
    one = freeze(house)
    assert (one.serial, one.version, one.frozen_by, one.frozen_at) == (1, 1, house.officer, house.now)
    assert [file.form for file in one.files.all()] == ["csv", "xlsx", "pdf"]
    for file in one.files.all():
        assert hashlib.sha256(read_document(file.document)).hexdigest() == file.document.sha256
    assert stands_as_frozen(one)
    [row] = rows_of(one)
    assert (row["number taken"], row["kept"], row["date"]) == ("7", "4", "2026-09-01")
    book = openpyxl.load_workbook(BytesIO(content(one, "xlsx")))
    assert [cell.value for cell in book["Return"][1]] == list(row)
    told = {str(heading): words for heading, words in book["Head"].iter_rows(values_only=True)}
    assert told["fingerprint"] == one.fingerprint
    assert told["sum, animal"] == "7 taken: 1 let go alive, 2 died in the process, 4 kept"
    text = "".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(content(one, "pdf"))).pages)
    assert "Signature (The permit officer)" in text
    assert one.fingerprint in text.replace("\n", "")


def test_the_pdf_numbers_its_lines(house: PermitHouse) -> None:
    house.record(*(a_take("shore crab", let_go=1, remarks=f"crab {n}") for n in range(60)))
    reader = pypdf.PdfReader(BytesIO(content(freeze(house), "pdf")))
    text = "\n".join(page.extract_text() for page in reader.pages)
    assert len(reader.pages) > 1
    assert all(f"crab {n}" in text for n in range(60))
    assert {str(n) for n in range(1, 61)} <= set(text.split("\n"))


def test_a_sent_return_prints_the_same_a_year_later(house: PermitHouse) -> None:
    [take] = house.record(a_take("two-spotted goby", 4, let_go=1)).takes
    one = freeze(house)
    before = {file.form: content(one, file.form) for file in one.files.all()}
    correct(house, take, kept=3, let_go=2)
    taxon = house.taxa["Pomatoschistus flavescens"]
    taxon.scientific_name = "Novum nomen"
    taxon.save()
    again = PermitReturn.objects.get()
    assert {file.form: content(again, file.form) for file in again.files.all()} == before
    assert stands_as_frozen(again)


def test_what_was_frozen_can_be_changed_by_nobody(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    freeze(house)
    for write in (
        lambda: PermitReturn.objects.update(nil=True),
        lambda: ReturnRow.objects.update(mark="x"),
        lambda: ReturnRow.objects.all().delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            write()


def test_nothing_has_changed_since_until_something_is_entered(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    assert changed_since(one, zone=house.zone).changes == []
    assert to_look_at(newest_returns(), zone=house.zone) == set()
    house.record(a_take("shore crab", let_go=1), at=house.now + timedelta(days=1))
    [told] = changed_since(one, zone=house.zone).changes
    assert (told.change.words, told.causes[0].words, told.causes[0].by) == (
        *("new in this version", "entered"), house.aquarist.name,
    )  # fmt: skip
    assert to_look_at(newest_returns(), zone=house.zone) == {one.pk}


def test_a_correction_is_told_cell_by_cell_with_who_and_when(house: PermitHouse) -> None:
    [take] = house.record(a_take("two-spotted goby", 4, let_go=1)).takes
    one = freeze(house)
    correct(house, take, kept=3, let_go=2)
    [told] = changed_since(one, zone=house.zone).changes
    cells = {cell.code: (cell.old, cell.new) for cell in told.change.cells}
    assert cells["numberKept"] == (4, 3)
    assert cells["numberLetGo"] == (1, 2)
    cause = told.causes[0]
    assert (cause.words, cause.by, cause.page) == (
        *("corrected: written wrongly", house.officer.name), "trip",
    )  # fmt: skip
    assert cause.at == house.now + timedelta(days=1)


def test_a_death_entered_late_changes_what_was_sent_and_its_event_is_shown(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    lot = Lot.objects.get()
    make_event(
        EventKind.DIED,
        lot=lot,
        place=house.quarantine,
        happened="2026-10-01",
        entered_at=house.now + timedelta(days=2),
        now=house.now + timedelta(days=3),
    )
    [told] = changed_since(one, zone=house.zone).changes
    assert [cell.code for cell in told.change.cells] == ["disposition"]
    assert [cause.page for cause in told.causes] == ["event"]
    assert to_look_at(newest_returns(), zone=house.zone) == {one.pk}


def test_a_new_name_alone_asks_for_no_amendment(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    taxon = house.taxa["Pomatoschistus flavescens"]
    taxon.scientific_name = "Novum nomen"
    taxon.save()
    since = changed_since(one, zone=house.zone)
    assert since.changes == []
    [told] = since.names
    assert [(cell.old, cell.new) for cell in told.change.cells] == [
        ("Pomatoschistus flavescens", "Novum nomen")
    ]


def test_an_amended_return_numbers_on_and_marks_its_rows(house: PermitHouse) -> None:
    recorded = house.record(
        a_take("two-spotted goby", 4), a_take("shore crab", let_go=2), a_take("Urticina felina", 1)
    )
    one = freeze(house)
    goby, crab, _ = recorded.takes
    correct(house, goby, kept=3, let_go=1)
    other = another_permit(house)
    move_take(
        take=crab,
        to=other,
        why="that was the other permit",
        by=house.officer,
        now=house.now + timedelta(days=1),
        zone=house.zone,
    )
    two = amend(house, one, now=house.now + timedelta(days=2))
    assert (two.serial, two.version, two.amends) == (1, 2, one)
    rows = rows_of(two)
    marks = [row["amended in this return"] for row in rows]
    assert marks[0].startswith("changed: ")
    assert "kept: 3, before 4" in marks[0]
    assert marks[1:] == ["withdrawn", ""]
    assert (rows[1]["name as typed"], rows[1]["number taken"]) == ("shore crab", "0")
    assert "amends version 1 of 6 October 2026" in dict(two.head)["return"]
    read = pypdf.PdfReader(BytesIO(content(two, "pdf"))).pages
    text = " ".join("".join(page.extract_text() for page in read).split())
    assert "amended in this return: changed: " in text
    assert "amended in this return: withdrawn" in text
    # Said below the rows that were amended, under no heading of a column of its own.
    assert text.count("amended in this return") == 2
    assert changed_since(two, zone=house.zone).changes == []
    gone = [told for told in changed_since(one, zone=house.zone).changes if told.change.after is None]
    assert [told.causes[-1].words for told in gone] == ["moved to OTHER 2: that was the other permit"]
    with pytest.raises(ReturnRefused, match="amended already"):
        amend(house, one)


def another_permit(house: PermitHouse) -> Any:
    facts = VersionFacts(date(2026, 1, 1), date(2026, 12, 31), LINES)
    return enter_permit(
        number="OTHER 2",
        authority="BOARD",
        holder="Test Aquarium",
        facts=facts,
        by=house.officer,
        now=house.now,
    )


def test_a_nil_return_is_kept_like_any_other(house: PermitHouse) -> None:
    one = nil_return(
        permit=house.permit, write=write_return, by=house.officer, now=house.now, zone=house.zone
    )
    assert (one.nil, one.rows.count(), one.files.count()) == (True, 0, 3)
    assert "names after" not in dict(one.head), "where no name is told, none is told after which backbone"
    assert rows_of(one) == []
    text = pypdf.PdfReader(BytesIO(content(one, "pdf"))).pages[0].extract_text()
    assert "Nothing was taken" in text
    assert "Signature" in text
    house.record(a_take("two-spotted goby", 1), at=house.now + timedelta(days=1))
    assert len(changed_since(one, zone=house.zone).changes) == 1


def test_a_nil_return_is_refused_where_something_was_taken(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 1))
    with pytest.raises(ReturnRefused, match="1 take stands in these days"):
        nil_return(permit=house.permit, write=write_return, by=house.officer, now=house.now, zone=house.zone)


def test_the_same_days_are_frozen_once_and_then_amended(house: PermitHouse) -> None:
    """Two tabs, or the button of the browser that goes back: a second return 2 would tell each take twice."""
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    refused = r"return 1 tells of these days already \(version 1, frozen by .*make an amended return"
    with pytest.raises(ReturnRefused, match=refused):
        freeze(house, now=house.now + timedelta(minutes=1))
    amend(house, one, now=house.now + timedelta(minutes=2))
    with pytest.raises(ReturnRefused, match="version 2"):
        freeze(house, now=house.now + timedelta(minutes=3))
    form = save_template(
        authority=house.permit.authority,
        name="short",
        columns="eventDate = Day",
        by=house.officer,
        now=house.now,
    )
    with pytest.raises(ReturnRefused, match="version 2"):
        freeze(house, Asked(ASKED.starts_on, ASKED.ends_on, DAY, form))
    shared = told_already(house.permit, Asked(date(2026, 9, 30), date(2026, 12, 31), DAY))
    assert (shared.same, [one.version for one in shared.others]) == (None, [2])
    apart = told_already(house.permit, Asked(date(2026, 10, 1), date(2026, 12, 31), DAY))
    assert (apart.same, apart.others) == (None, [])


def nil(house: PermitHouse, now: datetime, asked: Asked | None = None) -> PermitReturn:
    return nil_return(
        permit=house.permit, write=write_return, by=house.officer, now=now, zone=house.zone, asked=asked
    )


def test_a_nil_return_says_nothing_of_days_that_are_still_to_come(house: PermitHouse) -> None:
    later = date(2027, 1, 1)
    with pytest.raises(ReturnRefused, match="begin on 2027-01-01: nothing can be said of them yet"):
        nil(house, house.now, Asked(later, later, later))
    to_come = Asked(ASKED.starts_on, date(2026, 12, 31), DAY)
    one = nil(house, house.now, to_come)
    assert one.explained == "Nothing was taken up to 2026-10-06; the days of this return end on 2026-12-31."
    assert (one.starts_on, one.ends_on, one.nil) == (to_come.starts_on, to_come.ends_on, True)
    assert nil(house, house.now, ASKED).explained == "Nothing was taken."
    with pytest.raises(ReturnRefused, match="tells of these days already"):
        nil(house, house.now, ASKED)


def test_what_is_missing_must_be_explained(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 1), latitude=None, longitude=None)
    with pytest.raises(ReturnRefused, match="say what the authority is to know"):
        freeze(house, explained=" ")
    one = freeze(house, explained="the boat's set was broken")
    assert any("coordinates" in words for words in one.open_ends)
    assert dict(one.head)["explained"] == "the boat's set was broken"


def test_what_is_frozen_is_what_was_looked_at(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 1))
    looked_at = seen(read_draft(house.permit, ASKED, zone=house.zone))
    house.record(a_take("shore crab", let_go=1))
    with pytest.raises(ReturnRefused, match="while you looked"):
        freeze(house, looked_at=looked_at)
    assert freeze(house, looked_at=seen(read_draft(house.permit, ASKED, zone=house.zone))).rows.count() == 2


def test_who_counts_the_animals_freezes_no_return_of_them(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    with pytest.raises(ReturnRefused, match="counting"):
        freeze(house, hidden=[house.quarantine.pk])


def test_a_template_chooses_orders_and_renames(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    form = save_template(
        authority=house.permit.authority, name="Form 7", by=house.officer, now=house.now,
        columns="numberKept = Retained\neventDate = Day of capture\nscientificName",
    )  # fmt: skip
    one = freeze(house, Asked(ASKED.starts_on, ASKED.ends_on, DAY, form))
    assert rows_of(one) == [
        {"Retained": "4", "Day of capture": "2026-09-01", "accepted name": "Pomatoschistus flavescens"}
    ]


def test_a_coarse_template_tells_no_place_and_says_so(house: PermitHouse) -> None:
    place: dict[str, Any] = {
        "locality": "under the pier",
        "latitude": Decimal("60.54321"),
        "longitude": Decimal("-4.56789"),
    }
    house.record(a_take("two-spotted goby", 4, remarks="third pile"), **place)
    form = save_template(
        authority=house.permit.authority, name="Public", by=house.officer, now=house.now,
        columns="eventDate\nlocality\ndecimalLatitude\ndecimalLongitude\noccurrenceRemarks",
        coarse_degrees=Decimal("0.1"),
    )  # fmt: skip
    one = freeze(house, Asked(ASKED.starts_on, ASKED.ends_on, DAY, form))
    [row] = rows_of(one)
    assert (row["latitude"], row["longitude"], row["place in words"]) == ("60.5", "-4.6", "")
    assert row["made less exact"].startswith("Coordinates rounded to 0.1 degree")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(content(one, "pdf"))).pages)
    cells = [
        str(c.value) for s in openpyxl.load_workbook(BytesIO(content(one, "xlsx"))) for r in s for c in r
    ]
    for told in (text, content(one, "csv").decode(), " ".join(cells)):
        assert "rounded to 0.1 degree" in told.replace("\n", " ")
        for secret in ("under the pier", "third pile", "60.54"):
            assert secret not in told
    assert one.rows.get().values["locality"] == "under the pier", "kept inside, to know what changes"


@pytest.mark.parametrize("text", ["=1+1", "+44 a number", "-wide", "@cell"])
def test_text_that_a_spreadsheet_would_run_stays_text(house: PermitHouse, text: str) -> None:
    form = save_template(
        authority=house.permit.authority, name="Form", by=house.officer, now=house.now,
        columns=f"locality = {text}\noccurrenceRemarks",
    )  # fmt: skip
    house.record(a_take("two-spotted goby", 4, remarks=text), locality=text)
    one = freeze(house, Asked(ASKED.starts_on, ASKED.ends_on, DAY, form))
    head, row = csv.reader(StringIO(content(one, "csv").decode()))
    assert head[0] == row[0] == row[1] == f"'{text}"
    sheet = openpyxl.load_workbook(BytesIO(content(one, "xlsx")))["Return"]
    assert [(cell.value, cell.data_type) for line in sheet for cell in line if cell.value == text] == [
        (text, "s")
    ] * 3


def test_the_same_statement_is_the_same_bytes(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4), a_take("shore crab", 2))
    draft = read_draft(house.permit, ASKED, zone=house.zone)
    statement = statement_of(draft, signer="Somebody", now=house.now)
    for form in ("csv", "xlsx", "pdf"):
        assert write_return(statement, form) == write_return(statement, form)


def test_a_look_that_finds_nothing_to_amend_settles_the_question(house: PermitHouse) -> None:
    [take] = house.record(a_take("two-spotted goby", 4)).takes
    one = freeze(house)
    correct(house, take, kept=4)
    assert to_look_at(newest_returns(), zone=house.zone) == {one.pk}
    note_look(of_return=one, words="the slip only", by=house.officer, now=house.now + timedelta(days=2))
    assert to_look_at(newest_returns(), zone=house.zone) == set()


def test_the_next_return_is_the_one_that_is_due(house: PermitHouse) -> None:
    asked = next_asked(house.permit, today=DAY)
    over = DAY - timedelta(days=1)
    assert (asked.starts_on, asked.ends_on, asked.as_of) == (date(2026, 1, 1), date(2026, 9, 30), over)
    house.record(a_take("two-spotted goby", 1), happened="2026-10-02")
    assert next_asked(house.permit, today=DAY).ends_on == date(2026, 10, 2), (
        "what came after the end is in it"
    )


def test_queries_do_not_grow_with_rows_nor_with_returns(
    house: PermitHouse, django_assert_max_num_queries: Any
) -> None:
    house.record(a_take("two-spotted goby", 1))
    one = freeze(house)
    house.record(a_take("two-spotted goby", 1), at=house.now + timedelta(days=1))

    def look() -> None:
        read_draft(house.permit, ASKED, zone=house.zone)
        changed_since(PermitReturn.objects.get(pk=one.pk), zone=house.zone)
        to_look_at(newest_returns(), zone=house.zone)

    with django_assert_max_num_queries(120) as few:
        look()
    for day in range(1, 5):
        house.record(
            a_take("two-spotted goby", 1), happened=f"2026-09-0{day}", at=house.now + timedelta(days=1)
        )
    other_days = Asked(date(2026, 2, 1), ASKED.ends_on, DAY)
    freeze(house, other_days, now=house.now + timedelta(days=3))
    with django_assert_max_num_queries(len(few)):
        look()


def _not_over(house: PermitHouse, asked: Asked) -> list[str]:
    draft = read_draft(house.permit, asked, zone=house.zone, known_at=house.now)
    found = next(one for one in findings(draft, today=DAY) if one.check is Check.NOT_ENDED)
    return [one.words for one in found.missing]


def test_a_day_that_is_not_over_is_told_before_a_return_is_frozen(house: PermitHouse) -> None:
    """Today can still bring a take, and a death of what was taken: it is sent so only with words about it."""
    house.record(a_take("two-spotted goby", 1))
    start, yesterday = date(2026, 1, 1), DAY - timedelta(days=1)
    assert _not_over(house, Asked(start, yesterday, yesterday)) == []
    [taken] = _not_over(house, Asked(start, DAY, yesterday))
    assert "more can be taken" in taken
    [fate] = _not_over(house, Asked(start, yesterday, DAY))
    assert "told at the end of 2026-10-06, today is 2026-10-06: more can come" in fate
    with pytest.raises(ReturnRefused, match="what is missing"):
        freeze(house, Asked(start, yesterday, DAY), explained="")
    assert _not_over(house, next_asked(house.permit, today=DAY)) == []
