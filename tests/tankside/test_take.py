"""Taking entries: once, in order, each by itself, by whom and at what time."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.book.actions.close import close_period
from inventory.book.models import Event, Flag
from inventory.people.actions.codes import set_code
from inventory.people.actions.devices import give_token, make_device, revoke
from inventory.people.models import DeviceScope
from inventory.tankside.models import Entry, Reading

from ..factories import NOW, make_period, make_person
from .conftest import Tablet, TankHouse

MINUTE = timedelta(minutes=1)


def test_entries_are_taken_in_order_each_by_itself(house: TankHouse, tablet: Tablet) -> None:
    answers = tablet.send(
        tablet.entry("moved", lot="R1", n=2, to_place="Q1"),
        tablet.entry(lot="R1", n=9, place="E99"),
        tablet.entry("moved", lot="R1", n=1, place="Q1", to_place="E02"),
        tablet.entry("nonsense"),
        tablet.entry(lot="G1", n=1),
    )
    assert [one["outcome"] for one in answers] == ["sent", "came back", "sent", "came back", "sent"]
    assert (house.held(house.ray, house.kelp_hall), house.held(house.ray, house.quarantine)) == (3, 1)
    assert Entry.objects.count() == 5


def test_an_entry_that_cannot_be_read_is_kept_without_its_pass(tablet: Tablet) -> None:
    entry = tablet.entry("died", lot="G1", n=-1, colour="\x00blue")
    answer = tablet.one(entry)
    fields = {problem["field"] for problem in answer["problems"]}
    assert fields == {"numbers.unknown", "colour"}
    kept = Entry.objects.get()
    assert "pass" not in kept.body
    assert (kept.body["colour"], kept.saved_at) == ("blue", None)
    assert tablet.one(entry)["already"]


def test_an_entry_with_half_a_sign_in_a_name_or_a_value_is_kept_and_told(tablet: Tablet) -> None:
    """A lone surrogate is good JSON (RFC 8259, section 8.2), and no text for PostgreSQL."""
    entry = tablet.entry("died", lot="G1", n=1, note="\ud83d") | {"co\ud800lour": "\udc1f"}
    assert tablet.one(entry)["outcome"] == "came back"
    assert Entry.objects.get().body["co\ufffdlour"] == "\ufffd"
    assert tablet.one(entry)["already"]


def test_an_identifier_means_one_entry_and_no_other(house: TankHouse, tablet: Tablet) -> None:
    first = tablet.entry(lot="G1", n=1)
    tablet.one(first)
    answer = tablet.one(first | {"numbers": {"unknown": 7}})
    assert answer["problems"][0]["field"] == "identifier"
    assert house.held(house.gobies) == 199
    assert tablet.one(first)["outcome"] == "sent", "the first answer stays the first answer"


def test_another_pass_does_not_make_it_another_entry(tablet: Tablet) -> None:
    entry = tablet.entry(lot="G1", n=1)
    tablet.one(entry)
    assert tablet.one(entry | {"pass": None})["already"]


def test_a_corrected_entry_may_keep_its_identifier_when_the_first_never_got_in(tablet: Tablet) -> None:
    wrong = tablet.entry(lot="G1", n=1, place="E99")
    assert tablet.one(wrong)["outcome"] == "came back"
    assert tablet.one(wrong | {"place": "E02"})["outcome"] == "sent"


def test_nothing_of_an_entry_is_changed_afterwards(tablet: Tablet) -> None:
    tablet.one(tablet.entry(lot="G1", n=1))
    for change in (lambda: Entry.objects.update(answer={}), lambda: Entry.objects.all().delete()):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_a_database_that_does_not_answer_is_no_answer(
    tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The device keeps what it has and sends it again; nothing comes back as refused."""

    def away(*args: object, **more: object) -> None:
        raise OperationalError("database is locked")

    entry = tablet.entry(lot="G1", n=1)
    with monkeypatch.context() as patch:
        patch.setattr("inventory.tankside.actions.booking.post_event", away)
        with pytest.raises(OperationalError):
            tablet.send(entry)
    assert not Entry.objects.exists()
    assert tablet.one(entry)["outcome"] == "sent"


