"""Numbers of eggs and young as ranges: stated beside the best value, kept for good, never reckoned with."""

from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.actions.post import LedgerRefused, post_event
from inventory.book.models import Event, StatedRange
from inventory.book.queries.story import tell
from inventory.book.queries.verification import verify
from inventory.book.rules.ranges import Bounds, bounds_of, in_words, problems
from inventory.db import triggers
from tests.factories import make_draft, make_event, make_lot, make_person, make_place, make_reversal

from .load_files import HOUSE, event, run_load, summary_of, write_folder

COUNTS = st.integers(min_value=0, max_value=10_000)
BOUND = st.none() | COUNTS


@given(number=COUNTS, low=BOUND, high=BOUND)
def test_bounds_hold_when_the_number_lies_within_both_inclusive(
    number: int, low: int | None, high: int | None
) -> None:
    bounds = bounds_of(low, high)
    if bounds is None:
        assert (low, high) == (None, None)
        return
    wrong = {field for field, _ in problems(number, bounds, may_be_one=True)}
    assert ("at_least" in wrong) == (low is not None and low > number)
    assert ("at_most" in wrong) == (high is not None and high < number)


@given(low=BOUND, high=BOUND)
def test_what_is_counted_has_no_bounds(low: int | None, high: int | None) -> None:
    bounds = bounds_of(low, high)
    if bounds is not None:
        assert len(list(problems(5, bounds, may_be_one=False))) == 1


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (30, 60, "about 40, between 30 and 60"),
        (30, None, "about 40, at least 30"),
        (None, 1_200, "about 40, at most 1,200"),
        (0, 60, "about 40, between 0 and 60"),
        (40, 40, "exactly 40"),
        (40, None, "about 40, at least 40"),
    ],
)
def test_bounds_are_said_in_words(low: int | None, high: int | None, words: str) -> None:
    assert in_words("40", Bounds(low, high)) == words


def signed_in() -> Client:
    """A browser in which a registrar is signed in."""
    registrar = make_person(roles=["registrar"])
    assert registrar.user is not None
    client = Client()
    client.force_login(registrar.user)
    return client


def hatch(n: int = 40, **said: Any) -> Event:
    return make_event("born", lot=said.pop("lot", None), unknown=n, happened="2026-09-02", **said)


@pytest.mark.django_db
def test_a_range_is_kept_beside_the_event_and_the_book_reckons_by_the_number(zone: tzinfo) -> None:
    lot = make_lot()
    born = hatch(lot=lot, at_least=30, at_most=60)
    lot.refresh_from_db()
    assert (lot.held, born.stated_range.low, born.stated_range.high) == (40, 30, 60)
    assert [flow.n for flow in born.flows.all()] == [40]
    assert verify(zone).findings == []


@pytest.mark.django_db
def test_an_event_without_a_range_writes_none_and_keeps_the_hash_it_always_had(zone: tzinfo) -> None:
    draft = make_draft("born", lot=make_lot(), place=make_place(), unknown=3, entered_by="Rune")
    assert (
        draft.content_hash()
        == make_draft(
            "born",
            lot=draft.lines[0].lot,
            place=draft.lines[0].place,
            unknown=3,
            entered_by="Rune",
            identifier=draft.identifier,
            at_least=None,
        ).content_hash()
    )
    hatch()
    assert not StatedRange.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("kind", "said", "column"),
    [
        ("born", {"at_least": 41}, "at_least"),
        ("born", {"at_most": 39}, "at_most"),
        ("born", {"at_least": -1}, "at_least"),
        ("born", {"at_most": 1_000_000_000}, "at_most"),
        ("found", {"at_least": 30}, "at_least"),
        ("received", {"at_most": 60}, "at_most"),
    ],
)
def test_a_range_that_cannot_be_is_refused_beside_its_field(
    kind: str, said: dict[str, Any], column: str, ledger_now: datetime, zone: tzinfo
) -> None:
    draft = make_draft(kind, lot=make_lot(), place=make_place(), unknown=40, **said)
    with pytest.raises(LedgerRefused) as refused:
        post_event(draft, now=ledger_now, zone=zone)
    assert [problem.column for problem in refused.value.problems] == [column]
    assert not Event.objects.exists()


@pytest.mark.django_db
def test_the_same_identifier_with_another_range_is_another_event(ledger_now: datetime, zone: tzinfo) -> None:
    said: dict[str, Any] = {"lot": make_lot(), "place": make_place(), "unknown": 40, "identifier": uuid4()}
    rune = make_person("Rune")
    first = make_draft("born", at_least=30, entered_by=rune, **said)
    posted = post_event(first, now=ledger_now, zone=zone)
    assert post_event(first, now=ledger_now, zone=zone).event_id == posted.event_id
    with pytest.raises(LedgerRefused):
        post_event(make_draft("born", at_least=31, entered_by=rune, **said), now=ledger_now, zone=zone)


@pytest.mark.django_db
def test_a_reversal_leaves_the_range_with_the_event_that_it_takes_back(zone: tzinfo) -> None:
    lot = make_lot()
    born = hatch(lot=lot, at_least=30, at_most=60)
    back = make_reversal(born)
    lot.refresh_from_db()
    assert lot.held == 0
    assert list(StatedRange.objects.values_list("event", "low", "high")) == [(born.pk, 30, 60)]
    assert not StatedRange.objects.filter(event=back).exists()
    assert verify(zone).findings == []


