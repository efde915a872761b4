"""``export_takes``: the collection records of a permit as csv, as a workbook or as a Darwin Core Archive."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from inventory.book.management.arguments import a_day, a_moment
from inventory.doors import clock
from inventory.doors.command import HouseCommand
from inventory.permits.files.export import FORMS, export
from inventory.permits.models import Permit
from inventory.permits.queries.collection_records import collection_records


class Command(HouseCommand):
    help = "Writes the collection records of a permit: a row for each take, and what became of the animals."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--permit", required=True, metavar="NUMBER", help="the permit's number")
        parser.add_argument("--format", required=True, choices=FORMS, help="form of the file")
        parser.add_argument("--out", required=True, metavar="FILE", help="file to write")
        parser.add_argument(
            "--coarse",
            action="store_true",
            help="round positions to 0.1 degree and leave out places in words; the file says so",
        )
        parser.add_argument(
            "--as-of", type=a_day, metavar="DATE", help="the end of this day, YYYY-MM-DD; today when left out"
        )
        parser.add_argument(
            "--known-at", type=a_moment, metavar="TIMESTAMP", help="count only what was entered by then"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        number = options["permit"]
        permit = Permit.objects.select_related("authority").filter(number=number).first()
        if permit is None:
            known = ", ".join(Permit.objects.values_list("number", flat=True)[:20]) or "none yet"
            raise CommandError(f"there is no permit {number!r}; the house has {known}", returncode=2)
        found = collection_records(
            permit,
            as_of=options["as_of"] or timezone.localdate(clock.now()),
            zone=timezone.get_current_timezone(),
            coarse=options["coarse"],
            known_at=options["known_at"],
        )
        path = Path(options["out"])
        try:
            path.write_bytes(export(found, options["format"]))
        except OSError as error:
            raise CommandError(f"{path} cannot be written: {error.strerror}", returncode=2) from error
        for words in (*found.open_ends, f"{len(found.records)} takes written to {path}"):
            self.stderr.write(words)
