"""``census open|sheets|take|compare|explain|settle|sign|show``: the census from the command line."""

import sys
from argparse import ArgumentParser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from census.rounds.actions.compare import compare_counts
from census.rounds.actions.opening import open_census
from census.rounds.actions.papers import take_papers
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.settle_many import settle_many
from census.rounds.actions.sheets import issue
from census.rounds.actions.signing import sign
from census.rounds.models import Sheet
from census.rounds.queries import blind, table_rows
from census.rounds.queries.explaining import explanations
from census.rounds.queries.find import NotFound, census_of
from census.rounds.queries.holdings import holdings
from census.rounds.queries.reading import read_census
from census.rounds.queries.sheet_pictures import small_pictures
from census.rounds.queries.warnings import opening_warnings
from census.rounds.readers.count_sheets import read_sheets
from census.rounds.readers.decisions import COLUMNS, Asked, read_decisions, read_row
from census.rounds.rules.words import SheetState
from census.rounds.writers.files import WRITERS, write_to
from inventory.book.models import Period, Place, PlaceKind
from inventory.book.readers import NotReadable
from inventory.doors import clock
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows
from inventory.people.models import Person

_LINE_OPTIONS = [name for name in COLUMNS if name not in ("line", "how", "approved_by", "countersigned_by")]


class Command(HouseCommand):
    help = "The census: open it, give out sheets, take counts, compare, explain, settle, sign, show."

    def add_arguments(self, parser: CommandParser) -> None:
        # Django's own parser class cannot be a subparser: it wants arguments of its own.
        doors = parser.add_subparsers(dest="door", required=True, parser_class=ArgumentParser)
        self._add_opening(doors)
        self._add_counting(doors)
        self._add_settling(doors)

    def handle(self, *args: Any, **options: Any) -> None:
        doors: dict[str, Callable[..., None]] = {
            "open": self._open,
            "sheets": self._sheets,
            "take": self._take,
            "compare": self._compare,
            "explain": self._explain,
            "settle": self._settle,
            "sign": self._sign,
            "show": self._show,
        }
        with self._refusals():
            doors[options["door"]](now=clock.now(), **options)

    @contextmanager
    def _refusals(self) -> Iterator[None]:
        """What the house refuses is told on stderr, one line each, with exit 1."""
        try:
            yield
        except (CensusRefused, NotReadable) as refused:
            self.stderr.write(f"{refused}\nNothing was changed.")
            sys.exit(1)
        except NotFound as error:
            raise CommandError(str(error), returncode=2) from error

    def _add_opening(self, doors: Any) -> None:
        door = doors.add_parser("open", help="open a census: numbered sheets, lines from the book")
        door.add_argument("period", help="code of the period, for example: '2026 Q3'")
        door.add_argument(
            "--places", metavar="CODES", help="comma-separated, in order; default: all that hold"
        )
        door.add_argument("--code", default="", help="left out: made from the period (CS-26Q3)")
        _by(door)
        door = doors.add_parser("sheets", help="write count sheets as workbooks or PDF, and issue them")
        door.add_argument("code", metavar="CODE", help="of a census, or number of one sheet")
        door.add_argument("--out", type=Path, required=True, metavar="DIR|FILE", help="folder, or one file")
        door.add_argument("--format", choices=WRITERS, help="left out: by the name of the file, else xlsx")
        door.add_argument("--round", type=int, default=1, choices=(1, 2, 3), help="2 and 3: lines to recount")
        door.add_argument("--issue", action="store_true", help="also issue sheets that are not issued yet")
        _by(door, required=False)

    def _add_counting(self, doors: Any) -> None:
        door = doors.add_parser("take", help="take back filled count sheets (.xlsx); all or nothing")
        door.add_argument("file", type=Path, metavar="FILE")
        _by(door)
        door = doors.add_parser("compare", help="put the counts beside the book")
        door.add_argument("code", metavar="CODE")
        _by(door)
        _format(door)
        door = doors.add_parser("explain", help="what may lie behind each difference, best guess first")
        door.add_argument("code", metavar="CODE")
        _format(door)
        door = doors.add_parser("show", help="how far a census is")
        door.add_argument("code", metavar="CODE")
        door.add_argument("--what", choices=table_rows.SHOWN, default="sheets")
        _format(door)

    def _add_settling(self, doors: Any) -> None:
        door = doors.add_parser(
            "settle",
            help="decide lines: from a csv file, or one line by options",
            epilog="columns of the file: " + "; ".join(f"{k}: {v}" if v else k for k, v in COLUMNS.items()),
        )
        door.add_argument("code", metavar="CODE")
        door.add_argument("file", type=Path, nargs="?", metavar="FILE", help="csv, one decision a row")
        door.add_argument("--line", metavar="LINE", help=COLUMNS["line"])
        door.add_argument("--how", metavar="HOW", help=COLUMNS["how"])
        for name in (*_LINE_OPTIONS, "approved_by", "countersigned_by"):
            door.add_argument(f"--{name.replace('_', '-')}", default="", metavar="TEXT", help=COLUMNS[name])
        _by(door)
        _format(door)
        door = doors.add_parser("sign", help="the curator signs: the period is closed")
        door.add_argument("code", metavar="CODE")
        door.add_argument("--note", default="")
        door.add_argument(
            "--without-sample", default="", metavar="TEXT", help="why, where no sample test was drawn"
        )
        _by(door)

    def _print(self, table: table_rows.Table, form: str, title: str) -> None:
        columns, lines = table
        write_rows(lines, columns, form, self.stdout, title=title)

    def _open(self, *, period: str, places: str | None, code: str, by: str, now: datetime, **_: Any) -> None:
        found = Period.objects.filter(code=period).first()
        if found is None:
            known = ", ".join(Period.objects.values_list("code", flat=True))
            raise NotFound(f"there is no period {period!r}; there is: {known or 'none'}")
        census = open_census(
            period=found,
            places=_places(places, now),
            by=_person(by),
            now=now,
            zone=timezone.get_current_timezone(),
            code=code,
        )
        self.stderr.write(f"{census.code} is open with {census.sheets.count()} sheets")
        for warning in opening_warnings(census, now=now):
            self.stderr.write(f"warning, {warning.kind}: {warning.text}")

    def _sheets(
        self,
        *,
        code: str,
        out: Path,
        round: int,
        issue: bool,
        by: str,
        now: datetime,
        format: str | None,
        **_: Any,
    ) -> None:
        sheets = list(Sheet.objects.filter(number__iexact=code).select_related("place", "census"))
        if not sheets:
            of_census = census_of(code).sheets.filter(replaced_by=None).select_related("place", "census")
            sheets = list(of_census.order_by("number"))
        if issue:
            _issue(sheets, by, now)
        written = blind.blind_sheets(sheets, round=round)
        if round > 1:
            written = [sheet for sheet in written if sheet.lines]
        if not written:
            raise CensusRefused(f"No line of {code} is to be counted in round {round}.")
        write_to(written, out, format, pictures=small_pictures(written))
        self.stderr.write(f"{len(written)} sheets written to {out}")

    def _take(self, *, file: Path, by: str, now: datetime, **_: Any) -> None:
        if not file.is_file():
            raise NotFound(f"there is no file {file}")
        papers, problems = read_sheets(file, timezone.get_current_timezone())
        if problems:
            raise CensusRefused(*(f"{file.name}: {problem}" for problem in problems))
        try:
            taken = take_papers(papers=papers, by=_person(by), now=now)
        except CensusRefused as refused:
            raise CensusRefused(*(f"{file.name}: {problem}" for problem in refused.problems)) from refused
        for number, one in taken.items():
            self.stderr.write(f"{number}: {one.new} counts new, {one.replaced} replaced, {one.same} the same")

    def _compare(self, *, code: str, by: str, format: str, now: datetime, **_: Any) -> None:
        census = census_of(code)
        rows = compare_counts(census=census, by=_person(by), now=now)
        self._print(table_rows.differences(rows), format, f"{census.code}: counts beside the book")

    def _explain(self, *, code: str, format: str, **_: Any) -> None:
        census = census_of(code)
        rows = read_census(census)
        self._print(
            table_rows.guesses(rows, explanations(census, rows)),
            format,
            f"{census.code}: what may lie behind it",
        )

    def _settle(
        self,
        *,
        code: str,
        file: Path | None,
        line: str | None,
        by: str,
        format: str,
        now: datetime,
        **more: Any,
    ) -> None:
        census = census_of(code)
        asked, problems = _asked(file, {**more, "line": line or ""})
        if problems:
            raise CensusRefused(*(f"{file.name}: {p}" if file else p for p in problems))
        settle_many(census=census, asked=asked, by=_person(by), now=now, zone=timezone.get_current_timezone())
        self._print(
            table_rows.differences(read_census(census), only_decided=True),
            format,
            f"{census.code}: decided lines",
        )

    def _sign(self, *, code: str, by: str, note: str, without_sample: str, now: datetime, **_: Any) -> None:
        census = census_of(code)
        zone = timezone.get_current_timezone()
        version = sign(
            census=census,
            by=_person(by),
            now=now,
            zone=zone,
            note=note,
            without_sample=without_sample,
        )
        self.stderr.write(f"{census.code} is signed: {version} is closed")

    def _show(self, *, code: str, what: str, format: str, now: datetime, **_: Any) -> None:
        census = census_of(code)
        self._print(
            table_rows.shown(what, census, now=now), format, f"{census.code} ({census.state}): {what}"
        )


