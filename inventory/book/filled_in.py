"""What the form of an event is filled in with when somebody comes from a find: nothing is typed twice.

The book does not know of finds: a room above registers, when Django is ready, what it answers to a word
in the form's address::

    filled_in.ask("finding", values_of)

``values_of`` is told the value of that word and the places that are hidden from who asks, and answers values
by the form's fields; one that a field does not take is left out. Whoever has the form changes what they like
before it is sent.
"""

from collections.abc import Callable, Collection, Mapping

# What an address may fill in: never the identifier, and nothing that needs papers.
FIELDS = (
    *("unknown", "males", "females", "hermaphrodites", "stage"),
    *("place", "to_place", "day", "time", "note"),
)

Answers = Callable[[str, Collection[int]], Mapping[str, str]]

_ASKED: dict[str, Answers] = {}


def ask(word: str, answers: Answers) -> None:
    """Registers what answers ``word``."""
    _ASKED[word] = answers


def values(address: Mapping[str, str], *, hidden: Collection[int]) -> dict[str, str]:
    """Values by field for the words of an address; without one of them no query."""
    found: dict[str, str] = {}
    for word, answers in _ASKED.items():
        if asked := address.get(word):
            found.update(answers(asked, hidden))
    return {field: value for field, value in found.items() if field in FIELDS and value}
