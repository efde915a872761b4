"""What another release would change for the names in use: plain values in, plain values out.

A name follows the release only where it followed the one in use: the old release knows it for an
accepted name, the new one leads it to one taxon. Whatever a person once decided otherwise, and
whatever leads to several taxa or to none, is asked. Nothing is guessed.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from .agree import by_authorship, conflict
from .distance import gender_forms
from .full_name import full_name
from .verdicts import UNSTATED, Classification, Usage

Named = Mapping[str, Sequence[Usage]]
"""Usages by canonical name, as a release answers them."""


class Consequence(StrEnum):
    """What a release does to a name in use, in the order in which people look at it."""

    SPLIT = "split"
    GONE = "gone"
    IN_DOUBT = "in_doubt"
    MERGED = "merged"
    MOVED_GENUS = "moved_genus"
    RENAMED = "renamed"
    STATUS_CHANGED = "status_changed"
    RECLASSIFIED = "reclassified"
    AUTHOR_CHANGED = "author_changed"
    NOW_KNOWN = "now_known"

    @property
    def words(self) -> str:
        """As a heading says it."""
        return _WORDS[self][0]

    @property
    def does(self) -> str:
        """What adopting the release does then."""
        return _WORDS[self][1]

    @property
    def asks(self) -> bool:
        """True when adopting changes nothing by itself: the name enters the review queue."""
        return self in _ASK


_ASK = frozenset({Consequence.SPLIT, Consequence.GONE, Consequence.IN_DOUBT})
_QUEUED = "stays as it is and enters the review queue"
_FOLLOWS = "takes the new name; no count changes"
_WORDS = {
    Consequence.SPLIT: ("Split: leads to several taxa", f"{_QUEUED}, unless it is decided lot by lot here"),
    Consequence.GONE: ("Gone: not in the release", _QUEUED),
    Consequence.IN_DOUBT: ("In doubt: a person must look", _QUEUED),
    Consequence.MERGED: ("Merged: two taxa of ours become one", "lots move to the other taxon; none changes"),
    Consequence.MOVED_GENUS: ("Moved to another genus", _FOLLOWS),
    Consequence.RENAMED: ("Renamed: accepted name becomes a synonym", _FOLLOWS),
    Consequence.STATUS_CHANGED: ("Status changed", "takes what the release accepts; no count changes"),
    Consequence.RECLASSIFIED: ("New family, order, class or phylum", "takes the new classification"),
    Consequence.AUTHOR_CHANGED: ("Author or rank written otherwise", "takes the new author and rank"),
    Consequence.NOW_KNOWN: ("Known now", "takes author and classification"),
}


@dataclass(frozen=True, slots=True)
class InUse:
    """A taxon of the house. ``key`` is its name without qualifier and author, as a release is asked.

    ``typed`` are canonical names under which its lots came in; ``waits``: its name is in the queue.
    """

    taxon_id: int
    name: str
    key: str
    authorship: str = ""
    rank: str = ""
    classification: Classification = UNSTATED
    qualifier: str = ""
    typed: frozenset[str] = frozenset()
    waits: bool = False
    n_lots: int = 0
    count_class: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """One consequence for one taxon.

    ``new_name`` is what it is called after adoption (with its qualifier), blank when a person is
    asked; ``into`` is the taxon that takes its lots; ``typed`` limits a split to the lots that came
    in under that name; ``also`` lists what else changes.
    """

    taxon_id: int
    consequence: Consequence
    name: str
    authorship: str
    why: str
    new_name: str = ""
    target: Usage | None = None
    into: int | None = None
    typed: str = ""
    choices: tuple[Usage, ...] = ()
    also: tuple[str, ...] = ()


def compare(
    taxa: Sequence[InUse], old: Named, new: Named, *, cautioned: Collection[str] = frozenset()
) -> list[Change]:
    """Changes of all taxa, by consequence and name.

    ``old`` and ``new`` answer the keys, the typed names and the accepted names they lead to in
    either release; ``cautioned`` are names that belong to animals elsewhere and are never taken.
    """
    found = [change for taxon in taxa if (change := _of_taxon(taxon, old, new, cautioned))]
    found = _with_merges(found, taxa)
    asked = {change.taxon_id for change in found if change.consequence.asks}
    found += [
        split
        for taxon in taxa
        if taxon.taxon_id not in asked and not taxon.waits
        for split in _typed_splits(taxon, old, new)
    ]
    order = list(Consequence)
    return sorted(found, key=lambda change: (order.index(change.consequence), change.name, change.typed))


def sense(usages: Iterable[Usage], *, authorship: str, classification: Classification) -> tuple[Usage, ...]:
    """The accepted usages that a name leads to.

    Author, kingdom, phylum and class tell homonyms apart; family and genus do not, for they are what
    a split divides.
    """
    agreeing = by_authorship(authorship, list(usages))
    fitting = [usage for usage in agreeing if not conflict(classification, usage)]
    return tuple({usage.target.taxon_id: usage.target for usage in fitting or agreeing}.values())


def _senses(taxon: InUse, key: str, names: Named) -> tuple[Usage, ...]:
    authorship = taxon.authorship if key == taxon.key else ""
    return sense(names.get(key, ()), authorship=authorship, classification=taxon.classification)


def _of_taxon(taxon: InUse, old: Named, new: Named, cautioned: Collection[str]) -> Change | None:
    """What the release does to the taxon's own name, merges set aside; none when nothing."""
    if taxon.waits or not taxon.key:
        return None
    before, after = _senses(taxon, taxon.key, old), _senses(taxon, taxon.key, new)
    if len(after) != 1:
        return _none_or_several(taxon, before, after)
    (target,) = after
    if target.canonical_name == taxon.key:
        return _same_name(taxon, before, target, old, new)
    if _followed(taxon, before):
        return _renamed(taxon, before[0], target, old, cautioned)
    if _names(before) == _names(after):
        return None
    why = f"the house does not follow the backbone here, which now says {_full(target)}"
    return _asked(taxon, Consequence.IN_DOUBT, why, after)


