"""Loads a release of a backbone, all of it or nothing."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import TypeVar

from django.db import transaction

from ..models import BackboneRelease, NameUsage, RangeCaution, VernacularName
from ..readers.archive import CAUTION, VERNACULAR, Archive, ArchiveError, Row, open_archive
from ..rules.parse import common_key, parse

_BATCH = 2_000
_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True)
class Loaded:
    """What a loading did. ``already``: the very same files were in; nothing was written."""

    release: BackboneRelease
    usages: int
    synonyms: int
    vernacular_names: int
    cautions: int
    already: bool
    remarks: tuple[str, ...]


@transaction.atomic
def load_release(path: Path, *, now: datetime) -> Loaded:
    """Loads a Darwin Core Archive (folder or zip) and makes it the current release.

    Raises :class:`ArchiveError` with file and line; then nothing is changed.
    """
    archive = open_archive(path)
    name = archive.about.title or path.stem
    fingerprint = archive.fingerprint()
    release = BackboneRelease.objects.filter(name=name, version=archive.about.version).first()
    if release and release.fingerprint != fingerprint:
        what = f"{release} is loaded already, with other content; a changed release needs another pubDate"
        raise ArchiveError(str(path), what)
    already = release is not None
    if release is None:
        release = BackboneRelease.objects.create(
            name=name,
            version=archive.about.version,
            licence=archive.about.licence[:200],
            source=archive.about.source[:500],
            fingerprint=fingerprint,
            loaded_at=now,
        )
        _fill(archive, release)
    BackboneRelease.objects.filter(is_current=True).exclude(pk=release.pk).update(is_current=False)
    release.is_current = True
    release.save()
    return _summary(release, already=already, remarks=tuple(archive.remarks))


def _fill(archive: Archive, release: BackboneRelease) -> None:
    usages = _usages(archive, release)
    release.has_synonyms = any(usage.accepted_name_usage_id for usage in usages)
    for some in _batches(usages):
        NameUsage.objects.bulk_create(some)
    by_id = {usage.taxon_id: usage for usage in usages}
    for some_names in _batches(_vernacular_names(archive, by_id)):
        VernacularName.objects.bulk_create(some_names)
    RangeCaution.objects.bulk_create(_cautions(archive, release, by_id))


def _usages(archive: Archive, release: BackboneRelease) -> list[NameUsage]:
    file = archive.core.location
    lines: dict[str, int] = {}
    usages: list[NameUsage] = []
    for row in archive.rows(archive.core):
        usage = _usage(row, release, file)
        if usage.taxon_id in lines:
            what = f'taxonID "{usage.taxon_id}" stands on line {lines[usage.taxon_id]} already'
            raise ArchiveError(file, what, row.line)
        lines[usage.taxon_id] = row.line
        usages.append(usage)
    if not usages:
        raise ArchiveError(file, "no names in it")
    _lead_to_accepted(usages, lines, file)
    return usages


def _usage(row: Row, release: BackboneRelease, file: str) -> NameUsage:
    taxon_id = row["taxonID"] or row["id"]
    if not taxon_id:
        raise ArchiveError(file, "no taxonID", row.line)
    canonical = row["canonicalName"] or _canonical(row)
    if not canonical:
        raise ArchiveError(file, "neither scientificName nor canonicalName", row.line)
    accepted = row["acceptedNameUsageID"]
    if "synonym" in row["taxonomicStatus"].casefold() and not accepted:
        raise ArchiveError(file, "a synonym without acceptedNameUsageID: of what?", row.line)
    usage = NameUsage(
        release=release,
        taxon_id=taxon_id,
        parent_name_usage_id=row["parentNameUsageID"],
        accepted_name_usage_id="" if accepted == taxon_id else accepted,
        scientific_name=row["scientificName"] or canonical,
        scientific_name_authorship=row["scientificNameAuthorship"],
        canonical_name=canonical,
        generic_name=row["genericName"],
        specific_epithet=row["specificEpithet"],
        infraspecific_epithet=row["infraspecificEpithet"],
        taxon_rank=row["taxonRank"].casefold(),
        taxonomic_status=row["taxonomicStatus"],
        nomenclatural_status=row["nomenclaturalStatus"],
        taxon_remarks=row["taxonRemarks"],
        kingdom=row["kingdom"],
        phylum=row["phylum"],
        class_name=row["class"],
        order=row["order"],
        family=row["family"],
        genus=row["genus"],
        source=row["source"],
    )
    _check_lengths(usage, row, file)
    return usage


def _canonical(row: Row) -> str:
    """Catalogue of Life's archives carry no canonicalName: the parser takes the author off.

    What is no name to the parser (a code of a sequence cluster, a virus) stands as it is.
    """
    readings = parse(row["scientificName"]).readings
    return readings[0].canonical if readings else row["scientificName"]


def _check_lengths(usage: NameUsage, row: Row, file: str) -> None:
    for column in NameUsage._meta.concrete_fields:
        limit = getattr(column, "max_length", None)
        value = getattr(usage, column.attname)
        if limit and isinstance(value, str) and len(value) > limit:
            what = f"{column.name} has {len(value)} characters, at most {limit} were expected"
            raise ArchiveError(file, what, row.line)


def _lead_to_accepted(usages: list[NameUsage], lines: dict[str, int], file: str) -> None:
    """Makes every synonym name its accepted usage itself, though a release may chain synonyms."""
    leads_to = {usage.taxon_id: usage.accepted_name_usage_id for usage in usages}
    for usage in usages:
        target, seen = usage.accepted_name_usage_id, {usage.taxon_id}
        while target:
            if target not in leads_to:
                what = f'acceptedNameUsageID "{target}" is no taxonID of this file'
                raise ArchiveError(file, what, lines[usage.taxon_id])
            if target in seen:
                raise ArchiveError(file, "synonyms that lead round in a circle", lines[usage.taxon_id])
            seen.add(target)
            usage.accepted_name_usage_id = target
            target = leads_to[target]


def _vernacular_names(archive: Archive, usages: dict[str, NameUsage]) -> Iterator[VernacularName]:
    table = archive.table(VERNACULAR)
    if table is None:
        return
    for row in archive.rows(table):
        name = row["vernacularName"]
        if not common_key(name):
            raise ArchiveError(table.location, "no vernacularName", row.line)
        yield VernacularName(
            usage=_of_core(usages, row, table.location),
            vernacular_name=name[:200],
            key=common_key(name),
            language=row["language"],
            source=row["source"],
        )


def _cautions(
    archive: Archive, release: BackboneRelease, usages: dict[str, NameUsage]
) -> Iterator[RangeCaution]:
    table = archive.table(CAUTION)
    if table is None:
        return
    for row in archive.rows(table):
        usage = _of_core(usages, row, table.location)
        if not row["rightName"] or not row["region"]:
            raise ArchiveError(table.location, "a caution needs rightName and region", row.line)
        yield RangeCaution(
            release=release,
            typed_name=row["typedName"] or usage.canonical_name,
            right_name=row["rightName"],
            region=row["region"],
            reason=row["reason"],
            source=row["source"],
        )


def _of_core(usages: dict[str, NameUsage], row: Row, file: str) -> NameUsage:
    usage = usages.get(row["id"])
    if usage is None:
        raise ArchiveError(file, f'"{row["id"]}" is no taxonID of the core', row.line)
    return usage


def _batches(items: Iterable[_Row]) -> Iterator[list[_Row]]:
    iterator = iter(items)
    while some := list(islice(iterator, _BATCH)):
        yield some


def _summary(release: BackboneRelease, *, already: bool, remarks: tuple[str, ...]) -> Loaded:
    usages = NameUsage.objects.filter(release=release)
    return Loaded(
        release=release,
        usages=usages.count(),
        synonyms=usages.exclude(accepted_name_usage_id="").count(),
        vernacular_names=VernacularName.objects.filter(usage__release=release).count(),
        cautions=release.cautions.count(),
        already=already,
        remarks=remarks,
    )
