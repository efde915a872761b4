"""``lists load PATH`` and ``lists show [NAME]``."""

from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows
from inventory.names.actions.lists import ListsRefused, load_lists
from inventory.names.models import Taxon
from inventory.names.queries.lists import LIST_COLUMNS, LISTING_COLUMNS, list_rows, listing_rows

LOADED_COLUMNS = ("name", "kind", "version", "entries", "state")


class Command(HouseCommand):
    help = "Loads lists that speak of animals (law, protection, hazards), and shows what they say."

    def add_arguments(self, parser: CommandParser) -> None:
        actions: Any = parser.add_subparsers(dest="action", required=True, parser_class=ArgumentParser)
        load = actions.add_parser(
            "load", help="load a csv, or all of a folder: loading the same twice changes nothing"
        )
        load.add_argument("path", type=Path, metavar="PATH", help="folder of .csv files, or one of them")
        add_format_option(load)
        show = actions.add_parser("show", help="the lists in use, or what they say of one taxon of the house")
        show.add_argument("name", nargs="?", default="", metavar="NAME", help="scientific name of a taxon")
        add_format_option(show)

    def handle(self, *args: Any, **options: Any) -> None:
        if options["action"] == "load":
            self._load(options["path"], options["format"])
        else:
            self._show(options["name"], options["format"])

    def _load(self, path: Path, form: str) -> None:
        if not path.exists():
            raise CommandError(f"{path}: there is no such file or folder.", returncode=2)
        try:
            loaded = load_lists(path, now=now())
        except ListsRefused as refused:
            raise CommandError(f"{refused}\nNothing was loaded.") from None
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}", returncode=2) from None
        write_rows([asdict(one) for one in loaded], LOADED_COLUMNS, form, self.stdout, title="Lists")

    def _show(self, name: str, form: str) -> None:
        if name:
            taxon = Taxon.objects.filter(scientific_name=name).first()
            if taxon is None:
                raise CommandError(f"“{name}”: no taxon of the house is called so.")
            write_rows(listing_rows(taxon), LISTING_COLUMNS, form, self.stdout, title=f"Lists on {name}")
            return
        rows = list_rows()
        if not rows:
            raise CommandError(
                "No list is loaded. The lists that come along: python manage.py lists load fixtures/lists"
            )
        write_rows(rows, LIST_COLUMNS, form, self.stdout, title="Lists in use")
