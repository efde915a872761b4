"""Names left open on purpose: "one of the rays", "some goby of this genus". Pure."""

from collections.abc import Iterable
from dataclasses import dataclass

ANIMAL = "animal"


@dataclass(frozen=True, slots=True)
class Kept:
    """A lot that the book has in a place, as far as open names need it."""

    accession: str
    taxon: int
    look_alike_set: str
    genus: str
    unit: str
    count_class: str


@dataclass(frozen=True, slots=True)
class OpenName:
    """One that can be chosen in a place. ``key`` is what a device sends."""

    key: str
    label: str
    unit: str
    lots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Meant:
    """What a key says. ``of`` is a look-alike set or a genus."""

    is_set: bool
    of: str
    unit: str


def key_of(*, is_set: bool, of: str, unit: str) -> str:
    """set:rays; genus:Raja; genus:Alcyonium|colony where they are not counted as animals."""
    tail = "" if unit == ANIMAL else f"|{unit}"
    return f"{'set' if is_set else 'genus'}:{of}{tail}"


def meant(key: str) -> Meant | None:
    """Reads a key; None for what is none."""
    sort, _, rest = key.partition(":")
    of, _, unit = rest.partition("|")
    if sort not in ("set", "genus") or not of.strip():
        return None
    return Meant(sort == "set", of, unit or ANIMAL)


def genus_of(genus: str, scientific_name: str) -> str:
    """The genus by the classification, or as the name begins."""
    return genus or scientific_name.partition(" ")[0]


def label_of(of: Meant) -> str:
    """As people read it: "rays", "Raja sp."."""
    return of.of if of.is_set else f"{of.of} sp."


def in_words(key: str) -> str:
    """A key as people read it, and as it was sent where it is none."""
    of = meant(key)
    return label_of(of) if of else key


def offered(kept: Iterable[Kept]) -> list[OpenName]:
    """Open names for what one place holds: its look-alike sets, and genera with two kinds or more."""
    groups: dict[tuple[bool, str, str], list[Kept]] = {}
    for one in kept:
        if one.look_alike_set:
            groups.setdefault((True, one.look_alike_set, one.unit), []).append(one)
        groups.setdefault((False, one.genus, one.unit), []).append(one)
    return [
        OpenName(
            key_of(is_set=is_set, of=of, unit=unit),
            label_of(Meant(is_set, of, unit)),
            unit,
            tuple(one.accession for one in members),
        )
        for (is_set, of, unit), members in sorted(groups.items(), key=lambda item: (not item[0][0], item[0]))
        if is_set or len({one.taxon for one in members}) > 1
    ]


def strictest(classes: Iterable[str]) -> str:
    """The strictest of count classes, A before D; blank where none is known."""
    return min((one for one in classes if one), default="")
