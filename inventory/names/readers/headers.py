"""Tells a line of headings from a line of data; meta.xml is often wrong about the first line."""

from collections.abc import Mapping, Sequence

from .meta import local
from .source import Table

# Words that are terms and ranks alike prove nothing: "kingdom" stands in the row of Animalia.
_RANKS = {"kingdom", "phylum", "class", "order", "family", "genus", "subgenus", "subfamily", "tribe"}
_SAYS_RANK = ("taxonRank", "taxonomicStatus")
_IDENTIFIERS = {"id", "taxonid", "coreid"}


def lines_above(cells: Sequence[str], table: Table, remarks: list[str]) -> int:
    """How many lines stand above the data, from the first line and what meta.xml promises.

    Adds a remark when the two disagree. What meta.xml says of the columns stays the law, and a
    heading that contradicts it is remarked on.
    """
    if _is_header(cells, table):
        if not table.header_lines:
            remarks.append(f"{table.location}: meta.xml promises no header line, there is one; left out")
        remarks.extend(_contradictions(cells, table))
        return max(table.header_lines, 1)
    if table.header_lines and _is_data(cells, table):
        remarks.append(
            f"{table.location}: meta.xml promises a header line, there is none; line 1 is read as data"
        )
        return 0
    return table.header_lines


def names_terms(cells: Sequence[str], terms: set[str]) -> bool:
    """Whether one of the cells is one of the terms (in small letters), and no mere rank."""
    return any(local(cell).casefold() in terms - _RANKS for cell in cells)


def _is_header(cells: Sequence[str], table: Table) -> bool:
    """A promised header line names a term; one that nobody promised names its own columns."""
    if table.header_lines:
        at = table.columns.get("id", len(cells))
        return names_terms(cells, {term.casefold() for term in table.columns if term != "id"}) or (
            at < len(cells) and local(cells[at]).casefold() in _IDENTIFIERS
        )
    return any(
        index < len(cells)
        and local(cells[index]).casefold() == term.casefold()
        and term.casefold() not in _RANKS | {"id"}
        for term, index in table.columns.items()
    )


def _is_data(cells: Sequence[str], table: Table) -> bool:
    """Headings of the publisher's own making stay a header line; an identifier gives data away."""

    def cell(term: str) -> str:
        index = table.columns.get(term, -1)
        return cells[index].strip().casefold() if 0 <= index < len(cells) else ""

    if any(character.isdigit() for character in cell("id") or cell("taxonID")):
        return True
    return cell("taxonRank") in _RANKS | {"species", "subspecies"} or "accepted" in cell("taxonomicStatus")


def _contradictions(cells: Sequence[str], table: Table) -> list[str]:
    by_place: Mapping[int, set[str]] = {
        index: {term for term, other in table.columns.items() if other == index}
        for index in table.columns.values()
    }
    known = {term.casefold() for term in table.columns}
    found = []
    for index, heading in enumerate(cells):
        terms = by_place.get(index, set())
        names = {term.casefold() for term in terms} | (_IDENTIFIERS if "id" in terms else set())
        if local(heading).casefold() in known - names - _IDENTIFIERS:
            told = " and ".join(sorted(terms)) or "nothing"
            found.append(
                f'{table.location}: the heading of column {index + 1} is "{heading}", meta.xml says {told}; '
                "meta.xml is followed"
            )
    return found