def _none_or_several(taxon: InUse, before: tuple[Usage, ...], after: tuple[Usage, ...]) -> Change | None:
    if not after:
        return _asked(taxon, Consequence.GONE, "the release does not know the name") if before else None
    if len(before) == len(after) and _names(before) == _names(after):
        return None
    return _asked(taxon, Consequence.SPLIT, f"the name leads to {len(after)} taxa", after)


def _followed(taxon: InUse, before: Sequence[Usage]) -> bool:
    return len(before) == 1 and before[0].canonical_name == taxon.key


def _asked(taxon: InUse, consequence: Consequence, why: str, choices: tuple[Usage, ...] = ()) -> Change:
    return Change(taxon.taxon_id, consequence, taxon.name, taxon.authorship, why, choices=choices)


def _same_name(taxon: InUse, before: Sequence[Usage], target: Usage, old: Named, new: Named) -> Change | None:
    """The name is accepted in the new release: its status, its place or its author may be other."""
    also = tuple(_differences(taxon, before[0] if _followed(taxon, before) else None, target))
    statuses = {_status(names.get(taxon.key, ()), taxon) for names in (old, new)}
    if not before:
        consequence, why = Consequence.NOW_KNOWN, "the release in use does not know the name"
    elif not _followed(taxon, before):
        led = ", ".join(sorted(_names(before)))
        consequence, why = Consequence.STATUS_CHANGED, f"led to {led}; an accepted name now"
    elif len(statuses) > 1:
        was, now = (_status(names.get(taxon.key, ()), taxon) for names in (old, new))
        consequence, why = Consequence.STATUS_CHANGED, f"{was or 'not said'}; now {now or 'not said'}"
    elif any(not text.startswith(("author", "rank")) for text in also):
        consequence, why = Consequence.RECLASSIFIED, "the name stands"
    elif also:
        consequence, why = Consequence.AUTHOR_CHANGED, "the name stands"
    else:
        return None
    return Change(
        taxon.taxon_id,
        consequence,
        taxon.name,
        taxon.authorship,
        why,
        new_name=taxon.name,
        target=target,
        also=also,
    )


def _renamed(taxon: InUse, before: Usage, target: Usage, old: Named, cautioned: Collection[str]) -> Change:
    new_name = target.canonical_name
    if new_name in cautioned:
        why = f"{new_name} is a name of animals elsewhere (range caution of the house)"
        return _asked(taxon, Consequence.IN_DOUBT, why, (target,))
    if len(new_name.split(" ")) < len(taxon.key.split(" ")):
        return _asked(taxon, Consequence.IN_DOUBT, f"only {new_name} is left of it", (target,))
    was = _names(sense(old.get(new_name, ()), authorship="", classification=taxon.classification))
    if _only_genus_differs(taxon.key, new_name):
        consequence, why = Consequence.MOVED_GENUS, f"a synonym of {_full(target)} now"
    elif was == {taxon.key}:
        consequence = Consequence.STATUS_CHANGED
        why = f"{new_name}, a synonym of it until now, is the accepted name"
    else:
        consequence, why = Consequence.RENAMED, f"a synonym of {_full(target)} now"
    return Change(
        taxon.taxon_id,
        consequence,
        taxon.name,
        taxon.authorship,
        why,
        new_name=full_name(new_name, taxon.qualifier)[:200],
        target=target,
        also=tuple(_differences(taxon, before, target, renamed=True)),
    )


