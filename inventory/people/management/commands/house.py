"""``house NAME``: names the house and the registrar who owns what nobody else owns."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from inventory.doors.command import HouseCommand
from inventory.people.actions import NotSetUp, set_up_house


class Command(HouseCommand):
    help = "Names the house, its licence number, and the registrar who owns what nobody else owns."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", metavar="NAME")
        parser.add_argument("--licence", default="", metavar="NUMBER", help="stands in the head of reports")
        parser.add_argument("--registrar", default="", metavar="NAME", help="a person who is there already")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            house = set_up_house(
                name=options["name"], licence_number=options["licence"], registrar=options["registrar"]
            )
        except NotSetUp as error:
            raise CommandError(str(error)) from error
        registrar = house.registrar.name if house.registrar else "nobody yet: give --registrar"
        self.stderr.write(f"{house.name}; registrar: {registrar}")
