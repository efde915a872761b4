"""Many typed names in, as many verdicts out, in order; the store is asked a fixed number of times."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from .decide import decide
from .parse import Parsed, Reading, parse
from .store import Found, NameStore
from .verdicts import UNSTATED, Classification, Verdict


@dataclass(frozen=True, slots=True)
class Asked:
    """A typed name, and the classification and the rank that stand beside it, if any do."""

    typed: str
    classification: Classification = UNSTATED
    rank: str = ""


def match(
    asked: Sequence[Asked], store: NameStore, *, held_here: Collection[str] = frozenset()
) -> list[Verdict]:
    """One verdict for each line, in order. Never raises for what a line holds."""
    lines = [parse(line.typed) for line in asked]
    found = find(lines, store)
    return [
        decide(parsed, found, stated=line.classification, rank=line.rank, held_here=held_here)
        for parsed, line in zip(lines, asked, strict=True)
    ]


def find(lines: Sequence[Parsed], store: NameStore) -> Found:
    """All that the store knows about these lines."""
    wanted = {name for parsed in _with_parts(lines) for name in _names(parsed)}
    keys = {parsed.key for parsed in _with_parts(lines) if parsed.key}
    named, called = dict(store.named(wanted)), store.called(keys)
    unknown = [reading for parsed in lines for reading in _unknown(parsed, named, called)]
    near = store.near(unknown) if unknown else {}
    known = set(named) | {usage.target.canonical_name for usages in named.values() for usage in usages}
    known |= {
        name
        for nears in near.values()
        for one in nears
        for name in (one.usage.canonical_name, one.usage.target.canonical_name)
    }
    cautions = store.cautions(known)
    rights = {caution.right_name for caution in cautions.values()} - set(named)
    if rights:
        named.update(store.named(rights))
    return Found(release=store.release, named=named, called=called, near=near, cautions=cautions)


def _with_parts(lines: Iterable[Parsed]) -> Iterable[Parsed]:
    for parsed in lines:
        yield parsed
        yield from _with_parts(parsed.parts)


def _names(parsed: Parsed) -> Iterable[str]:
    """The name itself, and what stands above it."""
    for reading in parsed.readings:
        yield reading.canonical
        if reading.species:
            yield reading.genus
        if reading.infraspecies:
            yield f"{reading.genus} {reading.species}"


def _unknown(parsed: Parsed, named: Collection[str], called: Collection[str]) -> Iterable[Reading]:
    """The readings for which near names are worth looking up."""
    if parsed.is_hybrid or parsed.key in called:
        return
    for reading in parsed.readings:
        if reading.canonical in named:
            return
        yield reading
