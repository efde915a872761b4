"""The one client of GBIF's match service, through pygbif; the only module that imports it.

pygbif sends the request and nothing more: it has no retries, and what goes wrong comes out as
whatever exception it met. Here every end becomes a :class:`~inventory.names.rules.reply.Reply`.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from ..rules.answer import UnreadableAnswer, read_answer
from ..rules.question import Question
from ..rules.reply import LONGEST_WAIT, PASSING, Reply, State, in_words, retry_after, wait_before
from .manners import Manners

# Seconds to wait for a connection.
CONNECT = 3.05
_TOO_MANY = 429
SWITCHED_OFF = "Asking GBIF is switched off in this house (TIDETALLY_GBIF=off)."

_SILENT = "GBIF did not answer within {:g} seconds. It is asked again later."
_NOT_SECURE = (
    "No secure connection with GBIF can be made from here: look at the clock, the certificates and the "
    "proxy of this machine."
)
_NO_WAY = (
    "GBIF cannot be reached from here: there is no way to the network, or GBIF is down. It is asked again "
    "later."
)
_BROKEN_OFF = "GBIF's answer broke off. It is asked again later."

Clock = Callable[[], datetime]
Sleep = Callable[[float], None]


class Gbif:
    """Asks one name at a time, never faster than the manners allow.

    ``clock`` tells the time and ``sleep`` waits; both are given, so that tests do not wait.
    """

    def __init__(self, manners: Manners, *, clock: Clock, sleep: Sleep) -> None:
        self._manners = manners
        self._clock = clock
        self._sleep = sleep
        self._last: datetime | None = None

    def ask(self, question: Question) -> Reply:
        """The service's reply, after as many tries as the manners allow. Never raises for the network."""
        if not self._manners.is_on:
            return Reply(State.OFFLINE, SWITCHED_OFF, stop=True)
        for attempt in range(1, self._manners.tries + 1):
            self._keep_distance()
            reply, again = self._once(question, attempt)
            wait = wait_before(attempt) if reply.pause is None else reply.pause
            if not again or attempt == self._manners.tries or wait > LONGEST_WAIT:
                break
            self._sleep(wait)
        return reply

    def _keep_distance(self) -> None:
        now = self._clock()
        if self._last is not None:
            gone = (now - self._last).total_seconds()
            wait = self._manners.between - gone
            # A clock that was set back must not make us wait longer than the distance itself.
            if wait > 0:
                self._sleep(min(wait, self._manners.between))
        self._last = self._clock()

    def _once(self, question: Question, attempt: int) -> tuple[Reply, bool]:
        """One request, and whether another may end better."""
        # Importing pygbif costs 0.7 s and configures logging: only who asks pays.
        from pygbif import species  # type: ignore[import-untyped]

        try:
            data = species.name_backbone(**_arguments(question), timeout=(CONNECT, self._manners.timeout))
            return Reply(State.ANSWERED, "GBIF answered.", read_answer(data), attempt), False
        except Exception as error:
            # pygbif gives no list of what it raises (another content type, no JSON, no header ...): an
            # answer that it or we cannot take is no reason to end the whole check.
            return self._failed(error, attempt)

    def _failed(self, error: Exception, attempt: int) -> tuple[Reply, bool]:
        """What became of the request, by what was raised."""
        import requests

        if isinstance(error, requests.HTTPError):
            return self._refused(error.response, attempt)
        for kind, state, sentence, again in (
            (requests.Timeout, State.NO_ANSWER, _SILENT.format(self._manners.timeout), True),
            (requests.exceptions.SSLError, State.OFFLINE, _NOT_SECURE, False),
            (requests.ConnectionError, State.OFFLINE, _NO_WAY, True),
            (requests.exceptions.ChunkedEncodingError, State.NO_ANSWER, _BROKEN_OFF, True),
        ):
            if isinstance(error, kind):
                return Reply(state, sentence, requests=attempt, stop=state is State.OFFLINE), again
        what = str(error) if isinstance(error, UnreadableAnswer) else type(error).__name__
        return Reply(State.UNREADABLE, _unreadable(what), requests=attempt), False

    def _refused(self, response: Any, attempt: int) -> tuple[Reply, bool]:
        """An answer with an error's status: 429 and other refusals, or a service in trouble."""
        status = getattr(response, "status_code", None)
        if status is None:
            return Reply(State.UNREADABLE, _unreadable("an error without a status"), requests=attempt), False
        headers = response.headers
        pause = retry_after(headers.get("Retry-After"), date=headers.get("Date"), now=self._clock())
        again = status in PASSING
        state = State.NO_ANSWER if again and status != _TOO_MANY else State.REFUSED
        if status == _TOO_MANY:
            sentence = "GBIF asks for fewer requests (status 429)."
        elif again:
            sentence = f"GBIF is in trouble (status {status})."
        else:
            sentence = f"GBIF refused the question (status {status})."
        if pause is not None:
            sentence += f" It wants to be left alone for {in_words(pause)}."
        stop = status == _TOO_MANY or pause is not None
        return Reply(state, sentence, requests=attempt, pause=pause, stop=stop), again


def _arguments(question: Question) -> dict[str, Any]:
    """pygbif's arguments; what is not known is not said."""
    known = question.classification
    stated = {
        "scientificName": question.name,
        "taxonRank": question.rank,
        "kingdom": known.kingdom,
        "phylum": known.phylum,
        "class_": known.class_name,
        "order": known.order,
        "family": known.family,
        "checklistKey": question.checklist,
    }
    # verbose: with the other names that were considered, so that homonyms are seen.
    return {**{name: value for name, value in stated.items() if value}, "verbose": True}


def _unreadable(what: str) -> str:
    return f"GBIF's answer cannot be read ({what}). Nothing is taken from it."