def test_one_entry_that_breaks_the_program_holds_up_no_other(
    tablet: Tablet, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*args: object, **more: object) -> None:
        raise RuntimeError("a word of the note")

    with monkeypatch.context() as patch:
        patch.setattr("inventory.tankside.actions.take.book_note", broken)
        answers = tablet.send(tablet.entry("note", note="hm"), tablet.entry(lot="G1", n=1))
    assert [one["outcome"] for one in answers] == ["came back", "sent"]
    assert "RuntimeError" in caplog.text
    assert "a word of the note" not in caplog.text


@pytest.mark.parametrize("hours", [1, 20])
def test_what_waited_for_signal_keeps_when_it_was_saved(tablet: Tablet, hours: int) -> None:
    saved = NOW - timedelta(hours=hours)
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=saved) | {"pass": None})
    event = Event.objects.get(pk=answer["event"])
    assert (event.entered_at, event.recorded_at) == (saved, NOW)
    assert event.happened == f"{saved:%Y-%m-%dT%H:%M}"


def test_what_comes_at_once_is_entered_now(tablet: Tablet) -> None:
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=NOW - timedelta(seconds=20)))
    assert Event.objects.get(pk=answer["event"]).entered_at == NOW


def test_a_clock_a_little_ahead_does_not_put_a_death_into_the_future(tablet: Tablet) -> None:
    ahead = NOW + 3 * MINUTE
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=ahead), sent_at=ahead)
    assert (answer["outcome"], answer["flags"]) == ("sent", [])
    assert Event.objects.get(pk=answer["event"]).effective_at == NOW


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(12, "12 minutes ahead"), (-300, "5 hours behind"), (-60 * 24 * 3, "3 days behind")],
)
def test_a_clock_that_is_out_is_taken_flagged_and_never_in_the_future(
    tablet: Tablet, minutes: int, words: str
) -> None:
    theirs = NOW + minutes * MINUTE
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=theirs), sent_at=theirs)
    (flag,) = [one for one in answer["flags"] if one["kind"] == "clock"]
    assert words in flag["words"]
    event = Event.objects.get(pk=answer["event"])
    assert event.effective_at == min(theirs, NOW)
    assert event.entered_at <= NOW
    assert Flag.objects.filter(event=event, kind="clock", owner__name="Maren").exists()


def test_five_minutes_are_no_clock_that_is_out(tablet: Tablet) -> None:
    theirs = NOW - 5 * MINUTE
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=theirs), sent_at=theirs)
    assert answer["flags"] == []


def test_what_was_saved_before_a_closing_and_comes_after_it_goes_in_as_late(
    house: TankHouse, tablet: Tablet, zone: Any
) -> None:
    period = make_period()
    saved = NOW.replace(month=9, day=30, hour=20)
    close_period(period, closed_at=NOW - timedelta(hours=2), signed_by=house.registrar, zone=zone)
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=saved) | {"pass": None})
    event = Event.objects.get(pk=answer["event"])
    assert (event.effective_at, event.entered_at) == (saved, NOW)
    assert Flag.objects.filter(event=event, kind="late_entry").exists()


def test_a_death_of_the_open_period_is_no_late_entry_though_it_waited(
    house: TankHouse, tablet: Tablet, zone: Any
) -> None:
    close_period(make_period(), closed_at=NOW - timedelta(hours=2), signed_by=house.registrar, zone=zone)
    saved = NOW - timedelta(hours=5)
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=saved) | {"pass": None})
    assert Event.objects.get(pk=answer["event"]).entered_at == saved


def author_flags(answer: dict[str, Any]) -> list[str]:
    assert answer["outcome"] == "sent"
    return [flag["words"] for flag in answer["flags"] if flag["kind"] == "author"]


def test_nobody_is_refused_for_want_of_a_code(house: TankHouse, tablet: Tablet) -> None:
    assert author_flags(tablet.one(tablet.entry(lot="G1", n=1))) == []
    without = tablet.one(tablet.entry(lot="G1", n=2) | {"pass": None})
    assert author_flags(without) == ["not confirmed by a code"]
    assert Event.objects.get(pk=without["event"]).entered_by == house.aquarist
    assert Flag.objects.get(kind="author").owner == house.registrar


def test_a_pass_is_of_one_person_on_one_device(house: TankHouse, tablet: Tablet) -> None:
    other = make_person(roles=["aquarist"])
    set_code(other, "9183", by=other, now=NOW)
    assert author_flags(tablet.one(tablet.entry(lot="G1", n=1, person=other.pk)))


