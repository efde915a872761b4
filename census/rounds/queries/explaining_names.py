"""What the lists and the backbone say of what was written in, and of what is protected."""

from collections.abc import Sequence

from inventory.book.models import Cell
from inventory.names.models import Taxon
from inventory.names.queries.lists import listings_of
from inventory.names.queries.verdicts import verdicts_for
from inventory.names.rules.lists import ListKind
from inventory.names.rules.match import Asked

from ..rules.words import LineKind
from .reading import Row


def protected_taxa(rows: Sequence[Row]) -> dict[int, str]:
    """What the lists of law say of the class A taxa that differ, by taxon."""
    taxa = {
        row.line.taxon.pk: row.line.taxon
        for row in rows
        if row.line.taxon and row.line.count_class == "A" and row.latest and row.latest.difference
    }
    found = {}
    for number, listings in listings_of(list(taxa.values())).items():
        said = [one for one in listings if one.entry.of_list.kind in (ListKind.LEGAL, ListKind.PROTECTED)]
        if said:
            found[number] = f"{said[0].entry.of_list.name}: {said[0].entry.annotation}"
    return found


def written_in(rows: Sequence[Row]) -> tuple[dict[str, str], dict[int, list[str]]]:
    """(what lists of introduced animals say, by name; what a name may mean that is held there, by line)."""
    lines = [row.line for row in rows if row.line.kind == LineKind.WRITE_IN]
    if not lines:
        return {}, {}
    names = {line.taxon.scientific_name if line.taxon else line.written_name for line in lines}
    introduced = _introduced(sorted(names))
    open_lines = [line for line in lines if line.taxon is None and line.written_name not in introduced]
    if not open_lines:
        return introduced, {}
    _, verdicts = verdicts_for([Asked(line.written_name) for line in open_lines])
    held = _held_in([line.place_id for line in open_lines])
    may_be = {}
    for line, verdict in zip(open_lines, verdicts, strict=True):
        here = [choice.name for choice in verdict.choices if (line.place_id, choice.name) in held]
        if len(here) > 1:
            may_be[line.pk] = here
    return introduced, may_be


def _introduced(names: Sequence[str]) -> dict[str, str]:
    """Names of the house or not: a written name is looked up as a taxon that is not kept."""
    asked = {number: Taxon(pk=-number - 1, scientific_name=name) for number, name in enumerate(names)}
    found = listings_of(list(asked.values()))
    told: dict[str, str] = {}
    for number, name in enumerate(names):
        for one in found.get(-number - 1, ()):
            if one.entry.of_list.kind == ListKind.NON_NATIVE:
                told.setdefault(name, f"{one.entry.of_list.name}: {one.entry.annotation}")
    return told


def _held_in(places: Sequence[int]) -> set[tuple[int, str]]:
    held = Cell.objects.filter(inside=True, balance__gt=0, account__place__in=places).order_by()
    return set(held.values_list("account__place_id", "lot__taxon__scientific_name").distinct())
