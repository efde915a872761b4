"""Small releases of a backbone, written as archives for tests. All names and ranks are invented or known."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from inventory.names.actions.backbone import load_release
from inventory.names.models import BackboneRelease
from tests.factories import NOW

_COLUMNS = (
    "taxonID", "acceptedNameUsageID", "scientificName", "scientificNameAuthorship", "canonicalName",
    "taxonRank", "taxonomicStatus", "kingdom", "phylum", "class", "order", "family", "genus",
)  # fmt: skip
_TERM = "http://rs.tdwg.org/dwc/terms/"
_CANONICAL = "http://rs.gbif.org/terms/1.0/canonicalName"


@dataclass(frozen=True)
class Name:
    """One name of a release; ``of`` is the accepted name (and author) that it is a synonym of."""

    name: str
    author: str = "Tester, 1900"
    of: str = ""
    of_author: str = "Tester, 1900"
    family: str = "Exemplidae"
    order: str = "Exemplida"
    class_name: str = "Anthozoa"
    status: str = ""

    def row(self) -> Sequence[str]:
        rank = "species" if " " in self.name else "genus"
        return (
            f"{self.name} {self.author}",
            f"{self.of} {self.of_author}" if self.of else "",
            f"{self.name} {self.author}",
            self.author,
            self.name,
            rank,
            self.status or ("synonym" if self.of else "accepted"),
            "Animalia",
            "Cnidaria",
            self.class_name,
            self.order,
            self.family,
            self.name.split(" ")[0],
        )


def load_names(folder: Path, version: str, *names: Name, now: datetime = NOW) -> BackboneRelease:
    """Writes and loads a release of these names."""
    at = folder / version
    at.mkdir()
    with (at / "taxon.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(_COLUMNS)
        writer.writerows(name.row() for name in names)
    fields = "".join(
        f'<field index="{i}" term="{_CANONICAL if term == "canonicalName" else _TERM + term}"/>'
        for i, term in enumerate(_COLUMNS)
    )
    (at / "meta.xml").write_text(
        '<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml"><core encoding="UTF-8" '
        'fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy="&quot;" ignoreHeaderLines="1" '
        f'rowType="{_TERM}Taxon"><files><location>taxon.csv</location></files><id index="0"/>{fields}'
        "</core></archive>",
        encoding="utf-8",
    )
    (at / "eml.xml").write_text(
        f"<eml><dataset><title>Small backbone</title><pubDate>{version}</pubDate></dataset></eml>",
        encoding="utf-8",
    )
    return load_release(at, now=now).release
