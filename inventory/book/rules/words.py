"""How the book's codes are said to people. Pure words, for pages and sheets alike."""

from .kinds import EventKind
from .mfu import mfu as printed

MINUS = "\N{MINUS SIGN}"

KIND_WORDS: dict[str, str] = {
    EventKind.OPENING: "opening stock",
    EventKind.TAKEN: "taken from the wild",
    EventKind.RECEIVED: "received",
    EventKind.LOAN_IN: "loan in",
    EventKind.BACK_FROM_LOAN: "back from loan",
    EventKind.BORN: "born",
    EventKind.DIVIDED: "divided",
    EventKind.SETTLED: "settled from sea water",
    EventKind.FOUND: "found",
    EventKind.DIED: "died",
    EventKind.PUT_DOWN: "put down",
    EventKind.RELEASED: "released",
    EventKind.SENT: "sent for good",
    EventKind.LOAN_OUT: "loan out",
    EventKind.GIVEN_BACK: "given back",
    EventKind.UNACCOUNTED: "unaccounted for",
    EventKind.MOVED: "moved",
    EventKind.MISSING: "missing",
    EventKind.SEEN_AGAIN: "seen again",
    EventKind.REGROUPED: "regrouped",
    EventKind.REVERSED: "taken back",
}


def signed(n: int) -> str:
    """A difference with its sign: "+3", "+1,250", "0", or with a true minus in front."""
    return f"+{whole(n)}" if n > 0 else whole(n)


def whole(n: int) -> str:
    """A number for a page: thousands apart, a true minus."""
    return f"{n:,}".replace("-", MINUS)


def mfu(males: int, females: int, hermaphrodites: int, unknown: int) -> str:
    """Males.females.unknown as the trade prints it (:mod:`.mfu`), for a page.

    Empty when no animal's sex is known: "0.0.12" says less than 12.
    """
    if not (males or females or hermaphrodites):
        return ""
    return printed(males, females, hermaphrodites, unknown).replace("-", MINUS)


def count_of(n: int, unit: str) -> str:
    """ "1 animal", "3 animals", "2 colonies", "1 egg mass", "4 egg masses"."""
    if n == 1:
        return f"1 {unit}"
    if unit.endswith("y"):
        return f"{whole(n)} {unit[:-1]}ies"
    return f"{whole(n)} {unit}{'es' if unit.endswith(('s', 'x', 'ch')) else 's'}"
