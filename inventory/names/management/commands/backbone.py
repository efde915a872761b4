"""``backbone load PATH`` and ``backbone info``."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inventory.doors.clock import now
from inventory.doors.output import add_format_option, write_rows
from inventory.names.actions.backbone import load_release
from inventory.names.queries.releases import INFO_COLUMNS, release_rows
from inventory.names.readers.archive import ArchiveError


class Command(BaseCommand):
    help = "Loads a release of a taxonomic backbone, and says what is loaded."

    def add_arguments(self, parser: CommandParser) -> None:
        actions: Any = parser.add_subparsers(dest="action", required=True, parser_class=ArgumentParser)
        load = actions.add_parser("load", help="load a Darwin Core Archive and make it the current release")
        load.add_argument("path", metavar="PATH", help="folder or zip file with a meta.xml")
        info = actions.add_parser("info", help="which releases are loaded, and how large they are")
        add_format_option(info)

    def handle(self, *args: Any, **options: Any) -> None:
        if options["action"] == "load":
            self._load(Path(options["path"]))
        else:
            self._info(options["format"])

    def _load(self, path: Path) -> None:
        if not path.exists():
            raise CommandError(f"{path}: there is no such file or folder.", returncode=2)
        try:
            loaded = load_release(path, now=now())
        except ArchiveError as error:
            raise CommandError(f"{error}. Nothing was loaded.") from error
        for remark in loaded.remarks:
            self.stderr.write(remark)
        what = "was loaded before, nothing changed; current release" if loaded.already else "loaded"
        self.stderr.write(
            f"{loaded.release}: {what}. {loaded.usages} names, {loaded.synonyms} of them synonyms, "
            f"{loaded.vernacular_names} common names, {loaded.cautions} range cautions."
        )

    def _info(self, form: str) -> None:
        rows = release_rows()
        if not rows:
            raise CommandError(
                "No backbone is loaded. For the demo: python manage.py backbone load fixtures/backbone"
            )
        write_rows(rows, INFO_COLUMNS, form, self.stdout, title="Backbone releases")
