"""Word of an introduced species by e-mail: to the permit officers, once, and nothing waits for it.

*Common practice, no source*: who has to report a find hears of it at once, not when they next open the page.
"""

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.core.management import CommandError, call_command

from inventory.book.rules.found_as import FoundAs
from inventory.people.models import Person
from inventory.tankside.actions.post import send_due, waiting
from inventory.tankside.models import FindingPost, UnlistedFinding

from ..factories import NOW, make_person
from .conftest import Tablet, TankHouse
from .test_alarms import Failing, Hanging
from .test_pages import signed_in
from .test_unlisted import say, written


@pytest.fixture
def officers(house: TankHouse, settings: Any) -> list[Person]:
    """A house with e-mail and two permit officers; of two others one has no address and one has left."""
    settings.EMAIL_HOST = "mail.example"
    made = []
    for name, role, left in (
        ("Peregrine", "permit_officer", None),
        ("Quill", "permit_officer", None),
        ("Corin", "permit_officer", NOW.date()),
        ("Osric", "curator", None),
    ):
        person = make_person(name, roles=[role], left_on=left)
        assert person.user is not None
        person.user.email = f"{name.lower()}@house.example"
        person.user.save()
        made.append(person)
    make_person("Nameless", roles=["permit_officer"])
    return made


def test_the_permit_officers_get_it_by_e_mail_once(
    tablet: Tablet, house: TankHouse, officers: list[Person]
) -> None:
    say(house, written(tablet), FoundAs.INTRODUCED)
    assert mail.outbox == []
    assert [send_due(now=NOW), send_due(now=NOW)] == [1, 0]
    (message,) = mail.outbox
    assert message.to == ["peregrine@house.example", "quill@house.example"]
    assert message.subject == "Test Aquarium: Pacific oyster: introduced species in E02 Kelp Hall"
    for words in ("by its shell", "Said by Maren", "Written in at the tank by Sunniva", "check local rules"):
        assert words in message.body
    assert (FindingPost.objects.get().mailed_at, waiting()) == (NOW, 0)


@pytest.mark.parametrize("found_as", [one for one in FoundAs if one is not FoundAs.INTRODUCED])
def test_what_concerns_no_permit_officer_is_not_sent(
    tablet: Tablet, house: TankHouse, officers: list[Person], found_as: FoundAs
) -> None:
    say(house, written(tablet), found_as)
    assert send_due(now=NOW) == 0
    assert not FindingPost.objects.exists()


def test_who_was_told_of_one_hears_by_e_mail_that_it_was_none(
    tablet: Tablet, house: TankHouse, officers: list[Person]
) -> None:
    first = say(house, written(tablet), FoundAs.INTRODUCED)
    send_due(now=NOW)
    say(house, first.entry, FoundAs.SETTLED, name="flat oyster", after=first)
    send_due(now=NOW)
    assert [one.subject.split(": ", 1)[1] for one in mail.outbox] == [
        "Pacific oyster: introduced species in E02 Kelp Hall",
        "flat oyster: settled from sea water in E02 Kelp Hall",
    ]
    assert "Before it was said: Pacific oyster: introduced species" in mail.outbox[1].body


def test_what_was_said_anew_before_it_went_out_is_not_sent_and_the_new_word_is(
    tablet: Tablet, house: TankHouse, officers: list[Person]
) -> None:
    first = say(house, written(tablet), FoundAs.INTRODUCED)
    say(house, first.entry, FoundAs.SETTLED, name="flat oyster", after=first)
    assert send_due(now=NOW) == 2
    assert [one.subject.split(": ", 1)[1] for one in mail.outbox] == [
        "flat oyster: settled from sea water in E02 Kelp Hall"
    ]
    assert FindingPost.objects.get(finding=first).mail_trouble == "said anew before it went out"


