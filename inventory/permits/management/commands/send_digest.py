"""``send_digest``: the reminders of the day by e-mail, to each who keeps permits, once a day."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from inventory.book.management.arguments import a_day
from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.permits.actions.digest import NoMailSetUp, send_digest


class Command(HouseCommand):
    help = "Sends the reminders of the day (permits, returns, notices, loans) by e-mail, once a day to each."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--on", type=a_day, metavar="DATE", help="the day, YYYY-MM-DD; today when left out"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        moment = now()
        try:
            digest = send_digest(
                on=options["on"] or timezone.localdate(moment),
                now=moment,
                zone=timezone.get_current_timezone(),
            )
        except NoMailSetUp as error:
            raise CommandError(str(error), returncode=2) from error
        if not digest.items:
            self.stderr.write("nothing to remind of")
            return
        self.stderr.write(f"{digest.items} reminders, sent to {len(digest.sent)}")
        for words, names in (
            ("sent before today", digest.already),
            ("no e-mail address", digest.no_address),
            ("not sent", digest.failed),
        ):
            if names:
                self.stderr.write(f"{words}: {', '.join(names)}")
        if digest.failed:
            raise CommandError("Not every digest could be sent; call it again.", returncode=1)
        if digest.no_address and not (digest.sent or digest.already):
            raise CommandError("Nobody who keeps permits has an e-mail address: person --email", returncode=2)
