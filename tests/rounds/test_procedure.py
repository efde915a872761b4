"""Quiet time, second typing, missing second names, runs of censuses, searches: in the house."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from census.rounds import attention
from census.rounds.actions.beside import add_picture, retype, say_of_quiet_move, state_no_second
from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.opening import add_line
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import hand_in, issue
from census.rounds.actions.signing import sign
from census.rounds.models import Census, Notice, Sheet
from census.rounds.queries.quiet import disturbed, long_sessions, outside_window
from census.rounds.queries.reading import read_census
from census.rounds.queries.runs import drifting, full_counts_due, letters_changed, not_seen, runs_of
from census.rounds.queries.typing import differing, to_retype
from census.rounds.rules.runs import NotSeen
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How, LineKind, SecondName, Seen
from inventory.book.models import Period
from inventory.book.rules.kinds import EventKind
from inventory.doors import clock
from tests import factories

from .house import COUNTED, HELD, NOW, WITHOUT, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db
IN_K1 = ("goby", "bib", "cod", "shoal", "wrasse", "conger")
PLANNED = at("2026-09-29T10:00")


def planned(house: TestHouse) -> Census:
    census = house.open("K1", "K2")
    for sheet in census.sheets.all():
        issue(
            sheet=sheet,
            by=house.registrar,
            now=at("2026-09-23T09:00"),
            counters=[house.first],
            planned_at=PLANNED,
        )
    return census


def test_numbers_are_hidden_from_the_start_of_the_quiet_time_until_the_sheet_is_in(
    house: TestHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    census = planned(house)
    k1, k2 = house.places["K1"].pk, house.places["K2"].pk

    def hidden(moment: str) -> set[int]:
        monkeypatch.setattr(clock, "now", lambda: at(moment))
        return attention.places_hidden_from(house.first)

    assert hidden("2026-09-28T09:59") == set()
    assert hidden("2026-09-28T10:00") == {k1, k2}
    assert attention.places_hidden_from(house.second) == set()
    take_counts(
        sheet=census.sheets.get(place=k2),
        entries=[Entry(line=1, counted_at=PLANNED, counter=house.first, value=23)],
        by=house.first,
        now=PLANNED,
    )
    hand_in(sheet=census.sheets.get(place=k2), by=house.first, now=PLANNED)
    assert hidden("2026-09-29T11:00") == {k1}


def test_a_sheet_without_a_planned_moment_is_blind_from_its_issue(
    house: TestHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.opened_and_issued("K1")
    monkeypatch.setattr(clock, "now", lambda: at("2026-09-23T09:01"))
    assert attention.places_hidden_from(house.first) == {house.places["K1"].pk}


def test_a_move_in_the_quiet_time_is_flagged_until_both_sheets_have_it(house: TestHouse) -> None:
    census = planned(house)
    moved = factories.make_event(
        "moved", lot=house.lots["wrasse"], place="K1", to_place="K2", unknown=2, happened="2026-09-28T15:00"
    )
    factories.make_event("died", lot=house.lots["goby"], place="K1", happened="2026-09-27")
    # A count that found one fewer is booked at its moment; nobody carried an animal.
    lost: dict[str, Any] = {"lot": house.lots["goby"], "place": "K1", "reason": "unexplained loss"}
    factories.make_event("unaccounted", happened="2026-09-28T16:00", **lost)
    found = disturbed(census, DEFAULTS, now=NOW)
    assert [(one.sheet.place.code, one.event.pk, one.into, one.n, one.flagged) for one in found] == [
        ("K1", moved.pk, False, 2, True),
        ("K2", moved.pk, True, 2, True),
    ]
    sheet = found[0].sheet
    say_of_quiet_move(sheet=sheet, event=moved, on_both_sheets=False, by=house.first, now=NOW)
    say_of_quiet_move(sheet=sheet, event=moved, on_both_sheets=True, by=house.registrar, now=NOW)
    assert [one.flagged for one in disturbed(census, DEFAULTS, now=NOW)] == [False, True]


def test_joined_tanks_counted_further_apart_than_one_session_are_shown(house: TestHouse) -> None:
    census = house.opened_and_issued("RA")

    def count(name: str, moment: str) -> None:
        line = house.line(census, name)
        entry = Entry(line=line.number, counted_at=at(moment), counter=house.first, value=HELD[name])
        take_counts(sheet=line.sheet, entries=[entry], by=house.first, now=at(moment))

    count("prawn a", "2026-09-29T10:00")
    count("prawn b", "2026-09-29T12:00")
    assert long_sessions(read_census(census), DEFAULTS) == []
    count("prawn b", "2026-09-29T12:01")
    assert [apart for _, apart in long_sessions(read_census(census), DEFAULTS)] == [timedelta(minutes=121)]


def test_counts_outside_the_days_of_counting_are_shown(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    assert outside_window(read_census(census), census, DEFAULTS) == []
    line = house.line(census, "goby")
    early = Entry(line=line.number, counted_at=at("2026-09-25T23:00"), counter=house.first, value=11)
    take_counts(sheet=line.sheet, entries=[early], by=house.first, now=NOW)
    assert [row.name for row in outside_window(read_census(census), census, DEFAULTS)] == ["Gobius niger"]


def test_class_a_and_lines_that_differ_are_typed_twice_when_they_came_from_paper(house: TestHouse) -> None:
    typist = factories.make_person("Sella", roles=["typist"])
    census = house.opened_and_issued("K1")
    numbers = {"conger": 2, "goby": 6, "bib": 22}
    entries = [
        Entry(line=house.line(census, name).number, counted_at=COUNTED, counter=house.first, value=n)
        for name, n in numbers.items()
    ]
    sheet = census.sheets.get()
    take_counts(sheet=sheet, entries=entries, by=typist, now=COUNTED + timedelta(days=2))
    wanted = {one.row.name: one.count for one in to_retype(census)}
    assert set(wanted) == {"Conger conger", "Gobius niger"}
    with pytest.raises(CensusRefused, match="another person types it again"):
        retype(count=wanted["Gobius niger"], text="6", by=typist, now=NOW)
    assert retype(count=wanted["Conger conger"], text="2", by=house.registrar, now=NOW).agrees
    assert not retype(count=wanted["Gobius niger"], text="16", by=house.registrar, now=NOW).agrees
    assert to_retype(census) == []
    assert [one.text for one in differing(census)] == ["16"]
    right = Entry(line=house.line(census, "goby").number, counted_at=COUNTED, counter=house.first, value=16)
    take_counts(sheet=sheet, entries=[right], by=typist, now=NOW)
    assert differing(census) == []
    assert [one.row.name for one in to_retype(census)] == ["Gobius niger"]


def test_a_counter_who_types_their_own_count_is_not_typed_twice(house: TestHouse) -> None:
    assert to_retype(house.compared({"goby": 6})) == []


def test_that_no_second_name_was_at_hand_is_stated_with_its_reason(house: TestHouse) -> None:
    census = house.compared({})
    line = house.line(census, "conger")
    with pytest.raises(CensusRefused, match="Say why"):
        state_no_second(
            census=census, task=SecondName.COUNTER, why=" ", by=house.registrar, now=NOW, line=line
        )
    for _ in range(2):
        state_no_second(
            census=census, task=SecondName.COUNTER, why="ill", by=house.registrar, now=NOW, line=line
        )
    assert [(one.task, one.why, one.line) for one in census.no_second_names.all()] == [
        ("second counter", "ill", line)
    ]
    version = sign(census=census, by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    assert b'"why": "ill"' in bytes(version.statements.get(name="census").content)


def test_a_picture_is_kept_with_its_line_and_another_paper_is_not(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    line = house.line(census, "goby")
    picture = b"\x89PNG\r\n\x1a\n" + b"star"
    for _ in range(2):
        add_picture(line=line, name="star.png", content=picture, by=house.first, now=NOW)
    assert line.pictures.count() == 1
    with pytest.raises(CensusRefused, match="is no picture"):
        add_picture(line=line, name="a.pdf", content=b"%PDF-1.4", by=house.first, now=NOW)


def quarter(house: TestHouse, code: str, first: str, last: str, counts: dict[str, int | Entry]) -> Census:
    """A further census of K1 in its own period, counted on the last day, signed on the sixth after."""
    house.period = Period.objects.filter(code=code).first() or factories.make_period(code, first, last)
    day = date.fromisoformat(last)
    census = house.open("K1", now=at(f"{day}T06:00"))
    sheet = census.sheets.get()
    issue(sheet=sheet, by=house.registrar, now=at(f"{day}T07:00"), counters=[house.first])
    entries = []
    for name, given in {
        "goby": 11,
        "bib": 22,
        "cod": 15,
        "shoal": 420,
        "wrasse": 18,
        "conger": 2,
        **counts,
    }.items():
        line = house.line(census, name)
        if isinstance(given, Entry):
            entries.append(given)
        else:
            entries.append(
                Entry(line=line.number, counted_at=at(f"{day}T10:00"), counter=house.first, value=given)
            )
    take_counts(sheet=sheet, entries=entries, by=house.first, now=at(f"{day}T10:00"))
    hand_in(sheet=Sheet.objects.get(pk=sheet.pk), by=house.first, now=at(f"{day}T11:00"))
    compare_counts(census=census, by=house.registrar, now=at(f"{day + timedelta(days=2)}T10:00"), zone=ZONE)
    return Census.objects.get(pk=census.pk)


QUARTERS = (
    ("2026 Q3", "2026-07-01", "2026-09-30"),
    ("2026 Q4", "2026-10-01", "2026-12-31"),
    ("2027 Q1", "2027-01-01", "2027-03-31"),
    ("2027 Q2", "2027-04-01", "2027-06-30"),
)


def close(census: Census) -> None:
    """Ends a census of one tank, which could not be signed for the whole house."""
    Census.objects.filter(pk=census.pk).update(state="closed")


def test_a_drift_is_found_in_the_censuses_that_the_house_has(house: TestHouse) -> None:
    for code, first, last in QUARTERS[:2]:
        close(quarter(house, code, first, last, {"shoal": 400}))
    census = quarter(house, *QUARTERS[2], {"shoal": 395})
    rows = read_census(census)
    found = drifting(rows, runs_of(census, rows, DEFAULTS), DEFAULTS)
    assert [(row.name, side) for row, side in found] == [("Clupea harengus", -1)]


def test_a_stated_drift_that_an_earlier_census_contradicts_is_refused(house: TestHouse) -> None:
    close(quarter(house, *QUARTERS[0], {"shoal": 430}))
    census = quarter(house, *QUARTERS[1], {"shoal": 395})
    drift = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-25, drift=True, evidence="September")
    with pytest.raises(CensusRefused, match="no drift: CS-26Q3 found the line on the other side"):
        decide_line(
            line=house.line(census, "shoal"),
            settling=drift,
            by=house.registrar,
            now=at("2027-01-05T09:00"),
            zone=ZONE,
        )


def test_minimum_counts_for_four_censuses_want_a_full_count(house: TestHouse) -> None:
    census = None
    for code, first, last in QUARTERS:
        if census is not None:
            rows = read_census(census)
            assert full_counts_due(rows, runs_of(census, rows, DEFAULTS), DEFAULTS) == []
            close(census)
        counted = at(f"{last}T10:00")
        minimum = Entry(line=3, counted_at=counted, counter=house.first, value=8, at_least=True)
        census = quarter(house, code, first, last, {"goby": minimum})
    assert census is not None
    rows = read_census(census)
    due = full_counts_due(rows, runs_of(census, rows, DEFAULTS), DEFAULTS)
    assert [row.name for row in due] == ["Gobius niger"]


def test_a_letter_that_changed_by_two_steps_is_shown_and_by_one_is_not(house: TestHouse) -> None:
    first = house.opened_and_issued("K1")
    taxa = [factories.make_taxon(name, count_class="D") for name in ("Mycale macilenta", "Obelia geniculata")]

    def letters(census: Census, moment: datetime, *written: str) -> None:
        sheet = census.sheets.get()
        for taxon, letter in zip(taxa, written, strict=True):
            line = sheet.lines.filter(taxon=taxon).first() or add_line(
                sheet=sheet, kind=LineKind.PRESENCE, taxon=taxon, count_class="D", by=house.registrar, now=NOW
            )
            entry = Entry(line=line.number, counted_at=moment, counter=house.first, letter=letter)
            take_counts(sheet=sheet, entries=[entry], by=house.first, now=moment)

    letters(first, COUNTED, "A", "A")
    house.period = factories.make_period(*QUARTERS[1])
    second = house.open("K1", now=at("2026-12-28T09:00"))
    issue(sheet=second.sheets.get(), by=house.registrar, now=NOW)
    letters(second, at("2026-12-29T10:00"), "F", "C")
    changed = letters_changed(second, DEFAULTS)
    assert [(c.line.taxon, c.before, c.before_in, c.now) for c in changed] == [(taxa[0], "A", "CS-26Q3", "F")]


MISSED, MISSED_AGAIN = "2026-09-30T10:00", "2026-12-31T10:00"


def roll_call(house: TestHouse, moment: str, *, hawser: Seen = Seen.NOT_SEEN) -> Entry:
    seen = {house.lots["conger"].accession: Seen.SEEN, house.lots["hawser"].accession: hawser}
    return Entry(line=2, counted_at=at(moment), counter=house.first, seen=seen)


def test_an_individual_missed_by_two_censuses_is_a_query_to_the_curator(house: TestHouse) -> None:
    first = quarter(house, *QUARTERS[0], {"conger": roll_call(house, MISSED)})
    missed = not_seen(first, DEFAULTS, now=NOW, zone=ZONE)
    assert [(one.lot, one.censuses, one.search.stage) for one in missed] == [
        (house.lots["hawser"], 1, NotSeen.SEARCH)
    ]
    # No roll-call has ever seen it: the day on which it was missed is not called the one when it was seen.
    assert missed[0].seen_on is None
    assert missed[0].known_of == "was missed on 2026-09-30, and no roll-call before has it as seen"
    assert not Notice.objects.exists()
    close(first)
    second = quarter(house, *QUARTERS[1], {"conger": roll_call(house, MISSED_AGAIN)})
    assert not_seen(second, DEFAULTS, now=at("2027-01-02T10:00"), zone=ZONE)[0].search.stage is NotSeen.QUERY
    notice = Notice.objects.get()
    assert notice.role == "curator"
    assert "Hawser (Conger conger) in K1 was missed on 2026-09-30, and no roll-call before" in notice.words


def test_the_last_roll_call_that_saw_an_individual_is_told_where_there_was_one(house: TestHouse) -> None:
    close(quarter(house, *QUARTERS[0], {"conger": roll_call(house, MISSED, hawser=Seen.SEEN)}))
    second = quarter(house, *QUARTERS[1], {"conger": roll_call(house, MISSED_AGAIN)})
    missed = not_seen(second, DEFAULTS, now=at("2027-01-02T10:00"), zone=ZONE)
    assert [one.known_of for one in missed] == ["was last seen on 2026-09-30"]


def missing_hawser(house: TestHouse) -> Census:
    """A compared census whose roll-call found Thole and not Hawser."""
    census = house.opened_and_issued()
    line = house.line(census, "conger")
    seen = {house.lots["conger"].accession: Seen.SEEN, house.lots["hawser"].accession: Seen.NOT_SEEN}
    house.count(census, {name: n for name, n in HELD.items() if name != "conger"})
    entry = Entry(line=line.number, counted_at=COUNTED, counter=house.first, seen=seen)
    take_counts(sheet=line.sheet, entries=[entry], by=house.first, now=COUNTED)
    for sheet in census.sheets.all():
        hand_in(sheet=Sheet.objects.get(pk=sheet.pk), by=house.first, now=at("2026-10-01T09:00"))
    compare_counts(census=census, by=house.registrar, now=at("2026-10-01T10:00"))
    return census


def searched(census: Census, now: str = "2026-10-05T12:00") -> list[str]:
    return [one.lot.house_name for one in not_seen(census, DEFAULTS, now=at(now), zone=ZONE)]


@pytest.mark.parametrize(
    "explained",
    [
        Settling(how=How.LATE_MOVE, reason="late move", n=1, happened="2026-09-25", to_place="K2"),
        Settling(how=How.LATE_EVENT, kind=EventKind.DIED, n=1, happened="2026-09-20", reason="body found"),
        # Seen somewhere else after the roll-call: found, and no search any more.
        Settling(how=How.LATE_MOVE, reason="late move", n=1, happened="2026-10-02", to_place="K2"),
    ],
)
def test_an_individual_whose_absence_is_explained_is_searched_no_more(
    house: TestHouse, explained: Settling
) -> None:
    census = missing_hawser(house)
    assert searched(census) == ["Hawser"]
    settling = replace(explained, accessions=(house.lots["hawser"].accession,))
    decide_line(line=house.line(census, "conger"), settling=settling, by=house.registrar, now=NOW, zone=ZONE)
    assert searched(census) == []


def test_an_individual_that_is_booked_as_missing_is_searched_on(house: TestHouse) -> None:
    census = missing_hawser(house)
    settling = Settling(
        how=How.MISSING, n=1, accessions=(house.lots["hawser"].accession,), owner=house.registrar.name
    )
    decide_line(line=house.line(census, "conger"), settling=settling, by=house.registrar, now=NOW, zone=ZONE)
    assert searched(census) == ["Hawser"]


def test_the_curator_is_not_asked_any_more_about_an_animal_whose_move_was_accepted(house: TestHouse) -> None:
    census = missing_hawser(house)
    compare_counts(census=census, by=house.registrar, now=at("2026-11-20T10:00"), zone=ZONE)
    notice = Notice.objects.get()
    assert (notice.kind, notice.seen_at) == ("not seen", None)
    hawser = house.lots["hawser"].accession
    move = Settling(
        how=How.LATE_MOVE,
        reason="late move",
        n=1,
        happened="2026-09-25",
        to_place="K2",
        accessions=(hawser,),
    )
    later = at("2026-11-21T10:00")
    decide_line(line=house.line(census, "conger"), settling=move, by=house.registrar, now=later, zone=ZONE)
    notice.refresh_from_db()
    assert (notice.seen_at, notice.seen_by) == (later, house.registrar)


def test_an_individual_that_is_seen_again_is_searched_no_more(house: TestHouse) -> None:
    close(
        quarter(house, *QUARTERS[0], {"conger": roll_call(house, MISSED)}),
    )
    again = quarter(house, *QUARTERS[1], {"conger": roll_call(house, MISSED_AGAIN, hawser=Seen.SEEN)})
    assert not_seen(again, DEFAULTS, now=at("2027-02-20T10:00"), zone=ZONE) == []
