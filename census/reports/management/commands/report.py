"""``report``: one of the layouts, printed or written to a file."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils.timezone import get_current_timezone, localdate

from census.change.rules.question import Basis, Question, default_basis
from census.reports.files.comma import write_csv
from census.reports.files.making import file_of, running_of
from census.reports.queries.documents import document_of
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.checking import check_in_words, failures
from census.reports.rules.document import Document
from census.reports.rules.said import Saying
from inventory.book.management.arguments import a_day, a_moment
from inventory.book.rules.scope import Scope
from inventory.doors.clock import now
from inventory.doors.command import HouseCommand

FORMATS = ("table", "csv", "json", "xlsx", "pdf")


class Command(HouseCommand):
    help = "Writes a report: one of the layouts, for a period, as reported or as known at a moment."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("layout", choices=list(LAYOUTS))
        parser.add_argument(
            "--from", dest="first_day", type=a_day, metavar="DATE", help="default: as on the page"
        )
        parser.add_argument("--to", dest="last_day", type=a_day, metavar="DATE")
        parser.add_argument(
            "--known-at", type=a_moment, metavar="TIMESTAMP", help="only what was entered by then"
        )
        parser.add_argument("--basis", choices=[basis.value for basis in Basis])
        parser.add_argument("--scope", choices=[scope.value for scope in Scope], default=Scope.HERE.value)
        parser.add_argument("--subject", default="", metavar="NAME", help="the animal, for a report of one")
        parser.add_argument("--format", choices=FORMATS, default="table")
        parser.add_argument("--part", help="which part, for table, csv and json; default: the first")
        parser.add_argument("--out", metavar="FILE", help="file to write; needed for xlsx and pdf")

    def handle(self, *args: Any, **options: Any) -> None:
        form, out = options["format"], options["out"]
        if form in ("xlsx", "pdf") and not out:
            raise CommandError(f"{form} needs a file: give --out FILE", returncode=2)
        saying = Saying(get_current_timezone(), words=form in ("table", "pdf"))
        try:
            document = document_of(LAYOUTS[options["layout"]], _question(options), saying, options["subject"])
        except ValueError as error:
            raise CommandError(str(error), returncode=2) from None
        running = running_of(document, saying=saying, now=now())
        if form in ("xlsx", "pdf"):
            Path(out).write_bytes(file_of(document, form, saying=saying, now=now()))
        elif out:
            with open(out, "w", encoding="utf-8", newline="") as file:
                _write(document, options, file, running=running)
        else:
            _write(document, options, self.stdout, running=running if form != "table" else "")
        wrong = failures(document)
        self.stderr.write(
            f"{document.title}{f' is in {out}' if out else ''}. {check_in_words(wrong, document)}"
        )
        if running:
            self.stderr.write(running)
        if wrong:
            raise CommandError("the report does not tie", returncode=1)


def _question(options: dict[str, Any]) -> Question:
    first, last = LAYOUTS[options["layout"]].period(localdate(now()))
    known_at = options["known_at"]
    question = Question(
        first_day=options["first_day"] or first,
        last_day=options["last_day"] or last,
        scope=Scope(options["scope"]),
        basis=Basis(options["basis"]) if options["basis"] else default_basis(known_at),
    )
    return replace(question, known_at=known_at)


def _write(document: Document, options: dict[str, Any], out: Any, *, running: str) -> None:
    keys = [part.key for part in document.parts]
    key = options["part"] or keys[0]
    if key not in keys:
        raise CommandError(f"no part is called {key!r}; there are: {', '.join(keys)}", returncode=2)
    write_csv(document.part(key), out, form=options["format"], title=document.title, running=running)
