"""Deaths and absences that a permit wants told: the clock, what counts, what was told."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.models import Document, Event, Lot
from inventory.book.rules.kinds import EventKind
from inventory.names.models import ListEntry, NameList
from inventory.people.rules.roles import Role
from inventory.permits import absences
from inventory.permits.absences import Absence
from inventory.permits.actions.notices import NoticeRefused, SendingFacts, record_notice
from inventory.permits.actions.permits import LineFacts, LinkFacts
from inventory.permits.models import NoticeSending
from inventory.permits.queries.notices import Notice, notices
from inventory.permits.rules.notices import Asks, Told, asks, due_on

from .. import factories
from .house import PermitHouse, a_take, make_permit_house

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
TODAY = date(2026, 10, 6)
LINES = (
    LineFacts("Dahlia anemone", 10, link=LinkFacts("taxon", ["Urticina felina"])),
    LineFacts("Lobster, holding only", 20, per="held", link=LinkFacts("taxon", ["Homarus gammarus"])),
)


@pytest.fixture
def house(db: None) -> PermitHouse:
    """A permit that wants deaths and absences told within 7 days, with one line to take and one to hold."""
    return make_permit_house(LINES, notice_days=7, missing_is_notice=True)


def _lobsters(house: PermitHouse, n: int = 5) -> Lot:
    lot = factories.make_lot("H1", taxon=house.taxa["Homarus gammarus"], marks="left claw notched")
    factories.make_event("received", lot=lot, place="E02", unknown=n, happened="2026-03-01")
    return lot


def _read(house: PermitHouse, on: date = TODAY, hidden: tuple[int, ...] = ()) -> list[Notice]:
    return notices(on=on, zone=house.zone, hidden=hidden)


def _tell(house: PermitHouse, notice: Notice, **stated: Any) -> NoticeSending:
    facts = SendingFacts(Told.SENT, notice.left, TODAY, how="e-mail", to="The Board", text="as it was")
    return record_notice(
        notice=notice, facts=replace(facts, **stated), by=house.officer, now=house.now, zone=house.zone
    )


def test_the_clock_runs_from_the_day_of_finding_also_when_the_entry_came_late(house: PermitHouse) -> None:
    """Found dead on 20 September, entered on 5 October: due on the 27th, and late."""
    lot = _lobsters(house)
    late = datetime.fromisoformat("2026-10-05T09:00+00:00")
    factories.make_event("died", lot=lot, place="E02", happened="2026-09-20T14:30", entered_at=late)
    (notice,) = _read(house)
    assert (notice.found_on, notice.due_on, notice.days, notice.late) == (
        date(2026, 9, 20),
        date(2026, 9, 27),
        -9,
        True,
    )
    assert [one.late for one in _read(house, date(2026, 9, 27))] == [False]


def test_an_interval_is_found_at_its_end(house: PermitHouse) -> None:
    """Last seen on the 20th, found on the 29th: the 29th."""
    lot = _lobsters(house)
    factories.make_event("missing", lot=lot, place="E02", unknown=3, happened="2026-09-20/2026-09-29T10:00")
    (notice,) = _read(house)
    assert (notice.n, notice.kind_words, notice.due_on) == (3, "not found", TODAY)


def test_missing_ones_are_told_only_where_the_permit_says_so() -> None:
    house = make_permit_house(LINES, notice_days=5, missing_is_notice=False)
    lot = _lobsters(house)
    factories.make_event("missing", lot=lot, place="E02", unknown=1, happened="2026-10-01")
    factories.make_event("put_down", lot=lot, place="E02", unknown=1, happened="2026-10-02", cause="wound")
    assert [(one.kind, one.due_on) for one in _read(house)] == [(EventKind.PUT_DOWN, date(2026, 10, 7))]


def test_a_line_to_take_speaks_of_what_was_taken_and_of_all_that_it_was_mixed_with(
    house: PermitHouse,
) -> None:
    """One lot came on a trip; another of the same kind was bought; a third got some of the first."""
    house.record(a_take("dahlia anemone", 4))
    taken = Lot.objects.get(taxon__scientific_name="Urticina felina")
    bought = factories.make_lot("U2", taxon=taken.taxon)
    factories.make_event("received", lot=bought, place="E02", unknown=3, happened="2026-09-02")
    mixed = factories.make_lot("U3", taxon=taken.taxon)
    factories.make_event("regrouped", lot=taken, place="Q2", to_lot=mixed, unknown=2, happened="2026-09-05")
    factories.make_event("died", lot=taken, place="Q2", happened="2026-10-01")
    factories.make_event("died", lot=bought, place="E02", happened="2026-10-01")
    factories.make_event("died", lot=mixed, place="Q2", happened="2026-10-02")
    assert [one.lot for one in _read(house)] == [taken, mixed]


def test_a_death_that_is_taken_back_takes_its_notice_with_it(house: PermitHouse) -> None:
    died = factories.make_event("died", lot=_lobsters(house), place="E02", happened="2026-10-01")
    assert len(_read(house)) == 1
    factories.make_reversal(died)
    assert _read(house) == []


def test_before_the_permit_began_nothing_is_told(house: PermitHouse) -> None:
    lot = factories.make_lot("H1", taxon=house.taxa["Homarus gammarus"])
    factories.make_event("received", lot=lot, place="E02", unknown=2, happened="2025-03-01")
    factories.make_event("died", lot=lot, place="E02", happened="2025-12-31")
    assert _read(house) == []


def test_what_was_told_is_kept_and_cannot_be_changed(house: PermitHouse) -> None:
    factories.make_event("died", lot=_lobsters(house), place="E02", unknown=2, happened="2026-10-01")
    (notice,) = _read(house)
    _tell(house, notice, n=1)
    (part,) = _read(house)
    assert (part.left, len(part.told)) == (1, 1)
    _tell(house, part, told=Told.NOT_NEEDED, note="told by telephone with the first", text="", to="")
    (done,) = _read(house)
    assert (done.left, done.late) == (0, False)
    with pytest.raises(IntegrityError), transaction.atomic():
        NoticeSending.objects.update(n=9)
    with pytest.raises(IntegrityError), transaction.atomic():
        NoticeSending.objects.all().delete()


@pytest.mark.parametrize(
    ("stated", "column"),
    [
        ({"sent_on": date(2026, 10, 7)}, "sent_on"),
        ({"sent_on": date(2026, 9, 30)}, "sent_on"),
        ({"n": 3}, "n"),
        ({"text": ""}, "text"),
        ({"to": ""}, "to"),
        ({"told": Told.NOT_NEEDED}, "note"),
    ],
)
def test_what_cannot_have_been_told_is_refused(
    house: PermitHouse, stated: dict[str, Any], column: str
) -> None:
    factories.make_event("died", lot=_lobsters(house), place="E02", unknown=2, happened="2026-10-01")
    (notice,) = _read(house)
    with pytest.raises(NoticeRefused) as refused:
        _tell(house, notice, **stated)
    assert column in [problem.column for problem in refused.value.problems]
    assert not NoticeSending.objects.exists()


def test_an_absence_found_by_a_count_is_told_once_also_when_it_is_booked_later(
    house: PermitHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = _lobsters(house)
    found_at = datetime.fromisoformat("2026-09-29T10:00+00:00")
    open_ones = [Absence((lot.pk,), house.kelp_hall.pk, 3, found_at, "/sheet/04/line/2")]
    monkeypatch.setattr(absences, "_ASKED", [lambda taxa: open_ones if lot.taxon_id in taxa else []])
    (notice,) = _read(house)
    assert (notice.event, notice.n, notice.due_on) == (None, 3, TODAY)
    _tell(house, notice)
    assert [one.left for one in _read(house)] == [0]
    open_ones.clear()
    factories.make_event("missing", lot=lot, place="E02", unknown=3, happened="2026-09-20/2026-09-29T10:00")
    (booked,) = _read(house)
    assert booked.event == Event.objects.get(kind="missing")
    assert (booked.left, len(booked.told)) == (0, 1)


def test_a_protected_kind_has_the_houses_own_days_where_the_permit_is_silent() -> None:
    """Named number protected_death_notice_days, 7 when nobody changed it; deaths only."""
    house = make_permit_house(LINES)
    lot = _lobsters(house)
    factories.make_event("died", lot=lot, place="E02", happened="2026-10-01")
    factories.make_event("missing", lot=lot, place="E02", happened="2026-10-01")
    assert _read(house) == []
    of_list = NameList.objects.create(
        code="ours", version=1, name="Protected here", kind="protected", authority="The Board",
        source="a test", source_date="2026", mark="memory", loaded_at=factories.NOW, fingerprint="0",
    )  # fmt: skip
    ListEntry.objects.create(
        of_list=of_list, row=7, scientific_name="Homarus gammarus", name="Homarus gammarus",
        first_word="Homarus", rank="species", annotation="protected", mark="memory",
    )  # fmt: skip
    assert [(one.kind, one.due_on) for one in _read(house)] == [(EventKind.DIED, date(2026, 10, 8))]


def test_who_counts_the_tank_is_not_told_how_many(
    house: PermitHouse, as_role: Callable[[Role], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = _lobsters(house, 5_000_000)
    factories.make_event("died", lot=lot, place="E02", unknown=4_711_471, happened="2026-10-01")
    assert [one.hidden for one in _read(house, hidden=(house.kelp_hall.pk,))] == [True]
    client = as_role(Role.PERMIT_OFFICER)
    (notice,) = _read(house)
    assert "4,711,471" in client.get(f"/permits/notice/{notice.key}").text
    monkeypatch.setattr("inventory.book.blind._ASKED", [lambda person: [house.kelp_hall.pk]])
    for path in ("/permits/reminders", f"/permits/notice/{notice.key}", "/"):
        assert "4,711,471" not in client.get(path).text, path
    assert client.post(f"/permits/notice/{notice.key}", {}).status_code == 403


def test_the_page_fills_the_notice_in_and_keeps_what_was_sent(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    factories.make_event(
        "died", lot=_lobsters(house), place="E02", unknown=2, happened="2026-10-01", cause="moult"
    )
    (notice,) = _read(house)
    page = f"/permits/notice/{notice.key}"
    client = as_role(Role.PERMIT_OFFICER)
    form = client.get(page).context["form"]
    text = form.initial["text"]
    for words in (
        "To: The Board", "Permit: TEST 1, holder Test Aquarium", "Species: Homarus gammarus",
        "Number: 2 animals", "Found: 2026-10-01",
        "Our record: H1", "Marks: left claw notched", "Cause, as far as known: moult", "Test Aquarium",
    ):  # fmt: skip
        assert words in text, words
    said = form.initial | {"sent_on": "2026-10-06", "how": "e-mail"}
    assert client.post(page, said).status_code == 302
    kept = NoticeSending.objects.get()
    assert (kept.n, kept.to, kept.how) == (2, "The Board", "e-mail")
    assert kept.text.split() == text.split()
    assert "Settled" in client.get(page).text
    assert as_role(Role.CURATOR).get(page).context["form"] is None
    assert as_role(Role.CURATOR).post(page, said).status_code == 403
    assert as_role(Role.AQUARIST).get(page).status_code == 403


def test_the_number_of_queries_does_not_grow_with_deaths(house: PermitHouse) -> None:
    lot = _lobsters(house, 50)

    def ask() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert _read(house)
        return len(captured)

    factories.make_event("died", lot=lot, place="E02", happened="2026-09-01")
    few = ask()
    for n in range(6):
        other = factories.make_lot(taxon=lot.taxon)
        factories.make_event("received", lot=other, place="E02", unknown=2, happened="2026-03-01")
        factories.make_event("died", lot=other, place="E02", happened=f"2026-09-0{n + 2}")
    assert ask() == few


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(0, 400))
def test_the_last_day_is_so_many_days_after_finding(found_on: date, days: int) -> None:
    assert (due_on(found_on, days) - found_on).days == days


@given(st.none() | st.integers(1, 60), st.booleans(), st.booleans())
def test_the_permits_own_days_stand_before_the_houses(
    days: int | None, absent: bool, protected: bool
) -> None:
    found = asks(days=days, absences=absent, protected=protected, default_days=7)
    if days is not None:
        assert found == Asks(days, absent)
    elif absent or protected:
        assert found == Asks(7, absent)
    else:
        assert found is None


def test_a_letter_whose_notice_is_refused_is_not_kept(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    factories.make_event("died", lot=_lobsters(house), place="E02", unknown=2, happened="2026-10-01")
    page = f"/permits/notice/{_read(house)[0].key}"
    client = as_role(Role.PERMIT_OFFICER)
    said = client.get(page).context["form"].initial | {"sent_on": "2026-10-06", "how": "e-mail"}
    for n, kept in ((3, 0), (2, 1)):
        letter = SimpleUploadedFile("letter.pdf", b"%PDF-1.7 as sent")
        client.post(page, said | {"n": n, "file": letter})
        assert (NoticeSending.objects.count(), Document.objects.count()) == (kept, kept)