@pytest.mark.django_db
def test_a_range_is_neither_changed_nor_deleted() -> None:
    hatch(at_least=30)
    for change in (lambda: StatedRange.objects.update(low=3), lambda: StatedRange.objects.all().delete()):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE book_statedrange SET low = 31",
        "DELETE FROM book_statedrange",
        "INSERT INTO book_statedrange (event_id, low) SELECT id, 1 FROM book_event WHERE kind = 'received'",
    ],
)
def test_a_range_that_was_changed_lost_or_given_later_is_found(statement: str, zone: tzinfo) -> None:
    make_event("received", unknown=2)
    hatch(at_least=30, at_most=60)
    triggers.remove(connection, triggers.DECLARED)
    with connection.cursor() as cursor:
        cursor.execute(statement)
    triggers.install(connection, triggers.DECLARED)
    assert "chain" in {finding.check for finding in verify(zone).findings}


@pytest.mark.django_db
def test_a_load_brings_ranges_and_a_second_load_changes_nothing(tmp_path: Path) -> None:
    rows = [
        event("H1", "born", accession="G1", place="T1", unknown=40, at_least=30, at_most=60),
        event("H2", "born", accession="G1", place="T1", unknown=7, at_least=0),
        event("H3", "born", accession="G1", place="T1", unknown=7),
    ]
    folder = write_folder(tmp_path / "house", {**HOUSE, "events": rows})
    summary_of(folder)
    assert summary_of(folder)["events"]["new"] == 0
    kept = StatedRange.objects.values_list("event__ref", "low", "high").order_by("event")
    assert sorted(kept) == [("H1", 30, 60), ("H2", 0, None)]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"kind": "born", "at_least": 50}, "at_least: at least 50 is more than the number itself, 40"),
        ({"kind": "born", "at_most": "many"}, "at_most: 'many' is not a whole number"),
        ({"kind": "taken", "at_most": 60}, "at_most: only eggs, and young that were born or hatched"),
    ],
)
def test_a_load_tells_where_a_range_cannot_be(tmp_path: Path, said: dict[str, Any], told: str) -> None:
    row = event("H1", accession="G1", place="T1", unknown=40, **said)
    code, _, err = run_load(write_folder(tmp_path / "house", {**HOUSE, "events": [row]}))
    assert code == 1
    assert f"sheet events, row 2, column {told}" in err
    assert not Event.objects.exists()


@pytest.mark.django_db
def test_two_rows_of_one_event_state_one_range_of_their_sum(tmp_path: Path) -> None:
    rows = [
        event("H1", "born", accession="G1", place=place, unknown=n, at_least=30)
        for place, n in (("T1", 30), ("Q1", 10))
    ]
    summary_of(write_folder(tmp_path / "house", {**HOUSE, "events": rows}))
    assert StatedRange.objects.get().low == 30
    rows[1]["at_least"] = ""
    _, _, err = run_load(write_folder(tmp_path / "other", {**HOUSE, "events": rows}))
    assert "has nothing here and 30 in row 2" in err


@pytest.mark.django_db
@pytest.mark.parametrize("page", ["event", "lot", "place", "history"])
def test_each_page_that_tells_the_event_tells_its_range(page: str, frozen_clock: datetime) -> None:
    lot, place = make_lot("A-7"), make_place("E03")
    born = hatch(lot=lot, place=place, at_least=30, at_most=60)
    addresses = {
        "event": reverse("event", args=[born.pk]),
        "lot": reverse("lot", args=["A-7"]),
        "place": reverse("place", args=["E03"]),
        "history": reverse("history", args=["lot", "A-7"]),
    }
    client = signed_in()
    assert "about 40, between 30 and 60" in client.get(addresses[page]).content.decode()
    make_reversal(born)
    assert "about 40, between 30 and 60" in client.get(addresses[page]).content.decode()


@pytest.mark.django_db
def test_the_form_of_a_birth_offers_a_range_and_keeps_it(frozen_clock: datetime) -> None:
    lot, place = make_lot("A-7"), make_place("E03")
    hatch(lot=lot, place=place)
    client = signed_in()
    page = reverse("record", args=["born", "A-7"])
    said = {"identifier": str(uuid4()), "unknown": 40, "place": "E03", "day": "2026-09-03", "note": ""}

    wrong = client.post(page, {**said, "at_least": 50, "at_most": 60}).content.decode()
    assert "At least 50 is more than the number itself, 40" in wrong
    assert client.post(page, {**said, "at_least": 30, "at_most": 60}).status_code == 302
    assert StatedRange.objects.values_list("low", "high").get() == (30, 60)
    assert 'name="at_least"' not in client.get(reverse("record", args=["died", "A-7"])).content.decode()


@pytest.mark.django_db
def test_ranges_are_told_without_a_query_more_and_not_to_who_counts_the_tank(
    django_assert_num_queries: Any,
) -> None:
    lot, place = make_lot(), make_place()
    events = [hatch(lot=lot, place=place, at_least=n) for n in (10, 20, 30)]
    events.append(hatch(lot=lot, place=place))
    with django_assert_num_queries(3):
        told = tell([event.pk for event in events])
        words = [told[event.pk].about for event in events]
    assert words == ["about 40, at least 10", "about 40, at least 20", "about 40, at least 30", ""]
    hidden = tell([events[0].pk], hidden=[place.pk])[events[0].pk]
    assert (hidden.hidden, hidden.about) == (True, "")
