"""``person NAME``: adds a person, gives a sign-in and roles, notes who has left; ``person export NAME`` and
``person erase NAME``: what is held about somebody, and taking their name out."""

import sys
from argparse import ArgumentTypeError
from datetime import date
from getpass import getpass
from typing import Any

from django.core.management.base import CommandError, CommandParser

from inventory.doors.command import HouseCommand
from inventory.people.actions import NotSetUp, set_up_person
from inventory.people.management import personal
from inventory.people.models import Person
from inventory.people.rules.roles import Role


class Command(HouseCommand):
    help = "Adds a person, or changes one: sign-in, password, roles, e-mail, the day of leaving."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "name",
            nargs="+",
            metavar="[export|erase] NAME",
            help="as it stands in the book, unlike anybody else's; export: all that is held about the "
            "person; erase: put a pseudonym in place of name and sign-in of somebody who has left",
        )
        personal.add_arguments(parser)
        parser.add_argument("--sign-in", default="", metavar="USER", help="the name to sign in with")
        parser.add_argument(
            "--role",
            dest="roles",
            action="append",
            default=[],
            type=Role,
            choices=list(Role),
            metavar="ROLE",
            help=f"one of {', '.join(Role)}; give it once for each role, those not given are taken away",
        )
        parser.add_argument("--email", default="", metavar="ADDRESS", help="where alarms reach them")
        parser.add_argument("--password", action="store_true", help="ask for a new password")
        parser.add_argument(
            "--password-stdin", action="store_true", help="read the password from standard input"
        )
        parser.add_argument(
            "--left-on", type=_day, metavar="DATE", help="closes the sign-in from that day; the history stays"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        *door, name = (word.strip() for word in options["name"])
        if door in (["export"], ["erase"]):
            personal.handle(door[0], name, options, self.stdout, self.stderr)
            return
        if door:
            raise CommandError(
                f'a name of several words stands in quotation marks: "{" ".join([*door, name])}"'
            )
        sign_in = options["sign_in"].strip()
        if not name:
            raise CommandError("a person needs a name", returncode=2)
        is_new = sign_in and not Person.objects.filter(name=name, user__isnull=False).exists()
        password = ""
        if options["password_stdin"]:
            password = sys.stdin.readline().rstrip("\r\n")
        elif options["password"] or is_new:
            password = _ask_twice()
        try:
            person = set_up_person(
                name=name,
                sign_in=sign_in,
                password=password,
                roles=options["roles"],
                email=options["email"].strip(),
                left_on=options["left_on"],
            )
        except NotSetUp as error:
            raise CommandError(str(error)) from error
        who = f", signs in as {person.user.username}" if person.user else ", without a sign-in"
        self.stderr.write(f"{person.name}{who}")


def _ask_twice() -> str:
    if not sys.stdin.isatty():
        raise CommandError(
            "there is nobody here to ask for a password: run it in a terminal, or write the password to its "
            "standard input and say --password-stdin",
            returncode=2,
        )
    password = getpass("Password: ")
    if password != getpass("The same again: "):
        raise CommandError("the two passwords are not the same; nothing was changed")
    return password


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a day; expected YYYY-MM-DD") from None
