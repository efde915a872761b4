"""``take``: the account of a permit, what was taken under it and what is left, line by line."""

from collections.abc import Iterator
from typing import Any, TextIO, cast

from django.core.management.base import CommandError
from django.utils import timezone

from inventory.book.management.arguments import a_day, a_moment
from inventory.doors import clock
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows
from inventory.permits.models import Permit
from inventory.permits.queries.accounts import PermitAccount, account

COLUMNS = (
    *("permit", "line", "words", "names", "limit", "per", "unit", "caught", "let_go", "died", "kept"),
    *("counted", "used", "left", "over"),
)


class Command(HouseCommand):
    help = "Prints the account of a permit: what was taken by line, and what is left."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--permit", required=True, metavar="NUMBER", help="the permit's number")
        parser.add_argument(
            "--as-of", type=a_day, metavar="DATE", help="the end of this day, YYYY-MM-DD; today when left out"
        )
        parser.add_argument(
            "--known-at", type=a_moment, metavar="TIMESTAMP", help="count only what was entered by then"
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        number = options["permit"]
        permit = Permit.objects.select_related("authority").filter(number=number).first()
        if permit is None:
            known = ", ".join(Permit.objects.values_list("number", flat=True)[:20]) or "none yet"
            raise CommandError(f"there is no permit {number!r}; the house has {known}", returncode=2)
        as_of = options["as_of"] or timezone.localdate(clock.now())
        found = account(
            permit,
            as_of=as_of,
            zone=timezone.get_current_timezone(),
            known_at=options["known_at"],
        )
        version = found.read.version
        write_rows(
            _rows(found),
            COLUMNS,
            options["format"],
            cast(TextIO, self.stdout),
            title=f"{number}, {permit.authority.name}, {version.valid_from} to {version.valid_until}, "
            f"at the end of {as_of}",
        )
        for line in found.over:
            self.stderr.write(f"Over its limit by {line.used.over}: {line.words}")


def _rows(found: PermitAccount) -> Iterator[dict[str, Any]]:
    for row in found.lines:
        used = row.used
        yield {
            "permit": found.permit.number,
            "line": row.number,
            "words": row.words,
            "names": " | ".join(row.names),
            "limit": row.line.limit if row.line else None,
            "per": row.line.per if row.line else "",
            "unit": row.line.unit if row.line else row.takes[0].take.unit if row.takes else "",
            "caught": used.caught,
            "let_go": used.let_go,
            "died": used.died,
            "kept": used.kept,
            "counted": used.counted,
            "used": used.used,
            "left": used.left,
            "over": used.over,
        }
