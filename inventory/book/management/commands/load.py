"""``load PATH``: brings a house's spreadsheets into the book."""

import sys
from argparse import ArgumentTypeError
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from inventory.book.actions.load import LoadReport, load
from inventory.book.actions.load.report import Progress as Tell
from inventory.book.readers import NotReadable, open_source
from inventory.book.who import PAPERS, RECORDS
from inventory.doors import clock
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows
from inventory.people.queries.acting import why_not

COLUMNS = ("sheet", "rows", "new", "changed", "already_there")
_LONGEST_NAME = 120


class Command(HouseCommand):
    help = (
        "Loads a workbook (.xlsx) or a folder of .csv files with the sheets places, taxa, lots and events. "
        "Loading the same twice changes nothing; when anything is wrong nothing is loaded."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("path", type=Path, metavar="PATH", help="workbook, or folder of .csv files")
        parser.add_argument("--dry-run", action="store_true", help="do everything, then take it back")
        parser.add_argument(
            "--by",
            type=_name,
            default="spreadsheet load",
            metavar="NAME",
            help="who enters the events that name nobody",
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["path"]
        if not path.exists():
            raise CommandError(f"there is no file or folder {path}", returncode=2)
        today = timezone.localdate(clock.now())
        if why := why_not(options["by"], (*RECORDS, *PAPERS), what="load a workbook", today=today):
            raise CommandError(f"{why}. Nothing was loaded.")
        try:
            with open_source(path) as source, _progress() as tell:
                report = load(
                    source,
                    now=clock.now(),
                    zone=timezone.get_current_timezone(),
                    by=options["by"],
                    dry_run=options["dry_run"],
                    progress=tell,
                )
        except NotReadable as error:
            self.stderr.write(f"{path.name}: {error}\nNothing was loaded.")
            sys.exit(1)
        except PermissionError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}", returncode=2) from None
        if report.problem_count:
            self._complain(report, path.name)
            sys.exit(1)
        self._tell(report)
        rows = [asdict(tally) for tally in report.sheets.values()]
        title = "would be loaded" if report.dry_run else "loaded"
        write_rows(rows, COLUMNS, options["format"], self.stdout, title=title)

    def _complain(self, report: LoadReport, name: str) -> None:
        for problem in report.problems:
            self.stderr.write(f"{name}: {problem}")
        hidden = report.problem_count - len(report.problems)
        if hidden:
            self.stderr.write(f"... and {hidden} more")
        count = report.problem_count
        self.stderr.write(f"{count} problem{'s' if count != 1 else ''}. Nothing was loaded.")

    def _tell(self, report: LoadReport) -> None:
        """What is no row of the summary."""
        for change in report.changes:
            self.stderr.write(change)
        if report.change_count > len(report.changes):
            self.stderr.write(f"... and {report.change_count - len(report.changes)} more changes")
        if report.names_to_review:
            count = report.names_to_review
            self.stderr.write(f"{count} name{'s' if count != 1 else ''} put among the names to review")
        if report.dry_run:
            self.stderr.write("Dry run: nothing was loaded.")


def _name(text: str) -> str:
    name = text.strip()
    if not 0 < len(name) <= _LONGEST_NAME:
        raise ArgumentTypeError(f"expected a name of 1 to {_LONGEST_NAME} characters")
    return name


@contextmanager
def _progress() -> Iterator[Tell]:
    """A progress bar on stderr when that is a terminal, silence when it is a file."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), disable=not sys.stderr.isatty()) as bar:
        tasks: dict[str, Any] = {}

        def tell(what: str, done: int, total: int | None) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=total)
            bar.update(tasks[what], completed=done, total=total)

        yield tell
