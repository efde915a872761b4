"""Questions about animals that other rooms have open, for who reports on them.

A census may still be asking where some animals are while a return says that they are alive. The permits
do not know of censuses: a room above registers, when Django is ready, a function that says which
questions are open about lots::

    questions.ask(questions_of_a_census)
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Question:
    """An open question about a lot: in words, without a number, and the page where it is answered."""

    lot: int
    words: str
    page: str
    about: tuple[str | int, ...]


Asks = Callable[[Collection[int]], Iterable[Question]]

_ASKED: list[Asks] = []


def ask(asks: Asks) -> None:
    """Registers ``asks``: it answers the open questions about the lots with these ids."""
    if asks not in _ASKED:
        _ASKED.append(asks)


def open_questions(lots: Collection[int]) -> list[Question]:
    """All open questions about these lots."""
    return [question for asks in _ASKED for question in asks(lots)] if lots else []
