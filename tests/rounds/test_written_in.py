"""What was written in, and what the registrar finds it to be."""

from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from census.rounds.actions.approving import approve_asked, refuse_asked
from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.mailing import send_by_mail
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import hand_in
from census.rounds.actions.written_in import Found, ask_write_in, find_write_in
from census.rounds.models import ApprovalAsked, Census, Line, Notice, NoticePost, Sheet, WriteInFinding
from census.rounds.queries.reading import Row, read_census
from census.rounds.rules.words import LineKind, LineState
from inventory.book.models import Lot
from inventory.book.rules.found_as import FoundAs
from inventory.names.models import Taxon
from inventory.people.models import Person
from inventory.tankside.actions.post import send_due, waiting
from tests import factories

from .house import COUNTED, HELD, NOW, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db


def written(
    house: TestHouse, name: str, n: int, *, fewer: dict[str, int] | None = None
) -> tuple[Census, Line]:
    """A compared census with one animal written in on the sheet of K1."""
    census = house.opened_and_issued()
    house.count(census, {**HELD, **(fewer or {})})
    sheet = census.sheets.get(place=house.places["K1"])
    entry = Entry(line=0, written_name=name, counted_at=COUNTED, counter=house.first, value=n)
    take_counts(sheet=sheet, entries=[entry], by=house.first, now=COUNTED)
    for one in census.sheets.all():
        hand_in(sheet=Sheet.objects.get(pk=one.pk), by=house.first, now=at("2026-10-01T09:00"))
    compare_counts(census=census, by=house.registrar, now=at("2026-10-01T10:00"))
    return census, Line.objects.get(kind=LineKind.WRITE_IN)


def find(house: TestHouse, line: Line, found: Found, **names: Person) -> WriteInFinding:
    return find_write_in(line=line, found=found, by=house.registrar, now=NOW, zone=ZONE, **names)


def row_of(census: Census, line: Line) -> Row:
    return next(row for row in read_census(census) if row.line.pk == line.pk)


def star() -> Taxon:
    return factories.make_taxon("Asterina gibbosa", count_class="B")


def test_a_write_in_changes_nothing_until_the_registrar_decides(house: TestHouse) -> None:
    census, line = written(house, "cushion star", 3)
    assert row_of(census, line).needs_settling
    assert not Lot.objects.filter(taxon__scientific_name="Asterina gibbosa").exists()


@pytest.mark.parametrize(("found_as", "kind"), [(FoundAs.SETTLED, "settled"), (FoundAs.CAME_WITH, "found")])
def test_what_came_by_itself_joins_the_stock_at_the_count_moment(
    house: TestHouse, found_as: FoundAs, kind: str
) -> None:
    census, line = written(house, "cushion star", 3)
    finding = find(house, line, Found(found_as, taxon=star()))
    assert finding.event is not None
    assert finding.lot is not None
    finding.lot.refresh_from_db()
    assert (finding.event.kind, finding.lot.held) == (kind, 3)
    assert finding.event.effective_at == COUNTED
    row = row_of(census, line)
    assert (row.state, row.name) == (LineState.SETTLED, "Asterina gibbosa")
    assert row.latest is not None
    assert (row.latest.book, row.latest.count) == (3, 3)


def test_many_that_came_need_the_curator_like_any_adjustment(house: TestHouse) -> None:
    _, line = written(house, "cushion star", 30)
    found = Found(FoundAs.SETTLED, taxon=star())
    with pytest.raises(CensusRefused, match="curator's approval is needed: 30 is above"):
        find(house, line, found)
    assert not Lot.objects.filter(taxon__scientific_name="Asterina gibbosa").exists()
    assert find(house, line, found, approved_by=house.curator).event is not None


