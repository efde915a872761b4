"""``backbone load PATH|ncbi|inat``, ``info``, ``compare`` and ``adopt``."""

from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows
from inventory.names.actions.backbone import Loaded, load_source
from inventory.names.management.releases import add_release_actions, do_release_action
from inventory.names.queries.releases import INFO_COLUMNS, release_rows
from inventory.names.readers.open import PACKAGES, open_source
from inventory.names.readers.source import ArchiveError
from inventory.names.store.build import Tell
from inventory.names.store.where import LoadRunning


class Command(HouseCommand):
    help = "Loads a release of a taxonomic backbone, and says what is loaded."

    def add_arguments(self, parser: CommandParser) -> None:
        actions: Any = parser.add_subparsers(dest="action", required=True, parser_class=ArgumentParser)
        load = actions.add_parser(
            "load",
            help="load a release; it becomes current when there is none or when it changes no name in use",
        )
        load.add_argument(
            "source",
            metavar="PATH|ncbi|inat",
            help="Darwin Core Archive (folder or zip), a table of names, or an installed data package",
        )
        load.add_argument("--adopt", action="store_true", help="take it into use whatever it changes")
        load.add_argument("--by", metavar="NAME", help="registrar or curator who adopts it")
        info = actions.add_parser("info", help="which releases are loaded, and how large they are")
        add_format_option(info)
        add_release_actions(actions)

    def handle(self, *args: Any, **options: Any) -> None:
        if options["action"] == "load":
            self._load(options["source"], adopt=options["adopt"], by=options["by"])
        elif options["action"] == "info":
            self._info(options["format"])
        else:
            do_release_action(options, self.stdout, self.stderr)

    def _load(self, what: str, *, adopt: bool, by: str | None) -> None:
        if adopt and not by:
            raise CommandError("--adopt needs --by NAME: a release is adopted by somebody.", returncode=2)
        if what not in PACKAGES and not Path(what).exists():
            raise CommandError(f"{what}: there is no such file or folder.", returncode=2)
        try:
            with _progress() as tell:
                loaded = load_source(open_source(what), called=Path(what).stem, now=now(), tell=tell)
        except (ArchiveError, LoadRunning) as error:
            raise CommandError(f"{error}. Nothing was loaded.") from error
        for remark in loaded.remarks:
            self.stderr.write(remark)
        self.stderr.write(_in_words(loaded))
        if adopt and not loaded.release.is_current:
            adopting: dict[str, Any] = {"action": "adopt", "by": by, "lot": []}
            adopting["release"] = str(loaded.release.pk)
            do_release_action(adopting, self.stdout, self.stderr)

    def _info(self, form: str) -> None:
        rows = release_rows()
        if not rows:
            raise CommandError(
                "No backbone is loaded. For the demo: python manage.py backbone load fixtures/backbone"
            )
        write_rows(rows, INFO_COLUMNS, form, self.stdout, title="Backbone releases")


def _in_words(loaded: Loaded) -> str:
    release = loaded.release
    what = "was loaded before, nothing changed" if loaded.already else "loaded"
    says = (
        f"{release}: {what}. {loaded.usages} names, {loaded.synonyms} of them synonyms, "
        f"{loaded.vernacular_names} common names, {loaded.cautions} range cautions."
    )
    if not release.has_synonyms:
        says += " It has no synonyms: an old name is unknown to it, not wrong."
    if release.is_current:
        return f"{says} It is the current release."
    return (
        f"{says} It would change {loaded.changes} names in use, so it waits and the old release stays "
        f"current. See what would change: python manage.py backbone compare {release.pk}. "
        f"Take it: python manage.py backbone adopt {release.pk} --by NAME"
    )


@contextmanager
def _progress() -> Iterator[Tell]:
    """The step, and while names are read a bar with the time left, by bytes; quiet in a pipe."""
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("opening", total=None)

        def tell(step: str, share: float | None) -> None:
            progress.update(
                task, description=step, total=None if share is None else 1.0, completed=share or 0
            )

        yield tell
