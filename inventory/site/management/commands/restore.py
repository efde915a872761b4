"""``manage.py restore``: puts a backup back, after proving it."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inventory.doors import clock

from ...backup.databases import CannotCopy
from ...backup.manifest import NotABackup
from ...backup.restore import restore_backup


class Command(BaseCommand):
    help = (
        "Restores a backup: opens it, recomputes its whole ledger in a copy, and only then puts it in place. "
        "Refuses what is cut off, altered, or of a newer program, and changes nothing then. Stop the server "
        "first."
    )
    # The database that is here may be the one that is broken.
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the backup")
        parser.add_argument("--identity", type=Path, metavar="FILE", help="the secret half of the age key")
        parser.add_argument(
            "--replace", action="store_true", help="put the house that is here aside, under another name"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            restored = restore_backup(
                options["file"], now=clock.now(), replace=options["replace"], identity=options["identity"]
            )
        except (NotABackup, CannotCopy, OSError) as error:
            self.stderr.write(str(error))
            raise SystemExit(1) from error
        except ValueError as error:
            raise CommandError(str(error)) from error
        made = restored.manifest
        self.stderr.write(
            f"Restored the house of {made.made_at:%Y-%m-%d %H:%M} UTC; it verifies up to {made.head}."
        )
        if restored.aside:
            self.stderr.write(f"The house that stood here is kept as {restored.aside}.")
