"""A store of names in memory, from an archive or from rows: the matcher needs no database."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from inventory.names.readers.archive import CAUTION, VERNACULAR, Archive, Row, Table, open_archive
from inventory.names.rules.distance import name_distance
from inventory.names.rules.parse import Reading, common_key
from inventory.names.rules.store import Near
from inventory.names.rules.verdicts import Caution, Classification, Usage

BACKBONE = Path(__file__).resolve().parents[2] / "fixtures" / "backbone"


class MemoryStore:
    """Answers as :class:`inventory.names.rules.store.NameStore` asks; written apart from the database's."""

    def __init__(
        self,
        usages: Sequence[Usage] = (),
        common: Mapping[str, Sequence[Usage]] | None = None,
        cautions: Sequence[Caution] = (),
        release: str = "release under test",
    ) -> None:
        self._usages = list(usages)
        self._common = {common_key(name): list(found) for name, found in (common or {}).items()}
        self._cautions = {caution.typed_name: caution for caution in cautions}
        self._release = release

    @property
    def release(self) -> str:
        return self._release

    def named(self, canonical_names: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        found: dict[str, list[Usage]] = defaultdict(list)
        for usage in self._usages:
            if usage.canonical_name in canonical_names:
                found[usage.canonical_name].append(usage)
        return found

    def called(self, keys: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        return {key: self._common[key] for key in keys if key in self._common}

    def near(self, readings: Collection[Reading]) -> Mapping[Reading, Sequence[Near]]:
        return {reading: near for reading in readings if (near := self._near(reading))}

    def cautions(self, canonical_names: Collection[str]) -> Mapping[str, Caution]:
        return {name: self._cautions[name] for name in canonical_names if name in self._cautions}

    def _near(self, reading: Reading) -> list[Near]:
        words = tuple(reading.canonical.split(" "))
        if reading.genus_is_abbreviated:
            start = reading.genus.rstrip(".")
            return [
                Near(usage, (0, 0))
                for usage in self._usages
                if usage.canonical_name.split(" ")[1:] == list(words[1:])
                and usage.canonical_name.startswith(start)
            ]
        measured = [
            Near(usage, distances)
            for usage in self._usages
            if (distances := name_distance(words, tuple(usage.canonical_name.split(" ")))) is not None
        ]
        least = min((near.total for near in measured), default=0)
        return [near for near in measured if near.total == least]


def usage(name: str, authorship: str = "", *, accepted: Usage | None = None, **fields: str) -> Usage:
    """One usage, with defaults: a species, accepted when it leads nowhere else."""
    at = {key: fields.pop(key) for key in ("kingdom", "phylum", "class_name") if key in fields}
    return Usage(
        taxon_id=fields.pop("taxon_id", f"{name} {authorship}"),
        canonical_name=name,
        authorship=authorship,
        rank=fields.pop("rank", "species" if " " in name else "genus"),
        status=fields.pop("status", "synonym" if accepted else "accepted"),
        classification=Classification(**at),
        remarks=fields.pop("remarks", ""),
        accepted=accepted,
    )


def demo_store() -> MemoryStore:
    """The demo's backbone in memory."""
    archive = open_archive(BACKBONE)
    rows = {row["taxonID"]: row for row in archive.rows(archive.core)}
    usages = {taxon_id: _of_row(row) for taxon_id, row in rows.items()}
    for taxon_id, row in rows.items():
        if row["acceptedNameUsageID"]:
            usages[taxon_id] = replace(usages[taxon_id], accepted=usages[row["acceptedNameUsageID"]])
    common: dict[str, list[Usage]] = defaultdict(list)
    for row in archive.rows(_extension(archive, VERNACULAR)):
        common[row["vernacularName"]].append(usages[row["id"]])
    cautions = [
        Caution(row["typedName"], row["rightName"], row["region"], row["reason"], row["source"])
        for row in archive.rows(_extension(archive, CAUTION))
    ]
    return MemoryStore(list(usages.values()), common, cautions)


def _extension(archive: Archive, row_type: str) -> Table:
    table = archive.table(row_type)
    assert table is not None
    return table


def _of_row(row: Row) -> Usage:
    return Usage(
        taxon_id=row["taxonID"],
        canonical_name=row["canonicalName"],
        authorship=row["scientificNameAuthorship"],
        rank=row["taxonRank"],
        status=row["taxonomicStatus"],
        classification=Classification(
            row["kingdom"], row["phylum"], row["class"], row["order"], row["family"], row["genus"]
        ),
        remarks=row["taxonRemarks"],
    )
