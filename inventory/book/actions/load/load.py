"""The load itself: read everything, then register and post it in one transaction."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, tzinfo
from itertools import islice

from django.db import transaction

from inventory.names.actions.taxa import taxa_for
from inventory.names.models import CheckState, NameCheck, Taxon
from inventory.people.models import Person

from ...models import Lot, Place
from ...models.refused import Door
from ...readers import Source
from ...rules.sheets import EVENTS, LOTS, PLACES, TAXA, LotRow
from ..refusing import keep_refused
from ..register import Registered, RowsRefused, register_lots, register_places
from .guests import GuestLoad, asked
from .people import register_people
from .posting import Posting
from .reading import Told, read_sheets
from .report import LoadReport, Progress
from .spool import Spool

NOBODY = "spreadsheet load"
LOTS_AT_ONCE = 2_000


def _quiet(what: str, done: int, total: int | None) -> None:
    """Progress for nobody."""


def load(
    source: Source,
    *,
    now: datetime,
    zone: tzinfo,
    by: str = NOBODY,
    dry_run: bool = False,
    progress: Progress = _quiet,
) -> LoadReport:
    """Loads ``source`` into the book, all or nothing.

    The file is read before the transaction begins, so that others wait for the writing only. With
    ``dry_run`` all is done and then taken back. ``by`` is who enters the events that name nobody.
    Loading the same twice changes nothing: places and lots are known by their codes and accession
    numbers, events by their ``ref``.
    """
    report = LoadReport(dry_run=dry_run)
    spool = Spool()
    try:
        told = read_sheets(source, spool, report, zone=zone, progress=progress)
        with transaction.atomic():
            _write(told, report, source_name=source.name, by=by, now=now, zone=zone, progress=progress)
            if report.problem_count or dry_run:
                transaction.set_rollback(True)
    finally:
        spool.close()
    if report.problem_count and not dry_run:
        _keep_refused(report, source_name=source.name, by=by, now=now)
    return report


def _keep_refused(report: LoadReport, *, source_name: str, by: str, now: datetime) -> None:
    """What was refused stays in the history of the lots that it was about, although nothing was loaded."""
    rows = {tally.sheet: tally.rows for tally in report.sheets.values()}
    keep_refused(
        door=Door.LOAD,
        what=f"load of {source_name}",
        said={"file": source_name, "rows": rows, "problems": report.problem_count},
        why=report.problems,
        about=[("lot", accession) for accession in report.refused_lots],
        by=Person.objects.filter(name=by).first(),
        by_name=by,
        now=now,
    )


def _write(
    told: Told,
    report: LoadReport,
    *,
    source_name: str,
    by: str,
    now: datetime,
    zone: tzinfo,
    progress: Progress,
) -> None:
    posting = Posting(report, source_name=source_name, by=by, now=now, zone=zone)
    register_people(told.spool.people(), report)
    loader = Person.objects.filter(name=by).first()
    waiting = NameCheck.objects.filter(state=CheckState.TO_REVIEW)
    waiting_before = waiting.count()
    taxa_before = _taxa_as_stated()
    taxa = taxa_for(list(told.taxa.values()), now=now, by=loader, where_from=source_name)
    _register_places(told, report)
    for rows in _chunks(_lot_rows(told.spool)):
        unknown = list(dict.fromkeys(row.name for row in rows if row.name and row.name not in taxa))
        taxa |= taxa_for(unknown, now=now, by=loader, where_from=source_name)
        _register_lots(report, rows, taxa, posting)
    _count_taxa(report, taxa_before, taxa)
    report.names_to_review = waiting.count() - waiting_before
    _check_names_of_unread(told, report, posting)
    posting.post_all(told.spool, progress)
    told_to = GuestLoad(report, by, now, zone, source_name)
    for guest in asked():
        # What a guest would find wrong might only follow from what is wrong already.
        if not report.problem_count:
            guest.write(told.guests, told_to)


def _register_places(told: Told, report: LoadReport) -> None:
    """Registers places. Those refused are left out, and others are then not told to stand in them."""
    rows = told.places
    while rows:
        try:
            registered = register_places(rows)
        except RowsRefused as refused:
            report.refuse(*refused.problems)
            bad = {problem.draft for problem in refused.problems}
            codes = {rows[index].code for index in bad}
            rows = [
                replace(row, parent="") if row.parent in codes else row
                for index, row in enumerate(rows)
                if index not in bad
            ]
        else:
            _tell(PLACES.name, registered, report)
            return


def _register_lots(
    report: LoadReport, rows: Sequence[LotRow], taxa: dict[str, Taxon], posting: Posting
) -> None:
    try:
        _tell(LOTS.name, register_lots(rows, taxa), report)
    except RowsRefused as refused:
        # A needed cell that is empty was told when the sheet was read.
        told = (p for p in refused.problems if getattr(rows[p.draft], p.column) != "")
        report.refuse(*told)
        bad = {problem.draft for problem in refused.problems}
        for index in bad:
            posting.mark_refused(rows[index].accession, rows[index].origin)
        register_lots([row for index, row in enumerate(rows) if index not in bad], taxa)


def _tell(sheet: str, registered: Registered, report: LoadReport) -> None:
    report.tally(sheet).add(registered)
    report.note(sheet, registered.changes)


def _lot_rows(spool: Spool) -> Iterator[LotRow]:
    for row, *values in spool.lots():
        yield LotRow(**dict(zip(LOTS.columns, values, strict=True)), origin=LOTS.origin(row))


def _chunks(rows: Iterator[LotRow]) -> Iterator[list[LotRow]]:
    while chunk := list(islice(rows, LOTS_AT_ONCE)):
        yield chunk


_STATED = (
    "common_name",
    "count_class",
    "unit",
    "counts_in_from",
    "can_change_sex",
    "can_divide",
    "look_alike_set",
)


def _taxa_as_stated() -> dict[int, tuple[object, ...]]:
    return {number: tuple(said) for number, *said in Taxon.objects.values_list("id", *_STATED)}


def _count_taxa(report: LoadReport, before: dict[int, tuple[object, ...]], taxa: dict[str, Taxon]) -> None:
    """Several names may lead to one taxon, so taxa are counted, not names."""
    ids = {taxon.pk for taxon in taxa.values()}
    after = {number: said for number, said in _taxa_as_stated().items() if number in ids}
    tally = report.tally(TAXA.name)
    tally.new = sum(number not in before for number in after)
    tally.changed = sum(number in before and before[number] != said for number, said in after.items())
    tally.already_there = len(after) - tally.new - tally.changed


def _check_names_of_unread(told: Told, report: LoadReport, posting: Posting) -> None:
    """The places and lots that rows name which are not posted, for the writer will not see them."""
    named = {
        model: {row[column] for _, row in told.unread_events for column in columns if column in row}
        for model, columns in ((Place, ("place", "to_place")), (Lot, ("accession", "to_accession")))
    }
    places = set(Place.objects.filter(code__in=named[Place]).values_list("code", flat=True))
    lots = set(Lot.objects.filter(accession__in=named[Lot]).values_list("accession", flat=True))
    for number, row in told.unread_events:
        for column in ("place", "to_place"):
            if column in row and row[column] not in places:
                report.refuse(EVENTS.problem(number, column, _no(row[column], "place", PLACES.name)))
        for column in ("accession", "to_accession"):
            if column not in row:
                continue
            posting.mark_refused(row[column], EVENTS.origin(number))
            if row[column] not in lots:
                report.refuse(EVENTS.problem(number, column, _no(row[column], "lot", LOTS.name)))


def _no(called: str, what: str, sheet: str) -> str:
    return f"there is no {what} {called!r}; register it in the sheet {sheet} first"
