"""Names in use: whether another release would change one."""

from ..models import BackboneRelease, Taxon
from ..rules.verdicts import Classification, Usage
from ..store.sqlite import StoreMissing
from .store import release_names

_Meaning = frozenset[tuple[str, Classification]]


def names_changed(old: BackboneRelease, new: BackboneRelease) -> list[str]:
    """Names of taxa that ``new`` takes for another taxon, or puts elsewhere, than ``old`` does.

    A name that neither knows is not changed.
    """
    names = set(Taxon.objects.filter(joined_into=None).values_list("scientific_name", flat=True))
    if not names:
        return []
    try:
        before = release_names(old).named(names)
    except StoreMissing:
        # What cannot be compared must not be changed silently.
        return sorted(names)
    after = release_names(new).named(names)
    return [name for name in sorted(names) if _meaning(before.get(name, [])) != _meaning(after.get(name, []))]


def _meaning(usages: list[Usage]) -> _Meaning:
    """The taxa that a name leads to, and where they stand; identifiers and authors set aside."""
    return frozenset((usage.target.canonical_name, usage.target.classification) for usage in usages)