def test_many_that_came_may_wait_for_the_curator_and_join_when_approved(
    house: TestHouse, client: Client
) -> None:
    census, line = written(house, "cushion star", 30)
    found = Found(FoundAs.SETTLED, taxon=star(), note="all along the overflow")
    asked = ask_write_in(line=line, found=found, by=house.registrar, now=NOW, zone=ZONE)
    assert isinstance(asked, ApprovalAsked)
    assert (asked.curator, asked.permit_officer, asked.n) == (True, False, 30)
    assert ask_write_in(line=line, found=found, by=house.registrar, now=NOW, zone=ZONE) == asked
    assert not Lot.objects.filter(taxon__scientific_name="Asterina gibbosa").exists()
    assert row_of(census, line).needs_settling
    other = Found(FoundAs.CAME_WITH, taxon=found.taxon)
    with pytest.raises(CensusRefused, match="waits for approval already"):
        ask_write_in(line=line, found=other, by=house.registrar, now=NOW, zone=ZONE)

    assert house.curator.user is not None
    client.force_login(house.curator.user)
    page = client.get(reverse("approvals")).content.decode()
    assert "found to be Asterina gibbosa, into a new lot" in page
    page = client.get(reverse("written_in", args=[line.sheet.number, line.number])).content.decode()
    assert "Waits for approval: settled from sea water" in page
    given = approve_asked(asked=asked, by=house.curator, now=NOW, zone=ZONE)
    assert given.decision is not None
    assert given.decision.approved_by == house.curator
    finding = WriteInFinding.objects.get()
    assert (finding.found_by, finding.event) == (house.registrar, given.decision.events.get())
    assert finding.lot is not None
    assert (finding.lot.held, row_of(census, line).state) == (30, LineState.SETTLED)


def test_a_few_that_came_are_decided_at_once_also_when_approval_is_asked_for(house: TestHouse) -> None:
    _, line = written(house, "cushion star", 3)
    found = Found(FoundAs.SETTLED, taxon=star())
    done = ask_write_in(line=line, found=found, by=house.registrar, now=NOW, zone=ZONE)
    assert isinstance(done, WriteInFinding)
    assert not ApprovalAsked.objects.exists()


def test_what_the_curator_refuses_stays_written_in(house: TestHouse) -> None:
    census, line = written(house, "cushion star", 30)
    found = Found(FoundAs.SETTLED, taxon=star())
    asked = ask_write_in(line=line, found=found, by=house.registrar, now=NOW, zone=ZONE)
    assert isinstance(asked, ApprovalAsked)
    refuse_asked(asked=asked, by=house.curator, now=NOW, why="look at a picture first")
    assert row_of(census, line).needs_settling
    assert not WriteInFinding.objects.exists()


def test_the_page_asks_for_approval(house: TestHouse, client: Client) -> None:
    _, line = written(house, "cushion star", 30)
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    address = reverse("written_in", args=[line.sheet.number, line.number])
    stated = {"found_as": "settled", "taxon": star().pk}
    assert "approval is needed" in client.post(address, stated).content.decode()
    named = stated | {"approved_by": house.curator.pk}
    assert "Say which paper was signed by hand" in client.post(address, named).content.decode()
    told = client.post(address, stated | {"ask": "on"}, follow=True).content.decode()
    assert f"{line}: it waits for approval." in told
    assert ApprovalAsked.objects.get().asked_by == house.registrar


def test_they_join_a_lot_that_is_there_when_it_is_named(house: TestHouse) -> None:
    census, line = written(house, "goby", 2)
    goby = house.lots["wrasse q"]
    finding = find(house, line, Found(FoundAs.CAME_WITH, taxon=goby.taxon, accession=goby.accession))
    assert finding.lot == goby
    goby.refresh_from_db()
    assert goby.held == 8
    assert row_of(census, line).state is LineState.SETTLED
    with pytest.raises(CensusRefused, match="there is no lot nowhere"):
        find(house, line, Found(FoundAs.CAME_WITH, taxon=goby.taxon, accession="nowhere"))


def test_an_unrecorded_move_settles_the_line_it_left_and_the_write_in(house: TestHouse) -> None:
    census, line = written(house, "wrasse, small", 2, fewer={"wrasse q": 4})
    left = house.line(census, "wrasse q")
    finding = find(house, line, Found(FoundAs.MOVED, other_line=left, happened="2026-09-20"))
    assert finding.event is not None
    assert (finding.event.kind, finding.event.happened) == ("moved", "2026-09-20")
    assert row_of(census, left).state is LineState.SETTLED
    assert row_of(census, line).state is LineState.SETTLED