def _by(door: ArgumentParser, *, required: bool = True) -> None:
    door.add_argument("--by", required=required, default="", metavar="NAME", help="who does it")


def _format(door: ArgumentParser) -> None:
    add_format_option(door)  # type: ignore[arg-type]  # a plain parser takes the same option


def _person(name: str) -> Person:
    person = Person.objects.select_related("user").filter(name=name).first()
    if person is None:
        raise NotFound(f"nobody here is called {name!r}")
    return person


def _places(codes: str | None, now: datetime) -> list[Place]:
    """The places named, in their order; when none is named, all that hold something now."""
    if codes is None:
        held = {holding.place_id for holding in holdings(before=now)}
        return list(Place.objects.filter(pk__in=held).exclude(kind=PlaceKind.FEED))
    wanted = [code.strip() for code in codes.split(",") if code.strip()]
    found = {place.code: place for place in Place.objects.filter(code__in=wanted)}
    missing = [code for code in wanted if code not in found]
    if missing:
        raise NotFound(f"there is no place {missing[0]!r}")
    return [found[code] for code in wanted]


def _issue(sheets: list[Sheet], by: str, now: datetime) -> None:
    person = _person(by)
    for sheet in sheets:
        if sheet.state == SheetState.NOT_ISSUED:
            issue(sheet=sheet, by=person, now=now)


def _asked(file: Path | None, options: dict[str, Any]) -> tuple[list[Asked], list[str]]:
    if file is not None:
        if not file.is_file():
            raise NotFound(f"there is no file {file}")
        return read_decisions(file)
    if not options["line"] or not options["how"]:
        raise NotFound("give a csv file, or --line and --how")
    one, problems = read_row(options["line"], {name: str(options.get(name) or "") for name in COLUMNS})
    return ([one] if one else []), problems
