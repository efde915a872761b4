"""What is asked of an online service about one typed line, and by what the answer is kept."""

import hashlib
from dataclasses import dataclass

from .parse import parse
from .verdicts import UNSTATED, Classification

KINGDOM = "Animalia"
# Backbones call the kingdom of animals by either name; the service knows the first.
_SAME_KINGDOM = {"metazoa": KINGDOM}


@dataclass(frozen=True, slots=True)
class Question:
    """A scientific name with what is known around it. Equal questions have one answer.

    The kingdom is always said, and the rank where the name shows it: without them the service
    answers a homonym with a higher name.
    """

    name: str
    rank: str
    classification: Classification
    checklist: str

    @property
    def key(self) -> str:
        """SHA-256 over all that is asked, in hexadecimal."""
        parts = (self.checklist, self.name, self.rank, *self.beside)
        return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()

    @property
    def beside(self) -> tuple[str, str, str, str, str, str]:
        """Kingdom, phylum, class, order, family, genus; blank where not said."""
        known = self.classification
        return (known.kingdom, known.phylum, known.class_name, known.order, known.family, known.genus)


def question_for(typed: str, *, checklist: str, classification: Classification = UNSTATED) -> Question | None:
    """The question about a typed line; ``None`` when there is not one scientific name to ask about.

    That is so for hybrids, several names on one line, an abbreviated genus, and lines that cannot
    be read. A qualifier ("cf.", "sp.") is not asked about.
    """
    parsed = parse(typed)
    if parsed.is_hybrid or parsed.parts or not parsed.readings:
        return None
    reading = parsed.readings[0]
    if reading.genus_is_abbreviated:
        return None
    kingdom = classification.kingdom or KINGDOM
    kingdom = _SAME_KINGDOM.get(kingdom.casefold(), kingdom)
    return Question(
        name=f"{reading.canonical} {reading.authorship}".strip(),
        rank="SPECIES" if reading.species and not reading.infraspecies else "",
        classification=Classification(
            kingdom, classification.phylum, classification.class_name, classification.order,
            classification.family, classification.genus,
        ),
        checklist=checklist,
    )  # fmt: skip