def test_a_pass_that_has_run_out_confirms_what_was_saved_while_it_was_good(tablet: Tablet) -> None:
    later = NOW + timedelta(hours=20)
    good = tablet.entry(lot="G1", n=1, saved_at=NOW + timedelta(hours=14))
    late = tablet.entry(lot="G1", n=2, saved_at=NOW + timedelta(hours=18))
    import time_machine

    with time_machine.travel(later, tick=False):
        answers = tablet.send(good, late, sent_at=later)
    assert [author_flags(one) for one in answers] == [[], ["not confirmed by a code"]]


def test_a_new_code_ends_what_the_old_one_confirmed(house: TankHouse, tablet: Tablet) -> None:
    set_code(house.aquarist, "9183", by=house.aquarist, now=NOW)
    assert author_flags(tablet.one(tablet.entry(lot="G1", n=1)))


@pytest.mark.parametrize("roles", [["inspector"], ["counter"]])
def test_who_may_not_record_is_taken_and_flagged(tablet: Tablet, roles: list[str]) -> None:
    person = make_person(roles=roles)
    answer = tablet.one(tablet.entry(lot="G1", n=1, person=person.pk))
    assert author_flags(answer)


def test_an_undo_is_a_reversal_and_both_stay(house: TankHouse, tablet: Tablet) -> None:
    first = tablet.one(tablet.entry(lot="G1", n=2, saved_at=NOW - 8 * MINUTE))
    undone = tablet.one(tablet.entry("undo", undoes=first["identifier"]))
    assert undone["words"] == "undone: 2 dead, two-spotted goby, Kelp Hall, 08:52"
    assert Event.objects.get(pk=undone["event"]).reverses_id == first["event"]
    assert (house.held(house.gobies), undone["undo_until"]) == (200, None)
    again = tablet.one(tablet.entry("undo", undoes=first["identifier"]))
    assert "undone before" in again["problems"][0]["words"]


def test_an_undo_may_wait_for_signal_together_with_its_entry(house: TankHouse, tablet: Tablet) -> None:
    saved = NOW - timedelta(hours=6)
    first = tablet.entry(lot="G1", n=2, saved_at=saved)
    answers = tablet.send(
        first, tablet.entry("undo", undoes=first["identifier"], saved_at=saved + 9 * MINUTE)
    )
    assert [one["outcome"] for one in answers] == ["sent", "sent"]
    assert house.held(house.gobies) == 200


def test_ten_minutes_later_the_registrar_takes_it_back(house: TankHouse, tablet: Tablet) -> None:
    import time_machine

    first = tablet.one(tablet.entry(lot="G1", n=2))
    later = NOW + 11 * MINUTE
    with time_machine.travel(later, tick=False):
        answer = tablet.one(tablet.entry("undo", undoes=first["identifier"], saved_at=later), sent_at=later)
    assert "the registrar takes event" in answer["problems"][0]["words"]
    assert house.held(house.gobies) == 198


def test_nobody_undoes_what_another_wrote_or_what_never_came(tablet: Tablet) -> None:
    first = tablet.one(tablet.entry(lot="G1", n=2))
    other = make_person(roles=["aquarist"])
    for undo in (
        tablet.entry("undo", undoes=first["identifier"], person=other.pk),
        tablet.entry("undo", undoes=str(uuid4())),
    ):
        assert tablet.one(undo)["outcome"] == "came back"


def test_a_note_is_undone_and_stays_readable(tablet: Tablet) -> None:
    note = tablet.one(tablet.entry("note", note="algae"))
    undone = tablet.one(tablet.entry("undo", undoes=note["identifier"]))
    assert (undone["outcome"], undone["event"]) == ("sent", None)
    assert Entry.objects.get(kind="note").undone_by.kind == "undo"


def doubled(answer: dict[str, Any]) -> bool:
    return "double" in {flag["kind"] for flag in answer["flags"]}


