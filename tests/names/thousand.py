"""A thousand names to check and their verdicts, recorded from the store in memory.

    python -m tests.names.thousand      writes verdicts_1000.csv anew

The names are spoilt copies of the demo's backbone and of some rows beside it that are difficult:
homonyms, names of three words, long names of one word. Every database has to give the recorded
verdicts, letter by letter.
"""

import csv
import random
from collections.abc import Iterator
from pathlib import Path

from inventory.names.readers.archive import open_archive
from inventory.names.rules.match import Asked, match
from inventory.names.rules.store import NameStore

from .sources import in_memory
from .stores import BACKBONE

RECORDED = Path(__file__).with_name("verdicts_1000.csv")
COLUMNS = ("typed", "verdict", "name", "authorship", "rank", "choices", "why")
RELEASE = "rows of a test 1"
_TERMS = (
    "taxonID", "acceptedNameUsageID", "canonicalName", "scientificNameAuthorship", "taxonRank",
    "taxonomicStatus", "kingdom", "phylum", "class", "order", "family", "genus",
)  # fmt: skip
# Beside the demo's: what a full backbone has and the demo has not. Invented, but for the names.
_DIFFICULT = (
    ("H1", "", "Gadus morhua", "Brandeggen, 1901", "species", "accepted", "Animalia", "Mollusca"),
    ("H2", "", "Ctenophora", "", "phylum", "accepted", "Animalia", "Ctenophora"),
    ("H3", "", "Ctenophora", "Tesslar, 1902", "genus", "accepted", "Chromista", "Ochrophyta"),
    ("T1", "", "Gobius niger jozo", "Linnaeus, 1758", "subspecies", "accepted", "Animalia", "Chordata"),
    ("T2", "T1", "Gobius jozo minor", "Tesslar, 1850", "subspecies", "synonym", "Animalia", "Chordata"),
    ("T3", "T2", "Gobius jozo minimus", "Ulvik, 1851", "subspecies", "synonym", "Animalia", "Chordata"),
    ("L1", "", "Strongylocentrotidae", "Gregory, 1900", "family", "accepted", "Animalia", "Echinodermata"),
    ("L2", "", "Strongylocentrotus", "Brandt, 1835", "genus", "accepted", "Animalia", "Echinodermata"),
    ("D1", "", "Doris alba", "Tesslar, 1800", "species", "accepted", "Animalia", "Mollusca"),
    ("D2", "", "Doris alta", "Ulvik, 1801", "species", "accepted", "Animalia", "Mollusca"),
    ("B1", "", "BOLD:AAA1234", "", "unranked", "doubtful", "Animalia", ""),
)


def records() -> list[dict[str, str]]:
    """The rows of the backbone, by term."""
    archive = open_archive(BACKBONE)
    rows = [dict(zip(_TERMS, cells, strict=True)) for _, cells in archive.rows_of(archive.core, _TERMS)]
    return rows + [dict(zip(_TERMS, row, strict=False)) for row in _DIFFICULT]


def typed(rows: list[dict[str, str]]) -> list[str]:
    """A thousand lines: as they are, with author, misspelt once to three times, shortened, open."""
    dice = random.Random(1000)
    names = [(row["canonicalName"], row["scientificNameAuthorship"]) for row in rows]
    difficult = names[-len(_DIFFICULT) :]
    lines: list[str] = []
    while len(lines) < 1_000:
        name, author = dice.choice(difficult if len(lines) % 5 == 0 else names)
        genus, _, more = name.partition(" ")
        lines.append(
            (
                name,
                f"{name} {author}".strip(),
                _misspelt(name, 1, dice),
                _misspelt(name, 2, dice),
                _misspelt(name, 3, dice),
                f"{_misspelt(name, 1, dice)} {author}".strip(),
                f"{genus[0]}. {more}" if more else _misspelt(genus, 2, dice),
                f"{genus} sp.",
                name.upper(),
                f"{name} {dice.choice(['minor', 'cf.', 'juv.'])}",
            )[len(lines) % 10]
        )
    return lines


def verdicts(store: NameStore, lines: list[str]) -> list[dict[str, str]]:
    """The verdicts as the recorded file has them."""
    return [
        {
            "typed": verdict.typed,
            "verdict": verdict.verdict.value,
            "name": verdict.name,
            "authorship": verdict.authorship,
            "rank": verdict.rank,
            "choices": verdict.choices_text(),
            "why": verdict.why,
        }
        for verdict in match([Asked(line) for line in lines], store)
    ]


def recorded() -> list[dict[str, str]]:
    with RECORDED.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _misspelt(name: str, slips: int, dice: random.Random) -> str:
    for _ in range(slips):
        at = dice.choice([at for at, sign in enumerate(name) if sign != " "])
        name = dice.choice(list(_slips(name, at, dice)))
    return name[:1].upper() + name[1:].lower()


def _slips(name: str, at: int, dice: random.Random) -> Iterator[str]:
    letter = dice.choice("abcdefghijklmnopqrstuvwxyz")
    yield name[:at] + letter + name[at + 1 :]
    yield name[:at] + letter + name[at:]
    yield name[:at] + name[at + 1 :] if len(name) > 4 else name + letter
    if " " not in name[at : at + 2] and at + 1 < len(name):
        yield name[:at] + name[at + 1] + name[at] + name[at + 2 :]


def main() -> None:
    rows = records()
    with RECORDED.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(verdicts(in_memory(rows, release=RELEASE), typed(rows)))


if __name__ == "__main__":
    main()