def _with_merges(changes: Sequence[Change], taxa: Sequence[InUse]) -> list[Change]:
    """Renames that lead to a name which another taxon of the house bears, or comes to bear."""
    by_id = {taxon.taxon_id: taxon for taxon in taxa}
    change_of = {change.taxon_id: change for change in changes}
    bearer = {taxon.name: taxon for taxon in taxa}
    renames: dict[str, list[Change]] = defaultdict(list)
    for change in changes:
        if change.new_name and change.new_name != change.name:
            renames[change.new_name].append(change)
    for name, movers in renames.items():
        own = bearer.get(name)
        own_change = change_of.get(own.taxon_id) if own else None
        if own and (own.waits or (own_change and own_change.consequence.asks)):
            why = f"{name} is a taxon of the house whose own name waits for a person"
            for mover in movers:
                asked = _asked(
                    by_id[mover.taxon_id], Consequence.IN_DOUBT, why, (mover.target,) if mover.target else ()
                )
                change_of[mover.taxon_id] = asked
            continue
        if own is None or (own_change and own_change.new_name != own.name):
            # Nobody bears the name after the adoption: the taxon with most lots takes it.
            own = by_id[min(movers, key=lambda c: (-by_id[c.taxon_id].n_lots, c.taxon_id)).taxon_id]
        for mover in movers:
            if mover.taxon_id != own.taxon_id:
                change_of[mover.taxon_id] = _merged(mover, by_id[mover.taxon_id], own)
    return list(change_of.values())


def _merged(change: Change, taxon: InUse, into: InUse) -> Change:
    also = change.also
    if taxon.count_class != into.count_class:
        also = (
            *also,
            f"count class {taxon.count_class or 'not set'} becomes {into.count_class or 'not set'}",
        )
    return replace(change, consequence=Consequence.MERGED, into=into.taxon_id, also=also)


def _typed_splits(taxon: InUse, old: Named, new: Named) -> Iterable[Change]:
    """Names under which lots came in, synonyms of the taxon until now, that lead elsewhere now."""
    own = _senses(taxon, taxon.key, new)
    if len(own) != 1 or not _followed(taxon, _senses(taxon, taxon.key, old)):
        return
    for typed in sorted(taxon.typed - {taxon.key}):
        before, after = _senses(taxon, typed, old), _senses(taxon, typed, new)
        if _names(before) != {taxon.key} or not after or _names(after) == _names(own):
            continue
        others = tuple(usage for usage in after if usage.taxon_id != own[0].taxon_id)
        now = " or ".join(_full(usage) for usage in others)
        why = f"lots came in as {typed}, a synonym of {taxon.key} until now, which leads to {now} now"
        yield Change(
            taxon.taxon_id,
            Consequence.SPLIT,
            taxon.name,
            taxon.authorship,
            why,
            typed=typed,
            choices=(*own, *others),
        )


def merged_classification(known: Classification, target: Classification) -> Classification:
    """The release's classification; where it says nothing of a rank, what was known stays."""
    return Classification(*(getattr(target, rank) or getattr(known, rank) for rank in _RANKS))


_RANKS = ("kingdom", "phylum", "class_name", "order", "family", "genus")


def _differences(
    taxon: InUse, before: Usage | None, target: Usage, *, renamed: bool = False
) -> Iterable[str]:
    """What is other beside the name: "family Gobiidae → Oxudercidae".

    Only what the two releases say otherwise: what the house left open is not the release's change.
    """
    for rank in _RANKS:
        was, now = getattr(taxon.classification, rank), getattr(target.classification, rank)
        same = before is not None and getattr(before.classification, rank) == now
        # A genus that moves says so by its name.
        if now and was != now and not same and not (renamed and rank == "genus"):
            yield f"{rank.removesuffix('_name')} {was or 'not said'} → {now}"
    if renamed:
        return
    for word, was, now, then in (
        ("author", taxon.authorship, target.authorship[:200], before.authorship[:200] if before else None),
        ("rank", taxon.rank, target.rank, before.rank if before else None),
    ):
        if now and now not in (was, then):
            yield f"{word} {was or 'not said'} → {now}"


def _status(usages: Sequence[Usage], taxon: InUse) -> str:
    accepted = [usage for usage in by_authorship(taxon.authorship, usages) if usage.accepted is None]
    return accepted[0].status.casefold() if accepted else ""


def _only_genus_differs(old: str, new: str) -> bool:
    one, other = old.split(" "), new.split(" ")
    if len(one) < 2 or len(one) != len(other) or one[0] == other[0]:
        return False
    return all(a == b or b in gender_forms(a) for a, b in zip(one[1:], other[1:], strict=True))


def _names(usages: Iterable[Usage]) -> set[str]:
    return {usage.canonical_name for usage in usages}


def _full(usage: Usage) -> str:
    return f"{usage.canonical_name} {usage.authorship}".strip()
