"""Whom an answer about an animal on no list concerns. Pure."""

from dataclasses import dataclass

from inventory.book.rules.found_as import FoundAs

# Law differs from place to place; in the European Union it is Regulation (EU) No 1143/2014 on invasive alien
# species, whose articles 7, 16 and 17 are on keeping and release, early reports and measures (from memory).
CAUTION = (
    "Introduced species: check local rules before anything is done with one. To release it, to move it or to "
    "keep it may be forbidden, and some have to be reported at once or held in quarantine. This page records "
    "who said what, and decides nothing."
)


@dataclass(frozen=True, slots=True)
class Before:
    """The answer that a new one stands for, whether it was for the permit officer, and seen."""

    found_as: FoundAs
    concerned: bool
    seen: bool


def concerns_permit_officer(found_as: FoundAs, before: Before | None = None) -> bool:
    """An introduced species does, and so does the word that it is none after all.

    Whoever was told of one may have reported it; that is heard once more, and then no more.
    """
    if found_as is FoundAs.INTRODUCED:
        return True
    if before is None or not before.concerned:
        return False
    return before.found_as is FoundAs.INTRODUCED or not before.seen
