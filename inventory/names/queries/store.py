"""The current release as a store of names that the matcher asks."""

from collections.abc import Collection, Mapping, Sequence

from ..models import BackboneRelease, RangeCaution
from ..rules.parse import Reading
from ..rules.store import Near
from ..rules.verdicts import Caution, Usage
from ..store.read import ReleaseNames
from ..store.where import reader


def current_release() -> BackboneRelease | None:
    """The release that names are checked against; ``None`` when no backbone is loaded."""
    return BackboneRelease.objects.filter(is_current=True).first()


def release_names(release: BackboneRelease) -> ReleaseNames:
    """The names of any loaded release. Raises :class:`~inventory.names.store.sqlite.StoreMissing`."""
    return ReleaseNames(reader(release.pk, release.fingerprint), release.fingerprint)


class ReleaseStore:
    """Answers :class:`~inventory.names.rules.store.NameStore` from one release and the house's cautions."""

    def __init__(self, release: BackboneRelease) -> None:
        self._release = release
        self._names = release_names(release)

    @property
    def release(self) -> str:
        """Name and version."""
        return str(self._release)

    def named(self, canonical_names: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """See :class:`NameStore`."""
        return self._names.named(canonical_names)

    def called(self, keys: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """See :class:`NameStore`."""
        return self._names.called(keys)

    def near(self, readings: Collection[Reading]) -> Mapping[Reading, Sequence[Near]]:
        """See :class:`NameStore`."""
        return self._names.near(readings)

    def cautions(self, canonical_names: Collection[str]) -> Mapping[str, Caution]:
        """See :class:`NameStore`. All cautions of the house are read, in one query: they are few."""
        return {
            row.typed_name: Caution(row.typed_name, row.right_name, row.region, row.reason, row.source)
            for row in RangeCaution.objects.order_by("-id")
            if row.typed_name in canonical_names
        }


class NoBackbone:
    """The store of a house that has loaded no backbone: it knows no name."""

    release = ""

    def named(self, canonical_names: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """Nothing."""
        return {}

    def called(self, keys: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """Nothing."""
        return {}

    def near(self, readings: Collection[Reading]) -> Mapping[Reading, Sequence[Near]]:
        """Nothing."""
        return {}

    def cautions(self, canonical_names: Collection[str]) -> Mapping[str, Caution]:
        """Nothing."""
        return {}
