"""When a list speaks of a taxon: by its name, by an older name, or as part of a whole group.

Lists of law and lists of hazards name animals as their authors wrote them: a species under the name
of that year, a genus, a family, an order. A taxon of the house is looked up under every key that can
reach it, so that one question to the table of entries answers for many taxa and many lists.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from .parse import parse
from .verdicts import Classification, Usage

NOT_MEDICAL_ADVICE = "This is not medical advice: follow local rules and the veterinarian."


class ListKind(StrEnum):
    """What a list is for."""

    HAZARD = "hazard"
    LEGAL = "legal"
    PROTECTED = "protected"
    NON_NATIVE = "non_native"
    INJURIOUS = "injurious"

    @property
    def words(self) -> str:
        """As people read it."""
        return _KIND_WORDS[self]


_KIND_WORDS = {
    ListKind.HAZARD: "hazard",
    ListKind.LEGAL: "trade and permits",
    ListKind.PROTECTED: "protected",
    ListKind.NON_NATIVE: "non-native",
    ListKind.INJURIOUS: "injurious",
}


class Mark(StrEnum):
    """How well a statement is founded."""

    SEEN = "seen"
    MEMORY = "memory"
    PRACTICE = "practice"

    @property
    def words(self) -> str:
        """As people read it."""
        return _MARK_WORDS[self]


_MARK_WORDS = {
    Mark.SEEN: "seen in the source named",
    Mark.MEMORY: "from memory: check it against the source",
    Mark.PRACTICE: "common practice, no source",
}


class ListedRank(StrEnum):
    """What an entry names. Each but the species covers all that is classified below it."""

    SPECIES = "species"
    GENUS = "genus"
    FAMILY = "family"
    ORDER = "order"
    CLASS = "class"
    PHYLUM = "phylum"
    KINGDOM = "kingdom"


class How(StrEnum):
    """How an entry reaches a taxon, the plainest first."""

    NAMED = "named"
    SYNONYM = "synonym"
    PART_OF = "part_of"
    POSSIBLE = "possible"


@dataclass(frozen=True, slots=True)
class Key:
    """Where an entry is looked up: its rank and name; ``within``: any species of the genus ``name``."""

    rank: ListedRank
    name: str
    within: bool = False


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an entry speaks of a taxon. ``is_general``: it speaks of every animal alike."""

    how: How
    words: str
    is_general: bool = False


@dataclass(frozen=True, slots=True)
class Subject:
    """A taxon as lists look at it: names without authorship or qualifier.

    ``other_names`` are what the backbone knows it by besides; ``species_open``: identified to the
    genus only, so that a listed species of the genus cannot be ruled out.
    """

    name: str
    classification: Classification
    other_names: frozenset[str] = frozenset()
    species_open: bool = False


def plain_name(text: str) -> str:
    """The name without authorship, subgenus and qualifier; the text itself when it cannot be read."""
    readings = parse(text).readings
    return readings[0].canonical if readings else text.strip()


def subject(name: str, rank: str, stated: Classification, usages: Sequence[Usage]) -> Subject:
    """The taxon of the house called ``name``; ``usages`` are what the backbone says of that name and of
    its synonyms, see :func:`meant`.

    The house's own classification goes before the backbone's, which fills in when the house has none.
    """
    own = plain_name(name)
    known = [usage for usage in usages if not is_misapplied(usage)]
    others = {usage.canonical_name for usage in known} | {usage.target.canonical_name for usage in known}
    if not any((stated.phylum, stated.class_name, stated.order, stated.family)) and known:
        stated = known[0].target.classification
    is_open = parse(name).leaves_species_open or (rank == "genus" and " " not in own)
    return Subject(own, stated, frozenset(others - {own}), is_open)


def meant(usages: Sequence[Usage], stated: Classification) -> Usage | None:
    """The accepted usage that a name of the house leads to; none when homonyms cannot be told apart."""
    targets = {usage.target.taxon_id: usage.target for usage in usages if not is_misapplied(usage)}
    if len(targets) > 1:
        targets = {number: one for number, one in targets.items() if _agrees(one.classification, stated)}
    return next(iter(targets.values())) if len(targets) == 1 else None


def is_misapplied(usage: Usage) -> bool:
    """True for a name that was only ever used wrongly for the animal it leads to."""
    return "misapplied" in usage.status.casefold()


def keys(subject: Subject) -> Mapping[Key, Reason]:
    """Every key under which a list speaks of the taxon, each with the reason in words."""
    found: dict[Key, Reason] = {}
    for name in (subject.name, *sorted(subject.other_names)):
        for key, reason in _keys_of_name(subject, name):
            found.setdefault(key, reason)
    for rank, name in _higher(subject):
        if name:
            how = How.NAMED if name == subject.name else How.PART_OF
            words = "by this name" if how is How.NAMED else f"all of the {rank.value} {name}"
            found.setdefault(Key(rank, name), Reason(how, words, rank is ListedRank.KINGDOM))
    genus = subject.classification.genus or subject.name
    if subject.species_open and genus:
        words = f"perhaps: a species of {genus} is listed, and this animal is identified to the genus only"
        found[Key(ListedRank.SPECIES, genus, within=True)] = Reason(How.POSSIBLE, words)
    return found


def _keys_of_name(subject: Subject, name: str) -> list[tuple[Key, Reason]]:
    words = name.split(" ")
    if len(words) == 1:
        return []
    named = name == subject.name
    reason = Reason(How.NAMED, "by this name") if named else Reason(How.SYNONYM, f"under the name {name}")
    found = [(Key(ListedRank.SPECIES, name), reason)]
    if len(words) > 2:
        species = " ".join(words[:2])
        found.append((Key(ListedRank.SPECIES, species), Reason(How.PART_OF, f"all of the species {species}")))
    return found


def _higher(subject: Subject) -> list[tuple[ListedRank, str]]:
    known = subject.classification
    # A name that no backbone knows still begins with its genus.
    genus = known.genus or subject.name.partition(" ")[0]
    return [
        (ListedRank.GENUS, genus),
        (ListedRank.FAMILY, known.family),
        (ListedRank.ORDER, known.order),
        (ListedRank.CLASS, known.class_name),
        (ListedRank.PHYLUM, known.phylum),
        (ListedRank.KINGDOM, known.kingdom or "Animalia"),
    ]


def _agrees(known: Classification, stated: Classification) -> bool:
    pairs = (
        (known.phylum, stated.phylum),
        (known.class_name, stated.class_name),
        (known.family, stated.family),
    )
    both = [one == other for one, other in pairs if one and other]
    return bool(both) and all(both)
