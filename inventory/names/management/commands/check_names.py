"""``check_names FILE|-``: one verdict for each typed name."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows
from inventory.names.queries.nearness import has_been_used
from inventory.names.queries.verdicts import verdicts_for
from inventory.names.readers.lines import read_lines
from inventory.names.rules.verdicts import COLUMNS

# Every verdict is held until all are ranked: so many take some 150 MiB.
MOST_LINES = 100_000


class Command(HouseCommand):
    help = (
        "Checks names against the backbone: one verdict for each line, in order. The file has one name "
        "on each line, or is a csv with scientificName and, if wanted, taxonRank, kingdom, phylum, class, "
        "order, family."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE|-", help="file to read, - for standard input")
        parser.add_argument(
            "--place",
            default="",
            metavar="CODE",
            help="tank that the names come from: what is held there is offered first",
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        asked = read_lines(_content(options["file"]))
        if len(asked) > MOST_LINES:
            raise CommandError(
                f"{options['file']}: {len(asked):,} lines; expected at most {MOST_LINES:,} at once. "
                "Divide the file."
            )
        place = options["place"].strip()
        if place and not has_been_used(place):
            raise CommandError(
                f"--place {place}: no animal has ever stood there; expected the code of a tank, such as E06.",
                returncode=2,
            )
        release, verdicts = verdicts_for(asked, places=[place] if place else ())
        if release is None:
            raise CommandError(
                "No backbone is loaded, so no name can be checked. Load one first, for the demo: "
                "python manage.py backbone load fixtures/backbone"
            )
        rows = [verdict.as_row() for verdict in verdicts]
        write_rows(
            rows,
            COLUMNS,
            options["format"],
            self.stdout,
            title=f"Checked against {release}",
            exact=("typed",),
        )


def _content(file: str) -> bytes:
    if file == "-":
        return sys.stdin.buffer.read()
    path = Path(file)
    if not path.is_file():
        raise CommandError(
            f"{file}: there is no such file. Give a file, or - for standard input.", returncode=2
        )
    return path.read_bytes()