def test_the_same_animal_under_another_name_is_noted_and_counted_once(house: TestHouse) -> None:
    census, line = written(house, "black goby", 11)
    before = Lot.objects.count()
    finding = find(house, line, Found(FoundAs.OTHER_NAME, other_line=house.line(census, "goby")))
    assert (finding.event, Lot.objects.count()) == (None, before)
    row = row_of(census, line)
    assert row.state is LineState.SETTLED
    assert row.decision is not None
    assert row.decision.evidence == f"already on {house.line(census, 'goby')}"


def test_an_introduced_species_is_no_stock_and_the_permit_officer_is_told(house: TestHouse) -> None:
    census, line = written(house, "Pacific oyster", 1)
    oyster = factories.make_taxon("Magallana gigas")
    assert find(house, line, Found(FoundAs.INTRODUCED, taxon=oyster)).event is None
    notice = Notice.objects.get()
    assert (notice.role, notice.kind, notice.line) == ("permit_officer", "introduced", line)
    assert "Introduced species in K1: Magallana gigas" in notice.words
    assert not Lot.objects.filter(taxon=oyster).exists()
    assert row_of(census, line).state is LineState.SETTLED


def test_an_introduced_species_of_a_sheet_goes_to_the_permit_officers_by_e_mail_once(
    house: TestHouse, settings: Any
) -> None:
    # *Common practice, no source*: who has to report a find hears of it at once.
    settings.EMAIL_HOST = "mail.example"
    assert house.officer.user is not None
    house.officer.user.email = "officer@house.example"
    house.officer.user.save()
    _, line = written(house, "Pacific oyster", 1)
    oyster = factories.make_taxon("Magallana gigas")
    find(house, line, Found(FoundAs.INTRODUCED, taxon=oyster, note="by its shell"))
    assert mail.outbox == []
    send_by_mail(Notice.objects.get(), now=NOW)
    assert (waiting(), send_due(now=NOW), send_due(now=NOW), waiting()) == (1, 1, 0, 0)
    (message,) = mail.outbox
    assert message.to == ["officer@house.example"]
    assert "Magallana gigas: introduced species in K1" in message.subject
    for words in ("by its shell", "Written in on a count sheet as Pacific oyster", "check local rules"):
        assert words in message.body
    assert NoticePost.objects.get().mailed_at == NOW


def test_a_notice_names_the_species_that_it_was_raised_for_though_the_line_was_found_anew(
    house: TestHouse, settings: Any
) -> None:
    settings.EMAIL_HOST = "mail.example"
    assert house.officer.user is not None
    house.officer.user.email = "officer@house.example"
    house.officer.user.save()
    _, line = written(house, "oyster", 1)
    for name, note, now in (
        ("Magallana gigas", "by its shell", NOW),
        ("Ostrea stentina", "the laboratory's letter", NOW + timedelta(hours=1)),
    ):
        found = Found(FoundAs.INTRODUCED, taxon=factories.make_taxon(name), note=note)
        find_write_in(line=line, found=found, by=house.registrar, now=now, zone=ZONE)
    send_due(now=NOW + timedelta(hours=2))
    first, second = mail.outbox
    assert "Magallana gigas: introduced species in K1" in first.subject
    assert "by its shell" in first.body
    assert "Ostrea stentina: introduced species in K1" in second.subject
    assert "the laboratory's letter" in second.body


def test_pages_say_why_word_of_an_introduced_species_did_not_go_out(house: TestHouse, settings: Any) -> None:
    settings.EMAIL_HOST = ""
    _, line = written(house, "Pacific oyster", 1)
    find(house, line, Found(FoundAs.INTRODUCED, taxon=factories.make_taxon("Magallana gigas")))
    send_due(now=NOW)
    said = "not sent: no e-mail is set up for this house"
    officer, registrar = Client(), Client()
    officer.force_login(house.officer.user)  # type: ignore[arg-type]
    registrar.force_login(house.registrar.user)  # type: ignore[arg-type]
    assert said in officer.get(reverse("notices")).text
    page = registrar.get(reverse("written_in", args=[line.sheet.number, line.number])).text
    assert f"E-mail to the permit officers: {said}." in page


