"""``stock``: what is held as of a day, as known at a moment."""

from typing import Any, TextIO, cast

from django.core.management.base import CommandError
from django.utils.timezone import get_current_timezone

from inventory.book.management.arguments import a_day, a_moment
from inventory.book.queries.names import NoSuchNames, closing_of, printed_names
from inventory.book.queries.quantities import Scope, StockBy, StockRow, stock
from inventory.book.rules.happened import end_of_day
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows

NUMBERS = ("males", "females", "hermaphrodites", "unknown", "total", "missing")


class Command(HouseCommand):
    help = "Prints the stock at the end of a day: by taxon, place, lot or source."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument(
            "--as-of", required=True, type=a_day, metavar="DATE", help="the end of this day, YYYY-MM-DD"
        )
        parser.add_argument(
            "--known-at", type=a_moment, metavar="TIMESTAMP", help="count only what was entered by then"
        )
        parser.add_argument("--by", choices=[by.value for by in StockBy], default=StockBy.TAXON.value)
        parser.add_argument(
            "--scope",
            choices=[scope.value for scope in Scope],
            default=Scope.HERE.value,
            help="here: on the premises; ours: owned by the house; all: both",
        )
        parser.add_argument(
            "--names",
            default="",
            metavar="RELEASE|closing",
            help="print the names of this release, or of the closing of the period that ends on the day",
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        by = StockBy(options["by"])
        try:
            closing = closing_of(options["as_of"], known_at=options["known_at"])
            names = printed_names(options["names"], closing=closing)
        except NoSuchNames as error:
            raise CommandError(str(error), returncode=2) from None
        rows = stock(
            by=by,
            before=end_of_day(options["as_of"], get_current_timezone()),
            known_at=options["known_at"],
            scope=Scope(options["scope"]),
            names=names,
        )
        printed = f"; printed under {names.words}" if names else ""
        if names and options["format"] != "table":
            self.stderr.write(printed.removeprefix("; ").capitalize())
        write_rows(
            (_cells(by, row) for row in rows),
            (by.column, "unit", *NUMBERS),
            options["format"],
            cast(TextIO, self.stdout),
            title=f"Stock at the end of {options['as_of']}, scope {options['scope']}{printed}",
        )


def _cells(by: StockBy, row: StockRow) -> dict[str, Any]:
    numbers = {name: getattr(row.held, name) for name in NUMBERS}
    return {by.column: row.label, "unit": row.unit, **numbers}
