"""``send_alarms``: carries the post of alarms and introduced species that is due, once or again and again."""

import time
from typing import Any

from django.core.management.base import CommandError, CommandParser

from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.tankside.actions.post import send_due, waiting


class Command(HouseCommand):
    help = (
        "Sends alarms, and word of introduced species, that are due by the house's e-mail; what failed is "
        "tried again later."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--watch",
            type=int,
            default=0,
            metavar="SECONDS",
            help="look again after so many seconds, until it is stopped; without it once",
        )

    def handle(self, *args: Any, watch: int, **options: Any) -> None:
        if watch < 0:
            raise CommandError("--watch needs a number of seconds, such as 60", returncode=2)
        while True:
            tried = 0
            while due := send_due(now=now()):
                tried += due
            waits = waiting()
            self.stderr.write(f"{tried} tried, {waits} wait for another try")
            if not watch:
                break
            time.sleep(watch)
        if waits:
            words = "Not everything could be sent; see the pages Alarms, Animals on no list and To be seen."
            raise CommandError(words, returncode=1)
