"""``whole_book``: every table of the book in a form that outlives the program."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from census.whole_book.files.out import write_folder
from census.whole_book.rules.shapes import Form
from inventory.doors import clock
from inventory.doors.command import HouseCommand


class Command(HouseCommand):
    help = (
        "Writes the whole book into a folder: a file for each table (csv, parquet) or one workbook (xlsx), "
        "a data dictionary, and a manifest with row counts, SHA-256 and the head of the chain."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=[form.value for form in Form], default=Form.CSV.value)
        parser.add_argument("--to", required=True, type=Path, metavar="FOLDER", help="a new or empty folder")
        parser.add_argument(
            "--without-positions",
            action="store_true",
            help="leave out where animals were taken in the wild, as for an inspector or a curator",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = options["to"]
        try:
            manifest = write_folder(
                folder,
                Form(options["format"]),
                now=clock.now(),
                positions=not options["without_positions"],
            )
        except OSError as error:
            raise CommandError(f"{folder}: {error}", returncode=2) from None
        self.stderr.write(
            f"{len(manifest.tables)} tables, {manifest.rows:,} rows; head of the chain {manifest.head}"
        )
        self.stdout.write(str(folder))
