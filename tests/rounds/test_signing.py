"""Signing: refused with every open item, else the period is closed and stays closed."""

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.opening import add_line, open_census
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import hand_in, issue, replace_sheet
from census.rounds.actions.signing import abandon, propose, reopen, send_back, sign
from census.rounds.models import Census, Sheet
from census.rounds.queries.open_items import ItemKind, fallen_since, open_items
from census.rounds.queries.out import censuses_with_sheets
from census.rounds.queries.progress import accuracy_table, closing_supported, differences_by_unit, sheets_of
from census.rounds.queries.reading import read_census
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import CensusState, How, LineKind, LineState, SheetState
from inventory.book.models import PeriodBalance, PeriodVersion
from tests import factories

from .house import COUNTED, HELD, NOW, WITHOUT, ZONE, TestHouse, at, stock

pytestmark = pytest.mark.django_db


def signed(house: TestHouse, census: Census) -> PeriodVersion:
    return sign(census=census, by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)


def kinds(census: Census) -> list[ItemKind]:
    return [item.kind for item in open_items(census, read_census(census))]


def test_a_census_that_agrees_is_signed_and_closes_its_period_in_version_1(house: TestHouse) -> None:
    census = house.compared({})
    version = signed(house, census)
    census.refresh_from_db()
    assert (version.number, version.period, version.signed_by) == (1, house.period, house.curator)
    assert (census.state, census.version) == (CensusState.CLOSED, version)
    assert sum(b.n for b in PeriodBalance.objects.all()) == sum(HELD.values())


def test_signing_is_refused_with_every_open_item(house: TestHouse) -> None:
    census = house.compared({"goby": 6})
    again = house.line(census, "wrasse q").sheet
    new = replace_sheet(sheet=again, state=SheetState.VOID, by=house.registrar, now=NOW, note="wet")
    factories.make_event("died", lot=house.lots["wrasse q"], place="K2", unknown=9, happened="2026-09-30")
    house.lots["stray"] = factories.make_lot(taxon=factories.make_taxon("Ciona intestinalis"))
    stock(house, "stray", "K1", 3)
    with pytest.raises(CensusRefused) as refused:
        signed(house, census)
    told = list(refused.value.problems)
    assert told[0] == "sheet out: CS-26Q3-02B (K2) is not issued, with Alda"
    assert told[1].startswith("not counted: CS-26Q3-02B: 2 lines not counted: 1 Scyliorhinus canicula")
    assert told[2] == "not settled: CS-26Q3-01 line 3, Gobius niger: outside tolerance (-5)"
    assert told[3].startswith("below zero: the book has -3 of Symphodus melops")
    assert told[4].startswith("sums do not tie: the book holds 3 of Ciona intestinalis")
    assert len(told) == 5
    assert not PeriodVersion.objects.exists()
    assert new.state == SheetState.NOT_ISSUED


def test_what_falls_below_zero_after_the_cut_off_is_told_and_does_not_stop_the_quarter(
    house: TestHouse, client: Client
) -> None:
    census = house.compared({})
    later = at("2026-11-20T09:00")
    factories.make_event(
        "died", lot=house.lots["shoal"], place="K1", unknown=421, happened="2026-11-19", now=later
    )
    assert open_items(census, read_census(census)) == []
    told = ["the book has -1 of Clupea harengus (" + house.lots["shoal"].accession + ") in K1"]
    assert fallen_since(census, now=later) == told
    assert fallen_since(census, now=census.cutoff) == []
    client.force_login(house.curator.user)  # type: ignore[arg-type]
    with time_machine.travel(later, tick=False):
        page = client.get(reverse("census_sign", args=[census.code])).content.decode()
    assert "Below zero since the cut-off" in page
    assert told[0].replace("-", "\N{MINUS SIGN}", 1) in page
    version = sign(census=census, by=house.curator, now=later, zone=ZONE, without_sample=WITHOUT)
    assert version.number == 1


