"""The background check, the kept answers, and what the pages make of them. No page asks GBIF."""

from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
import requests
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries, Settings

from inventory.names.actions.online import Run, ask_later, check_online, clear
from inventory.names.actions.review import check_many, review
from inventory.names.models import (
    BackboneRelease,
    DecisionKind,
    NameCheck,
    NameDecision,
    OnlineLookup,
    OnlinePause,
    OnlineRequest,
    RangeCaution,
)
from inventory.names.online.manners import SettingError, manners
from inventory.names.queries.online import OnlineAnswer, due, is_wanted, latest_answer, latest_answers
from inventory.names.rules.reply import State
from inventory.people.rules.roles import Role
from tests.factories import NOW, make_person

from . import online_answers as written
from .online_answers import answer, usage
from .online_service import Clock, Service, client, replace_network, replace_service, response

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]

PERCH = answer("EXACT", usage("Gadus alter", "Bell, 1902"))


def queued(*names: str) -> list[NameCheck]:
    """Names in the queue, each asked a minute after the one before."""
    for minute, name in enumerate(names):
        check_many([name], now=NOW - timedelta(hours=1) + timedelta(minutes=minute))
    return [NameCheck.objects.filter(typed=name).latest("id") for name in names]


def checked(clock: Clock, *, limit: int = 100, **how: Any) -> Run:
    gbif = client(clock, **how)
    return check_online(lambda line: gbif.ask(line.question), clock=clock, limit=limit, cache_days=90)


def known(check: NameCheck) -> OnlineAnswer:
    found = latest_answer(check)
    assert found is not None
    return found


@pytest.fixture
def clock() -> Clock:
    return Clock()


