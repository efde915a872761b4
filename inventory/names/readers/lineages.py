"""Builds the classification of a row from its parents, for a core without columns of kingdom to genus.

Catalogue of Life publishes such archives. Kept in memory are the taxa above the species only (some
300,000 of six million names). A synonym has no parent, so it gets none: its accepted name has it.
"""

from collections.abc import Iterable, Iterator, Sequence

from .source import Line, Table

RANKS_ABOVE = ("kingdom", "phylum", "class", "order", "family", "genus")
# What is asked of each row to place it.
ASKED = (
    "taxonID",
    "parentNameUsageID",
    "acceptedNameUsageID",
    "taxonRank",
    "canonicalName",
    "scientificName",
)
_LOW = {
    "species", "species aggregate", "subspecies", "variety", "subvariety", "form", "subform",
    "infraspecific name", "infraspecific", "infraspecificname", "race", "morph", "aberration", "lusus",
    "mutatio", "natio", "proles",
}  # fmt: skip

Lineage = tuple[str, ...]
_NONE: Lineage = ("",) * len(RANKS_ABOVE)


def lacks_classification(core: Table, terms: Sequence[str]) -> bool:
    """Whether one of the six is asked for, the core has none, and its parents can tell."""
    asked = any(term in RANKS_ABOVE for term in terms)
    tells = core.has("parentNameUsageID") and core.has("taxonRank")
    return asked and tells and not any(core.has(term) for term in RANKS_ABOVE)


class Lineages:
    """What stands above each taxon above the species; read from the whole core once."""

    def __init__(self, lines: Iterable[Line]) -> None:
        """``lines`` hold the values of ``ASKED``."""
        self._parents: dict[str, str] = {}
        self._own: dict[str, tuple[int, str]] = {}
        self._genera: dict[str, str] = {}
        self._known: dict[str, Lineage] = {}
        for _, (taxon_id, parent, accepted, rank, canonical, scientific) in lines:
            low = rank.casefold()
            if low in _LOW or (accepted and accepted != taxon_id):
                continue
            self._parents[taxon_id] = parent
            if low in RANKS_ABOVE:
                name = _first_word(canonical or scientific)
                self._own[taxon_id] = (RANKS_ABOVE.index(low), name)
                if low == "genus":
                    # Two genera of one name: which of them is meant cannot be told by it.
                    self._genera[name] = "" if name in self._genera else taxon_id

    def of(self, values: Sequence[str]) -> Lineage:
        """Kingdom to genus of a row, from its values of ``ASKED``; blank where nobody tells."""
        taxon_id, parent, accepted, _rank, canonical, scientific = values
        if accepted and accepted != taxon_id:
            return _NONE
        if taxon_id in self._parents:
            return self._above(taxon_id)
        if parent in self._parents:
            return self._above(parent)
        # The parent is a species, as of a subspecies: its name begins with the genus.
        genus = self._genera.get(_first_word(canonical or scientific)) if parent else None
        return self._above(genus) if genus else _NONE

    def _above(self, taxon_id: str) -> Lineage:
        way: list[str] = []
        seen: set[str] = set()
        while taxon_id in self._parents and taxon_id not in self._known and taxon_id not in seen:
            seen.add(taxon_id)
            way.append(taxon_id)
            taxon_id = self._parents[taxon_id]
        lineage = self._known.get(taxon_id, _NONE)
        for passed in reversed(way):
            if own := self._own.get(passed):
                place, name = own
                lineage = (*lineage[:place], name, *lineage[place + 1 :])
            self._known[passed] = lineage
        return lineage


def with_lineages(lines: Iterable[Line], lineages: Lineages, terms: Sequence[str]) -> Iterator[Line]:
    """Lines of ``(*terms, *ASKED)`` as lines of ``terms``, with the six filled in."""
    width = len(terms)
    places = [(index, RANKS_ABOVE.index(term)) for index, term in enumerate(terms) if term in RANKS_ABOVE]
    for number, values in lines:
        lineage = lineages.of(values[width:])
        filled = list(values[:width])
        for index, place in places:
            filled[index] = lineage[place]
        yield number, tuple(filled)


def _first_word(name: str) -> str:
    return name.split(" ", 1)[0]