def test_what_stood_below_zero_at_the_cut_off_stops_the_quarter_though_it_rose_since(
    house: TestHouse,
) -> None:
    census = house.compared({})
    factories.make_event("died", lot=house.lots["wrasse q"], place="K2", unknown=9, happened="2026-09-30")
    later = at("2026-11-20T09:00")
    factories.make_event(
        "opening", lot=house.lots["wrasse q"], place="K2", unknown=20, happened="2026-11-19", now=later
    )
    assert ItemKind.BELOW_ZERO in kinds(census)
    assert fallen_since(census, now=later) == []


def test_a_recount_that_is_out_blocks(house: TestHouse) -> None:
    census = house.compared({"goby": 6})
    house.count(census, {"goby": 11}, round=2)
    assert kinds(census) == [ItemKind.SHEET_OUT]
    hand_in(sheet=house.line(census, "goby").sheet, by=house.second, now=NOW)
    assert kinds(census) == []


def in_of_all() -> tuple[int, int]:
    """Of the one census, as the list of censuses tells it."""
    told = vars(censuses_with_sheets().get())
    return told["sheets_in"], told["sheets_all"]


def test_a_letter_to_who_holds_nothing_is_not_waited_for_and_an_empty_tank_is_looked_at(
    house: TestHouse,
) -> None:
    # The procedure of the census: from floor to list, which finds settlers and strays.
    factories.make_event("back_from_loan", lot=house.lots["ray"], place="LO", to_place="K2", unknown=1)
    empty = factories.make_place("K9")
    census = open_census(
        period=house.period, places=[house.places["LO"], empty], by=house.registrar, now=NOW, zone=ZONE
    )
    letter = census.sheets.get(place=house.places["LO"])
    assert (letter.form, letter.lines.count()) == ("letter", 0)
    out = [item.text for item in open_items(census, []) if item.kind is ItemKind.SHEET_OUT]
    assert out == ["CS-26Q3-01 (K9) is not issued"]
    late = [one.sheet.place.code for one in sheets_of(census, now=at("2027-01-20T09:00")) if one.late]
    assert late == ["K9"]
    assert in_of_all() == (0, 1)
    # What goes to them on loan before the cut-off still finds its letter.
    add_line(sheet=letter, kind=LineKind.WRITE_IN, written_name="a ray on loan", by=house.registrar, now=NOW)
    assert [item.sheet for item in open_items(census, [])][:2] == ["CS-26Q3-01", "CS-26Q3-L1"]
    assert in_of_all() == (0, 2)


def test_a_line_that_opened_again_blocks_and_says_how_the_book_moved(house: TestHouse) -> None:
    census = house.compared({"shoal": 300})
    query = Settling(how=How.OBSERVATION, note="counted in the dark")
    decide_line(line=house.line(census, "shoal"), settling=query, by=house.registrar, now=NOW, zone=ZONE)
    assert kinds(census) == []
    factories.make_event("died", lot=house.lots["shoal"], place="K1", happened="2026-09-20", unknown=4)
    item = open_items(census, read_census(census))[0]
    assert "the book has moved from 420 to 416 since" in item.text


def test_a_blank_presence_line_stops_nobody(house: TestHouse) -> None:
    census = house.compared({})
    add_line(
        sheet=census.sheets.first() or Sheet(),
        kind=LineKind.PRESENCE,
        taxon=factories.make_taxon(count_class="D"),
        count_class="D",
        by=house.registrar,
        now=NOW,
    )
    assert kinds(census) == []


def test_only_the_curator_signs_and_only_after_comparing(house: TestHouse) -> None:
    census = house.compared({})
    with pytest.raises(CensusRefused, match="the curator signs"):
        sign(census=census, by=house.registrar, now=NOW, zone=ZONE, without_sample=WITHOUT)
    signed(house, census)
    with pytest.raises(CensusRefused, match="closed"):
        signed(house, census)