@pytest.mark.parametrize(
    ("change", "is_double"),
    [
        ({}, True),
        ({"note": "the same fish?"}, True),
        ({"saved_at": NOW + 10 * MINUTE}, True),
        ({"saved_at": NOW - 10 * MINUTE}, True),
        ({"saved_at": NOW - 11 * MINUTE}, False),
        ({"n": 3}, False),
        ({"lot": "R1"}, False),
        ({"kind": "missing"}, False),
    ],
)
def test_the_same_of_the_same_within_ten_minutes_is_kept_and_suspected(
    house: TankHouse, tablet: Tablet, change: dict[str, Any], is_double: bool
) -> None:
    tablet.one(tablet.entry(lot="G1", n=2))
    said: dict[str, Any] = {"kind": "died", "lot": "G1", "n": 2} | change
    sent_at = max(NOW, said.get("saved_at", NOW))
    import time_machine

    with time_machine.travel(sent_at, tick=False):
        answer = tablet.one(tablet.entry(said.pop("kind"), **said), sent_at=sent_at)
    assert doubled(answer) is is_double
    assert Event.objects.filter(pk=answer["event"]).exists()


def test_somebody_elses_death_of_the_same_number_is_no_double_at_entry(tablet: Tablet) -> None:
    tablet.one(tablet.entry(lot="G1", n=2))
    other = make_person(roles=["aquarist"])
    assert not doubled(tablet.one(tablet.entry(lot="G1", n=2, person=other.pk)))


def test_of_several_doubles_the_one_that_came_last_is_told(tablet: Tablet) -> None:
    early, late = NOW - 4 * MINUTE, NOW - 2 * MINUTE
    tablet.one(tablet.entry(lot="G1", n=2, saved_at=late))
    tablet.one(tablet.entry(lot="G1", n=2, saved_at=early))
    other = make_person(roles=["aquarist"])
    tablet.one(tablet.entry(lot="G1", n=2, person=other.pk, saved_at=late))
    (flag,) = (one for one in tablet.one(tablet.entry(lot="G1", n=2))["flags"] if one["kind"] == "double")
    said_at = early.astimezone(timezone.get_current_timezone())
    assert flag["words"] == f"looks like the entry of {said_at:%H:%M}: both are kept"


def test_what_was_undone_has_no_double(tablet: Tablet) -> None:
    first = tablet.one(tablet.entry(lot="G1", n=2))
    assert doubled(tablet.one(tablet.entry(lot="G1", n=2)))
    tablet.one(tablet.entry("undo", undoes=first["identifier"]))
    assert not Flag.objects.filter(kind="double", settled_at=None).exists()


def test_a_sensor_sends_readings_in_its_own_name_and_nothing_else(house: TankHouse, tablet: Tablet) -> None:
    probe = make_device(name="Probe 1", scope=DeviceScope.READINGS, by=house.registrar, now=NOW)
    tablet.token = give_token(probe, by=house.registrar, now=NOW).token
    reading = {"quantity": "temperature", "value": 11.4, "unit": "°C"}
    answers = tablet.send(tablet.entry("reading", reading=reading, person=None), tablet.entry(lot="G1", n=1))
    assert [one["outcome"] for one in answers] == ["sent", "came back"]
    assert (Reading.objects.get().device, Reading.objects.get().by) == ("Probe 1", None)
    assert (
        tablet.client.get(
            "/api/v1/tank-side", headers={"Authorization": f"Bearer {tablet.token}"}
        ).status_code
        == 403
    )


def test_a_device_put_out_keeps_its_entries_and_sends_them_when_it_is_back(
    house: TankHouse, tablet: Tablet
) -> None:
    entry = tablet.entry(lot="G1", n=1)
    revoke(tablet.device, by=house.registrar, now=NOW)
    refused = tablet.post("entries", {"sent_at": NOW.isoformat(), "entries": [entry]})
    assert (refused.status_code, refused.json()["reason"]) == (401, "revoked")
    assert not Entry.objects.exists()
    from inventory.people.actions.devices import enrol, offer_code

    tablet.token = enrol(code=offer_code(tablet.device, by=house.registrar, now=NOW), now=NOW).token
    assert tablet.one(entry)["outcome"] == "sent"


def test_queries_grow_with_the_entries_and_with_nothing_else(house: TankHouse, tablet: Tablet) -> None:
    def cost(n: int) -> int:
        at = NOW - timedelta(days=1)
        entries = [tablet.entry("born", lot="G1", n=1, saved_at=at - 20 * k * MINUTE) for k in range(n)]
        with CaptureQueriesContext(connection) as captured:
            tablet.send(*entries)
        return len(captured)

    cost(3)
    ten, twenty = cost(10), cost(20)
    each, rest = divmod(twenty - ten, 10)
    assert rest == 0
    assert cost(30) == twenty + 10 * each
    assert each <= 45