def test_the_oldest_names_are_asked_first_up_to_the_limit(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    queued("Gadus alter", "Gadus beta", "Gadus gamma")
    service = replace_service(monkeypatch, PERCH)
    run = checked(clock, limit=2)
    assert service.names == ["Gadus alter", "Gadus beta"]
    assert ([one.check.typed for one in run.checked], run.stopped) == (service.names, "")
    assert checked(clock, limit=2).checked[0].check.typed == "Gadus gamma"
    assert checked(clock).checked == []


def test_an_answer_is_kept_and_used_before_asking(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same name on two lines is asked once: for the other line it comes from the cache."""
    (first, other) = queued("Gadus alter", "Gadus  cf. alter")
    service = replace_service(monkeypatch, PERCH)
    checked(clock)
    assert service.names == ["Gadus alter"]
    clock.pass_(minutes=3)
    assert [known(check).origin.value for check in (first, other)] == ["service", "cache"]
    assert known(first).said(clock()) == (
        "From the service (GBIF, Catalogue of Life extended release), answered 3 minutes ago."
    )
    assert [known(check).verdict.verdict.value for check in (first, other)] == ["accepted", "qualified"]  # type: ignore[union-attr]
    (later,) = queued("Gadus alter juv.")
    assert known(later).origin.value == "cache"
    assert checked(clock).checked == []


def test_an_old_answer_is_asked_again_and_stands_until_then(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    service = replace_service(monkeypatch, PERCH, requests.ReadTimeout())
    checked(clock)
    assert known(check).is_fresh(clock.moment)
    clock.pass_(days=90)
    assert not known(check).is_fresh(clock.moment)
    assert "old enough to be asked again" in known(check).said(clock.moment)
    checked(clock, tries=1)
    assert len(service.asked) == 2
    after = known(check)
    assert (after.state, after.verdict is not None) == (State.NO_ANSWER, True)
    assert "asked again 0 seconds ago without success" in after.said(clock.moment)
    assert not after.is_fresh(clock.moment)


@pytest.mark.parametrize(
    "end", [requests.ReadTimeout(), {"matchType": "?"}, requests.HTTPError(response=None)]
)
def test_after_a_failure_a_name_rests_before_it_is_asked_again(
    end: Any, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    replace_service(monkeypatch, end, PERCH)
    checked(clock, tries=1)
    assert (known(check).verdict, known(check).is_fresh(clock.moment)) == (None, False)
    assert "No answer yet; last tried 0 seconds ago." in known(check).said(clock.moment)
    assert due(now=clock.moment, limit=9) == []
    clock.pass_(days=1)
    checked(clock)
    assert known(check).state is State.ANSWERED


def test_without_a_network_the_check_stops_at_the_first_name(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    queued("Gadus alter", "Gadus beta")
    service = replace_service(monkeypatch, requests.ConnectionError())
    run = checked(clock)
    assert set(service.names) == {"Gadus alter"}
    assert "no way to the network" in run.stopped


def test_three_names_without_an_answer_end_the_check(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    queued("Gadus alter", "Gadus beta", "Gadus gamma", "Gadus delta")
    service = replace_service(monkeypatch, requests.ReadTimeout())
    assert "did not answer" in checked(clock, tries=1).stopped
    assert len(service.asked) == 3


def test_a_service_that_wants_to_be_left_alone_is_by_later_checks_too(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    queued("Gadus alter", "Gadus beta")
    replace_network(monkeypatch, response(429, Retry_After="7200"))
    assert "left alone for 2 hours" in checked(clock).stopped
    service = replace_service(monkeypatch, PERCH)
    clock.pass_(hours=1)
    assert "nothing was asked" in checked(clock).stopped
    assert service.asked == []
    clock.pass_(hours=1)
    checked(clock)
    assert service.names == ["Gadus beta"]


def test_two_checks_do_not_run_at_once_and_a_killed_one_does_not_block_for_ever(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    queued("Gadus alter")
    service = replace_service(monkeypatch, PERCH)
    OnlinePause.objects.create(pk=1, busy_until=clock.moment + timedelta(minutes=30))
    assert "Another check is running" in checked(clock).stopped
    assert service.asked == []
    clock.pass_(minutes=31)
    assert len(checked(clock).checked) == 1
    assert OnlinePause.objects.get().busy_until is None


def test_a_check_that_breaks_gives_its_turn_back(clock: Clock) -> None:
    queued("Gadus alter")

    def broken(line: Any) -> Any:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        check_online(broken, clock=clock, limit=1, cache_days=1)
    assert OnlinePause.objects.get().busy_until is None


def test_a_wanted_name_goes_first_and_is_told_so(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    (_, wanted) = queued("Gadus alter", "Gadus beta")
    by = make_person("Maren")
    assert "the next background check asks GBIF" in ask_later(wanted, by=by, now=NOW)
    ask_later(wanted, by=by, now=NOW)
    assert (is_wanted(wanted), OnlineRequest.objects.count()) == (True, 1)
    service = replace_service(monkeypatch, PERCH)
    checked(clock, limit=1)
    assert (service.names, is_wanted(wanted)) == (["Gadus beta"], False)
    assert "GBIF's answer is at hand" in ask_later(wanted, by=by, now=clock.moment)
    assert not is_wanted(wanted)


def test_a_wanted_name_stays_wanted_until_there_is_an_answer(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    ask_later(check, by=make_person(), now=NOW)
    replace_service(monkeypatch, requests.ReadTimeout(), {}, PERCH)
    checked(clock, tries=1)
    assert is_wanted(check)
    checked(clock, tries=1)
    assert (is_wanted(check), known(check).state) == (False, State.UNREADABLE)


def test_a_wanted_name_that_another_check_answered_meanwhile_is_not_asked_again(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    service = replace_service(monkeypatch, PERCH)
    checked(clock)
    OnlineRequest.objects.create(check_of=check, wanted_at=NOW, wanted_by=make_person())
    assert (checked(clock).checked, len(service.asked), is_wanted(check)) == ([], 1, False)


def test_a_wanted_name_that_was_decided_meanwhile_is_not_asked(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    by = make_person()
    ask_later(check, by=by, now=NOW)
    review(check.pk, kind=DecisionKind.KEEP_AS_TYPED, by=by, now=NOW, why="so it is")
    service = replace_service(monkeypatch, PERCH)
    assert checked(clock).checked == []
    assert (service.asked, OnlineRequest.objects.count()) == ([], 0)
    check.refresh_from_db()
    assert "decided already" in ask_later(check, by=by, now=NOW)


def test_hybrids_and_common_names_are_not_asked(backbone: BackboneRelease, clock: Clock) -> None:
    (hybrid, common) = queued("Gadus morhua x Gadus ogac", "dogfish")
    assert due(now=NOW, limit=9) == []
    assert "not one scientific name" in ask_later(hybrid, by=make_person(), now=NOW)
    assert latest_answer(hybrid) is None
    ask_later(common, by=make_person(), now=NOW)
    assert [line.check for line in due(now=NOW, limit=9)] == [common]


def test_a_caution_of_the_house_speaks_against_the_service(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ "Maja squinado" from this sea is never a plain accepted, also by GBIF's word."""
    (check,) = queued("Maja squinado")
    RangeCaution.objects.create(
        typed_name="Maja squinado",
        right_name="Maja brachydactyla",
        region="north-east Atlantic",
        reason="split",
    )
    replace_service(monkeypatch, answer("EXACT", usage("Maja squinado", "(Herbst, 1788)")))
    checked(clock)
    verdict = known(check).verdict
    assert verdict is not None
    assert (verdict.verdict.value, verdict.name) == ("misapplied", "")


def test_the_answer_of_another_checklist_is_not_taken(
    clock: Clock, monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    (check,) = queued("Gadus alter")
    replace_service(monkeypatch, PERCH)
    checked(clock)
    settings.GBIF = {**settings.GBIF, "TIDETALLY_GBIF_CHECKLIST": "d7dddbf4-2cf0-4f39-9b2a-bb099caae36c"}
    assert latest_answer(check) is None


def test_a_kept_answer_that_this_version_cannot_read_is_none(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    replace_service(monkeypatch, PERCH)
    checked(clock)
    OnlineLookup.objects.update(answer={"shape": "of old"})
    assert (known(check).verdict, known(check).is_fresh(clock.moment)) == (None, False)


def test_the_queries_do_not_grow_with_the_queue(
    clock: Clock, monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    checks = queued(*(f"Gadus alter{letter}" for letter in "abcdefghijkl"))
    replace_service(monkeypatch, PERCH)
    checked(clock, limit=6)
    with django_assert_num_queries(2):
        assert len(due(now=clock.moment, limit=99)) == 6
    with django_assert_num_queries(2):
        assert latest_answer(checks[0])
    with django_assert_num_queries(2):
        assert set(latest_answers(checks)) == {check.pk for check in checks[:6]}


def test_clearing_removes_answers_and_nothing_else(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    (check, wanted) = queued("Gadus alter", "Gadus beta")
    replace_service(monkeypatch, PERCH)
    checked(clock, limit=1)
    ask_later(wanted, by=make_person(), now=NOW)
    assert clear(now=clock.moment, expired_only=True) == 0
    assert clear(now=clock.moment + timedelta(days=91), expired_only=True) == 1
    assert (latest_answer(check), NameCheck.objects.count(), is_wanted(wanted)) == (None, 2, True)


# The command.


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The command's waits, written down and not waited."""
    waits: list[float] = []
    monkeypatch.setattr("time.sleep", waits.append)
    return waits


def command(*words: str) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("online", *words, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_the_command_checks_and_says_what_came_of_each_name(
    monkeypatch: pytest.MonkeyPatch, quick: list[float]
) -> None:
    queued("Gadus alter", "Gadus beta")
    replace_service(monkeypatch, PERCH, written.NONE)
    out, err = command("check", "--format", "csv")
    lines = out.splitlines()
    assert lines[0] == "typed,state,verdict,name,origin,why"
    assert lines[1].startswith("Gadus alter,answered,accepted,Gadus alter,service,")
    assert lines[2].startswith("Gadus beta,answered,not_found,,service,")
    assert "2 names asked about" in err
    assert quick == [1]
    out, err = command("info", "--format", "csv")
    assert "Catalogue of Life extended release,answered,2,2,2026-10-06 09:00+01:00," in out
    assert "Names to ask about: 0." in err
    assert "2 kept answers removed" in command("clear")[1]
    assert not OnlineLookup.objects.exists()


def test_a_check_that_cannot_reach_the_service_fails_with_its_reason(
    monkeypatch: pytest.MonkeyPatch, quick: list[float]
) -> None:
    queued("Gadus alter")
    replace_service(monkeypatch, requests.ConnectionError())
    with pytest.raises(CommandError, match="no way to the network") as failed:
        command("check")
    assert failed.value.returncode == 1


def test_watching_checks_again_and_again_until_it_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    queued("Gadus alter")
    service = replace_service(monkeypatch, requests.exceptions.SSLError(), PERCH)
    waits: list[float] = []

    def sleep(seconds: float) -> None:
        waits.append(seconds)
        if seconds == 600 and waits.count(600) == 2:
            raise KeyboardInterrupt
        OnlineLookup.objects.update(expires_at=NOW)

    monkeypatch.setattr("time.sleep", sleep)
    _, err = command("check", "--watch", "600")
    assert waits.count(600) == 2
    assert OnlineLookup.objects.get().state == State.ANSWERED
    assert len(service.asked) == 2
    assert "What was answered is kept" in err


def test_switched_off_the_command_says_so_and_asks_nothing(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    (check,) = queued("Gadus alter")
    settings.GBIF = {**settings.GBIF, "TIDETALLY_GBIF": "off"}
    service = replace_service(monkeypatch, PERCH)
    assert "switched off" in command("check")[1]
    assert service.asked == []
    assert "switched off" in ask_later(check, by=make_person(), now=NOW)


@pytest.mark.parametrize("words", [["--limit", "0"], ["--watch", "0"]])
def test_a_wrong_option_is_refused(words: list[str]) -> None:
    with pytest.raises(CommandError, match="Expected --limit of 1 or more") as failed:
        command("check", *words)
    assert failed.value.returncode == 2


@pytest.mark.parametrize(
    ("name", "value", "what"),
    [
        ("TIDETALLY_GBIF", "maybe", "expected on or off, found “maybe”"),
        ("TIDETALLY_GBIF_TRIES", "1.5", "expected a whole number"),
        ("TIDETALLY_GBIF_TRIES", "99", "from 1 to 10"),
        ("TIDETALLY_GBIF_TIMEOUT", "soon", "expected a number from 0.5 to 120, found “soon”"),
        ("TIDETALLY_GBIF_BETWEEN", "0", "from 0.2"),
        ("TIDETALLY_GBIF_CACHE_DAYS", "nan", "expected a number"),
    ],
)
def test_a_wrong_setting_is_named(name: str, value: str, what: str, settings: Settings) -> None:
    settings.GBIF = {**settings.GBIF, name: value}
    with pytest.raises(SettingError, match=f"{name}: .*{what}"):
        manners()
    with pytest.raises(CommandError, match=what):
        command("info")


# The page.


@pytest.fixture
def registrar() -> Client:
    browser = Client()
    person = make_person(roles=[Role.REGISTRAR.value], signs_in=True)
    assert person.user is not None
    browser.force_login(person.user)
    return browser


def test_the_button_only_puts_the_name_at_the_front(
    registrar: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    service: Service = replace_service(monkeypatch, PERCH)
    text = registrar.post(reverse("name_gbif", args=[check.pk]), follow=True).content.decode()
    assert "the next background check asks GBIF" in text
    assert (service.asked, is_wanted(check)) == ([], True)


def test_the_page_shows_the_answer_with_origin_and_age_and_decides_nothing(
    registrar: Client, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    (check,) = queued("Gadus alter")
    clock.pass_(hours=-2)
    replace_service(monkeypatch, PERCH)
    checked(clock)
    text = registrar.get(reverse("name_review", args=[check.pk])).content.decode()
    assert "Gadus alter" in text
    assert "From the service (GBIF, Catalogue of Life extended release), answered 2 hours ago." in text
    assert not NameDecision.objects.exists()
