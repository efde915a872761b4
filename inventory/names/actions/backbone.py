"""Loads a release of a backbone, all of it or nothing."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import transaction

from ..models import BackboneRelease, RangeCaution, Taxon
from ..queries.compare import compared
from ..readers.archive import open_archive
from ..readers.source import CAUTION, ArchiveError, NameSource
from ..store.build import Counts, Tell, build
from ..store.read import ReleaseNames
from ..store.schema import Written
from ..store.sqlite import StoreMissing
from ..store.where import written
from .adopt import switch


@dataclass(frozen=True, slots=True)
class Loaded:
    """What a loading did. ``already``: the very same files were in; nothing was written.

    ``changes`` counts the names in use that the release would change: it is not current then, but
    waits to be adopted.
    """

    release: BackboneRelease
    usages: int
    synonyms: int
    vernacular_names: int
    cautions: int
    already: bool
    changes: int
    remarks: tuple[str, ...]


def load_release(path: Path, *, now: datetime, tell: Tell = lambda step, share: None) -> Loaded:
    """Loads a Darwin Core Archive (folder or zip): see :func:`load_source`."""
    return load_source(open_archive(path), called=path.stem, now=now, tell=tell)


def load_source(
    source: NameSource, *, called: str, now: datetime, tell: Tell = lambda step, share: None
) -> Loaded:
    """Loads a source of names; ``called`` is its name when it states no title.

    It becomes the current release when there is none, or when it changes no name in use. The old
    release answers until the new one is complete. Raises :class:`ArchiveError` with file and line, or
    :class:`~inventory.names.store.where.LoadRunning`; then nothing is changed.
    """
    name = source.about.title[:200] or called
    tell("fingerprint", None)
    fingerprint = source.fingerprint()
    version = source.about.version[:60]
    release = BackboneRelease.objects.filter(name=name, version=version).first()
    if release and release.fingerprint != fingerprint:
        what = f"{release} is loaded already, with other content; a changed release needs another pubDate"
        raise ArchiveError(source.core.location, what)
    already = release is not None
    remarks: list[str] = []
    if release is None:
        release = BackboneRelease(
            name=name,
            version=version,
            licence=source.about.licence[:200],
            source=source.about.source[:500],
            fingerprint=fingerprint,
            loaded_at=now,
        )
        remarks = _write(source, release, tell)
    changes = _make_current(release, now)
    return Loaded(
        release=release,
        usages=release.n_names,
        synonyms=release.n_synonyms,
        vernacular_names=release.n_common_names,
        cautions=release.cautions.count(),
        already=already,
        changes=changes,
        remarks=(*source.remarks, *remarks),
    )


def _write(source: NameSource, release: BackboneRelease, tell: Tell) -> list[str]:
    """Writes the names and the release's row; what was odd about the names."""
    counts = Counts()
    cautions: list[RangeCaution] = []

    def fill(store: Written) -> None:
        nonlocal counts
        counts = build(source, store, tell)
        cautions.extend(_cautions(source, store))

    def create() -> int:
        release.save()
        return release.pk

    def complete(_: int) -> None:
        release.n_names, release.n_synonyms = counts.names, counts.synonyms
        release.n_common_names, release.has_synonyms = counts.vernacular_names, counts.synonyms > 0
        release.save()
        _keep(cautions, release)

    written(fill, fingerprint=release.fingerprint, create=create, complete=complete)
    return counts.remarks


@transaction.atomic
def _make_current(release: BackboneRelease, now: datetime) -> int:
    """Makes it current where that changes no name in use; else how many it would change."""
    current = BackboneRelease.objects.select_for_update().filter(is_current=True).first()
    if current == release:
        release.is_current = True
        return 0
    changes = _changes(release, current)
    if not changes:
        switch(release, current, by=None, now=now, counts={})
    return changes


def _changes(release: BackboneRelease, current: BackboneRelease | None) -> int:
    if current is None:
        return 0
    try:
        return len(compared(release, current).seen)
    except StoreMissing:
        # What cannot be compared must not be changed silently.
        return Taxon.objects.filter(joined_into=None).count()


def _cautions(source: NameSource, store: Written) -> list[RangeCaution]:
    """The cautions that come with the names, unsaved. Raises :class:`ArchiveError`."""
    table = source.table(CAUTION)
    if table is None:
        return []
    terms = ("id", "typedName", "rightName", "region", "reason", "source")
    lines = list(source.rows_of(table, terms))
    usages = ReleaseNames(store, "").identified({cells[0] for _, cells in lines})
    cautions = []
    for line, (taxon_id, typed, right, region, reason, credit) in lines:
        if taxon_id not in usages:
            raise ArchiveError(table.location, f'"{taxon_id}" is no taxonID of the core', line)
        if not right or not region:
            raise ArchiveError(table.location, "a caution needs rightName and region", line)
        cautions.append(
            RangeCaution(
                typed_name=typed or usages[taxon_id].canonical_name,
                right_name=right,
                region=region,
                reason=reason,
                source=credit,
            )
        )
    return cautions


def _keep(cautions: list[RangeCaution], release: BackboneRelease) -> None:
    """Adds the cautions that the house does not have; what it has and may have edited stays."""
    kept = set(RangeCaution.objects.values_list("typed_name", "right_name"))
    fresh = {(caution.typed_name, caution.right_name): caution for caution in cautions}
    for caution in fresh.values():
        caution.release = release
    RangeCaution.objects.bulk_create(caution for names, caution in fresh.items() if names not in kept)
