"""What was found of an event afterwards, of which the book itself knows nothing.

A room above registers, when Django is ready, a function that answers it::

    found_later.ask(found_of_events)

in a constant number of queries. The event stays as it was stated.
"""

from collections.abc import Callable, Collection, Mapping, Sequence

# Numbers of events; of each that has any, what was found in words, the newest first.
Finds = Callable[[Collection[int]], Mapping[int, Sequence[str]]]

_ASKED: list[Finds] = []


def ask(finds: Finds) -> None:
    """Registers ``finds``."""
    if finds not in _ASKED:
        _ASKED.append(finds)


def of_events(events: Collection[int]) -> dict[int, list[str]]:
    """What was found of each event of which anything was."""
    found: dict[int, list[str]] = {}
    for finds in _ASKED:
        for event, words in finds(events).items():
            found.setdefault(event, []).extend(words)
    return found