def test_a_failed_sending_is_seen_and_tried_again(
    tablet: Tablet, house: TankHouse, officers: list[Person], settings: Any
) -> None:
    settings.EMAIL_BACKEND = f"{Failing.__module__}.Failing"
    Failing.fails, Failing.sent = 2, []
    finding = say(house, written(tablet), FoundAs.INTRODUCED)
    send_due(now=NOW)
    pages = [
        signed_in(house.registrar).get(url) for url in ("/on-no-list", f"/on-no-list/{finding.entry_id}")
    ]
    assert ["not yet: ConnectionRefusedError, 1 tried" in page.text for page in pages] == [True, True]
    assert (send_due(now=NOW), waiting()) == (0, 1)
    for minutes in (1, 6):
        send_due(now=NOW + timedelta(minutes=minutes))
    post = FindingPost.objects.get()
    assert (len(Failing.sent), post.tries, post.mail_trouble) == (1, 3, "")
    assert post.mailed_at == NOW + timedelta(minutes=6)


@pytest.mark.parametrize(
    ("host", "trouble"),
    [("", "no e-mail is set up for this house"), ("mail.example", "no permit officer has an e-mail address")],
)
def test_what_cannot_be_sent_says_why_on_the_page(
    tablet: Tablet, house: TankHouse, settings: Any, host: str, trouble: str
) -> None:
    settings.EMAIL_HOST = host
    say(house, written(tablet), FoundAs.INTRODUCED)
    send_due(now=NOW)
    assert f"not sent: {trouble}" in signed_in(house.registrar).get("/on-no-list").text
    assert waiting() == 0


def test_two_who_send_at_once_send_it_once(tablet: Tablet, house: TankHouse, officers: list[Person]) -> None:
    say(house, written(tablet), FoundAs.INTRODUCED)
    FindingPost.objects.update(next_try_at=NOW + timedelta(minutes=5), tries=1)  # the other one has it
    assert send_due(now=NOW) == 0
    assert mail.outbox == []


def test_the_command_carries_it_with_the_alarms(
    tablet: Tablet, house: TankHouse, officers: list[Person], settings: Any, capsys: Any
) -> None:
    tablet.one(tablet.entry(lot="R2", n=1))
    finding = say(house, written(tablet), FoundAs.INTRODUCED)
    call_command("send_alarms")
    assert "2 tried, 0 wait" in capsys.readouterr().err
    settings.EMAIL_BACKEND = f"{Failing.__module__}.Failing"
    Failing.fails = 1
    say(house, finding.entry, FoundAs.MOVED, after=finding)
    with pytest.raises(CommandError) as refused:
        call_command("send_alarms")
    assert refused.value.returncode == 1


@pytest.mark.django_db(transaction=True)
def test_the_answer_is_kept_while_the_mail_server_hangs(
    transactional_db: None, tablet: Tablet, house: TankHouse, officers: list[Person], settings: Any
) -> None:
    """The post has begun and is not done when the registrar has the page."""
    entry = written(tablet)
    settings.EMAIL_BACKEND = f"{Hanging.__module__}.Hanging"
    settings.ALARM_POST_IN_BACKGROUND = True
    Hanging.asked.clear()
    Hanging.let_go.clear()
    said = {"found_as": "introduced", "name": "Pacific oyster", "note": "by its shell"}
    try:
        assert signed_in(house.registrar).post(f"/on-no-list/{entry.pk}", said).status_code == 302
        assert Hanging.asked.wait(30)
        assert FindingPost.objects.get().mailed_at is None
        assert UnlistedFinding.objects.get().found_by == house.registrar
    finally:
        Hanging.let_go.set()
        for thread in threading.enumerate():
            if thread.name == "alarm post":
                thread.join(30)
    assert FindingPost.objects.get().mailed_at is not None


@pytest.mark.django_db(transaction=True)
def test_an_answer_that_is_rolled_back_sends_nothing(
    transactional_db: None,
    tablet: Tablet,
    house: TankHouse,
    officers: list[Person],
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    settings.ALARM_POST_IN_BACKGROUND = True
    started: list[int] = []
    monkeypatch.setattr("inventory.tankside.actions.post._start", lambda: started.append(1))
    entry = written(tablet)

    def broken() -> None:
        raise RuntimeError("after the answer was kept")

    with monkeypatch.context() as patch:
        patch.setattr("inventory.tankside.actions.unlisted.send_soon", broken)
        with pytest.raises(RuntimeError):
            say(house, entry, FoundAs.INTRODUCED)
    assert (started, FindingPost.objects.count(), UnlistedFinding.objects.count()) == ([], 0, 0)
    say(house, entry, FoundAs.INTRODUCED)
    assert (started, FindingPost.objects.count()) == ([1], 1)