def test_counting_is_no_time_to_sign(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    with pytest.raises(CensusRefused, match="compare the counts first"):
        signed(house, census)


def test_the_registrar_proposes_and_the_curator_may_send_back(house: TestHouse) -> None:
    census = house.compared({})
    assert propose(census=census, by=house.registrar, now=NOW).state == CensusState.WAITING
    back = send_back(census=census, by=house.curator, now=NOW, note="look at the wrasses again")
    assert (back.state, back.note) == (
        CensusState.SETTLING,
        "Sent back by Oskar: look at the wrasses again",
    )
    signed(house, census)


def test_a_reopened_census_is_signed_in_the_next_version(house: TestHouse) -> None:
    census = house.compared({})
    signed(house, census)
    reopen(census=census, by=house.curator, now=at("2026-10-07T09:00"), note="ray found in the freezer")
    version = sign(
        census=census, by=house.curator, now=at("2026-10-08T09:00"), zone=ZONE, without_sample=WITHOUT
    )
    assert version.number == 2
    assert Census.objects.get().version == version


def test_a_closed_census_takes_nothing_more(house: TestHouse) -> None:
    census = house.compared({})
    sheet = house.line(census, "goby").sheet
    signed(house, census)
    entry = Entry(line=3, counted_at=COUNTED, counter=house.first, value=10)
    with pytest.raises(CensusRefused, match="closed"):
        take_counts(sheet=sheet, entries=[entry], by=house.first, now=NOW)
    with pytest.raises(CensusRefused, match="closed"):
        issue(sheet=sheet, by=house.registrar, now=NOW)
    stands = Settling(how=How.COUNT_STANDS)
    with pytest.raises(CensusRefused, match="closed"):
        decide_line(line=house.line(census, "goby"), settling=stands, by=house.registrar, now=NOW, zone=ZONE)


def test_a_census_is_abandoned_with_a_reason_and_the_period_may_be_counted_anew(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    with pytest.raises(CensusRefused, match="Say why"):
        abandon(census=census, by=house.registrar, now=NOW, note=" ")
    abandon(census=census, by=house.registrar, now=NOW, note="storm, nobody could come in")
    assert house.open("K1", code="CS-26Q3-2").state == CensusState.PLANNED


def test_the_count_is_rolled_to_the_period_end(house: TestHouse) -> None:
    factories.make_event("settled", lot=house.lots["shoal"], place="K1", unknown=12, happened="2026-09-30")
    factories.make_event("died", lot=house.lots["shoal"], place="K1", unknown=5, happened="2026-10-02")
    census = house.compared({"shoal": 410})
    row = house.row(census, "shoal")
    assert closing_supported(row) == 410 + 12
    assert row.state is LineState.INSIDE


def test_a_minimum_below_the_book_and_what_is_no_lot_say_nothing_of_the_closing(house: TestHouse) -> None:
    least = Entry(line=1, counted_at=COUNTED, counter=house.first, value=22, at_least=True)
    census = house.compared({"shoal": least})
    sheet = house.line(census, "shoal").sheet
    written = Entry(line=0, written_name="dogfish", counted_at=COUNTED, counter=house.first, value=5)
    take_counts(sheet=sheet, entries=[written], by=house.first, now=NOW)
    assert closing_supported(house.row(census, "shoal")) is None
    row = next(row for row in read_census(census) if row.line.written_name == "dogfish")
    assert closing_supported(row) is None


def test_accuracy_and_differences_come_from_the_census_itself(house: TestHouse) -> None:
    census = house.compared(
        {"goby": 6, "shoal": 395, "wrasse": 24, "wrasse q": 0, "prawn a": 18, "prawn b": 25}
    )
    rows = read_census(census)
    found = {
        one.count_class: (one.lines, one.latest.lines, one.latest.exact, one.latest.inside)
        for one in accuracy_table(rows, DEFAULTS)
    }
    # Gobies, both corkwings and the prawns as one of six class B lines; letter and egg cases apart.
    assert found == {"A": (1, 1, 1, 1), "B": (6, 6, 2, 3), "C": (1, 1, 0, 1), "all": (8, 8, 3, 5)}
    animals = differences_by_unit(rows)["animal"]
    assert (animals.gains, animals.losses, animals.net) == (6 + 13, 5 + 25 + 6 + 12, -29)
