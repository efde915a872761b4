"""Registers places and lots, in sets: what is new is created, what differs is changed.

The number of queries does not grow with the rows. A row that says what the book has already
changes nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import islice
from typing import Any

from django.db import transaction
from django.db.models.functions import Length

from inventory.db.locks import serialize_writers
from inventory.names.models import Taxon

from ..models import Account, Cell, Lot, LotKind, Place, PlaceKind, Water
from ..rules.accession import is_valid, numbers_after
from ..rules.drafts import Problem
from ..rules.place_tree import circle_from
from ..rules.sheets import LotRow, PlaceRow

# Kinds of place that decide what the animals there count as.
_DECIDING = (PlaceKind.OFF_SITE, PlaceKind.FEED)
_BATCH = 500


class RowsRefused(Exception):
    """Rows that cannot be registered; nothing of them was written. ``Problem.draft`` is the row's index."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = list(problems)


@dataclass(slots=True)
class Registered:
    """What came of some rows: codes or accession numbers in their order, how many, changes in words."""

    names: list[str] = field(default_factory=list)
    new: int = 0
    changed: int = 0
    already_there: int = 0
    changes: list[str] = field(default_factory=list)


@transaction.atomic
def register_places(rows: Sequence[PlaceRow]) -> Registered:
    """Creates or changes places; each new one gets its account. Parents may come in any order.

    Raises :class:`RowsRefused`: a kind or a water system that is none, no name, a parent that does
    not exist or stands below its own child, a code twice, and a change of kind that would turn
    animals held there into animals of others, or into feed.
    """
    held = Place.objects.select_related("parent").in_bulk([row.code for row in rows], field_name="code")
    parents = dict(Place.objects.values_list("code", "parent__code"))
    occupied = _occupied(held)
    problems = _places_refused(rows, held, parents, occupied)
    if problems:
        raise RowsRefused(problems)
    outcome = Registered(names=[row.code for row in rows])
    new = [Place(**_place_values(row)) for row in rows if row.code not in held]
    Place.objects.bulk_create(new)
    Account.objects.bulk_create([Account(place=place) for place in new])
    ids = {place.code: place.pk for place in (*new, *held.values())}
    ids |= dict(
        Place.objects.filter(code__in={row.parent for row in rows if row.parent} - ids.keys()).values_list(
            "code", "id"
        )
    )
    outcome.new = len(new)
    _change_places(rows, held, ids, outcome)
    under = {row.code: ids[row.parent] for row in rows if row.parent and row.code not in held}
    for place in new:
        place.parent_id = under.get(place.code)
    Place.objects.bulk_update([place for place in new if place.parent_id], ["parent"], batch_size=_BATCH)
    return outcome


@transaction.atomic
def register_lots(rows: Sequence[LotRow], taxa: Mapping[str, Taxon]) -> Registered:
    """Creates or changes lots. ``taxa`` gives the taxon for each name as typed in the rows.

    A row without an accession number gets one made here; it is always new. Raises
    :class:`RowsRefused`: a kind that is none, a number twice, and a number in use for another
    taxon, kind or unit, for those say what the animals recorded under it are.
    """
    held = Lot.objects.select_related("taxon").in_bulk(
        [row.accession for row in rows if row.accession], field_name="accession"
    )
    problems = _lots_refused(rows, held, taxa)
    if problems:
        raise RowsRefused(problems)
    made = iter(new_accessions(sum(not row.accession for row in rows)))
    outcome = Registered(names=[row.accession or next(made) for row in rows])
    new = [
        _new_lot(row, accession, taxa[row.name])
        for row, accession in zip(rows, outcome.names, strict=True)
        if accession not in held
    ]
    Lot.objects.bulk_create(new)
    outcome.new = len(new)
    _change_lots(rows, held, outcome)
    return outcome


def new_accessions(count: int) -> list[str]:
    """The next ``count`` accession numbers made here; those in use are passed over.

    Call it in the transaction that writes them: it holds back others who ask.
    """
    if not count:
        return []
    serialize_writers()
    taken = Lot.objects.filter(accession__regex=r"^[0-9]{7,12}$")
    newest_first = taken.annotate(digits=Length("accession")).order_by("-digits", "-accession")
    numbers = newest_first.values_list("accession", flat=True)
    # A house's own number may look like one of ours; those after it are free all the same.
    last = next((number for number in numbers.iterator() if is_valid(number)), "")
    return list(islice(numbers_after(last), count))


def _places_refused(
    rows: Sequence[PlaceRow],
    held: Mapping[str, Place],
    parents: Mapping[str, str | None],
    occupied: set[str],
) -> list[Problem]:
    problems = _twice([row.code for row in rows], "code", rows)
    tree = {code: parent or "" for code, parent in parents.items()}
    tree |= {row.code: row.parent or "" for row in rows if row.parent is not None or row.code not in held}
    for index, row in enumerate(rows):

        def refuse(column: str, message: str, *, index: int = index, row: PlaceRow = row) -> None:
            problems.append(Problem(index, row.origin, column, message))

        if not row.code:
            refuse("code", "empty; expected the code by which the house calls this place")
        if not row.name:
            refuse("name", "empty; expected the name of this place")
        if row.kind not in PlaceKind.values:
            refuse("kind", _none_of(row.kind, PlaceKind.values))
        elif row.code in occupied and _decides(row.kind, held[row.code].kind):
            refuse(
                "kind",
                f"{row.code} is {held[row.code].kind!r} in the book and animals were recorded there; "
                f"as {row.kind!r} they would count differently: give the other place a code of its own",
            )
        if row.water is not None and row.water not in Water.values:
            refuse("water", _none_of(row.water, [*filter(None, Water.values), "nothing"]))
        if row.parent and row.parent not in tree:
            refuse("parent", f"there is no place {row.parent!r}; expected one of the sheet or of the book")
        circle = circle_from(row.code, tree) if row.code and row.parent else []
        if circle:
            refuse("parent", f"a place cannot stand inside itself: {' in '.join(circle)}")
    return problems


