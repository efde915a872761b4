"""``demo``: builds the demo house on a database of its own, shows the quarter, and serves the site."""

import io
import os
import socket
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application
from django.utils.timezone import get_current_timezone
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from waitress import serve  # type: ignore[import-untyped]

from census.demo.actions.build import build_house
from census.demo.actions.devices import CODES, make_devices
from census.demo.actions.people import SignIn
from census.demo.actions.preview import figures, promised, running_quarter, settle_and_take_back
from inventory.doors.clock import now
from inventory.doors.settled import settle_in

ZONE = "Atlantic/Faroe"
TODAY = "2026-10-06T09:00"
HOST = "127.0.0.1"
PORT = 8000
# Set in the process that has the demo's own clock, zone and database.
INSIDE = "TIDETALLY_DEMO"
# What a house sets for itself and the demo must not inherit.
OF_THE_HOUSE = ("DATABASE_URL", "TIDETALLY_HOSTS", "TIDETALLY_TLS")
WORKBOOK = "population-change-2026-q3.xlsx"


class Command(BaseCommand):
    help = (
        "Builds the invented Kittelvoe Aquarium, settles its census for a look, and serves it half counted."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop when all is built and shown")
        parser.add_argument("--port", type=int, default=PORT, metavar="N", help=f"port to serve at ({PORT})")

    def handle(self, *args: Any, no_serve: bool, port: int, **options: Any) -> None:
        if not no_serve and not _free(port):
            raise CommandError(f"port {port} is in use; give another with --port N", returncode=2)
        if os.environ.get(INSIDE) != "1":
            _become_the_demo(no_serve=no_serve, port=port)
        console = Console(stderr=True, highlight=False)
        sign_ins = self._build(console)
        _print_sign_ins(sign_ins, console)
        _print_devices(console)
        if not no_serve:
            _serve(port, console)

    def _build(self, console: Console) -> list[SignIn]:
        """Builds, settles for a look, prints and takes back; answers the sign-ins."""
        zone = get_current_timezone()
        columns = (
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
        )
        with Progress(*columns, console=console) as progress:
            bar = progress.add_task("empty database", total=None)
            call_command("migrate", verbosity=0)

            def tell(what: str, done: int, of: int) -> None:
                progress.update(bar, description=what, completed=done, total=of + 2)
                progress.console.print(f"  {what}")

            history, sign_ins = build_house(now=now(), zone=zone, progress=tell)
            workbook = Path(settings.DATA) / WORKBOOK
            preview = settle_and_take_back(
                history, now=now(), zone=zone, workbook=workbook, look=self._print_change
            )
            progress.advance(bar)
            call_command("verify", stdout=io.StringIO(), stderr=io.StringIO())
            progress.update(bar, description="everything in the book verified", advance=1)
        got, wanted = figures(preview.report), promised()
        self.stdout.write(f"When everything is settled: {preview.census}. Animals: {_in_words(got)}.")
        self.stdout.write(f"The workbook is {workbook}")
        wrong = {name: n for name, n in got.items() if n != wanted[name]}
        if wrong:
            raise CommandError(f"the demo promises other figures: {wrong}", returncode=1)
        return sign_ins

    def _print_change(self) -> None:
        question = running_quarter()
        call_command(
            "change",
            f"--from={question.first_day}",
            f"--to={question.last_day}",
            f"--scope={question.scope.value}",
            stdout=self.stdout,
            stderr=self.stderr,
        )


def _in_words(figures: dict[str, int]) -> str:
    return (
        "{opening:,} opening + {collected} collected + {born} born + {divided} divided + {found} found "
        "- {died} died {late:+d} late from earlier quarters - {unaccounted} unaccounted for = {closing:,}, "
        "of which {missing} missing; colonies {colonies}, egg cases {cases}"
    ).format(cases=figures["egg cases"], **figures)


def _become_the_demo(*, no_serve: bool, port: int) -> NoReturn:
    """Starts this command again in place of this process, with the demo's own settings from the start.

    In place, so that whoever stops the process stops the server.
    """
    data = Path(settings.DATA)
    data.mkdir(parents=True, exist_ok=True)
    database = data / "demo.sqlite3"
    for file in (database, *(database.with_name(database.name + end) for end in ("-wal", "-shm"))):
        file.unlink(missing_ok=True)
    environment = {name: value for name, value in os.environ.items() if name not in OF_THE_HOUSE}
    environment |= {
        INSIDE: "1",
        "TIDETALLY_SQLITE": str(database),
        "TIDETALLY_TIME_ZONE": ZONE,
        "TIDETALLY_NOW": TODAY,
        # In the labels' codes; localhost, for a browser keeps the tank side's page of no other plain address.
        "TIDETALLY_ADDRESS": f"http://localhost:{port}",
    }
    command = [sys.executable, sys.argv[0], "demo", f"--port={port}"]
    if no_serve:
        command.append("--no-serve")
    sys.stdout.flush()
    os.execve(sys.executable, command, environment)


def _free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except (OSError, OverflowError):
            return False
    return True


def _print_sign_ins(sign_ins: list[SignIn], console: Console) -> None:
    table = Table(title="Sign-ins of the demo (invented, good for nothing else)", title_justify="left")
    for heading in ("role", "name", "sign-in", "password", "tank code"):
        # Whole in a narrow terminal too: what is cut cannot be typed.
        table.add_column(heading, no_wrap=heading in ("name", "sign-in", "password"))
    for sign_in in sign_ins:
        roles = ", ".join(role.replace("_", " ") for role in sign_in.roles)
        table.add_row(roles, sign_in.name, sign_in.user, sign_in.password, CODES.get(sign_in.user, ""))
    console.print(table)


def _print_devices(console: Console) -> None:
    """Opened for a quarter of an hour from now; the registrar's page opens them again."""
    table = Table(title="Devices: type the words at /tank/enrol within 15 minutes", title_justify="left")
    for heading in ("device", "words"):
        table.add_column(heading)
    for enrolment in make_devices(now=now()):
        table.add_row(enrolment.device, enrolment.code)
    console.print(table)


def _serve(port: int, console: Console) -> None:
    application = get_wsgi_application()
    settle_in()
    console.print(f"The house is open at http://{HOST}:{port}/ (Ctrl-C closes it)")
    serve(application, host=HOST, port=port, threads=4, _quiet=True)
