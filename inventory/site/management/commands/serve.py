"""``manage.py serve``: the site for a house, without a second program."""

import os
from argparse import ArgumentTypeError
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import connections

from inventory.doors.command import HouseCommand
from inventory.doors.settled import settle_in

from ...gathering import gathered_in_memory
from ...serving import listen, serve_from


class Command(HouseCommand):
    help = (
        "Serves the site until it is stopped. Behind a proxy that speaks TLS, which tablets need to keep the "
        "page without signal and to use the camera; set TIDETALLY_HOSTS and TIDETALLY_TLS=1 then."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        cores = os.cpu_count() or 1
        parser.add_argument("--address", default="127.0.0.1", help="default 127.0.0.1: this machine only")
        parser.add_argument("--port", type=_number, default=8000, help="default 8000")
        parser.add_argument(
            "--processes", type=_number, default=cores, help=f"one for each core is enough; default {cores}"
        )
        parser.add_argument(
            "--behind",
            metavar="ADDRESS",
            default="",
            help="address of the proxy that speaks TLS for the site; only its word on that is believed",
        )
        parser.add_argument("--threads", type=_number, default=16, help="of each process; default 16")

    def run_from_argv(self, argv: list[str]) -> None:
        """As a house's command, with its processes' figures counted into one place."""
        with gathered_in_memory():
            super().run_from_argv(argv)

    def handle(self, *args: Any, **options: Any) -> None:
        from inventory.site.wsgi import application

        address, port = options["address"], options["port"]
        try:
            opened = listen(address, port)
        except OSError as error:
            raise CommandError(
                f"{address} port {port} cannot be opened: {error.strerror}; give another with --port",
                returncode=2,
            ) from error
        processes = options["processes"]
        self.stderr.write(f"Serving on http://{address}:{port} from {processes} processes; stop with Ctrl-C.")
        settle_in()
        # No connection is shared by a parent and its children, nor a pool, whose threads no child has.
        connections.close_all()
        for opened_before in connections.all():
            close_pool = getattr(opened_before, "close_pool", None)  # PostgreSQL's alone
            if close_pool:
                close_pool()
        serve_from(
            opened, application, processes=processes, threads=options["threads"], behind=options["behind"]
        )


def _number(text: str) -> int:
    if not text.isdecimal() or not int(text):
        raise ArgumentTypeError(f"{text!r} is no whole number above zero")
    return int(text)
