"""The head of the hash chain: one line that proves everything before it.

Printed and signed on paper, or sent elsewhere, it shows later whether anything up to it was altered:
``verify --against``.
"""

from ..models import Event
from ..rules.chain import GENESIS


def head_of_chain() -> str:
    """The last event's number and hash, ``12345:ab12...``; number 0 before the first event."""
    last = Event.objects.order_by("-id").values_list("id", "hash").first()
    return "{}:{}".format(*(last or (0, GENESIS)))


def against(head: str) -> str:
    """Why the book does not continue from ``head``, "" when it does. Raises :class:`ValueError`.

    Says nothing of the hashes themselves: ``verify`` recomputes those.
    """
    number, _, told = head.strip().partition(":")
    if not number.isdecimal() or len(told) != len(GENESIS):
        raise ValueError(
            f"{head!r} is no head of the chain; expected the event's number, a colon and its hash"
        )
    found = Event.objects.filter(pk=int(number)).values_list("hash", flat=True).first()
    if int(number) == 0:
        found = GENESIS
    if found is None:
        return f"event {number} is not in the book: what was entered up to it is lost"
    if found != told.lower():
        return f"event {number} has the hash {found}: it, or something before it, was altered"
    return ""
