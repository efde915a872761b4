"""The values that pass between the store of names, the matcher and the doors."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class VerdictKind(StrEnum):
    """What became of a typed name. These are the only answers."""

    ACCEPTED = "accepted"
    SYNONYM = "synonym"
    MISSPELLING = "misspelling"
    AMBIGUOUS = "ambiguous"
    COMMON_NAME = "common_name"
    GENUS_ONLY = "genus_only"
    QUALIFIED = "qualified"
    HYBRID = "hybrid"
    HIGHER_RANK = "higher_rank"
    MISAPPLIED = "misapplied"
    NOT_FOUND = "not_found"


@dataclass(frozen=True, slots=True)
class Classification:
    """Higher names around a name, as the backbone or the asker states them. Blank: not said."""

    kingdom: str = ""
    phylum: str = ""
    class_name: str = ""
    order: str = ""
    family: str = ""
    genus: str = ""


UNSTATED = Classification()


@dataclass(frozen=True, slots=True)
class Usage:
    """One name as the backbone uses it. ``accepted`` is the usage it leads to; none: itself."""

    taxon_id: str
    canonical_name: str
    authorship: str
    rank: str
    status: str
    classification: Classification
    remarks: str = ""
    accepted: "Usage | None" = None

    @property
    def target(self) -> "Usage":
        """The accepted usage."""
        return self.accepted or self


@dataclass(frozen=True, slots=True)
class Caution:
    """A name that is right elsewhere and wrong in this region."""

    typed_name: str
    right_name: str
    region: str
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class Choice:
    """One of the names a person may choose."""

    name: str
    authorship: str = ""
    rank: str = ""
    phylum: str = ""
    note: str = ""

    def as_dict(self) -> dict[str, str]:
        """For storing and for json."""
        return {
            "name": self.name,
            "authorship": self.authorship,
            "rank": self.rank,
            "phylum": self.phylum,
            "note": self.note,
        }


PLAIN_OPEN = frozenset({"sp", "spp", "indet", "spec", "species"})


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer to one typed name.

    ``name`` is the accepted name without authorship, blank when a person must choose; ``why`` says
    which rule spoke, what was compared and at what distance.
    """

    typed: str
    verdict: VerdictKind
    why: str
    name: str = ""
    authorship: str = ""
    rank: str = ""
    qualifier: str = ""
    choices: tuple[Choice, ...] = ()
    release: str = ""
    classification: Classification = UNSTATED

    @property
    def is_certain(self) -> bool:
        """True when no person need look: the name itself is in the backbone and leads to one taxon.

        A genus followed by a plain "sp." is certain too, at the rank of genus.
        """
        if self.verdict is VerdictKind.GENUS_ONLY:
            return bool(self.name) and not self.keeps_qualifier
        return self.verdict in (VerdictKind.ACCEPTED, VerdictKind.SYNONYM)

    @property
    def keeps_qualifier(self) -> bool:
        """True for a name that is found and yet stays open ("cf.", "sp. A").

        The animals then stand apart from those that are firmly identified, under the name with its
        qualifier; a plain "sp." says no more than the genus.
        """
        if self.verdict is VerdictKind.GENUS_ONLY:
            return bool(self.qualifier) and self.qualifier.casefold().rstrip(".") not in PLAIN_OPEN
        return self.verdict is VerdictKind.QUALIFIED

    def choices_text(self) -> str:
        """The choices joined with `` | ``; each with its phylum when they lie in several phyla."""
        return " | ".join(choice_texts(self.choices))

    def as_row(self) -> dict[str, Any]:
        """The columns of ``check_names``."""
        return {
            "typed": self.typed,
            "verdict": self.verdict.value,
            "name": self.name,
            "authorship": self.authorship,
            "rank": self.rank,
            "qualifier": self.qualifier,
            "choices": self.choices_text(),
            "why": self.why,
            "release": self.release,
        }


COLUMNS = ("typed", "verdict", "name", "authorship", "rank", "qualifier", "choices", "why", "release")


def choice_texts(choices: Sequence[Choice]) -> list[str]:
    """A name alone where that is enough; with authorship for homonyms, with phylum across phyla."""
    across_phyla = len({choice.phylum for choice in choices if choice.phylum}) > 1
    names = [choice.name for choice in choices]
    texts = []
    for choice in choices:
        text = choice.name
        if names.count(choice.name) > 1 and choice.authorship:
            text = f"{text} {choice.authorship}"
        if across_phyla and choice.phylum:
            text = f"{text} ({choice.phylum})"
        texts.append(text)
    return texts


@dataclass(frozen=True, slots=True)
class TaxonRow:
    """What a workbook says of one taxon. ``None`` or blank: not said, so nothing is changed."""

    name: str
    common_name: str | None = None
    count_class: str | None = None
    unit: str | None = None
    counts_in_from: str | None = None
    can_change_sex: bool | None = None
    can_divide: bool | None = None
    look_alike_set: str | None = None
