"""Whether an author or a classification that was typed agrees with the backbone's."""

import re
import unicodedata
from collections.abc import Sequence

from .verdicts import Classification, Usage

# Backbones call these classes differently for the same animals, so a difference says nothing.
SAME_CLASS = (
    frozenset({"actinopterygii", "actinopteri", "teleostei"}),
    frozenset({"maxillopoda", "hexanauplia", "thecostraca"}),
    frozenset({"anthozoa", "hexacorallia", "octocorallia"}),
    frozenset({"reptilia", "lepidosauria"}),
)


def by_authorship(typed: str, usages: Sequence[Usage]) -> Sequence[Usage]:
    """The usages whose author and year agree with those typed; all when none does."""
    if not typed:
        return usages
    agreeing = [usage for usage in usages if authors_agree(typed, usage.authorship)]
    return agreeing or usages


def by_rank(stated: str, usages: Sequence[Usage]) -> Sequence[Usage]:
    """The usages of the rank that stands beside the name; all when none is, for ranks are often loose."""
    wanted = stated.strip().casefold()
    return [usage for usage in usages if wanted and usage.rank.casefold() == wanted] or usages


def authors_agree(one: str, other: str) -> bool:
    """Same year where both give one, and a surname in common; brackets and initials set aside."""
    years_one, years_other = set(re.findall(r"\d{4}", one)), set(re.findall(r"\d{4}", other))
    if years_one and years_other and not years_one & years_other:
        return False
    names_one, names_other = _surnames(one), _surnames(other)
    if not names_one or not names_other:
        return bool(years_one & years_other)
    return any(a.startswith(b) or b.startswith(a) for a in names_one for b in names_other)


def by_classification(
    stated: Classification, usages: Sequence[Usage]
) -> tuple[Sequence[Usage], Sequence[Usage]]:
    """Usages that may be meant, and those that the stated kingdom, phylum or class rules out."""
    fitting = [usage for usage in usages if not conflict(stated, usage)]
    against = [usage for usage in usages if conflict(stated, usage)]
    if len(fitting) > 1:
        # Families and orders differ between backbones: they may prefer, never rule out.
        preferred = [usage for usage in fitting if _agrees_below_class(stated, usage)]
        fitting = preferred or fitting
    return fitting, against


def conflict(stated: Classification, usage: Usage) -> str:
    """What speaks against the usage: "phylum Mollusca, not Chordata"; blank when nothing does."""
    known = usage.classification
    for rank, one, other in (
        ("kingdom", stated.kingdom, known.kingdom),
        ("phylum", stated.phylum, known.phylum),
        ("class", stated.class_name, known.class_name),
    ):
        if one and other and not _same_higher_name(one, other):
            return f"{rank} {other}, not {one}"
    return ""


def _same_higher_name(one: str, other: str) -> bool:
    pair = {one.strip().casefold(), other.strip().casefold()}
    return len(pair) == 1 or any(pair <= group for group in SAME_CLASS)


def _agrees_below_class(stated: Classification, usage: Usage) -> bool:
    known = usage.classification
    pairs = ((stated.order, known.order), (stated.family, known.family), (stated.genus, known.genus))
    said = [(one.casefold(), other.casefold()) for one, other in pairs if one and other]
    return bool(said) and all(one == other for one, other in said)


def _surnames(authorship: str) -> set[str]:
    plain = unicodedata.normalize("NFKD", authorship)
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    words = re.findall(r"[^\W\d_]{2,}", plain)
    return {word.casefold() for word in words if word.casefold() not in {"in", "ex", "and", "et", "al"}}
