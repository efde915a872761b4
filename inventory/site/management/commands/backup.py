"""``manage.py backup``: a consistent copy of the house while it serves."""

from argparse import ArgumentTypeError
from pathlib import Path
from typing import Any

import pyrage
from django.conf import settings
from django.core.management.base import CommandError, CommandParser

from inventory.doors import clock
from inventory.doors.command import HouseCommand

from ...backup.databases import CannotCopy
from ...backup.make import make_backup
from ...backup.retention import Retention, name_at, parse_retention, to_remove


class Command(HouseCommand):
    help = (
        "Writes a consistent copy of the database and of all papers while the site serves. With --into, "
        "names the file by its moment and removes old backups there. Encrypted for the age key in "
        "TIDETALLY_BACKUP_KEY when one is set. Names of backbones are not in it; load those again."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        where = parser.add_mutually_exclusive_group(required=True)
        where.add_argument("file", nargs="?", type=Path, help="the file to write")
        where.add_argument("--into", metavar="FOLDER", type=Path, help="a folder of backups")
        parser.add_argument(
            "--keep",
            type=_retention,
            default=Retention(),
            metavar="SPANS",
            help="with --into: how many days, weeks and months have a backup kept; "
            "default daily=14,weekly=8,monthly=24",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        now = clock.now()
        recipient = settings.BACKUP_KEY
        folder: Path | None = options["into"]
        to: Path = folder / name_at(now, encrypted=bool(recipient)) if folder else options["file"]
        try:
            manifest = make_backup(to, now=now, recipient=recipient)
        except pyrage.RecipientError as error:
            raise CommandError(
                f"TIDETALLY_BACKUP_KEY is no public age key ({error}); expected one that begins with age1."
            ) from error
        except (CannotCopy, OSError) as error:
            raise CommandError(f"No backup was made: {error}") from error
        self.stderr.write(
            f"{to}: {len(manifest.members) - 1} papers, {'encrypted' if recipient else 'not encrypted'}, "
            f"head of the chain {manifest.head}"
        )
        if folder:
            self._remove_old(folder, options["keep"])

    def _remove_old(self, folder: Path, kept: Retention) -> None:
        for name in to_remove([path.name for path in folder.iterdir()], kept):
            (folder / name).unlink()
            self.stderr.write(f"removed {name}")


def _retention(text: str) -> Retention:
    try:
        return parse_retention(text)
    except ValueError as error:
        raise ArgumentTypeError(str(error)) from error
