"""``change``: the population change between two days."""

from datetime import date
from typing import Any, TextIO, cast

from django.core.management.base import CommandError
from django.utils.timezone import get_current_timezone, localdate

from census.change.files.running import said_on_each
from census.change.files.workbook import write_workbook
from census.change.queries.report import Report, change_report
from census.change.rules.arithmetic import Change
from census.change.rules.question import Basis, By, Question, default_basis
from census.change.rules.short import short_form
from census.change.rules.words import basis_in_words, running_in_words, signed, ties_in_words, title_of
from inventory.book.management.arguments import a_day, a_moment
from inventory.book.queries.names import NoSuchNames
from inventory.book.rules.scope import Scope
from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.doors.output import Out, add_format_option, write_rows

_SHORT = ("name", "opening", "in", "out", "unexplained", "between", "late", "closing", "m.f.u")


class Command(HouseCommand):
    help = "Prints the population change: opening + in - out + late = closing."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--from", dest="first_day", required=True, type=a_day, metavar="DATE")
        parser.add_argument("--to", dest="last_day", required=True, type=a_day, metavar="DATE")
        parser.add_argument("--by", choices=[by.value for by in By], default=By.TAXON.value)
        parser.add_argument(
            "--known-at", type=a_moment, metavar="TIMESTAMP", help="count only what was entered by then"
        )
        parser.add_argument(
            "--basis",
            choices=[basis.value for basis in Basis],
            help="reported: honour the closings (default); known: one knowledge (default with --known-at)",
        )
        parser.add_argument(
            "--scope",
            choices=[scope.value for scope in Scope],
            default=Scope.HERE.value,
            help="here: on the premises; ours: owned by the house; all: both",
        )
        parser.add_argument(
            "--names",
            default="",
            metavar="RELEASE|closing",
            help="print the names of this release, or those at the closing of the period",
        )
        add_format_option(parser, workbook=True)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self._answer(_question(options), options)
        except NoSuchNames as error:
            raise CommandError(str(error), returncode=2) from None

    def _answer(self, question: Question, options: dict[str, Any]) -> None:
        zone = get_current_timezone()
        if options["format"] == "xlsx":
            self._write_workbook(question, options["out"])
            return
        report = change_report(question, zone=zone)
        running = running_in_words(question, localdate(now()), say=date.isoformat)
        if options["out"]:
            with open(options["out"], "w", encoding="utf-8", newline="") as out:
                _write(report, options["format"], out, self.stderr, running)
        else:
            _write(report, options["format"], cast(TextIO, self.stdout), self.stderr, running)
        if report.untied:
            raise CommandError(ties_in_words(report.named_untied), returncode=1)

    def _write_workbook(self, question: Question, out: str | None) -> None:
        if not out:
            raise CommandError("a workbook needs a file: give --out FILE", returncode=2)
        write_workbook(question, out, made_at=now(), zone=get_current_timezone())
        self.stderr.write(f"{title_of(question)} is in {out}")


def _question(options: dict[str, Any]) -> Question:
    known_at = options["known_at"]
    try:
        return Question(
            first_day=options["first_day"],
            last_day=options["last_day"],
            by=By(options["by"]),
            scope=Scope(options["scope"]),
            basis=Basis(options["basis"]) if options["basis"] else default_basis(known_at),
            known_at=known_at,
            names=options["names"],
        )
    except ValueError as error:
        raise CommandError(str(error), returncode=2) from None


def _write(report: Report, form: str, out: TextIO, err: Out, running: str) -> None:
    if form == "table":
        _write_short(report, out)
        out.write(f"{running}\n" if running else "")
    else:
        if report.names:
            err.write(f"Printed under {report.names.words}\n")
        write_rows(*said_on_each(report.records(), report.columns(), running), form, out)


def _write_short(report: Report, out: TextIO) -> None:
    """The short form, one table a unit, with totals and the check."""
    zone = get_current_timezone()
    question = report.question
    out.write(f"{title_of(question)}\n")
    closings = (report.opening.name, report.closing.name)
    out.write(f"{basis_in_words(question, closings, zone)}; scope {question.scope.value}; zone {zone}\n")
    if report.names:
        out.write(f"printed under {report.names.words}\n")
    first = () if question.by is By.TAXON else (question.by.value,)
    for unit, total in report.totals.items():
        lines = [
            {question.by.value: row.label, "name": row.taxon.scientific_name, **_short(row.change)}
            for row in report.rows
            if row.unit == unit
        ]
        lines.append({question.by.value: "", "name": "total", **_short(total)})
        write_rows(lines, (*first, *_SHORT), "table", out, title=f"unit: {unit}")
    out.write(ties_in_words(report.named_untied) + "\n")


def _short(change: Change) -> dict[str, Any]:
    short = short_form(change)
    return {
        "opening": short.opening,
        "in": short.came_in,
        "out": short.went_out,
        "unexplained": short.unexplained,
        "between": signed(short.between) if short.between else "",
        "late": signed(short.late) if short.late else "",
        "closing": short.closing,
        "m.f.u": change.closing_mfu,
    }
