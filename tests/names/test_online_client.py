"""The client: every end is a state with a sentence, politeness is kept, nothing waits for real."""

import importlib
import inspect
import subprocess
import sys
from datetime import UTC, datetime
from typing import Any

import pytest
import requests

from inventory.names.rules.question import Question, question_for
from inventory.names.rules.reply import LONGEST_PAUSE, State, in_words, retry_after, wait_before

from . import online_answers as written
from .online_service import (
    CHECKLIST,
    JSON,
    Clock,
    Service,
    client,
    replace_network,
    replace_service,
    response,
)


def question(typed: str = "Gadus morhua") -> Question:
    asked = question_for(typed, checklist=CHECKLIST)
    assert asked is not None
    return asked


def test_the_name_is_asked_with_kingdom_rank_checklist_and_time_out(monkeypatch: pytest.MonkeyPatch) -> None:
    service = replace_service(monkeypatch, written.ACCEPTED)
    reply = client(Clock(), timeout=7).ask(question())
    assert (reply.state, reply.requests) == (State.ANSWERED, 1)
    (asked,) = service.asked
    assert asked["url"].endswith("/v2/species/match")
    assert {key: value for key, value in asked.items() if value is not None} == {
        "url": asked["url"], "scientificName": "Gadus morhua", "taxonRank": "SPECIES", "kingdom": "Animalia",
        "checklistKey": CHECKLIST, "verbose": "true", "timeout": (3.05, 7),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("end", "state", "what", "requests_sent"),
    [
        (requests.ReadTimeout(), State.NO_ANSWER, "did not answer within 10 seconds", 3),
        (requests.ConnectTimeout(), State.NO_ANSWER, "did not answer within", 3),
        (requests.ConnectionError(), State.OFFLINE, "no way to the network", 3),
        (requests.exceptions.ProxyError(), State.OFFLINE, "no way to the network", 3),
        (requests.exceptions.SSLError(), State.OFFLINE, "No secure connection", 1),
        (requests.exceptions.ChunkedEncodingError(), State.NO_ANSWER, "broke off", 3),
        (requests.TooManyRedirects(), State.UNREADABLE, "TooManyRedirects", 1),
        (requests.HTTPError(response=None), State.UNREADABLE, "without a status", 1),
        (ValueError("no json"), State.UNREADABLE, "cannot be read", 1),
        (KeyError("content-type"), State.UNREADABLE, "cannot be read", 1),
        (RecursionError(), State.UNREADABLE, "cannot be read", 1),
        (["what"], State.UNREADABLE, "a list", 1),
        (None, State.UNREADABLE, "nothing", 1),
        ({"diagnostics": {"matchType": "PERFECT"}}, State.UNREADABLE, "PERFECT", 1),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else None,
)
def test_every_end_is_a_state_and_a_sentence(
    end: Any, state: State, what: str, requests_sent: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    service = replace_service(monkeypatch, end)
    reply = client(Clock()).ask(question())
    assert (reply.state, reply.answer, reply.requests) == (state, None, requests_sent)
    assert what in reply.sentence
    assert len(service.asked) == requests_sent


HTML = b"<html><body>Please sign in to the network</body></html>"


@pytest.mark.parametrize(
    ("answered", "state", "what"),
    [
        (response(200, HTML, Content_Type="text/html"), State.UNREADABLE, "NoResultException"),
        (response(200, HTML, Content_Type=JSON), State.UNREADABLE, "JSONDecodeError"),
        (response(200, written.ACCEPTED), State.UNREADABLE, "KeyError"),
        (response(200, b"", Content_Type=JSON), State.UNREADABLE, "JSONDecodeError"),
        (response(200, b"\xff\xfe", Content_Type=JSON), State.UNREADABLE, "cannot be read"),
        (response(200, b'{"diagnostics": {}}', Content_Type=JSON), State.UNREADABLE, "no matchType"),
        (response(400, HTML, Content_Type="text/html"), State.REFUSED, "status 400"),
        (response(403, HTML), State.REFUSED, "status 403"),
        (response(404, HTML), State.REFUSED, "status 404"),
        (response(429, HTML), State.REFUSED, "fewer requests"),
        (response(500, HTML), State.NO_ANSWER, "in trouble (status 500)"),
        (response(503, HTML), State.NO_ANSWER, "in trouble (status 503)"),
    ],
)
def test_pages_and_errors_read_by_the_real_library_end_in_a_state(
    answered: requests.Response, state: State, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    replace_network(monkeypatch, answered)
    reply = client(Clock()).ask(question())
    assert (reply.state, reply.answer) == (state, None)
    assert what in reply.sentence


def test_a_good_answer_goes_through_the_real_library(monkeypatch: pytest.MonkeyPatch) -> None:
    replace_network(monkeypatch, response(200, written.ACCEPTED, Content_Type=JSON))
    assert client(Clock()).ask(question()).state is State.ANSWERED


def test_a_passing_trouble_is_tried_again_with_growing_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    service = replace_service(
        monkeypatch, requests.ReadTimeout(), requests.ConnectionError(), written.ACCEPTED
    )
    clock = Clock()
    reply = client(clock).ask(question())
    assert (reply.state, reply.requests, len(service.asked)) == (State.ANSWERED, 3, 3)
    assert clock.slept == [wait_before(1), wait_before(2)] == [2, 4]


def test_tries_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    service = replace_service(monkeypatch, requests.ReadTimeout())
    clock = Clock()
    assert client(clock, tries=5).ask(question()).requests == 5
    assert (len(service.asked), sum(clock.slept)) == (5, 2 + 4 + 8 + 16)


def test_retry_after_in_seconds_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    replace_network(
        monkeypatch, response(429, Retry_After="17"), response(200, written.ACCEPTED, Content_Type=JSON)
    )
    clock = Clock()
    assert client(clock).ask(question()).state is State.ANSWERED
    assert clock.slept == [17]


def test_retry_after_as_a_date_is_measured_by_the_services_own_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The demo house lives on another day; its clock must not make the wait longer or shorter."""
    busy = response(503, Retry_After="Fri, 31 Dec 1999 23:59:59 GMT", Date="Fri, 31 Dec 1999 23:59:29 GMT")
    replace_network(monkeypatch, busy, response(200, written.ACCEPTED, Content_Type=JSON))
    clock = Clock()
    assert client(clock).ask(question()).state is State.ANSWERED
    assert clock.slept == [30]


def test_a_long_retry_after_ends_the_attempt_and_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    replace_network(monkeypatch, response(429, Retry_After="3600"))
    clock = Clock()
    reply = client(clock).ask(question())
    assert (reply.state, reply.requests, reply.pause, reply.stop) == (State.REFUSED, 1, 3600, True)
    assert "left alone for 1 hour" in reply.sentence
    assert clock.slept == []


def test_requests_keep_their_distance(monkeypatch: pytest.MonkeyPatch) -> None:
    replace_service(monkeypatch, written.ACCEPTED)
    clock = Clock()
    gbif = client(clock, between=5)
    gbif.ask(question())
    clock.pass_(seconds=2)
    gbif.ask(question())
    clock.pass_(seconds=50)
    gbif.ask(question())
    clock.pass_(days=-1)
    gbif.ask(question())
    assert clock.slept == [3, 5]


def test_switched_off_nothing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    service = replace_service(monkeypatch, written.ACCEPTED)
    reply = client(Clock(), is_on=False).ask(question())
    assert (reply.state, service.asked) == (State.OFFLINE, [])
    assert "switched off" in reply.sentence


# RFC 9110, HTTP Semantics, 10.2.3 gives these two values as its examples of Retry-After; the other
# two forms of a date are those of 5.6.7, which a recipient must read too.
THE_DATE = datetime(1999, 12, 31, 23, 59, 59, tzinfo=UTC)


@pytest.mark.parametrize(
    ("header", "date", "seconds"),
    [
        ("120", None, 120),
        ("Fri, 31 Dec 1999 23:59:59 GMT", None, 59),
        ("Friday, 31-Dec-99 23:59:59 GMT", None, 59),
        ("Fri Dec 31 23:59:59 1999", None, 59),
        ("Fri, 31 Dec 1999 23:59:59 GMT", "Fri, 31 Dec 1999 23:59:50 GMT", 9),
        ("Fri, 31 Dec 1999 23:59:59 GMT", "nonsense", 59),
        ("Thu, 30 Dec 1999 23:59:59 GMT", None, 0),
        ("0", None, 0),
        ("999999999999999999", None, LONGEST_PAUSE),
        ("Fri, 31 Dec 2999 23:59:59 GMT", None, LONGEST_PAUSE),
        ("-5", None, None),
        ("²", None, None),
        ("soon", None, None),
        ("", None, None),
        (None, None, None),
    ],
)
def test_retry_after_is_read_as_the_standard_says(
    header: str | None, date: str | None, seconds: float | None
) -> None:
    now = THE_DATE.replace(second=0)
    assert retry_after(header, date=date, now=now) == seconds


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (-3, "0 seconds"),
        (1, "1 second"),
        (59.9, "59 seconds"),
        (60, "1 minute"),
        (7300, "2 hours"),
        (86_400 * 12.5, "12 days"),
    ],
)
def test_spans_are_said_in_words(seconds: float, words: str) -> None:
    assert in_words(seconds) == words


def test_the_stub_takes_what_the_real_function_takes() -> None:
    """A stub that drifts from the library would prove nothing."""
    real = importlib.import_module("pygbif.gbifutils").gbif_GET
    assert importlib.import_module("pygbif.species.name_backbone").gbif_GET is real
    stub = inspect.signature(Service(None).gbif_GET)
    assert [(one.name, one.kind) for one in stub.parameters.values()] == [
        (one.name, one.kind) for one in inspect.signature(real).parameters.values()
    ]


def test_the_library_takes_every_argument_that_is_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    """pygbif swallows unknown words into kwargs and hands them to requests, which would fail."""
    full = question()
    known = type(full.classification)("Animalia", "Chordata", "Teleostei", "Gadiformes", "Gadidae", "Gadus")
    service = replace_service(monkeypatch, written.ACCEPTED)
    client(Clock()).ask(Question(full.name, full.rank, known, full.checklist))
    (asked,) = service.asked
    assert (asked["class"], asked["order"], asked["family"]) == ("Teleostei", "Gadiformes", "Gadidae")
    own = {
        "url",
        "timeout",
        *inspect.signature(importlib.import_module("pygbif").species.name_backbone).parameters,
    }
    assert {name for name in asked if name not in own} == {"class"}


def test_neither_the_site_nor_the_client_imports_pygbif_before_a_name_is_asked() -> None:
    code = (
        "import os, sys, django\n"
        "os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings'\n"
        "django.setup()\n"
        "import inventory.site.urls\n"
        "assert 'inventory.names.online.client' not in sys.modules, 'a page could ask'\n"
        "import inventory.names.online.client\n"
        "assert 'pygbif' not in sys.modules\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=False, capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stderr) == (0, "")