def _decides(stated: str, kind: str) -> bool:
    return stated != kind and (stated in _DECIDING or kind in _DECIDING)


def _occupied(held: Mapping[str, Place]) -> set[str]:
    """Codes of places that animals were ever recorded in."""
    cells = Cell.objects.filter(account__place__in=list(held.values()))
    return set(cells.values_list("account__place__code", flat=True).distinct())


def _place_values(row: PlaceRow) -> dict[str, Any]:
    values: dict[str, Any] = {"code": row.code, "name": row.name, "kind": row.kind}
    if row.joined_set is not None:
        values["joined_set"] = row.joined_set
    if row.water is not None:
        values["water"] = row.water
    if row.states_volume:
        values["volume_m3"] = row.volume_m3
    return values


def _change_places(
    rows: Sequence[PlaceRow], held: Mapping[str, Place], ids: Mapping[str, int], outcome: Registered
) -> None:
    codes = {number: code for code, number in ids.items()}
    changed: list[Place] = []
    for row in rows:
        place = held.get(row.code)
        if place is None:
            continue
        stated = _place_values(row)
        if row.parent is not None:
            stated["parent_id"] = ids[row.parent] if row.parent else None
        codes[place.parent_id or 0] = place.parent.code if place.parent else ""
        if _apply(place, stated, row.code, outcome, shown=lambda name, value: _parent(name, value, codes)):
            changed.append(place)
    Place.objects.bulk_update(
        changed, ["name", "kind", "joined_set", "water", "volume_m3", "parent"], batch_size=_BATCH
    )


def _parent(name: str, value: object, codes: Mapping[int, str]) -> object:
    return codes.get(value or 0, "") if name == "parent_id" and isinstance(value, int | None) else value


def _lots_refused(
    rows: Sequence[LotRow], held: Mapping[str, Lot], taxa: Mapping[str, Taxon]
) -> list[Problem]:
    problems = _twice([row.accession for row in rows], "accession", rows)
    for index, row in enumerate(rows):
        lot = held.get(row.accession)
        taxon = taxa.get(row.name)

        def refuse(column: str, message: str, *, index: int = index, row: LotRow = row) -> None:
            problems.append(Problem(index, row.origin, column, message))

        if taxon is None:
            refuse("name", f"{row.name!r} is no name of a taxon; expected a scientific or common name")
        if row.kind not in LotKind.values:
            refuse("kind", _none_of(row.kind, LotKind.values))
        if lot is None:
            continue
        if taxon and lot.taxon_id != taxon.pk and lot.verbatim_identification != row.name:
            refuse(
                "accession",
                f"{row.accession} is in use for {lot.taxon.scientific_name}, "
                f"not for {taxon.scientific_name}; "
                "expected another number, or a new name decided in the name review",
            )
        if row.kind in LotKind.values and row.kind != lot.kind:
            refuse("kind", f"{row.accession} is recorded as {lot.kind!r}; expected that, or another number")
        if row.unit and row.unit != lot.unit:
            refuse("unit", f"{row.accession} is counted in {lot.unit!r}; expected that, or another number")
    return problems


def _new_lot(row: LotRow, accession: str, taxon: Taxon) -> Lot:
    return Lot(
        accession=accession,
        taxon=taxon,
        kind=row.kind,
        unit=row.unit or taxon.unit,
        owner=row.owner or "",
        house_name=row.house_name or "",
        marks=row.marks or "",
        verbatim_identification=row.name,
    )


def _change_lots(rows: Sequence[LotRow], held: Mapping[str, Lot], outcome: Registered) -> None:
    changed: list[Lot] = []
    for row in rows:
        lot = held.get(row.accession)
        if lot is None:
            continue
        stated = {"owner": row.owner, "house_name": row.house_name, "marks": row.marks}
        stated = {name: value for name, value in stated.items() if value is not None}
        if _apply(lot, stated, row.accession, outcome):
            changed.append(lot)
    Lot.objects.bulk_update(changed, ["owner", "house_name", "marks"], batch_size=_BATCH)


def _apply(
    row: Place | Lot,
    stated: Mapping[str, Any],
    called: str,
    outcome: Registered,
    *,
    shown: Any = lambda _, value: value,
) -> bool:
    """Sets what differs and notes it in words; True when something did."""
    differs = {name: value for name, value in stated.items() if getattr(row, name) != value}
    for name, value in differs.items():
        before, after = shown(name, getattr(row, name)), shown(name, value)
        outcome.changes.append(f"{called}: {name.removesuffix('_id')} {_said(before)} -> {_said(after)}")
        setattr(row, name, value)
    if differs:
        outcome.changed += 1
    else:
        outcome.already_there += 1
    return bool(differs)


def _said(value: object) -> str:
    """A value in a message; a number without the zeros that only its column adds."""
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return f"{value or ''!s:.60}"


def _twice(names: Sequence[str], column: str, rows: Sequence[PlaceRow] | Sequence[LotRow]) -> list[Problem]:
    first: dict[str, int] = {}
    problems = []
    for index, name in enumerate(names):
        if name and first.setdefault(name, index) != index:
            where = rows[first[name]].origin or f"row {first[name] + 1}"
            message = f"{name!r} stands in {where} too; expected each once"
            problems.append(Problem(index, rows[index].origin, column, message))
    return problems


def _none_of(word: str, words: Iterable[str]) -> str:
    listed = ", ".join(words)
    return f"{word!r} is unknown; expected {listed}" if word else f"empty; expected {listed}"