def test_the_same_animal_under_another_name_is_not_sent_to_the_permit_officers(house: TestHouse) -> None:
    census, line = written(house, "black goby", 11)
    find(house, line, Found(FoundAs.OTHER_NAME, other_line=house.line(census, "goby")))
    assert not NoticePost.objects.exists()


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (Found(FoundAs.SETTLED), "say what it is"),
        (Found(FoundAs.OTHER_NAME), "name the line that has it under its name"),
        (Found(FoundAs.MOVED, happened="2026-09-20"), "name the line that it left"),
    ],
)
def test_what_is_missing_is_asked_for(house: TestHouse, found: Found, told: str) -> None:
    _, line = written(house, "cushion star", 3)
    with pytest.raises(CensusRefused, match=told):
        find(house, line, found)


def test_only_what_was_written_in_is_found_and_only_by_who_decides(house: TestHouse) -> None:
    census, line = written(house, "cushion star", 3)
    with pytest.raises(CensusRefused, match="stands on the list"):
        find(house, house.line(census, "goby"), Found(FoundAs.INTRODUCED))
    with pytest.raises(CensusRefused, match="may not decide what was written in"):
        find_write_in(line=line, found=Found(FoundAs.INTRODUCED), by=house.first, now=NOW, zone=ZONE)


def ray() -> Taxon:
    return factories.make_taxon("Raja brachyura", common_name="blonde ray", count_class="A")


def count_again(house: TestHouse, line: Line, n: int) -> None:
    ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW)
    again = Entry(line=line.number, counted_at=NOW, counter=house.second, value=n)
    take_counts(sheet=line.sheet, entries=[again], by=house.second, now=NOW, round=2)


def test_what_is_found_to_be_of_class_a_waits_for_a_second_count_and_for_the_curator(
    house: TestHouse,
) -> None:
    """Procedure of the house: class A has two counters, and every adjustment of it the curator's name."""
    census, line = written(house, "a ray with spots", 1)
    found = Found(FoundAs.CAME_WITH, taxon=ray())
    with pytest.raises(CensusRefused, match="of class A, which two count"):
        find(house, line, found, approved_by=house.curator)
    count_again(house, line, 1)
    with pytest.raises(CensusRefused, match="curator's approval is needed: class A"):
        find(house, line, found)
    assert find(house, line, found, approved_by=house.curator).event is not None
    row = row_of(census, line)
    assert (row.line.count_class, row.confirmed, row.state) == ("A", True, LineState.SETTLED)


def test_two_counts_of_class_a_that_differ_do_not_join_the_stock(house: TestHouse) -> None:
    _, line = written(house, "a ray with spots", 1)
    count_again(house, line, 2)
    with pytest.raises(CensusRefused, match="the book moves when both agree"):
        find(house, line, Found(FoundAs.CAME_WITH, taxon=ray()), approved_by=house.curator)


def test_class_a_that_was_asked_for_waits_for_the_curator(house: TestHouse) -> None:
    _, line = written(house, "a ray with spots", 1)
    count_again(house, line, 1)
    found = Found(FoundAs.CAME_WITH, taxon=ray())
    asked = ask_write_in(line=line, found=found, by=house.registrar, now=NOW, zone=ZONE)
    assert isinstance(asked, ApprovalAsked)
    assert asked.curator


@pytest.mark.parametrize("name", ["Raja brachyura", "Blonde ray"])
def test_a_name_of_class_a_has_its_second_counter_at_once(house: TestHouse, name: str) -> None:
    ray()
    census, line = written(house, name, 1)
    assert line.count_class == "A"
    assert row_of(census, line).one_counter_only
    line.sheet.counters.add(house.second)
    again = Entry(line=line.number, counted_at=NOW, counter=house.second, value=1)
    take_counts(sheet=line.sheet, entries=[again], by=house.second, now=NOW, round=2)
    assert not row_of(census, line).one_counter_only
    assert row_of(census, line).confirmed
