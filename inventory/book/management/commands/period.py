"""``period CODE ...``: adds quarters and years, and shows those that are there."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import transaction

from inventory.book.actions.periods import add_period
from inventory.book.models import Period
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows

COLUMNS = ("period", "first_day", "last_day", "closed")


class Command(HouseCommand):
    help = "Adds periods by their codes (2026 Q3, 2026), and lists all with the newest closing of each."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("codes", nargs="*", metavar="CODE", help="a quarter such as '2026 Q3', or a year")
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with transaction.atomic():
                for code in options["codes"]:
                    period, is_new = add_period(code)
                    self.stderr.write(f"{period.code}: {'added' if is_new else 'was there before'}")
        except ValueError as error:
            raise CommandError(f"{error}. Nothing was added.", returncode=2) from error
        rows = [
            {
                "period": period.code,
                "first_day": period.starts_on,
                "last_day": period.ends_on,
                "closed": ", ".join(f"version {version.number}" for version in period.versions.all()),
            }
            for period in Period.objects.prefetch_related("versions")
        ]
        write_rows(rows, COLUMNS, options["format"], self.stdout, title="Periods")
