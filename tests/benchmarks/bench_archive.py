"""How fast an archive is read, beside the plain csv.reader of the standard library on the same file.

    .venv/bin/python -m tests.benchmarks.bench_archive [ROWS]

The file has the layout of the GBIF backbone with invented names. csv.reader is the floor that any
reader in Python pays: it splits the lines and does nothing else.
"""

import csv
import io
import resource
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

from inventory.names.readers.archive import open_archive
from inventory.names.readers.plain import GBIF_ORDER

TERMS = tuple(term for term in GBIF_ORDER if term not in ("datasetID", "originalNameUsageID"))
ROW = (
    "{0}\t7ddf754f-d193-4cc9-b351-99906754a03b\t{1}\t\t\tAnimalia nomen{0} (Author, 1758)\t(Author, 1758)\t"
    "Animalia nomen{0}\tAnimalia\tnomen{0}\t\tspecies\t\tSyst. Nat. {1}\taccepted\t\t\t"
    "Animalia\tChordata\tMammalia\tPrimates\tHominidae\tAnimalia\n"
)


def write(folder: Path, rows: int) -> None:
    """Taxon.tsv and its meta.xml."""
    fields = "".join(
        f'<field index="{index}" term="http://rs.tdwg.org/dwc/terms/{term}"/>'
        for index, term in enumerate(GBIF_ORDER)
    )
    (folder / "meta.xml").write_text(
        '<archive xmlns="http://rs.tdwg.org/dwc/text/"><core encoding="UTF-8" fieldsTerminatedBy="\\t" '
        'fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Taxon">'
        f'<files><location>Taxon.tsv</location></files><id index="0"/>{fields}</core></archive>',
        encoding="utf-8",
    )
    with (folder / "Taxon.tsv").open("w", encoding="utf-8") as file:
        file.write("\t".join(GBIF_ORDER) + "\n")
        file.writelines(ROW.format(number, number // 10 + 1) for number in range(1, rows + 1))


def plain_csv(path: Path) -> Iterable[object]:
    """Every line as a list of cells."""
    with path.open(encoding="utf-8", newline="") as file:
        yield from csv.reader(file, delimiter="\t", quoting=csv.QUOTE_NONE)


def csv_in_zip(path: Path) -> Iterable[object]:
    """The same out of a zip."""
    with zipfile.ZipFile(path) as packed, packed.open("Taxon.tsv") as raw:
        text = io.TextIOWrapper(raw, encoding="utf-8", newline="")
        yield from csv.reader(text, delimiter="\t", quoting=csv.QUOTE_NONE)


def our_rows(path: Path) -> Iterable[object]:
    """The lines as the builder of the store asks for them."""
    archive = open_archive(path)
    return archive.rows_of(archive.core, TERMS)


def measure(what: str, rows: int, read: Callable[[Path], Iterable[object]], path: Path) -> None:
    """Prints rows a second of processor time; best of three."""
    best = float("inf")
    for _ in range(3):
        start = time.process_time()
        found = sum(1 for _ in read(path))
        best = min(best, time.process_time() - start)
        assert found in (rows, rows + 1), found
    print(f"{what:<34}{rows / best:>12,.0f} rows/s")


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 500_000
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        write(folder, rows)
        packed = folder / "backbone.zip"
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
            for name in ("meta.xml", "Taxon.tsv"):
                file.write(folder / name, name)
        print(f"{rows:,} rows, {(folder / 'Taxon.tsv').stat().st_size / 1e6:,.0f} MB unpacked")
        measure("folder, rows_of, 21 terms", rows, our_rows, folder)
        measure("folder, csv.reader", rows, plain_csv, folder / "Taxon.tsv")
        measure("zip, rows_of, 21 terms", rows, our_rows, packed)
        measure("zip, csv.reader", rows, csv_in_zip, packed)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"most memory: {memory:,.0f} MiB, the same for any number of rows")


if __name__ == "__main__":
    main()
